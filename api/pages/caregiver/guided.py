"""The guiding camera: hints on small frames, one at a time, and what is wanted once a frame was taken as a photo.

Hints have threads of their own: they never wait for anybody's photos, and are dropped when these threads are busy.
"""

import re
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse

from api.cases.links import case_of_link
from api.cases.store import NoSuchCase, hashed
from api.cases.view import CaseView
from api.guide.hints import GOOD, LOOK_PX, MOST_FRAME_BYTES, hint_of
from api.guide.wanted import GUIDED, MOST_TAKEN, asks_about_box, wanted_now
from api.pages.caregiver.screens import count_look, language_of
from api.pages.caregiver.told import told
from api.pages.forms import case_photos_form
from api.state import state_of
from classifier.errors import InputError

TAKEN = re.compile(rf"(?:[0-9a-f]{{{LOOK_PX**2}}},?){{0,{MOST_TAKEN}}}")
"""How the frames looked that were taken of one part."""

router = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""


@router.post("/c/{token}/look")
@router.post("/u/{token}/look")
async def look(request: Request, token: str) -> Response:
    """Judge one frame, and forget it."""
    state = state_of(request)
    await run_in_threadpool(_count, request, token)
    state.hints.refuse_if_full()
    async with case_photos_form(request, MOST_FRAME_BYTES + 2**16) as (frames, fields):
        view, taken = GUIDED.get(fields.get("view", "")), fields.get("taken", "")
        if view is None or not TAKEN.fullmatch(taken):
            raise InputError(
                f"`view` is one of {', '.join(GUIDED)}, `taken` what was answered as `look`. Load the page."
            )
        looks = tuple(filter(None, taken.split(",")))
        hint = await state.hints.run(hint_of, frames[0].load(), view, looks, state.loaded.model)
    words = language_of(request).say(hint.words(view))
    body = {"hint": hint.id, "words": words, "box": hint.box, "look": hint.look, "take": hint.id == GOOD}
    return JSONResponse(body, headers={"Cache-Control": "no-store"})


def guide_of(request: Request, seen: CaseView) -> dict[str, Any] | None:
    """What the camera is to show now, for a page or its script; None when it cannot help."""
    wanted = wanted_now(seen, state_of(request).resources.catalogue)
    if wanted is None:
        return None
    up = seen.help.lowering is not None
    return {"view": wanted.view.id, "again": wanted.again, "ask": language_of(request).say(wanted.ask), "up": up}


def wants_document(request: Request) -> bool:
    """Whether the camera's script asks, and not a browser for a page."""
    return "application/json" in request.headers.get("accept", "")


def taken_answer(request: Request, seen: CaseView, tell: bool) -> Response:
    """What is wanted once a frame was taken; with `tell` also what was read, to whoever owns the case."""
    told_now = _told(request, seen) if tell and seen.identification is not None else []
    sure = tell and seen.identification is not None and seen.identification.control_box.decision == "confirmed"
    asked = tell and asks_about_box(seen, state_of(request).resources.catalogue)
    body = {"guide": guide_of(request, seen), "told": told_now, "sure": sure, "asked": asked}
    return JSONResponse(body, headers={"Cache-Control": "no-store"})


def _told(request: Request, seen: CaseView) -> list[str]:
    """The answer in a sentence, and what was read in the last photo."""
    catalogue = state_of(request).resources.catalogue
    words = told(seen, {photo.id: False for photo in seen.photos}, catalogue, language_of(request))
    last = words.photos[-1:]
    return [words.sentence, *(fact for photo in last for mark in photo.marks for fact in mark.facts)]


def _count(request: Request, token: str) -> None:
    """Count one frame of this camera; a guessed address is counted as any other look. Raises `NoSuchCase`."""
    state = state_of(request)
    state.hint_rate.take(hashed(token))
    try:
        if request.url.path.split("/")[2] == "c":
            state.cases.by_token(token)
        else:
            case_of_link(state.cases, token)
    except NoSuchCase:
        count_look(request)
        raise

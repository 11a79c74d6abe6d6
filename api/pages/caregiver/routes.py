"""The caregiver's pages: one thing a page, plain forms that work without scripts; the address of a case is its key."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.cases.changes import changes
from api.cases.events import NO_PHOTO, UNDO, WENT_ON
from api.cases.photos import add_photo, picture_of
from api.cases.store import CaseRow, Conflict, Said
from api.cases.view import CaseView
from api.cases.words import echo_words
from api.pages.caregiver.back import Earlier, earlier
from api.pages.caregiver.guided import guide_of, taken_answer, wants_document
from api.pages.caregiver.screens import (
    ROLE,
    asked_now,
    case_of,
    cautions,
    language_of,
    seen_by_caregiver,
    show_in_case,
    who_asks,
)
from api.pages.caregiver.told import told, unsure
from api.pages.caregiver.way_down import plan_page
from api.pages.forms import case_photos_form, small_form, version_of
from api.state import state_of
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import UNSURE
from guidance.documents.case import SKIPPED, WORKS

ECHOED = ("observation", "context", "step", "symptom")
"""Kinds of answer that are repeated above the next question."""

router = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""


@router.get("/")
def first(request: Request) -> HTMLResponse:
    """The first question: is somebody up?"""
    return state_of(request).pages.show("first.html", language_of(request), "/", keep=True)


@router.get("/c/{token}")
def case_page(request: Request, token: str) -> Response:
    """Whatever comes next in this case."""
    return _page(request, token, case_of(request, token))


@router.get("/c/{token}/at/{version}")
def as_it_was(request: Request, token: str, version: int) -> Response:
    """What was asked at this version: each question has an address, so that the browser's Back leads to it."""
    row = case_of(request, token)
    before = earlier(row, version)
    return _page(request, token, row) if before is None else _asked_again(request, token, row, before)


@router.get("/c/{token}/result")
def result(request: Request, token: str) -> Response:
    """What the photos showed, once more."""
    seen = seen_by_caregiver(request, case_of(request, token))
    return _result(request, token, seen) if seen.stage == "answer" else _shown(request, token, seen)


@router.get("/c/{token}/ask")
def ask(request: Request, token: str) -> Response:
    """The question that settles what the photos left open."""
    seen = seen_by_caregiver(request, case_of(request, token))
    asks = seen.stage == "answer" and seen.question is not None
    return _question(request, token, seen) if asks else _shown(request, token, seen)


@router.get("/c/{token}/photo")
def another_photo(request: Request, token: str) -> Response:
    """The page that takes one more photo."""
    return _camera(request, token, seen_by_caregiver(request, case_of(request, token)), "/photo")


@router.get("/c/{token}/code")
def code(request: Request, token: str) -> Response:
    """The code to read out, before the steps are at their end."""
    seen = seen_by_caregiver(request, case_of(request, token))
    return _end(request, token, seen, back=True)


@router.post("/c/{token}/answers")
async def answer(request: Request, token: str) -> Response:
    """Take one answer, or take the last one back."""
    form = await small_form(request)
    return await run_in_threadpool(_answer, request, token, form)


@router.post("/c/{token}/photos")
async def photo(request: Request, token: str) -> Response:
    """Take a photo; the same photo sent again is the same photo."""
    state = state_of(request)
    row = await run_in_threadpool(case_of, request, token)
    state.slots.refuse_if_full()
    async with case_photos_form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
        for one in photos:
            days = state.settings.photo_days if fields.get("keep") == "yes" else 0
            await state.slots.run(
                add_photo, state.cases, state.shelf, row.id, one, days, state.loaded, who_asks(request),
                fields.get("learn") == "yes",
            )  # fmt: skip
    if wants_document(request):
        return await run_in_threadpool(_taken, request, token)
    return RedirectResponse(f"/{language_of(request).tag}/c/{token}", 303)


@router.get("/c/{token}/photos/{photo_id}")
def picture(request: Request, token: str, photo_id: str) -> Response:
    """The picture of one photo of this case, while it is there."""
    found = picture_of(state_of(request).cases, state_of(request).shelf, case_of(request, token).id, photo_id)
    if found is None:
        raise HTTPException(404, "This picture is not kept any more.")
    return Response(found, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


@router.get("/c/{token}/changes")
def case_changes(request: Request, token: str, after: int) -> Response:
    """Say when somebody else has changed this case."""
    return changes(state_of(request).live, case_of(request, token).id, after)


def _taken(request: Request, token: str) -> Response:
    row = state_of(request).cases.by_token(token)
    return taken_answer(request, seen_by_caregiver(request, row), tell=True)


def _answer(request: Request, token: str, form: dict[str, str]) -> Response:
    row, store = case_of(request, token), state_of(request).cases
    said = {"id": form.get("id", ""), "answer": form.get("answer", "")}
    version, kind = version_of(form), form.get("kind", "")
    again = earlier(row, version) if form.get("again") == str(row.version) else None
    seen = seen_by_caregiver(request, again.row if again else row)
    if (again or version == row.version) and not _asked(seen, kind, said):
        raise HTTPException(422, "This is no answer to what is asked now. Go back and look at the question again.")
    saying = Said(kind, said, seen.summary())
    try:
        if again is None:
            version = store.say(row.id, version, saying, who_asks(request))
        elif (again.given.kind, dict(again.given.said)) == (kind, said):
            version = row.version  # the same as before: nothing that followed is lost
        else:
            version = store.say_instead(row.id, row.version, len(again.since), saying, who_asks(request))
    except Conflict:
        changed = language_of(request).say("This was answered already. Here is how it stands now.")
        return _page(request, token, store.by_token(token), changed, status=409)
    return RedirectResponse(f"/{language_of(request).tag}/c/{token}/at/{version}", 303)


def _asked(seen: CaseView, kind: str, said: dict[str, str]) -> bool:
    if kind in (UNDO, NO_PHOTO, WENT_ON):
        return kind == UNDO or {NO_PHOTO: "photo", WENT_ON: "answer"}[kind] == seen.stage
    question = seen.question
    if question is None or (kind, said["id"]) != (question.kind, question.id):
        return False
    open_to_all = {"observation": (UNSURE,), "context": (UNSURE,), "step": (UNSURE, SKIPPED)}.get(kind, ())
    return said["answer"] in (*question.answers, *open_to_all)


def _page(request: Request, token: str, row: CaseRow, changed: str = "", status: int = 200) -> Response:
    return _shown(request, token, seen_by_caregiver(request, row), changed=changed, status=status)


def _shown(request: Request, token: str, seen: CaseView, **more: Any) -> Response:
    """The one page that comes now."""
    if seen.stage == "down":
        return plan_page(request, f"/c/{token}", seen, **more)
    if seen.stage == "photo":
        return _camera(request, token, seen, **more)
    if seen.stage == "answer" and (seen.question is None or seen.live[-1].kind != "observation"):
        return _result(request, token, seen, **more)
    if seen.stage in ("answer", "question"):
        return _question(request, token, seen, **more)
    return _end(request, token, seen, **more)


def _camera(request: Request, token: str, seen: CaseView, path: str = "", **more: Any) -> Response:
    """The page that takes a photo: of what would help most by now, else of the box."""
    language, days = language_of(request), state_of(request).settings.photo_days
    step = seen.identification.next if seen.identification else None
    wanted = language.say("Take a photo of the box with the red stop button")
    framing = language.say("Stand one step away. Let the box fill half the picture.")
    if step is not None and step.kind == "photo":
        wanted, _, framing = language.say(step.ask).partition(". ")
    values = {"keep_days": days, "wanted": wanted, "framing": framing, "guide": guide_of(request, seen)} | more
    return show_in_case(request, f"/c/{token}", "photo.html", seen, path, **values)


def _result(request: Request, token: str, seen: CaseView, **more: Any) -> Response:
    state = state_of(request)
    there = {p.id: picture_of(state.cases, state.shelf, seen.row.id, p.id) is not None for p in seen.photos}
    words = told(seen, there, state.resources.catalogue, language_of(request))
    return show_in_case(request, f"/c/{token}", "answer.html", seen, told=words, question=seen.question, **more)


def _question(request: Request, token: str, seen: CaseView, **more: Any) -> Response:
    """One question, under what was said last and what that left open."""
    catalogue, language = state_of(request).resources.catalogue, language_of(request)
    last, found = seen.live[-1], seen.identification if seen.stage == "answer" else None
    open_ = unsure(found.control_box, found.actuator, catalogue, language) if found is not None else []
    echo = echo_words(last, catalogue, language) if last.kind in ECHOED and last.role == ROLE else ""
    values = {"echo": echo, "open": open_, "again": None, "changed": ""}
    return show_in_case(
        request, f"/c/{token}", "question.html", seen,
        **asked_now(request, seen), **cautions(request, seen), **(values | more),
    )  # fmt: skip


def _asked_again(request: Request, token: str, row: CaseRow, before: Earlier) -> Response:
    """A question as it was asked, with the answer that was given; a page without one leads to where the case stands."""
    seen = seen_by_caregiver(request, before.row)
    if seen.stage not in ("answer", "question") or seen.question is None or before.given.kind in (NO_PHOTO, WENT_ON):
        return _page(request, token, row)
    echo = echo_words(before.given, state_of(request).resources.catalogue, language_of(request))
    return _question(request, token, seen, again=row.version, echo=echo)


def _end(request: Request, token: str, seen: CaseView, back: bool = False, **more: Any) -> Response:
    language, step = language_of(request), seen.help.next
    titles: dict[str, Callable[[], str]] = {
        "release": lambda: language.say("It works again"),
        "out_of_use": lambda: language.say("Do not use this lift"),
    }
    title = titles.get(seen.help.state, lambda: language.say("Now the service helps you on"))()
    if seen.help.not_this_tool is not None:
        title = language.say("This help is for another kind of lift")
    mended = _mended(seen, state_of(request).resources.catalogue) if seen.help.state == "release" else None
    last = step.text if step is not None and step.kind == "last_resort" and not back else ""
    return show_in_case(
        request, f"/c/{token}", "end.html", seen, "/code" if back else "",
        title=title, last_step=last, back=back, mended=mended, **cautions(request, seen), **more,
    )  # fmt: skip


def _mended(seen: CaseView, catalogue: Catalogue) -> tuple[str, str] | None:
    """What was wrong, as far as the step tells that made it work, and that step."""
    worked = [e for e in seen.live if e.kind == "step" and e.said.get("answer") == WORKS]
    repair = catalogue.repairs_by_id.get(str(worked[-1].said["id"])) if worked else None
    if repair is None:
        return None
    return catalogue.components_by_id[repair.component].name if repair.component else "", repair.text

"""The caregiver's pages: one thing a page, plain forms that work without scripts; the address of a case is its key."""

from collections.abc import Callable, Sequence
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.exceptions import HTTPException

from api.cases.changes import changes
from api.cases.photos import add_photo, picture_of
from api.cases.store import CaseRow, Conflict, Said, Who, hashed
from api.cases.view import NO_PHOTO, UNDO, WENT_ON, CaseView, view
from api.pages.caregiver.told import told
from api.pages.drawings import drawings_of
from api.pages.forms import case_photos_form, small_form, version_of
from api.pages.languages import Language
from classifier.taxonomy import CONCEPTS
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE
from guidance.documents.answer import Advice
from guidance.documents.case import SKIPPED
from guidance.safety.lowering import lowering_advice
from guidance.safety.sentences import say

ROLE = "caregiver"

router = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""


def language_of(request: Request) -> Language:
    """The language in the first part of the address."""
    return request.app.state.pages.languages[request.url.path.split("/")[1]]


@router.get("/")
def first(request: Request) -> HTMLResponse:
    """The first question: is somebody up?"""
    return request.app.state.pages.show("first.html", language_of(request), "/", keep=True)


@router.get("/down")
def down(request: Request) -> HTMLResponse:
    """How to bring a person down when nothing is known of the lift; kept by the browser for when the network is off."""
    state = request.app.state
    steps = lowering_advice(state.resources.catalogue, None, CONCEPTS["lowering"], ROLE).steps
    return state.pages.show(
        "down.html", language_of(request), "/down", keep=True, view=None, changed="", **_down_words(request, steps)
    )


@router.post("/cases")
async def open_case(request: Request) -> Response:
    """Open a case once nobody is up, and go to its own address."""
    _count(request)
    form = await small_form(request)
    if form.get("answer") != "no":
        return RedirectResponse(f"/{language_of(request).tag}/down", 303)
    return await run_in_threadpool(_open_case, request)


def _open_case(request: Request) -> Response:
    tag = language_of(request).tag
    said = Said(PERSON_IN_SLING, {"id": PERSON_IN_SLING, "answer": "no"}, {})
    _, token = request.app.state.cases.start(tag, _who(request), said)
    return RedirectResponse(f"/{tag}/c/{token}", 303)


@router.get("/c/{token}")
def case_page(request: Request, token: str) -> Response:
    """Whatever comes next in this case."""
    return _page(request, token, _row(request, token))


@router.get("/c/{token}/down")
def case_down(request: Request, token: str) -> Response:
    """How to bring a person down, by this lift's own mechanism if it is confirmed."""
    seen = _view(request, _row(request, token))
    return _down(request, token, seen, "/down")


@router.get("/c/{token}/photo")
def another_photo(request: Request, token: str) -> Response:
    """The page that takes one more photo."""
    seen = _view(request, _row(request, token))
    return _show(request, token, "photo.html", seen, "/photo", keep_days=request.app.state.settings.photo_days)


@router.get("/c/{token}/code")
def code(request: Request, token: str) -> Response:
    """The code to read out, before the steps are at their end."""
    seen = _view(request, _row(request, token))
    return _end(request, token, seen, back=True)


@router.post("/c/{token}/answers")
async def answer(request: Request, token: str) -> Response:
    """Take one answer, or take the last one back."""
    form = await small_form(request)
    return await run_in_threadpool(_answer, request, token, form)


@router.post("/c/{token}/photos")
async def photo(request: Request, token: str) -> Response:
    """Take a photo; the same photo sent again is the same photo."""
    state = request.app.state
    row = await run_in_threadpool(_row, request, token)
    state.slots.refuse_if_full()
    async with case_photos_form(request, state.settings.max_request_mib * 2**20) as (photos, fields):
        for one in photos:
            days = state.settings.photo_days if fields.get("keep") == "yes" else 0
            await state.slots.run(
                add_photo, state.cases, state.shelf, row.id, one, days, state.resources, _who(request)
            )
    return RedirectResponse(f"/{language_of(request).tag}/c/{token}", 303)


@router.get("/c/{token}/photos/{photo_id}")
def picture(request: Request, token: str, photo_id: str) -> Response:
    """The picture of one photo of this case, while it is there."""
    found = picture_of(request.app.state.cases, request.app.state.shelf, _row(request, token).id, photo_id)
    if found is None:
        raise HTTPException(404, "This picture is not kept any more.")
    return Response(found, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


@router.get("/c/{token}/changes")
def case_changes(request: Request, token: str, after: int) -> Response:
    """Say when somebody else has changed this case."""
    return changes(request, _row(request, token).id, after)


def _answer(request: Request, token: str, form: dict[str, str]) -> Response:
    row, store = _row(request, token), request.app.state.cases
    seen = _view(request, row)
    said = {"id": form.get("id", ""), "answer": form.get("answer", "")}
    version = version_of(form)
    kind = form.get("kind", "")
    if version == row.version and not _asked(seen, kind, said):
        raise HTTPException(422, "This is no answer to what is asked now. Go back and look at the question again.")
    try:
        store.say(row.id, version, Said(kind, said, seen.summary()), _who(request))
    except Conflict:
        changed = language_of(request).say("This was answered already. Here is how it stands now.")
        return _page(request, token, store.by_token(token), changed, status=409)
    return RedirectResponse(f"/{language_of(request).tag}/c/{token}", 303)


def _asked(seen: CaseView, kind: str, said: dict[str, str]) -> bool:
    if kind == PERSON_IN_SLING:
        return said["answer"] in ("yes", "no", UNSURE)
    if kind in (UNDO, NO_PHOTO, WENT_ON):
        return kind == UNDO or {NO_PHOTO: "photo", WENT_ON: "answer"}[kind] == seen.stage
    question = seen.question
    if question is None or (kind, said["id"]) != (question.kind, question.id):
        return False
    open_to_all = {"observation": (UNSURE,), "context": (UNSURE,), "step": (UNSURE, SKIPPED)}.get(kind, ())
    return said["answer"] in (*question.answers, *open_to_all)


def _page(request: Request, token: str, row: CaseRow, changed: str = "", status: int = 200) -> Response:
    seen = _view(request, row)
    more = {"changed": changed, "status": status}
    if seen.stage == "down":
        return _down(request, token, seen, "", **more)
    if seen.stage == "photo":
        days = request.app.state.settings.photo_days
        return _show(request, token, "photo.html", seen, keep_days=days, **more)
    if seen.stage == "answer":
        state = request.app.state
        there = {p.id: picture_of(state.cases, state.shelf, row.id, p.id) is not None for p in seen.photos}
        words = told(seen, there, state.resources.catalogue, language_of(request))
        return _show(request, token, "answer.html", seen, told=words, **_asked_now(request, seen), **more)
    if seen.stage == "question":
        return _show(
            request, token, "question.html", seen, **_asked_now(request, seen), **_cautions(request, seen), **more
        )
    return _end(request, token, seen, **more)


def _down(request: Request, token: str, seen: CaseView, path: str, **more: Any) -> Response:
    catalogue = request.app.state.resources.catalogue
    head = seen.identification.actuator if seen.identification else None
    lowering = seen.help.lowering
    if lowering is None:
        known = head.lowering if head and head.decision == "confirmed" else None
        lowering = lowering_advice(catalogue, known, head.values if head else CONCEPTS["lowering"], ROLE)
    return _show(request, token, "down.html", seen, path, **_down_words(request, lowering.steps), **more)


def _down_words(request: Request, steps: Sequence[Advice]) -> dict[str, Sequence[Advice]]:
    """The sentences of the way down: what comes first, the steps, and when to call for help."""
    catalogue = request.app.state.resources.catalogue
    return {"first": say(catalogue, "occupied", ROLE), "steps": steps, "emergency": say(catalogue, "emergency", ROLE)}


def _asked_now(request: Request, seen: CaseView) -> dict[str, Any]:
    """The question, if there is one, and what its answers look like."""
    question, catalogue = seen.question, request.app.state.resources.catalogue
    return {"question": question, "drawings": drawings_of(question, catalogue, language_of(request))}


def _cautions(request: Request, seen: CaseView) -> dict[str, Sequence[Advice]]:
    """The sentences that always hold, and those that belong to where this case stands."""
    always = say(request.app.state.resources.catalogue, "always", ROLE)
    return {"always": always, "own": tuple(row for row in seen.help.safety if row not in always)}


def _end(request: Request, token: str, seen: CaseView, back: bool = False, **more: Any) -> Response:
    language, step = language_of(request), seen.help.next
    titles: dict[str, Callable[[], str]] = {
        "release": lambda: language.say("It works again"),
        "out_of_use": lambda: language.say("Do not use this lift"),
    }
    title = titles.get(seen.help.state, lambda: language.say("Now the service helps you on"))()
    last = step.text if step is not None and step.kind == "last_resort" and not back else ""
    return _show(
        request, token, "end.html", seen, "/code" if back else "",
        title=title, last_step=last, back=back, **_cautions(request, seen), **more,
    )  # fmt: skip


def _show(request: Request, token: str, template: str, seen: CaseView, path: str = "", **values: Any) -> HTMLResponse:
    tag = language_of(request).tag
    values = {"changed": "", **values}
    return request.app.state.pages.show(
        template, language_of(request), f"/c/{token}{path}", view=seen, here=f"/{tag}/c/{token}", **values
    )


def _view(request: Request, row: CaseRow) -> CaseView:
    state = request.app.state
    return view(row, state.cases, state.resources, ROLE)


def _row(request: Request, token: str) -> CaseRow:
    """The case behind this address. Counts the look, by address and by case."""
    _count(request)
    request.app.state.case_rate.take(hashed(token))
    return request.app.state.cases.by_token(token)


def _count(request: Request) -> None:
    request.app.state.rate.take(request.client.host if request.client else "")


def _who(request: Request) -> Who:
    return Who(ROLE, "", request.client.host if request.client else "")

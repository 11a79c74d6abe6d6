"""The pages of a call: what is said in a case, made for a keyboard during a call."""

from dataclasses import replace
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse
from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException

from api.cases.changes import changes
from api.cases.events import (
    ASSET,
    ASSIGNED,
    BESIDE_A_QUESTION,
    CLOSED,
    HANDED_OVER,
    LONGEST_NAME,
    LONGEST_NOTE,
    NOTE,
    UNDO,
    WAY_DOWN,
    CaseEvent,
    in_force,
)
from api.cases.learned.stating import EXCHANGED, states_of
from api.cases.photos import picture_of
from api.cases.store import CODE_LENGTH, CaseRow, Conflict, Said, StillUp
from api.cases.summary import settings_of
from api.cases.view import CaseView
from api.http.sessions import Session, staff
from api.pages.forms import version_of
from api.pages.staff.case_screen import show_case
from api.pages.staff.screens import CHANGED, back_to, staff_form, staff_language, staff_view
from api.state import state_of
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import PROOFS
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE
from guidance.documents.case import SKIPPED, STILL, WORSE
from guidance.safety.sentences import NO_SIGN

MAY_BE_LATE = ("symptom", "context", "step", "observation", "could_hurt", ASSIGNED)
"""What is recorded as it was meant, though a photo or a note came in between."""

LONGEST_ASSET = 60
"""Characters of an inventory number."""

STILL_UP_WORDS = "Somebody is still up in this case. Record that they are down first, then close it."

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""

any_language = APIRouter(include_in_schema=False)


@any_language.get("/staff/{rest:path}")
def in_a_language(request: Request) -> Response:
    """The same page in the language that the browser asks for."""
    path, query = quote(request.url.path), request.url.query
    tag = state_of(request).pages.asked(request).tag
    return RedirectResponse(f"/{tag}{path}{'?' if query else ''}{query}", 307, {"Vary": "Accept-Language"})


@router.get("/changes")
def somebody_up(request: Request) -> Response:
    """Say when somebody is up in any case, on every page that shows none."""
    staff(request)
    return changes(state_of(request).live, None, 0, tell_up=True)


@router.get("/cases/{case_id}")
def case_page(request: Request, case_id: str) -> Response:
    """One case on one screen."""
    return show_case(request, staff(request), case_id)


@router.get("/cases/{case_id}/changes")
def case_changes(request: Request, case_id: str, after: int) -> Response:
    """Say when somebody else has changed this case, and when somebody is up in any."""
    session = staff(request)
    state_of(request).cases.version(case_id)
    return changes(state_of(request).live, case_id, after, tell_up=True, actor=session.actor)


@router.get("/cases/{case_id}/photos/{photo_id}")
def picture(request: Request, case_id: str, photo_id: str) -> Response:
    """The picture of one photo, while it is there."""
    staff(request)
    found = picture_of(state_of(request).cases, state_of(request).shelf, case_id, photo_id)
    if found is None:
        raise HTTPException(404, "This picture is not kept any more.")
    return Response(found, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


@router.post("/cases/{case_id}/answers")
async def answer(request: Request, case_id: str) -> Response:
    """Record an answer, a correction, an undo, a hand-over or the confirmed fault."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_answer, request, session, case_id, form)


def _answer(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    store = state_of(request).cases
    row = store.by_id(case_id)
    kind, version = form.get("kind", ""), version_of(form)
    then = _as_it_was(row, version, kind)
    seen = staff_view(request, session, then or row)
    said: dict[str, Any] = {"id": form.get("id", ""), "answer": form.get("answer", "")}
    catalogue = state_of(request).resources.catalogue
    said |= _more_said(kind, form, seen, catalogue)
    if states := states_of(kind, said, session.role, seen.summary(), catalogue):
        said["states"] = states
    beside = _never_late(kind, said["answer"])
    current = then is not None or version == row.version
    if (beside or current) and not _possible(request, seen, kind, said):
        raise HTTPException(422, "This cannot be recorded in the case as it stands.")
    try:
        if beside:
            sent = f"{session.actor} {version} {kind} {said['id']} {said['answer']}"  # a double press is one
            store.add_once(case_id, Said(kind, {**said, "sent": sent}, seen.summary()), session.who(request))
        else:
            expected = row.version if current else version
            store.say(case_id, expected, Said(kind, said, seen.summary()), session.who(request))
    except Conflict:
        return show_case(request, session, case_id, changed=staff_language(request).say(CHANGED), status=409)
    except StillUp:
        return show_case(request, session, case_id, changed=staff_language(request).say(STILL_UP_WORDS), status=409)
    done = back_to(case_id, form)
    if kind == CLOSED or seen.said(CLOSED):  # what is said of a closed case judges it anew; nobody waits for that
        done.background = BackgroundTask(state_of(request).learn)
    return done


def _as_it_was(row: CaseRow, version: int, kind: str) -> CaseRow | None:
    """The case as it was when this was asked, if nothing but photos and notes came since; None for what is not late.

    Somebody answers the question that was read to them, whatever is asked by now; it is kept as the answer to that one.
    """
    since = row.events[version:]
    late = 0 < version < row.version and kind in MAY_BE_LATE
    if not late or any(event.kind not in BESIDE_A_QUESTION or event.kind == kind for event in since):
        return None
    return replace(row, version=version, events=row.events[:version])


def _more_said(kind: str, form: dict[str, str], seen: CaseView, catalogue: Catalogue) -> dict[str, Any]:
    """Of a closing its proof and the part that ended it; of a reading the crop that was looked at.

    A part of another component than the fault's is not what ended it, as when it only lies in the basket.
    """
    if kind == CLOSED:
        part, fault = (
            catalogue.parts_by_id.get(form.get("part", "")),
            catalogue.faults_by_id.get(form.get("answer", "")),
        )
        ended = part is not None and fault is not None and part.component == fault.component
        more = {"proof": form.get("proof", ""), "part": part.id if ended and form.get("proof") == EXCHANGED else ""}
        return {name: value for name, value in more.items() if value}
    if kind == HANDED_OVER and form.get("note", "").strip():
        return {"note": form["note"].strip()}
    if kind == "observation" and form.get("earlier"):
        return {"earlier": form["earlier"][:CODE_LENGTH]}
    photo = next((photo for photo in seen.photos if photo.id == form.get("photo")), None)
    place = form.get("place", "")
    if kind != "observation" or photo is None or place not in map(str, range(len(photo.reading.subjects))):
        return {}
    return {"photo": photo.id, "place": int(place)}


def _never_late(kind: str, answer: str) -> bool:
    """What is never refused because somebody else was faster. That a person is down is said of the case as it is."""
    return kind in (WAY_DOWN, "danger_signs", NOTE) or (kind == PERSON_IN_SLING and answer != "no")


def _possible(request: Request, seen: CaseView, kind: str, said: dict[str, Any]) -> bool:
    """Whether this may be said: what is asked, whether somebody is up, what is seen of the lift, or how it ends."""
    catalogue = state_of(request).resources.catalogue
    if kind == PERSON_IN_SLING:
        return said["answer"] in ("yes", "no", UNSURE)
    if kind == WAY_DOWN:
        return said["answer"] in (STILL, WORSE)
    if kind == "danger_signs":
        return all(sign in (NO_SIGN, *catalogue.stop_signs_by_id) for sign in said["answer"].split(","))
    if kind == "observation":
        known = catalogue.observations_by_id.get(said["id"])
        return known is not None and said["answer"] in (*known.options, UNSURE)
    if kind == CLOSED:  # the fault, and the setting in which its rate is counted
        proven = said.get("proof", "mended") in PROOFS
        return proven and said["answer"] in catalogue.faults_by_id and said["id"] in settings_of(catalogue)
    if kind == ASSET:
        return bool(said["answer"].strip()) and len(said["answer"]) <= LONGEST_ASSET
    if kind in (NOTE, HANDED_OVER, ASSIGNED, UNDO):
        return _possible_beside(seen, kind, said)
    asked = seen.to_ask
    if asked is None or (kind, said["id"]) != (asked.kind, asked.id):
        return False
    more = {"context": (UNSURE,), "step": (UNSURE, SKIPPED)}.get(kind, ())
    return said["answer"] in (*asked.answers, *more)


def _possible_beside(seen: CaseView, kind: str, said: dict[str, Any]) -> bool:
    """A note has words, and a name is no longer than one. What was closed is opened again by name, not undone."""
    if kind == NOTE:
        return bool(said["answer"].strip()) and len(said["answer"]) <= LONGEST_NOTE
    if kind == ASSIGNED:
        return len(said["answer"]) <= LONGEST_NAME
    if kind == HANDED_OVER:
        return len(said.get("note", "")) <= LONGEST_NOTE
    undone = CaseEvent(seen.row.version + 1, seen.row.changed_ms, "agent", "", UNDO, said, {})
    left = {event.kind for event in in_force((*seen.row.events, undone))}
    return seen.said(CLOSED) if said["id"] == CLOSED else CLOSED in left or not seen.said(CLOSED)

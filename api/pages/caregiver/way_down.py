"""The way down, for whoever stands beside a person in the sling: the plan, the drawings, and the steps one by one.

It is the same at a caregiver's own case (`/c/…`) and by an agent's link (`/u/…`). What is said here is added to the
case whatever stands in it by now: it is never refused because somebody else was faster.
"""

import re
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse
from sqlalchemy.exc import IntegrityError
from starlette.exceptions import HTTPException

from api.cases.changes import changes
from api.cases.events import UNDO, WAY_DOWN, says_up
from api.cases.links import case_of_link
from api.cases.photos import BY_LINK
from api.cases.store import CaseRow, NoSuchCase, Said, Who
from api.cases.view import CaseView, find_out
from api.pages.caregiver.guided import guide_of
from api.pages.caregiver.screens import (
    ROLE,
    asked_now,
    case_of,
    count_look,
    language_of,
    seen_by_caregiver,
    show_in_case,
    who_asks,
)
from api.pages.drawings import drawings_of
from api.pages.forms import small_form, version_of
from api.state import state_of
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import STILL, WORSE, Case, Troubleshooting
from guidance.safety.sentences import NO_SIGN

OWN_CASE, LINK = "c", "u"
"""The two doors: a caregiver's own case, and the link that an agent sent."""

A_TOKEN = re.compile("[A-Za-z0-9_-]{32,64}")
"""As a browser makes one for a case that it opens while it is offline."""

A_SENDING = re.compile("[A-Za-z0-9-]{8,64}")

MOVES = {"press:lower", "lower:by_hand"}
"""What moves the arm: what made it worse when that is said at such a step. A chair put under the person did not."""

router = APIRouter(include_in_schema=False)
"""Included once for each language, under its tag."""


@router.get("/down")
def generic_plan(request: Request) -> HTMLResponse:
    """How a person comes down when nothing is known of the lift; kept by the browser for when the network is off."""
    return state_of(request).pages.show(
        "down.html", language_of(request), "/down", keep=True, changed="", **of_any_lift(request)
    )


@router.post("/now")
async def say_first(request: Request) -> Response:
    """Open a case by what is said before there is one: that somebody is up, that nobody is, or a danger sign."""
    form = await small_form(request)
    return await run_in_threadpool(_say_first, request, form)


@router.get("/c/{token}/down")
@router.get("/u/{token}/down")
def plan(request: Request, token: str) -> Response:
    """How this person comes down, by this lift's own mechanism once it is confirmed."""
    return plan_page(request, _here(request, token), seen_by_caregiver(request, _row(request, token)))


@router.get("/c/{token}/down/{number}")
@router.get("/u/{token}/down/{number}")
def step(request: Request, token: str, number: int) -> Response:
    """One step of the confirmed mechanism with its drawing; the plan when none is confirmed or no step is left."""
    seen, here = seen_by_caregiver(request, _row(request, token)), _here(request, token)
    lowering = seen.help.lowering
    if lowering is None or lowering.basis != "confirmed" or not 1 <= number <= len(lowering.steps):
        return RedirectResponse(f"/{language_of(request).tag}{here}/down", 303)
    (mechanism,) = lowering.mechanisms
    own = {row.id for row in state_of(request).resources.catalogue.mechanisms_by_id[mechanism].steps}
    advice = lowering.steps[number - 1]
    values = {
        "step": advice,
        "number": number,
        "count": len(lowering.steps),
        "mechanism": mechanism if advice.id in own else "",
        "moved": advice.id if MOVES & set(advice.acts) else "",
    }
    return show_in_case(request, here, "down_step.html", seen, f"/down/{number}", **values)


@router.get("/u/{token}/changes")
def changes_by_link(request: Request, token: str, after: int) -> Response:
    """Say when somebody else has changed the case of a link."""
    return changes(state_of(request).live, _row(request, token).id, after)


@router.post("/c/{token}/now")
@router.post("/u/{token}/now")
async def say_now(request: Request, token: str) -> Response:
    """Take what is said beside the person: still up, worse, down, a danger sign, what the motor end looks like."""
    form = await small_form(request)
    return await run_in_threadpool(_say_now, request, token, form)


def plan_page(request: Request, here: str, seen: CaseView, **more: Any) -> HTMLResponse:
    """The plan as guidance orders it, and what finds the mechanism out.

    When nobody is up by what was said, whoever asks for the way down gets the one for every lift.
    """
    if seen.help.lowering is None:
        values = {**of_any_lift(request), "question": None}
        del values["view"]
    else:
        values = {**_words(seen.help), **asked_now(request, seen)}
    days = state_of(request).settings.photo_days
    values["guide"] = guide_of(request, seen) if seen.help.lowering is not None else None
    return show_in_case(request, here, "down.html", seen, "/down", keep_days=days, **{**values, **more})


def of_any_lift(request: Request) -> dict[str, Any]:
    """What the plan says, and asks, when nothing is known of the lift: on the pages that a browser keeps."""
    catalogue = state_of(request).resources.catalogue
    answer = troubleshoot(Case(role=ROLE, person_in_sling="yes"), catalogue)
    question = find_out(answer)
    drawings = drawings_of(question, catalogue, language_of(request))
    return {"view": None, **_words(answer), "question": question, "drawings": drawings, "guide": None}


def _words(answer: Troubleshooting) -> dict[str, Any]:
    """The lines and the steps, as guidance orders them, and the mechanism if it is confirmed."""
    confirmed = answer.lowering.mechanisms[0] if answer.lowering.basis == "confirmed" else ""
    return {"lines": answer.safety, "steps": answer.lowering.steps, "confirmed": confirmed}


def _door(request: Request) -> str:
    """The second part of the address, after the language."""
    return request.url.path.split("/")[2]


def _here(request: Request, token: str) -> str:
    return f"/{_door(request)}/{token}"


def _row(request: Request, token: str) -> CaseRow:
    if _door(request) == OWN_CASE:
        return case_of(request, token)
    count_look(request, token)
    return state_of(request).cases.by_id(case_of_link(state_of(request).cases, token))


def _say_first(request: Request, form: dict[str, str]) -> Response:
    count_look(request)
    store, tag = state_of(request).cases, language_of(request).tag
    said = _said(form, state_of(request).resources.catalogue)
    came = form.get("token", "")
    token = came if A_TOKEN.fullmatch(came) else None
    try:
        row = store.by_token(token or "")
    except NoSuchCase:
        # A danger sign or "worse" without a case: whether somebody is up was not said, and is taken as yes.
        about_person = said.kind == PERSON_IN_SLING
        opening = said if about_person else Said(PERSON_IN_SLING, {"id": PERSON_IN_SLING, "answer": UNSURE}, {})
        try:
            case_id, token = store.start(tag, who_asks(request), opening, token)
        except IntegrityError:  # the same form again, at the same moment
            row = store.by_token(token)
        else:
            if not about_person:
                store.add_once(case_id, said, who_asks(request))
            return _after(request, OWN_CASE, token, said)
    store.add_once(row.id, said, who_asks(request))
    return _after(request, OWN_CASE, token, said)


def _say_now(request: Request, token: str, form: dict[str, str]) -> Response:
    row, door = _row(request, token), _door(request)
    said = _said(form, state_of(request).resources.catalogue)
    seen, who = seen_by_caregiver(request, row), who_asks(request, BY_LINK if door == LINK else "")
    if said.kind == PERSON_IN_SLING and said.said["answer"] == "no" and _up_again(row, version_of(form), who):
        words = language_of(request).say("Somebody else said meanwhile that a person is up. Look again, then answer.")
        return plan_page(request, _here(request, token), seen, changed=words, status=409)
    state_of(request).cases.add_once(row.id, Said(said.kind, said.said, seen.summary()), who)
    return _after(request, door, token, said, form.get("step", ""))


def _up_again(row: CaseRow, seen_version: int, who: Who) -> bool:
    """Whether somebody else said after that version that a person is up: a "down" sent before does not end that."""
    later = (event for event in row.events if 0 < seen_version < event.version)
    return any(says_up(event) and (event.role, event.actor) != (who.role, who.actor) for event in later)


def _after(request: Request, door: str, token: str, said: Said, step_: str = "") -> Response:
    """The page that comes then: the next step, the first of a mechanism that was just found out, the plan, the case."""
    here, answer = f"/{language_of(request).tag}/{door}/{token}", said.said["answer"]
    if said.kind == "danger_signs" or (said.kind, answer) == (PERSON_IN_SLING, "no"):
        return RedirectResponse(here, 303)
    if (said.kind, answer) == (WAY_DOWN, STILL) and step_.isascii() and step_.isdecimal() and len(step_) < 3:
        return RedirectResponse(f"{here}/down/{int(step_) + 1}", 303)
    return RedirectResponse(f"{here}/down/1" if said.kind == "observation" else f"{here}/down", 303)


def _said(form: dict[str, str], catalogue: Catalogue) -> Said:
    """What a form says. Raises `HTTPException` for what is none of the things that can be said here."""
    kind, id_, answer = (form.get(name, "") for name in ("kind", "id", "answer"))
    signs = catalogue.stop_signs_by_id
    known = catalogue.observations_by_id.get(id_)
    possible = {
        PERSON_IN_SLING: answer in ("yes", "no", UNSURE),
        WAY_DOWN: answer in (STILL, WORSE),
        "danger_signs": all(sign in (NO_SIGN, *signs) for sign in answer.split(",")),
        "observation": known is not None and known.about == "lowering" and answer in (*known.options, UNSURE),
        UNDO: True,
    }
    if not possible.get(kind, False):
        raise HTTPException(422, "This cannot be said here. Go back; if a person is up, bring them down first.")
    sent = form.get("sent", "")
    return Said(kind, {"id": id_, "answer": answer, **({"sent": sent} if A_SENDING.fullmatch(sent) else {})}, {})

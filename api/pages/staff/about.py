"""Who calls, from where, about which lift: written down beside the questions, and not lost to what comes meanwhile."""

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool

from api.cases.events import ABOUT, ABOUT_FIELDS, ASSET, LONGEST_FIELD, in_force
from api.cases.line import about_of
from api.cases.store import Said
from api.http.sessions import Session
from api.pages.forms import version_of
from api.pages.staff.case_screen import show_case
from api.pages.staff.screens import back_to, staff_form, staff_language
from api.plate.gs1 import serial_in
from api.state import state_of

FIELDS = (*ABOUT_FIELDS, ASSET)

TOO_LONG = "That is longer than 120 characters. Shorten it, or write a note."
CHANGED_FIELDS = "Somebody else has changed this meanwhile. Look at what stands there now, then write yours again."

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@router.post("/cases/{case_id}/about")
async def about(request: Request, case_id: str) -> Response:
    """Write down what is new of the caller and the lift."""
    session, form = await staff_form(request)
    return await run_in_threadpool(_about, request, session, case_id, form)


def _about(request: Request, session: Session, case_id: str, form: dict[str, str]) -> Response:
    """Only what was changed on this page is recorded; what somebody else changed since is not overwritten."""
    store, language = state_of(request).cases, staff_language(request)
    row = store.by_id(case_id)
    typed = {name: " ".join(form[name].split()) for name in FIELDS if name in form}
    if "serial" in typed:
        typed["serial"] = serial_in(typed["serial"]) or typed["serial"]
    too_long = [name for name, value in typed.items() if len(value) > LONGEST_FIELD]
    if too_long:
        errors = {f"about-{name}": language.say(TOO_LONG) for name in too_long}
        return show_case(request, session, case_id, 422, errors=errors, typed_about=typed)
    seen, now = about_of(in_force(row.events[: version_of(form)])), about_of(in_force(row.events))
    meant = {name: value for name, value in typed.items() if value != seen[name]}
    if any(now[name] not in (seen[name], value) for name, value in meant.items()):
        return show_case(request, session, case_id, 409, changed=language.say(CHANGED_FIELDS))
    new = {name: value for name, value in meant.items() if value != now[name]}
    with store.engine.begin() as connection:
        who, asset = session.who(request), new.pop(ASSET, None)
        if new:
            store.add(case_id, Said(ABOUT, new, {}), who, connection)
        if asset is not None:
            store.add(case_id, Said(ASSET, {"id": ASSET, "answer": asset}, {}), who, connection)
    return back_to(case_id, form)

"""The link for a caller's telephone: made once, shown while it is open, to copy, to send as a text or to scan."""

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool

from api.cases.links import make_link
from api.gate.address import own_address
from api.http.sessions import Session
from api.pages.staff.case_screen import show_case
from api.pages.staff.screens import back_to, staff_form, staff_language
from api.pages.staff.shown_link import own_token, shown
from api.state import state_of

NO_ADDRESS = "No link was made: this server was not told its public address. Whoever runs it can set it."

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@router.post("/cases/{case_id}/link")
async def link(request: Request, case_id: str) -> Response:
    """Open a link for the caller's telephone; the page of the case shows it from then on."""
    session, _ = await staff_form(request)
    return await run_in_threadpool(_link, request, session, case_id)


def _link(request: Request, session: Session, case_id: str) -> Response:
    if own_address(request) is None:
        return show_case(request, session, case_id, changed=staff_language(request).say(NO_ADDRESS), status=409)
    store = state_of(request).cases
    token = make_link(store, case_id, session.who(request), own_token(request, case_id))
    if own_token(request, case_id):
        return back_to(case_id, {})
    row = store.by_id(case_id)
    return show_case(request, session, case_id, **shown(request, token, row.language, ""))

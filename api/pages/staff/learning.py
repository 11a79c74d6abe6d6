"""What staff do about learning from photos: take a consent back for the sender."""

from pathlib import Path

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool

from api.cases.learned.consent import of_case, withdraw
from api.pages.staff.screens import back_to, staff_form
from api.state import state_of

router = APIRouter(prefix="/staff", include_in_schema=False)
"""Included once for each language, under its tag."""


@router.post("/cases/{case_id}/learning")
async def take_back(request: Request, case_id: str) -> Response:
    """Delete the photos of this case that were to be learned from, wherever they are kept."""
    session, _ = await staff_form(request)
    state = state_of(request)
    who, weights = session.who(request), Path(state.settings.weights)
    await run_in_threadpool(withdraw, state.cases, state.shelf, of_case(case_id), who, weights)
    return back_to(case_id, {})

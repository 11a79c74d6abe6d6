"""The audit log for programs. It wants an administrator's token."""

import datetime as dt
import re
from typing import Annotated

from fastapi import APIRouter, Query, Request, Security
from pydantic import BeforeValidator

from api.cases.audit import LARGEST_ID, LINES_SHOWN, AuditPage, audit_page
from api.http.case_routes import SESSION, TOKEN
from api.http.problems import refusals
from api.http.sessions import staff
from api.state import count_request, state_of

MOST_LINES = 500


def _written_out(came: object) -> object:
    """A day as RFC 3339 writes it; a bare number would otherwise be taken for seconds. Raises `ValueError`."""
    if isinstance(came, str) and not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", came):
        raise ValueError("a day is wanted as year, month and day, such as 2026-11-25")
    return came


Day = Annotated[dt.date, BeforeValidator(_written_out)]

router = APIRouter(dependencies=[Security(TOKEN), Security(SESSION)])


@router.get("/v1/audit", responses=refusals(401, 403, 404, 422, 429))
def audit_log(
    request: Request,
    case: Annotated[str, Query(max_length=40, description="the code or the id of a case; a deleted case's id")] = "",
    day: Annotated[Day | None, Query(description="one day in UTC")] = None,
    before: Annotated[int, Query(ge=1, le=LARGEST_ID, description="`older` of the page before")] = LARGEST_ID,
    most: Annotated[int, Query(ge=1, le=MOST_LINES)] = LINES_SHOWN,
) -> AuditPage:
    """Who did what, when, in which case: newest first, a page at a time. An administrator's right."""
    count_request(request)
    staff(request)
    return audit_page(state_of(request).cases, case, day, before, most)

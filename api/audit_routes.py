"""The audit log for programs. It wants an administrator's token."""

import datetime as dt
from typing import Annotated

from fastapi import APIRouter, Query, Request, Security

from api.audit import LARGEST_ID, LINES_SHOWN, AuditPage, audit_page
from api.case_routes import SESSION, TOKEN
from api.problems import refusals
from api.sessions import staff

MOST_LINES = 500

router = APIRouter(dependencies=[Security(TOKEN), Security(SESSION)])


@router.get("/v1/audit", responses=refusals(401, 403, 404, 422, 429))
def audit_log(
    request: Request,
    case: Annotated[str, Query(max_length=40, description="the code or the id of a case; a deleted case's id")] = "",
    day: Annotated[dt.date | None, Query(description="one day in UTC")] = None,
    before: Annotated[int, Query(ge=1, le=LARGEST_ID, description="`older` of the page before")] = LARGEST_ID,
    most: Annotated[int, Query(ge=1, le=MOST_LINES)] = LINES_SHOWN,
) -> AuditPage:
    """Who did what, when, in which case: newest first, a page at a time. An administrator's right."""
    request.app.state.rate.take(request.client.host if request.client else "")
    staff(request, "administrator")
    return audit_page(request.app.state.cases, case, day, before, most)

"""Cases for programs: list, one whole case, delete it, live changes. Each wants the token of a role."""

from typing import Any

from fastapi import APIRouter, Request, Response

from api.case_changes import changes
from api.case_export import export_case
from api.sessions import staff

router = APIRouter()

MOST_LISTED = 200

PROBLEM = {"application/problem+json": {"schema": {"type": "object"}}}
REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"description": description, "content": PROBLEM}
    for status, description in {
        401: "No token, or none that a role has",
        403: "The role may not do this",
        404: "No such case",
        429: "Too many requests from this address; see Retry-After",
    }.items()
}


@router.get("/v1/cases", responses=REFUSALS)
def list_cases(request: Request) -> list[dict[str, Any]]:
    """The cases that changed last, newest first."""
    _taken(request)
    return request.app.state.cases.newest(MOST_LISTED)


@router.get("/v1/cases/{case_id}", responses=REFUSALS)
def one_case(request: Request, case_id: str) -> dict[str, Any]:
    """Everything that is kept of one case: events, readings, pictures, its lines of the audit log."""
    session = _taken(request)
    return export_case(request.app.state.cases, case_id, session.who(request))


@router.delete("/v1/cases/{case_id}", status_code=204, responses=REFUSALS)
def delete_case(request: Request, case_id: str) -> Response:
    """Delete one case with its photos; a line in the audit log stays. An administrator's right."""
    session = _taken(request, "administrator")
    request.app.state.cases.delete(case_id, session.who(request))
    return Response(status_code=204)


@router.get("/v1/cases/{case_id}/changes", responses=REFUSALS, response_class=Response)
def case_changes(request: Request, case_id: str, after: int) -> Response:
    """Server-sent events: `changed` with the version once the case has passed `after`."""
    _taken(request)
    request.app.state.cases.version(case_id)
    return changes(request, case_id, after)


def _taken(request: Request, *roles: str):
    request.app.state.rate.take(request.client.host if request.client else "")
    return staff(request, *roles)

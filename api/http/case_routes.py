"""Cases for programs: list, one whole case, delete it, live changes. Each wants the token of a role."""

from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request, Response, Security
from fastapi.security import APIKeyCookie, HTTPBearer

from api.cases.changes import changes
from api.cases.documents import CaseDocument, CaseLine
from api.cases.export import export_case
from api.cases.learned import consent
from api.http.problems import refusals
from api.http.sessions import COOKIE, Session, staff
from api.state import count_request, state_of

TOKEN = HTTPBearer(scheme_name="token", description="the token of a role", auto_error=False)
SESSION = APIKeyCookie(
    name=COOKIE, scheme_name="session", description="the session of somebody who signed in", auto_error=False
)

router = APIRouter(dependencies=[Security(TOKEN), Security(SESSION)])
"""The two ways in are described here; `api/http/sessions.py` decides."""

MOST_LISTED = 200

OF_ONE_CASE = refusals(401, 403, 404, 422, 429)


@router.get("/v1/cases", response_model=list[CaseLine], responses=refusals(401, 403, 429))
def list_cases(request: Request) -> list[dict[str, Any]]:
    """Every case in which somebody is up, then the cases that changed last, newest first."""
    _taken(request)
    return state_of(request).cases.listed(MOST_LISTED)


@router.get("/v1/cases/{case_id}", response_model=CaseDocument, responses=OF_ONE_CASE)
def one_case(request: Request, case_id: str) -> dict[str, Any]:
    """Everything that is kept of one case: events, readings, pictures, its lines of the audit log."""
    session = _taken(request)
    return export_case(state_of(request).cases, case_id, session.who(request))


@router.delete("/v1/cases/{case_id}", status_code=204, responses=OF_ONE_CASE)
def delete_case(request: Request, case_id: str) -> Response:
    """Delete one case with its photos; a line in the audit log stays. An administrator's right."""
    session = _taken(request)
    state = state_of(request)
    consent.delete_case(state.cases, state.shelf, case_id, session.who(request), Path(state.settings.weights))
    state.learn()
    return Response(status_code=204)


@router.get(
    "/v1/cases/{case_id}/changes",
    response_class=Response,
    responses={
        200: {"content": {"text/event-stream": {"schema": {"type": "string"}}}, "description": "The stream"},
        **OF_ONE_CASE,
    },
)
def case_changes(request: Request, case_id: str, after: int) -> Response:
    """Server-sent events: `changed` with the version once the case has passed `after`."""
    _taken(request)
    state_of(request).cases.version(case_id)
    return changes(state_of(request).live, case_id, after)


def _taken(request: Request) -> Session:
    count_request(request)
    return staff(request)

"""The figures of the server for whoever watches it."""

from fastapi import APIRouter, Request, Response, Security
from prometheus_client import CONTENT_TYPE_LATEST

from api.http.case_routes import SESSION, TOKEN
from api.http.problems import refusals
from api.http.sessions import staff
from api.state import count_request, state_of

router = APIRouter(dependencies=[Security(TOKEN), Security(SESSION)])

TEXT = {"content": {"text/plain": {"schema": {"type": "string"}}}, "description": "Figures by route"}


@router.get("/metrics", response_class=Response, responses={200: TEXT, **refusals(401, 403, 429)})
def metrics(request: Request) -> Response:
    """Counts and times in Prometheus' text format, without a word of any case. For the token of metrics."""
    state = state_of(request)
    count_request(request)
    staff(request)
    return Response(state.metrics.text(), media_type=CONTENT_TYPE_LATEST)

"""Every error as application/problem+json (RFC 9457), mapped from the tree of failures in one place."""

from http import HTTPStatus
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import Match

from api.cases.store import Conflict, NoSuchCase, StillUp
from api.gate.address import way_back
from api.http.page_errors import error_page, wants_page
from api.http.sessions import NotAllowed, SignInNeeded
from api.http.slots import RETRY_AFTER_S, Full, TooManyRequests
from api.state import state_of
from classifier import errors

MEDIA_TYPE = "application/problem+json"

STATUS_OF = {
    errors.NotAPhoto: (415, "Not a photo that we read"),
    errors.PhotoTooLarge: (413, "Photo too large"),
    errors.UnreadablePhoto: (422, "Photo cannot be read"),
    errors.NothingToGoOn: (422, "Nothing to go on"),
    errors.TooManyPhotos: (422, "Too many photos"),
    errors.ObservationError: (422, "Observation not understood"),
    errors.ReadingError: (422, "Reading not possible"),
    errors.CaseError: (422, "Case not understood"),
    errors.InputError: (422, "Request not understood"),
}
"""Failures of a request to status and title; anything else is a fault of ours (500)."""


MEANING_OF = {
    401: "No token, or none that a role has",
    403: "The role may not do this",
    404: "No such case",
    408: "The body came too slowly",
    413: "Too many bytes or pixels",
    415: "Not a body, or not an image, that we read",
    422: "Unreadable or malformed",
    429: "Too many requests from this address; see Retry-After",
    500: "A fault of ours",
    503: "Full; see Retry-After",
}
"""The statuses that a route can answer with instead of its document."""


class Problem(BaseModel):
    """What went wrong, as RFC 9457 lays it out: the same members for every error of every route."""

    type: str = Field(
        json_schema_extra={"format": "uri"}, description="names the kind of problem, the same from release to release"
    )
    title: str = Field(description="the kind of problem in words")
    status: int = Field(ge=400, le=599, description="the status of the answer")
    detail: str = Field(description="what came, what is wanted, and what to do next")
    instance: str = Field(json_schema_extra={"format": "uri-reference"}, description="the address that was asked")
    photo: str | None = Field(None, description="the name of the photo that it is about")
    version: int | None = Field(None, description="the version of the case by now")


def refusals(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """These statuses as the description of a route names them; the document of each is a `Problem`."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {status: {"description": MEANING_OF[status], "content": content} for status in statuses}


class RequestTooLarge(Exception):
    """More bytes are coming than a request may have; the message says how many may come."""


def problem(
    request: Request,
    status: int,
    title: str,
    detail: str,
    headers: dict | None = None,
    page_words: str | None = None,
    **more: object,
) -> Response:
    """One problem document; a page for a browser. `type` names the kind of problem and stays between releases."""
    if wants_page(request):
        return error_page(request, status, headers, page_words)
    body = {
        "type": "urn:hoistlore:problem:" + title.lower().replace(" ", "-").replace("'", ""),
        "title": title,
        "status": status,
        "detail": detail,
        "instance": quote(request.url.path),
        **more,
    }
    return JSONResponse(body, status, headers, MEDIA_TYPE)


def install(app: FastAPI) -> None:
    """Answer every exception of this application with a problem document, and say so in its description."""
    described = app.openapi

    def with_problems() -> dict[str, Any]:
        document = described()
        document["components"]["schemas"]["Problem"] = Problem.model_json_schema()
        return document

    app.openapi = with_problems
    app.add_exception_handler(errors.HoistloreError, _failure)
    app.add_exception_handler(NoSuchCase, _no_case)
    app.add_exception_handler(Conflict, _conflict)
    app.add_exception_handler(StillUp, _still_up)
    app.add_exception_handler(SignInNeeded, _sign_in)
    app.add_exception_handler(NotAllowed, _not_allowed)
    app.add_exception_handler(RequestTooLarge, _too_large)
    app.add_exception_handler(ClientDisconnect, _gone)
    app.add_exception_handler(Full, _full)
    app.add_exception_handler(TooManyRequests, _too_many)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(Exception, _fault)


async def _failure(request: Request, error: errors.HoistloreError) -> Response:
    status, title = next((STATUS_OF[t] for t in type(error).__mro__ if t in STATUS_OF), (0, ""))
    if not status:
        return await _fault(request, error)
    more = {"photo": error.name} if isinstance(error, errors.PhotoError) else {}
    if isinstance(error, errors.UnreadablePhoto | errors.PhotoTooLarge):  # of what is no photo the page says more
        more["page_words"] = error.reason
    elif isinstance(error, errors.TooManyPhotos | errors.NothingToGoOn):
        more["page_words"] = error.args[0]
    return problem(request, status, title, str(error), **more)


async def _no_case(request: Request, error: NoSuchCase) -> Response:
    return problem(request, 404, "No such case", "No case is here. It may have been deleted; open a new one.")


async def _conflict(request: Request, error: Conflict) -> Response:
    return problem(request, 409, "Changed meanwhile", str(error), version=error.version)


async def _still_up(request: Request, error: StillUp) -> Response:
    return problem(request, 409, "Somebody is still up", str(error))


async def _sign_in(request: Request, error: SignInNeeded) -> Response:
    if wants_page(request):
        back = way_back(request, state_of(request).pages.languages)
        query = f"?{urlencode({'next': back})}" if back else ""
        return RedirectResponse(f"/{request.url.path.split('/')[1]}/staff/sign-in{query}", 303)
    headers = {"WWW-Authenticate": "Bearer"}
    return problem(request, 401, "Sign in first", "Send the token of a role as a Bearer token.", headers)


async def _not_allowed(request: Request, error: NotAllowed) -> Response:
    return problem(request, 403, "Not allowed", "This role may not do this. Sign in with one that may.")


async def _too_large(request: Request, error: RequestTooLarge) -> Response:
    return problem(request, 413, "Request too large", str(error), {"Connection": "close"})


async def _gone(request: Request, error: ClientDisconnect) -> Response:
    """Whoever sent this has gone before it was all there: nothing was kept, and nobody reads the answer."""
    return Response(status_code=400)


async def _full(request: Request, error: Full) -> Response:
    detail = f"Every place is taken just now. Send the same request again in {RETRY_AFTER_S} seconds."
    return problem(request, 503, "Server is full", detail, {"Retry-After": str(RETRY_AFTER_S)})


async def _too_many(request: Request, error: TooManyRequests) -> Response:
    detail = f"Too many requests came from your address. Wait {error.retry_after_s} seconds and send it again."
    return problem(request, 429, "Too many requests", detail, {"Retry-After": str(error.retry_after_s)})


async def _http(request: Request, error: HTTPException) -> Response:
    if error.status_code == 404 and request.method == "GET" and (other := _other_slash(request)):
        return RedirectResponse(other, 307)
    phrase = HTTPStatus(error.status_code).phrase
    told = str(error.detail)
    if told == phrase:
        told = f"{request.method} {request.url.path} is not served; /docs describes what is."
    headers = dict(error.headers or {})
    if error.status_code == 405:
        headers["Allow"] = ", ".join(_methods_of(request))
    return problem(request, error.status_code, phrase.capitalize(), told, headers)


def _other_slash(request: Request) -> str | None:
    """The same address with or without the slash at its end, when that is served; without a word of the Host header."""
    path = request.url.path
    other = path.rstrip("/") if path.endswith("/") else f"{path}/"
    if not _served(request, other):
        return None
    return quote(other) + (f"?{request.url.query}" if request.url.query else "")


def _served(request: Request, path: str) -> bool:
    scope = {**request.scope, "path": path}
    return any(route.matches(scope)[0] is Match.FULL for route in request.app.routes)


def _methods_of(request: Request) -> list[str]:
    """The methods that are served at this address; the framework names those of its first route alone."""

    def served(method: str) -> bool:
        scope = {**request.scope, "method": method}
        return any(route.matches(scope)[0] is Match.FULL for route in request.app.routes)

    return [method for method in ("DELETE", "GET", "HEAD", "PATCH", "POST", "PUT") if served(method)]


async def _invalid(request: Request, error: RequestValidationError) -> Response:
    told = "; ".join(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors())
    return problem(request, 422, "Request not understood", told)


async def _fault(request: Request, error: Exception) -> Response:
    return problem(request, 500, "A fault of ours", "Something went wrong on our side; the log has the details.")

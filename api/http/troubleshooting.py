"""POST /v1/troubleshooting: one case in, what to do now out. Nothing is kept between two calls."""

from collections.abc import Callable
from json import JSONDecodeError
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from api.http.problems import refusals
from api.state import AppState, count_request, state_of
from classifier.errors import InputError
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case, Troubleshooting
from guidance.documents.strict_json import loads

MOST_CASE_BYTES = 256 * 1024
"""A case is a few kilobytes; more is refused before it is read to its end."""


class _StrictRequest(Request):
    """A request whose JSON is read strictly: no key twice, no NaN."""

    async def json(self) -> Any:
        try:
            return loads(await self.body())
        except (JSONDecodeError, UnicodeDecodeError):
            raise
        except ValueError as error:
            raise InputError(f"The body cannot be taken as it is: {error}.") from error


class _SmallBodies(APIRoute):
    """Routes whose JSON body is counted while it comes, whatever its headers claim."""

    def get_route_handler(self) -> Callable:
        handler = super().get_route_handler()

        async def limited(request: Request) -> Response:
            came = 0

            async def receive() -> dict:
                nonlocal came
                message = await request.receive()
                came += len(message.get("body", b""))
                if came > MOST_CASE_BYTES:
                    raise HTTPException(413, f"A case may have {MOST_CASE_BYTES // 1024} KiB; send less.")
                return message

            try:
                return await handler(_StrictRequest(request.scope, receive))
            except HTTPException as error:
                if error.status_code != 400:
                    raise
                if isinstance(error.__cause__, InputError):
                    raise error.__cause__ from None
                raise InputError("The body is no text in UTF-8. Send one case as JSON.") from error

        return limited


router = APIRouter(route_class=_SmallBodies)


@router.post("/v1/troubleshooting", response_model=Troubleshooting, responses=refusals(408, 413, 422, 429, 503))
async def troubleshooting(case: Case, request: Request) -> Response:
    """What is said first, what is probably wrong, which step comes next and why, and which part fits."""
    state = state_of(request)
    await run_in_threadpool(count_request, request)
    document = await state.slots.run(_answered, case, state)
    return Response(document, media_type="application/json")


def _answered(case: Case, state: AppState) -> bytes:
    return troubleshoot(case, state.resources.catalogue).model_dump_json().encode()

"""POST /v1/troubleshooting: one case in, what to do now out. Nothing is kept between two calls."""

from collections.abc import Callable

from fastapi import APIRouter, Request, Response
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from api.http.problems import refusals
from classifier.errors import InputError
from guidance.catalogue.catalogue import Catalogue
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case, Troubleshooting

MOST_CASE_BYTES = 256 * 1024
"""A case is a few kilobytes; more is refused before it is read to its end."""


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
                return await handler(Request(request.scope, receive))
            except HTTPException as error:
                if error.status_code != 400:
                    raise
                raise InputError("The body is no text in UTF-8. Send one case as JSON.") from error

        return limited


router = APIRouter(route_class=_SmallBodies)


@router.post("/v1/troubleshooting", response_model=Troubleshooting, responses=refusals(413, 422, 429, 503))
async def troubleshooting(case: Case, request: Request) -> Response:
    """What is said first, what is probably wrong, which step comes next and why, and which part fits."""
    state = request.app.state
    state.rate.take(request.client.host if request.client else "")
    document = await state.slots.run(_answered, case, state.resources.catalogue)
    return Response(document, media_type="application/json")


def _answered(case: Case, catalogue: Catalogue) -> bytes:
    return troubleshoot(case, catalogue).model_dump_json().encode()

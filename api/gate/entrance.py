"""What happens to every request before a route sees it: bodies that trickle are ended; behind TLS it stays TLS."""

import asyncio
import time

from fastapi import Request
from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.gate.address import behind_tls

GRACE_S, LEAST_BYTES_PER_S = 20, 500
"""For a body to come: so long, and longer by what came. A telephone at the edge of a cell manages more than that."""

HSTS = "max-age=31536000"
"""A year; of this host alone, since others below it are not ours to promise for."""


class TooSlow(HTTPException):
    """The body of a request comes too slowly to wait for."""

    def __init__(self) -> None:
        told = f"The request came too slowly; {GRACE_S} seconds and {LEAST_BYTES_PER_S} bytes a second are the least."
        super().__init__(408, told, {"Connection": "close"})


class Entrance:
    """ASGI: bounds the time of a body, and says HSTS where the browser came through TLS (RFC 6797, 7.2)."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        secure = behind_tls(Request(scope))

        async def sent(message: Message) -> None:
            if secure and message["type"] == "http.response.start":
                MutableHeaders(scope=message)["Strict-Transport-Security"] = HSTS
            await send(message)

        await self._app(scope, _bounded(receive), sent)


def _bounded(receive: Receive) -> Receive:
    """The same body, or `TooSlow`; once it is all there, the wait for a hang-up takes as long as it takes."""
    began, came, more = time.monotonic(), 0, True

    async def received() -> Message:
        nonlocal came, more
        if not more:
            return await receive()
        left = began + GRACE_S + came / LEAST_BYTES_PER_S - time.monotonic()
        try:
            message = await asyncio.wait_for(receive(), max(0, left))
        except TimeoutError:
            raise TooSlow from None
        came += len(message.get("body", b""))
        more = message["type"] == "http.request" and message.get("more_body", False)
        return message

    return received

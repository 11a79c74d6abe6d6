"""Live updates as server-sent events: one line when a case has a newer version than the page shows."""

import asyncio
from collections.abc import AsyncIterator

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse

from api.cases.store import NoSuchCase

LOOK_EVERY_S = 1.0
"""The database is asked, not this process alone, so that several servers on one database see each other's changes."""

LONGEST_S = 300
"""After this the stream ends and the browser opens a new one, so that nobody's forgotten page is served for ever."""


def changes(request: Request, case_id: str, after: int) -> StreamingResponse:
    """A stream that says `changed` with the version once the case has passed `after`, or is gone."""
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(_lines(request, case_id, after), media_type="text/event-stream", headers=headers)


async def _lines(request: Request, case_id: str, after: int) -> AsyncIterator[str]:
    yield "retry: 3000\n\n"
    for _ in range(int(LONGEST_S / LOOK_EVERY_S)):
        try:
            version = await run_in_threadpool(request.app.state.cases.version, case_id)
        except NoSuchCase:
            version = -1
        if version < 0 or version > after:
            yield f"event: changed\ndata: {version}\n\n"
            return
        yield ": still there\n\n"  # also how a reader that has gone away is noticed
        await asyncio.sleep(LOOK_EVERY_S)

"""Live updates as server-sent events: that a case has a newer version than the page shows, and that somebody is up.

One look at the database serves all open pages of a server; it looks when it hears that something changed.
"""

import asyncio
import json
import random
import time
from collections import Counter
from collections.abc import AsyncIterator, Collection, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse
from sqlalchemy import select

from api.cases.database import reading
from api.cases.looking import EVERY_S, Viewer, look, looking_now
from api.cases.store import CaseStore, spoken_code
from api.cases.tables import cases

LONGEST_S = 300
"""After this the stream ends and the browser opens a new one, so that nobody's forgotten page is served for ever."""

PAUSE_S = 0.1
"""Between two looks: what changes meanwhile is seen by the second."""

RETRY_MS = (300, 900)
"""When a browser comes again whose stream broke off: not all of them at once."""


@dataclass(frozen=True)
class Seen:
    """The versions of the cases that were asked for (-1: gone), who is up, and who looks at which case."""

    versions: dict[str, int]
    up: list[dict[str, str]]
    looking: dict[str, list[str]]


def seen_now(store: CaseStore, case_ids: Collection[str]) -> Seen:
    """What the database says of these cases, and of everyone who is up."""
    wanted = select(cases.c.id, cases.c.version).where(cases.c.id.in_(case_ids))
    with reading(store.engine) as connection:
        found = {row.id: row.version for row in connection.execute(wanted)} if case_ids else {}
    up = [{"id": row["id"], "code": spoken_code(row["code"])} for row in store.up_now()]
    return Seen(dict.fromkeys(case_ids, -1) | found, up, looking_now(store, case_ids))


@dataclass
class Live:
    """The open pages of this server, and what they were shown last. For one event loop."""

    store: CaseStore
    _open: Counter[Viewer] = field(default_factory=Counter)
    _news: asyncio.Event = field(default_factory=asyncio.Event)
    _told: asyncio.Event = field(default_factory=asyncio.Event)
    _asked: int = 0
    _last: Seen | None = None

    def wake(self) -> None:
        """Something changed."""
        self._news.set()

    async def run(self) -> None:
        """Look whenever something changed, and say every few seconds which pages are open."""
        said = 0.0
        while True:
            if time.monotonic() - said >= EVERY_S:
                said = time.monotonic()
                await run_in_threadpool(look, self.store, [viewer for viewer in self._open if viewer.actor])
            with_case = {viewer.case_id for viewer in self._open if viewer.case_id}
            self._news.clear()
            if self._open:
                self._tell(await run_in_threadpool(seen_now, self.store, with_case))
            await asyncio.sleep(PAUSE_S)
            try:
                await asyncio.wait_for(self._news.wait(), EVERY_S)
            except TimeoutError:
                continue

    def _tell(self, seen: Seen) -> None:
        told, self._told = self._told, asyncio.Event()
        self._asked, self._last = self._asked + 1, seen
        told.set()

    @contextmanager
    def opened(self, viewer: Viewer) -> Iterator[None]:
        """While a page is open."""
        self._open[viewer] += 1
        try:
            yield
        finally:
            self._open -= Counter([viewer])

    @property
    def asked(self) -> int:
        """How often this server has asked the database."""
        return self._asked

    async def seen_after(self, asked: int, most_s: float) -> Seen | None:
        """What was seen last, once there was another look; None when there was none for so long."""
        if self._asked == asked:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._told.wait(), most_s)
        return self._last if self._asked > asked else None


def changes(live: Live, case_id: str | None, after: int, tell_up: bool = False, actor: str = "") -> StreamingResponse:
    """A stream that says `changed` with the version once the case has passed `after`, or is gone.

    With `tell_up` it also says `up`, at first and whenever it changes: the cases in which somebody is up, as JSON.
    With an `actor`, who has the case's page open, it tells the others so, and says `looking`: the others' names.
    """
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    lines = _lines(live, Viewer(case_id or "", actor), after, tell_up)
    return StreamingResponse(lines, media_type="text/event-stream", headers=headers)


async def _lines(live: Live, viewer: Viewer, after: int, tell_up: bool) -> AsyncIterator[str]:
    yield f"retry: {random.randint(*RETRY_MS)}\n\n"
    ends, told = time.monotonic() + LONGEST_S, dict[str, object]()
    with live.opened(viewer):
        asked, seen = live.asked, await run_in_threadpool(_first, live.store, viewer)
        while time.monotonic() < ends:
            for event, data in _events(seen, viewer, tell_up) if seen else ():
                if told.get(event) != data:
                    told[event] = data
                    yield f"event: {event}\ndata: {json.dumps(data)}\n\n"
            version = seen.versions.get(viewer.case_id, 0) if seen else 0  # 0: without a case, or not asked for yet
            if version < 0 or version > after:
                yield f"event: changed\ndata: {version}\n\n"
                return
            yield ": still there\n\n"  # also how a reader that has gone away is noticed
            seen, asked = await live.seen_after(asked, EVERY_S), live.asked


def _first(store: CaseStore, viewer: Viewer) -> Seen:
    if viewer.case_id and viewer.actor:
        look(store, [viewer])
    return seen_now(store, {viewer.case_id} if viewer.case_id else ())


def _events(seen: Seen, viewer: Viewer, tell_up: bool) -> Iterator[tuple[str, object]]:
    if viewer.actor and viewer.case_id:
        yield "looking", [name for name in seen.looking.get(viewer.case_id, []) if name != viewer.actor]
    if tell_up:
        yield "up", seen.up

"""What a server does beside answering: hear what others changed, take new models, delete what is over."""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from contextlib import aclosing, suppress

from fastapi.concurrency import run_in_threadpool
from sqlalchemy.exc import SQLAlchemyError

from api.cases.expiry import delete_expired
from api.models import LOOK_EVERY_S
from api.servers.news import news_of
from api.servers.rate import forget_idle
from api.servers.turn import Turn
from api.state import AppState

LOG = logging.getLogger("hoistlore")

MINUTE_S, HOUR_S = 60, 3600

AGAIN_S = 2

TOLD_TOGETHER = 200
"""Cases whose lines are told in one transaction, after an upgrade: others write in between."""


async def kept_up(work: Callable[[], Awaitable[None]]) -> None:
    """Work that ends by being cancelled alone: where the database is away for a moment, it begins again."""
    while True:
        try:
            await work()
        except SQLAlchemyError as error:
            LOG.warning("The database cannot be used (%s); trying again.", type(error).__name__)
            await asyncio.sleep(AGAIN_S)


class Upkeep:
    """The work of one server, from its start to its end."""

    def __init__(self, state: AppState) -> None:
        self._state = state
        self._taught = asyncio.Event()
        self._turn = Turn(state.cases.engine)
        works = (self._minutes, self._hours, self._models, self._hear, self._rates, state.live.run)
        self._working = [asyncio.create_task(kept_up(work)) for work in works]

    async def end(self) -> None:
        """Leave nothing running; another server takes over what is done once."""
        for each in self._working:
            each.cancel()
            with suppress(asyncio.CancelledError):
                await each
        self._turn.give_back()

    async def _minutes(self) -> None:
        """Each minute forget what is held for minutes: by one server of all on a database."""
        while True:
            if await run_in_threadpool(self._turn.mine):
                await run_in_threadpool(self._forget)
            await asyncio.sleep(MINUTE_S)

    async def _hours(self) -> None:
        """Now and each hour delete what is over: by one server of all on a database."""
        while True:
            mine = await run_in_threadpool(self._turn.mine)
            if mine:
                await self._expire()
            await asyncio.sleep(HOUR_S if mine else MINUTE_S)

    def _forget(self) -> None:
        store = self._state.cases
        self._state.shelf.drop_old(store.now_ms())
        forget_idle(store.engine, store.now_ms())

    async def _expire(self) -> None:
        """Look for what is over, and for what was closed through the version of this server before."""
        while await run_in_threadpool(self._state.cases.tell_untold, TOLD_TOGETHER):
            pass
        await run_in_threadpool(delete_expired, self._state.cases, self._state.settings.case_days)
        await run_in_threadpool(self._state.learn)

    async def _models(self) -> None:
        """Look every few seconds whether another model was promoted, or waits to be tried."""
        while True:
            await run_in_threadpool(self._state.take_models)
            await asyncio.sleep(LOOK_EVERY_S)

    async def _hear(self) -> None:
        """Pass on what changed, through whatever server."""
        async with aclosing(news_of(self._state.cases.engine)) as news:
            async for topic in news:
                self._state.live.wake() if topic == "cases" else self._taught.set()

    async def _rates(self) -> None:
        """Rank by what cases teach that were closed through another server."""
        while True:
            await self._taught.wait()
            self._taught.clear()
            await run_in_threadpool(self._state.take_rates)
            await asyncio.sleep(1)

"""How a server hears that something on the database changed, through whatever server or command."""

import asyncio
import logging
from collections.abc import AsyncIterator
from typing import Literal

from fastapi.concurrency import run_in_threadpool
from sqlalchemy import Engine

LOG = logging.getLogger("hoistlore")

News = Literal["cases", "taught"]
"""Any case, or who looks at one; what closed cases teach."""

CHANNELS: dict[str, News] = {"hoistlore_cases": "cases", "hoistlore_taught": "taught"}
"""On which PostgreSQL tells it: triggers do (migration 0013), so that nobody who writes can forget to."""

LOOK_EVERY_S = 0.25
"""SQLite is asked whether anything was written: one look at a counter, for all viewers together."""

AGAIN_S = 1.0
"""After which a connection that broke is opened anew."""


def news_of(engine: Engine) -> AsyncIterator[News]:
    """Each change as it is heard of, for ever; several at once may come as one."""
    return _told(engine) if engine.dialect.name == "postgresql" else _looked(engine)


async def _told(engine: Engine) -> AsyncIterator[News]:
    """By LISTEN on a connection of its own."""
    import psycopg  # which only those have who keep cases in PostgreSQL

    _, options = engine.dialect.create_connect_args(engine.url)
    while True:
        try:
            async with await psycopg.AsyncConnection.connect(**options, autocommit=True) as connection:
                for channel in CHANNELS:
                    await connection.execute(f"LISTEN {channel}")
                for topic in CHANNELS.values():  # whatever was missed before
                    yield topic
                async for notice in connection.notifies():
                    yield CHANNELS[notice.channel]
        except psycopg.OperationalError as error:
            LOG.warning("The database tells no news (%s); trying again.", str(error).splitlines()[0])
        await asyncio.sleep(AGAIN_S)


async def _looked(engine: Engine) -> AsyncIterator[News]:
    """By the counter that SQLite raises for this connection whenever another one has written."""
    with engine.connect() as connection:
        connection = connection.execution_options(reads=True)
        seen = None
        while True:
            now = await run_in_threadpool(lambda: connection.exec_driver_sql("PRAGMA data_version").scalar())
            if now != seen:
                seen = now
                yield "cases"
            await asyncio.sleep(LOOK_EVERY_S)

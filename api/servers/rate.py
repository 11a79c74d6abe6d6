"""How often one address, or one case, may be asked for: counted by all servers on one database together."""

import math
import time
from collections.abc import Callable
from typing import Protocol

from sqlalchemy import Engine, delete, func, select
from sqlalchemy.dialects.postgresql import insert

from api.cases.store import hashed
from api.http.slots import TooManyRequests
from api.servers.tables import rates

MOST_ADDRESSES = 10_000
"""Addresses remembered by one server; beyond that the idle ones are forgotten."""

MINUTE_MS = 60_000

Clock = Callable[[], int]


def monotonic_ms() -> int:
    """A clock that nobody sets."""
    return time.monotonic_ns() // 1_000_000


def wall_clock_ms() -> int:
    """A clock that all servers read alike, as far as they are set alike."""
    return time.time_ns() // 1_000_000


class Rate(Protocol):
    """A bucket of so many requests a minute for each address, that refills evenly."""

    def take(self, address: str) -> None:
        """Count one request. Raises `TooManyRequests`."""


def rate_of(engine: Engine, name: str, per_minute: int) -> Rate:
    """The limit with this name of the servers on this database; 0: none."""
    return SharedRate(engine, name, per_minute) if engine.dialect.name == "postgresql" else OwnRate(per_minute)


class OwnRate:
    """In the memory of the one server. `now_ms` is a clock."""

    def __init__(self, per_minute: int, now_ms: Clock = monotonic_ms) -> None:
        self._per_minute = per_minute
        self._now_ms = now_ms
        self._left: dict[str, tuple[float, float]] = {}  # address -> requests left, when counted

    def take(self, address: str) -> None:
        """Count one request of this address. Raises `TooManyRequests`."""
        if self._per_minute == 0:
            return
        now = self._now_ms()
        left, then = self._left.get(address, (float(self._per_minute), now))
        left = min(self._per_minute, left + (now - then) * self._per_minute / MINUTE_MS)
        if left < 1:
            raise TooManyRequests(_wait_s(left, self._per_minute))
        self._left[address] = (left - 1, now)
        if len(self._left) > MOST_ADDRESSES:
            self._left = {a: state for a, state in self._left.items() if now - state[1] < MINUTE_MS}


class SharedRate:
    """In an unlogged table of PostgreSQL, by the hash of the address. `now_ms` is a clock."""

    def __init__(self, engine: Engine, name: str, per_minute: int, now_ms: Clock = wall_clock_ms) -> None:
        self._engine, self._name, self._per_minute, self._now_ms = engine, name, per_minute, now_ms

    def take(self, address: str) -> None:
        """Count one request of this address, in one statement, so that no two pass each other."""
        if self._per_minute == 0:
            return
        most, now, key = float(self._per_minute), self._now_ms(), hashed(f"{self._name} {address}")
        passed_ms = func.greatest(0, now - rates.c.counted_ms)  # clocks of servers differ by a little
        left = func.least(most, rates.c.requests_left + passed_ms * most / MINUTE_MS)
        first = insert(rates).values(key=key, requests_left=most - 1, counted_ms=now)
        again = {"requests_left": left - 1, "counted_ms": func.greatest(rates.c.counted_ms, now)}
        counted = first.on_conflict_do_update(index_elements=[rates.c.key], set_=again, where=left >= 1)
        with self._engine.begin() as connection:
            if connection.execute(counted.returning(rates.c.key)).first() is None:
                raise TooManyRequests(_wait_s(connection.scalar(select(left).where(rates.c.key == key)), most))


def forget_idle(engine: Engine, now_ms: int) -> None:
    """Forget who asked for nothing for a minute: their bucket is full again."""
    if engine.dialect.name == "postgresql":
        with engine.begin() as connection:
            connection.execute(delete(rates).where(rates.c.counted_ms < now_ms - MINUTE_MS))


def _wait_s(left: float, per_minute: float) -> int:
    return math.ceil((1 - left) * 60 / per_minute)

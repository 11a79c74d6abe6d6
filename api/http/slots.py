"""How much work the server takes on: a bounded number of photos at once, a bounded queue, a bounded rate an address."""

import asyncio
import math
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

RETRY_AFTER_S = 2
"""What a client is told to wait when every slot and every place in the queue is taken."""

MOST_ADDRESSES = 10_000
"""Addresses remembered for the rate; beyond that the idle ones are forgotten."""


class Full(Exception):
    """Every slot and every place in the queue is taken."""


class TooManyRequests(Exception):
    """One address asked too often; `retry_after_s` says when it may ask again."""

    def __init__(self, retry_after_s: int) -> None:
        super().__init__()
        self.retry_after_s = retry_after_s


class Slots:
    """Runs blocking work in at most `slots` threads while at most `queue` more calls wait. For one event loop."""

    def __init__(self, slots: int, queue: int) -> None:
        self._pool = ThreadPoolExecutor(slots, thread_name_prefix="photo")
        self._most = slots + queue
        self._taken = 0

    @property
    def taken(self) -> int:
        """Calls that run or wait just now."""
        return self._taken

    def refuse_if_full(self) -> None:
        """Raise `Full` before a request's body is read for nothing."""
        if self._taken >= self._most:
            raise Full

    async def run(self, work: Callable[..., Any], *args: Any) -> Any:
        """The result of `work(*args)`. Raises `Full` at once when there is no place, and whatever `work` raises."""
        self.refuse_if_full()
        future = asyncio.get_running_loop().run_in_executor(self._pool, work, *args)
        self._taken += 1
        future.add_done_callback(self._give_back)  # also when the caller has gone away: the thread is still busy
        return await asyncio.shield(future)

    def close(self) -> None:
        """Let running work finish and take no more."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _give_back(self, future: asyncio.Future) -> None:
        self._taken -= 1
        if not future.cancelled():
            future.exception()  # mark as seen: the caller may have gone away


class Rate:
    """A bucket of `per_minute` requests an address that refills evenly. `clock` counts seconds."""

    def __init__(self, per_minute: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._per_minute = per_minute
        self._clock = clock
        self._left: dict[str, tuple[float, float]] = {}  # address -> requests left, when counted

    def take(self, address: str) -> None:
        """Count one request of this address. Raises `TooManyRequests`."""
        if self._per_minute == 0:
            return
        now = self._clock()
        left, then = self._left.get(address, (float(self._per_minute), now))
        left = min(self._per_minute, left + (now - then) * self._per_minute / 60)
        if left < 1:
            raise TooManyRequests(math.ceil((1 - left) * 60 / self._per_minute))
        self._left[address] = (left - 1, now)
        if len(self._left) > MOST_ADDRESSES:
            self._left = {a: state for a, state in self._left.items() if now - state[1] < 60}

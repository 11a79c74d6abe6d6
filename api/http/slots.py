"""How much work the server takes on: a bounded number of photos at once, a bounded queue."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

RETRY_AFTER_S = 2
"""What a client is told to wait when every slot and every place in the queue is taken."""


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
    def most(self) -> int:
        """Calls that can run or wait."""
        return self._most

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

"""Linear algebra on one core: these arrays are small, and threads that wait for each other cost more than they save."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from threadpoolctl import ThreadpoolController


@contextmanager
def one_core() -> Iterator[None]:
    """Hold numpy's BLAS to one thread. On a busy machine of two cores this makes a step about six times cheaper."""
    with _controller().limit(limits=1, user_api="blas"):
        yield


@cache
def _controller() -> ThreadpoolController:
    """Finding the libraries takes a millisecond, so it is done once."""
    return ThreadpoolController()

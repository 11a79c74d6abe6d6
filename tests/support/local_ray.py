"""A Ray of this machine with two workers, for the tests that compare what it does with the plain way."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest


@contextmanager
def starting() -> Iterator[None]:
    """Skips the test where Ray does not start: it gives its processes 30 s, which a busy machine may not have."""
    try:
        yield
    except Exception as problem:
        pytest.skip(f"Ray did not start here: {problem}")


@contextmanager
def local_ray() -> Iterator[None]:
    """While it runs, every `Cluster` of this process joins it; skips the test where Ray is not there."""
    ray = pytest.importorskip("ray")
    with starting():
        ray.init(address="local", num_cpus=2, include_dashboard=False, log_to_driver=False, logging_level="ERROR")
    try:
        yield
    finally:
        ray.shutdown()

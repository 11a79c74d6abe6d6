"""A Ray of this machine with two workers, for the tests that compare what it does with the plain way."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest


@contextmanager
def local_ray() -> Iterator[None]:
    """While it runs, every `Cluster` of this process joins it; skips the test where Ray is not there or not started."""
    ray = pytest.importorskip("ray")
    try:
        ray.init(address="local", num_cpus=2, include_dashboard=False, log_to_driver=False, logging_level="ERROR")
    except Exception as problem:  # Ray gives its own processes 30 s to start, which a busy machine may not have
        pytest.skip(f"Ray did not start here: {problem}")
    try:
        yield
    finally:
        ray.shutdown()

"""A rendering process that dies is noticed: the workers behind it would wait for ever."""

import multiprocessing

import pytest

from synthetic_samples.render_queue import RenderQueue


def test_a_dead_renderer_is_named() -> None:
    queue = RenderQueue(multiprocessing.get_context("spawn"), "no_such_variant", gpus=1, workers=1)
    try:
        queue._processes[0].join(60)
        with pytest.raises(RuntimeError, match=r"1 of 1 rendering processes ended \(exit status 1\)"):
            queue.check()
    finally:
        queue.close()

"""Rendering processes: one that dies is noticed, and the first one compiles for all."""

import multiprocessing
from dataclasses import replace

import pytest

from synthetic_samples.render.flatten import flatten
from synthetic_samples.render.queue import RendererLost, RenderQueue, render_remotely
from synthetic_samples.scene.scene import draw_scene


def test_a_dead_renderer_is_noticed() -> None:
    queue = RenderQueue(multiprocessing.get_context("spawn"), "no_such_variant", gpus=1, workers=1)
    try:
        with pytest.raises(RendererLost, match="a rendering process ended"):
            render_remotely(queue.ends[0], "a scene")
    finally:
        queue.close()


def test_the_others_wait_until_the_first_has_drawn_a_picture() -> None:
    flat = flatten(replace(draw_scene(1, 0, "train"), width=32, height=24, samples=1))
    queue = RenderQueue(multiprocessing.get_context("spawn"), "scalar_rgb", gpus=1, workers=2)
    first, other = queue.ends
    try:
        other.send(flat)
        assert not other.poll(6)
        first.send(flat)
        assert first.poll(60) and other.poll(60)
        for end in queue.ends:
            rendered, error = end.recv()
            assert error is None and rendered.radiance.shape == (24, 32, 3)
    finally:
        queue.close()

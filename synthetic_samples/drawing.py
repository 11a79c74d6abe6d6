"""What a worker that draws does: the number of a picture to its files and its row."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing.connection import Connection
from typing import Any

import cv2

from synthetic_samples.picture import Drawn, code_version, draw_picture
from synthetic_samples.render.flatten import FlatScene
from synthetic_samples.render.queue import (
    RendererLost,
    keep_to_few_cores,
    render_remotely,
    start_geometry_on_one_core,
)
from synthetic_samples.render.render import Rendered, render, use_variant
from synthetic_samples.scene.scene import draw_scene
from workers.places import check_worker, versions_of

_LIBRARIES = ("mitsuba", "manifold3d", "numpy", "opencv-python-headless", "pillow", "scipy")


def made_by() -> dict[str, str]:
    """What a picture depends on beside its seed and its style: code and libraries, each with its version."""
    return {"synthetic_samples": code_version(), **versions_of(*_LIBRARIES)}


@dataclass(frozen=True)
class Pipes:
    """Pipes to the rendering processes of this machine (`RenderQueue.ends`), and how many workers took one."""

    ends: list[Connection]
    taken: Any

    def one(self) -> Connection:
        with self.taken.get_lock():
            number = self.taken.value
            self.taken.value += 1
        if number >= len(self.ends):  # what was asked for on the lost one's pipe would come as another picture's
            raise RendererLost("a drawing process was lost")
        return self.ends[number]


@dataclass(frozen=True)
class Drawing:
    """What every worker has to know. `expects`: `made_by` of whoever asks; `pipes`: to who renders, if others do."""

    options: argparse.Namespace
    expects: dict[str, str]
    pipes: Pipes | None = None

    def __call__(self) -> Callable[[int], Drawn | str]:
        """Load the renderer, and give what draws. Raises `WorkersError` where code or libraries are others."""
        check_worker(self.expects, made_by())
        cv2.setNumThreads(1)
        if self.pipes is None:
            use_variant(self.options.variant)
            return partial(_drawn, self.options, render)
        start_geometry_on_one_core()
        keep_to_few_cores()
        return partial(_drawn, self.options, partial(render_remotely, self.pipes.one()))


def _drawn(options: argparse.Namespace, render: Callable[[FlatScene], Rendered], index: int) -> Drawn | str:
    """The picture, or why it cannot be drawn: one must not end a run of thousands; it is reported at the end."""
    try:
        asked = options.combinations, options.views, options.dense, options.grammar, options.people
        scene = draw_scene(options.seed, index, options.style, *asked)
        if options.samples:
            scene = replace(scene, samples=options.samples)
        return draw_picture(scene, options.keep_clean, render)
    except RendererLost:
        raise
    except Exception as error:
        return f"{type(error).__name__}: {error}"

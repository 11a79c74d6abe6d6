"""Worlds and views without end: processes that build worlds, few that render them, and slots of shared memory between.

A builder draws a world and its shots and sends it, flat, to a renderer over a pipe. The renderer takes all views at
once, labels them and writes them into a slot; who reads the slot gives it back. Nothing is stored.
"""

import multiprocessing
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from multiprocessing import shared_memory
from multiprocessing.connection import Connection, wait
from multiprocessing.synchronize import Event

import numpy as np

from synthetic_samples.annotate.shot_labels import Label, labelled
from synthetic_samples.geometry import Material
from synthetic_samples.render.flatten import FlatScene, Triangles, camera_to_world, flatten
from synthetic_samples.render.queue import (
    COMPILED_WITHIN_S,
    keep_to_few_cores,
    start_geometry_on_one_core,
    wait_for_the_gpu_asleep,
)
from synthetic_samples.scene.layout import Brief
from synthetic_samples.scene.shots import draw_world

PIXEL_BYTES = {"radiance": 6, "albedo": 3, "normal": 3, "parts": 1}
_SLOTS_A_RENDERER = 2
_DIRECT = 2  # depth of a path that goes to a light from the first thing it meets
_PATIENCE_S = 180


@dataclass(frozen=True)
class StreamPlan:
    """What is streamed: seed, brief, views a world, size and light paths of each, and who works on it.

    `builders` and `renderers` are of each of the GPUs; `whole`: photos as they are taken, not the windows of a reader.
    """

    seed: int
    brief: Brief
    views: int = 16
    side_px: int = 320
    samples: int = 4
    depth: int = 3
    builders: int = 9
    renderers: int = 6
    variant: str = "cuda_ad_rgb"
    gpus: tuple[int, ...] = (0,)
    whole: bool = False
    first: int = 0

    def depth_of(self, world: int) -> int:
        """Direct light alone in three worlds of four: a bounce more costs about what a view more does."""
        return self.depth if world % 4 == 0 else min(self.depth, _DIRECT)


@dataclass(frozen=True, eq=False)
class Batch:
    """All views of one world, arrays as `Taken` has them; `parts` (V, S, S) uint8 as part maps have them."""

    radiance: np.ndarray
    albedo: np.ndarray
    normal: np.ndarray
    parts: np.ndarray
    labels: list[Label]


class ViewStream:
    """Started, it renders until it is closed; `batches` gives what comes."""

    def __init__(self, plan: StreamPlan) -> None:
        self.plan = plan
        context = multiprocessing.get_context("spawn")
        self._ready = context.Queue()
        builders = plan.builders * len(plan.gpus)
        renderers = min(plan.renderers * len(plan.gpus), builders)  # each has a builder of its own at least
        self._free = [context.Queue() for _ in range(renderers)]
        size = plan.views * plan.side_px**2 * sum(PIXEL_BYTES.values())
        self._memory = [
            [shared_memory.SharedMemory(create=True, size=size) for _ in range(_SLOTS_A_RENDERER)] for _ in self._free
        ]
        pipes = [context.Pipe(duplex=False) for _ in range(builders)]
        self._processes, self._compiled, self._ended = [], context.Event(), False
        for number, free in enumerate(self._free):
            names = [memory.name for memory in self._memory[number]]
            for slot in range(_SLOTS_A_RENDERER):
                free.put(slot)
            served = [end for end, _ in pipes[number::renderers]]
            told = plan, number, served, names, free, self._ready, self._compiled
            self._processes.append(context.Process(target=_render_for_ever, args=told, daemon=True))
        for number, (_, end) in enumerate(pipes):
            self._processes.append(context.Process(target=_build_for_ever, args=(plan, number, end), daemon=True))
        for process in self._processes:
            process.start()

    def batches(self) -> Iterator[Batch]:
        """Batches as they come, each valid until the next is asked for; raises RuntimeError where none comes."""
        waited = time.monotonic()
        while True:
            try:
                renderer, slot, labels = self._ready.get(timeout=2)
            except multiprocessing.queues.Empty:
                if self._ended:
                    return
                ended = [process for process in self._processes if not process.is_alive()]
                if ended or time.monotonic() - waited > _PATIENCE_S:
                    raise RuntimeError(
                        f"no views came for {time.monotonic() - waited:.0f} s, {len(ended)} of {len(self._processes)} "
                        "processes ended; their last words stand above"
                    ) from None
                continue
            yield Batch(**_arrays(self._memory[renderer][slot].buf, self.plan), labels=labels)
            self._free[renderer].put(slot)
            waited = time.monotonic()

    def end(self) -> None:
        """Render no more; `batches` ends within two seconds."""
        self._ended = True
        for process in self._processes:
            process.terminate()
        for process in self._processes:
            process.join()

    def close(self) -> None:
        """End, and give the memory back: nobody may read a batch any more, whose arrays lie there."""
        self.end()
        for memory in (each for group in self._memory for each in group):
            memory.close()
            memory.unlink()


def _arrays(buffer, plan: StreamPlan) -> dict[str, np.ndarray]:
    """The arrays of a batch in a slot's memory."""
    shape, start, found = (plan.views, plan.side_px, plan.side_px), 0, {}
    kinds = {"radiance": np.float16, "albedo": np.uint8, "normal": np.int8, "parts": np.uint8}
    for name, kind in kinds.items():
        whole = shape if name == "parts" else (3, *shape)
        found[name] = np.ndarray(whole, kind, buffer, start)
        start += found[name].nbytes
    return found


# Builders -------------------------------------------------------------------------------------------------------------


def _build_for_ever(plan: StreamPlan, number: int, end: Connection) -> None:
    """Every `builders`-th world, from `first` on; one that cannot be built is told and left out."""
    os.environ["OMP_NUM_THREADS"] = "1"
    start_geometry_on_one_core()
    keep_to_few_cores()
    world_number = plan.first + number
    while True:
        try:
            world = draw_world(plan.seed, world_number, plan.brief, plan.views, plan.whole)
            if world is not None:
                bare = replace(world.scene, pieces=[])
                end.send((world_number, _light(flatten(world.scene)), bare, world.shots))
        except (BrokenPipeError, EOFError):
            return
        except Exception as error:  # one world that cannot be drawn must not end a run of thousands
            print(f"world {world_number}: {type(error).__name__}: {error}", file=sys.stderr, flush=True)
        world_number += plan.builders * len(plan.gpus)


def _light(scene: FlatScene) -> FlatScene:
    """The same with textures in half precision: they are most of what travels."""
    return _with_materials(scene, np.float16)


def _with_materials(scene: FlatScene, kind) -> FlatScene:
    done: dict[int, Material] = {}

    def changed(triangles: Triangles) -> Triangles:
        material = triangles.material
        if id(material) not in done:
            values = {
                name: value.astype(kind)
                for name in ("base_color", "roughness")
                if isinstance(value := getattr(material, name), np.ndarray)
            }
            done[id(material)] = replace(material, **values) if values else material
        return replace(triangles, material=done[id(material)])

    textured = [[changed(triangles) for triangles in group] for group in scene.textured]
    return replace(scene, textured=textured, pictures=[changed(triangles) for triangles in scene.pictures])


# Renderers ------------------------------------------------------------------------------------------------------------


def _render_for_ever(
    plan: StreamPlan, number: int, served: list[Connection], names: list[str], free, ready, compiled: Event
) -> None:
    """Render what comes; all but the first wait until that one has compiled the kernels, and find them stored."""
    os.environ["CUDA_VISIBLE_DEVICES"] = str(plan.gpus[number % len(plan.gpus)])
    keep_to_few_cores()
    wait_for_the_gpu_asleep()
    from synthetic_samples.render.render import use_variant
    from synthetic_samples.render.views import View, take

    use_variant(plan.variant)
    slots = [shared_memory.SharedMemory(name=name) for name in names]
    while served:
        for end in wait(served):
            try:
                world, flat, scene, shots = end.recv()
            except EOFError:  # that builder is gone; the others go on
                served.remove(end)
                continue
            flat = _with_materials(flat, np.float32)
            if number and not compiled.is_set():
                compiled.wait(COMPILED_WITHIN_S)
            to_frame = np.linalg.inv(camera_to_world(scene.camera))
            views = [View(to_frame @ camera_to_world(shot.window), shot.half_tangent) for shot in shots]
            try:
                taken = take(flat, views, plan.side_px, plan.samples, plan.depth_of(world))
                labels, parts = labelled(scene, shots, taken.label_ids, flat.labels, world)
                compiled.set()
            except Exception as error:  # as above
                print(f"world {world}: {type(error).__name__}: {error}", file=sys.stderr, flush=True)
                continue
            slot = free.get()
            into = _arrays(slots[slot].buf, plan)
            into["radiance"][:], into["albedo"][:], into["normal"][:] = taken.radiance, taken.albedo, taken.normal
            into["parts"][:] = parts
            ready.put((number, slot, labels))

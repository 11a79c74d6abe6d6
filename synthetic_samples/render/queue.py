"""Few processes render for many: one GPU serves three contexts well and sixteen badly.

Drawing a scene and developing its photo is work for all processor cores; each of those workers sends its flat scene
over its own pipe to a rendering process and waits for the pixels.
"""

import ctypes
import multiprocessing
import os
from collections.abc import Sequence
from multiprocessing.connection import Connection, wait
from multiprocessing.synchronize import Event

from manifold3d import Manifold

RENDERERS_PER_GPU = 6
_CORES_A_PROCESS = 3
COMPILED_WITHIN_S = 60  # then the others no longer wait for the first
PATIENCE_S = 600  # that a worker waits for its picture
_BLOCKING_SYNC = 4  # CU_CTX_SCHED_BLOCKING_SYNC of CUDA's driver interface


class RenderQueue:
    """Rendering processes with one pipe for each worker; `ends[k]` belongs to worker k."""

    def __init__(self, context, variant: str, gpus: int, workers: int) -> None:
        count = min(gpus * RENDERERS_PER_GPU, workers)
        self._compiled = context.Event()
        pipes = [context.Pipe() for _ in range(workers)]
        self.ends: list[Connection] = [mine for mine, _ in pipes]
        self._processes: list[multiprocessing.Process] = []
        for number in range(count):
            served = [other for _, other in pipes[number::count]]
            told = variant, number % gpus, served, self._compiled, number == 0
            process = context.Process(target=_serve, args=told, daemon=True)
            process.start()
            self._processes.append(process)

    def close(self) -> None:
        for process in self._processes:
            process.terminate()
            process.join()


class RendererLost(Exception):
    """Who was to render has ended or hangs: no further picture comes of it."""


def render_remotely(end: Connection, flat):
    """Have a flat scene rendered over a worker's pipe.

    Raises RuntimeError with the renderer's message, and `RendererLost` where its process ended or does not answer.
    """
    try:
        end.send(flat)
        if not end.poll(PATIENCE_S):
            raise RendererLost(f"a rendering process did not answer for {PATIENCE_S} s")
        rendered, error = end.recv()
    except (EOFError, OSError):
        raise RendererLost("a rendering process ended") from None
    if error is not None:
        raise RuntimeError(error)
    return rendered


def keep_to_few_cores() -> None:
    """Keep this process to three cores, others for each process number (Linux).

    Geometry library and renderer start as many threads as there are cores to them, and those wait by spinning.
    """
    if hasattr(os, "sched_setaffinity"):
        cores = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, {cores[(2 * os.getpid() + step) % len(cores)] for step in range(_CORES_A_PROCESS)})


def start_geometry_on_one_core() -> None:
    """Let the geometry library find one core when it starts its threads: scenes are too small to gain from more."""
    if hasattr(os, "sched_setaffinity"):
        cores = os.sched_getaffinity(0)
        os.sched_setaffinity(0, {min(cores)})
        (Manifold.sphere(1, 200) - Manifold.sphere(1, 200).translate((0.5, 0, 0))).to_mesh()
        os.sched_setaffinity(0, cores)


def wait_for_the_gpu_asleep() -> None:
    """Let this process sleep while its GPU works, where there is one.

    Where there are more processor cores than contexts CUDA spins by default, on a core that a worker could draw with.
    """
    try:
        driver = ctypes.CDLL("libcuda.so.1")
    except OSError:
        return
    first = ctypes.c_int()
    if not driver.cuInit(0) and not driver.cuDeviceGet(ctypes.byref(first), 0):
        driver.cuDevicePrimaryCtxSetFlags_v2(first, _BLOCKING_SYNC)


def _serve(variant: str, gpu: int, served: Sequence[Connection], compiled: Event, first: bool) -> None:
    """Render what comes; all but the first process wait until that one has compiled the kernels, and find them stored.

    All at once they would compile the same, each for itself and in the others' way.
    """
    os.environ["CUDA_VISIBLE_DEVICES"] = str(gpu)
    keep_to_few_cores()
    wait_for_the_gpu_asleep()
    from synthetic_samples.render.render import render, use_variant

    use_variant(variant)
    while True:
        for end in wait(served):
            flat = end.recv()
            if not (first or compiled.is_set()):
                compiled.wait(COMPILED_WITHIN_S)
            try:
                end.send((render(flat), None))
            except Exception as error:  # the worker that asked reports it with the picture's number
                end.send((None, f"{type(error).__name__}: {error}"))
            compiled.set()

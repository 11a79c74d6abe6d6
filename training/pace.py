"""How fast this machine trains, and what that allows in a given time."""

import copy
import math
import time
from collections.abc import Callable

import torch
from torch import nn

LAYOUTS = {"channels_last": torch.channels_last, "contiguous": torch.contiguous_format}
WARM_UP_STEPS = 4
TIMED_STEPS = 10


def best_layout(one_step: Callable[[nn.Module, torch.memory_format, int], None], net: nn.Module) -> tuple[str, float]:
    """The faster memory layout on this device and its steps a second; depthwise filters decide it, differently by card.

    `one_step(net, layout, step)` does the whole work of a training step but the update.
    """
    rates = {}
    on_gpu = next(net.parameters()).is_cuda
    for name, layout in LAYOUTS.items() if on_gpu else [("contiguous", torch.contiguous_format)]:
        probe = copy.deepcopy(net).to(memory_format=layout)
        for step in range(WARM_UP_STEPS):
            one_step(probe, layout, step)
        _wait(on_gpu)
        start = time.perf_counter()
        for step in range(TIMED_STEPS):
            one_step(probe, layout, step)
        _wait(on_gpu)
        rates[name] = TIMED_STEPS / (time.perf_counter() - start)
    fastest = max(rates, key=rates.get)
    return fastest, rates[fastest]


def learning_rate_share(progress: float, head_only_share: float, warmup_share: float) -> float:
    """Share of the full learning rate at `progress` (0 to 1): each phase warms up; the second falls as a cosine."""
    if progress < head_only_share:
        return min(1.0, (progress + 1e-3) / warmup_share)
    through = (progress - head_only_share) / (1 - head_only_share)
    warm = min(1.0, (through + 1e-3) / warmup_share)
    return warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(through, 1.0))))


def _wait(on_gpu: bool) -> None:
    if on_gpu:
        torch.cuda.synchronize()

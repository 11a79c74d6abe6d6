"""How fast this machine trains, and what that allows in a given time."""

import copy
import math
import time
from collections.abc import Callable

import torch
from torch import nn

WARM_UP_STEPS = 3
TIMED_STEPS = 10


def memory_layout(device: torch.device) -> torch.memory_format:
    """How pictures lie in memory: on a GPU with the channels last, which was the faster one for both networks."""
    return torch.channels_last if device.type == "cuda" else torch.contiguous_format


def steps_a_second(one_step: Callable[[int], object], net: nn.Module) -> float:
    """What this machine does of `one_step(step)`, all of a training step but the update; `net` stays as it is.

    The first steps are not timed: a GPU library tries out its algorithms on them.
    """
    before = copy.deepcopy(net.state_dict())
    on_gpu = next(net.parameters()).is_cuda
    for step in range(WARM_UP_STEPS):
        one_step(step)
    _wait(on_gpu)
    start = time.perf_counter()
    for step in range(TIMED_STEPS):
        one_step(step)
    _wait(on_gpu)
    took = time.perf_counter() - start
    net.load_state_dict(before)
    net.zero_grad(set_to_none=True)
    return TIMED_STEPS / took


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

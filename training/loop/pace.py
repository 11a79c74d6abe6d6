"""What a step of training is preceded by, and how its learning rate follows from the share of the work that is done."""

import copy
import math
from collections.abc import Callable

import torch
from torch import nn

WARM_UP_STEPS = 3


def memory_layout(device: torch.device) -> torch.memory_format:
    """How pictures lie in memory: on a GPU with the channels last, which was the faster one for both networks."""
    return torch.channels_last if device.type == "cuda" else torch.contiguous_format


def warm_up(one_step: Callable[[int], object], net: nn.Module) -> None:
    """A few of `one_step(step)`, all of a training step but the update, before a clock starts; `net` stays as it is.

    On them a GPU library tries out its algorithms, and a network is compiled, which may take minutes.
    """
    before = copy.deepcopy(net.state_dict())
    for step in range(WARM_UP_STEPS):
        one_step(step)
    if next(net.parameters()).is_cuda:
        torch.cuda.synchronize()
    net.load_state_dict(before)
    net.zero_grad(set_to_none=True)


def learning_rate_share(progress: float, head_only_share: float, warmup_share: float) -> float:
    """Share of the full learning rate at `progress` (0 to 1): each phase warms up; the second falls as a cosine."""
    if progress < head_only_share:
        return min(1.0, (progress + 1e-3) / warmup_share)
    through = (progress - head_only_share) / (1 - head_only_share)
    warm = min(1.0, (through + 1e-3) / warmup_share)
    return warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(through, 1.0))))

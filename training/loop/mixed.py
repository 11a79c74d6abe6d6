"""Batches that are part streamed views and part windows of stored renders.

A stream never repeats itself, and its pictures are cheap; stored renders are what is calibrated on and served. Each
batch holds both, so that batch norms meet what they will meet.
"""

from dataclasses import dataclass

import numpy as np
import torch

from training.loop.streamed import Drawn, Streamed
from training.loop.tasks import Batches

_OF_ALL = "part_weights"  # one for the whole batch, not one a window


@dataclass(frozen=True)
class Mixed:
    """Draws `share` of each batch from stored renders, the rest from the stream."""

    streamed: Streamed
    stored: Batches
    share: float

    def draw(self, rng: np.random.Generator, count: int, learned: bool = True) -> Drawn:
        """As `Streamed.draw`; what only a stream tells of a window is NaN, not to be told, for a stored one."""
        kept = round(count * self.share)
        windows, targets = self.streamed.draw(rng, count - kept, learned)
        if not kept:
            return windows, targets
        more, known = self.stored.draw(rng, kept)
        known |= {name: _untold(values, kept) for name, values in targets.items() if name not in known}
        joined = {name: torch.cat([values, known[name]]) for name, values in targets.items() if name != _OF_ALL}
        return torch.cat([windows, more]), joined | {_OF_ALL: targets[_OF_ALL]}


def _untold(values: torch.Tensor, count: int) -> torch.Tensor:
    return torch.full((count, *values.shape[1:]), float("nan"), dtype=values.dtype, device=values.device)

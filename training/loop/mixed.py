"""Batches that are part streamed views, part windows of stored renders, and part pictures of nothing.

A stream never repeats itself, and its pictures are cheap; stored renders are what is calibrated on and served. Each
batch holds both, so that batch norms meet what they will meet. Pictures of nothing are no lift part, whatever drew
them.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import torch

from classifier.recipe import KINDS, OTHER
from synthetic_samples.render.part_maps import PARTS
from training.data.augment import augmented
from training.data.geometry import letterbox_maps, normed, sample_windows, wobbled
from training.loop import reading
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
        untold = {name: _all(values, kept, float("nan")) for name, values in targets.items() if name not in known}
        return _joined((windows, targets), (more, known | untold))


@dataclass(frozen=True)
class WithNothing:
    """Puts pictures of nothing, uint8 (P, 3, C, C), into each batch of `others`, a draw of `Streamed` or `Mixed`.

    `share`: of the batch. They are drawn beforehand: what takes a moment a batch is most of a run.
    """

    others: Callable[..., Drawn]
    share: float
    pictures: torch.Tensor

    def draw(self, rng: np.random.Generator, count: int, learned: bool = True) -> Drawn:
        """As `Streamed.draw`; nothing is of kind `other`, has no values, and all of it is background."""
        bare = round(count * self.share)
        windows, targets = self.others(rng, count - bare, learned)
        if not bare:
            return windows, targets
        rows = torch.as_tensor(rng.integers(len(self.pictures), size=bare), device=self.pictures.device)
        sizes = np.full((bare, 2), float(self.pictures.shape[-1]))
        maps = wobbled(letterbox_maps(sizes), reading.WOBBLE, rng)
        pictures, shown = sample_windows(self.pictures[rows], sizes, maps, windows.shape[-1])
        more = normed(augmented(pictures, reading.AUGMENTATION, rng), shown)
        of_it = {"kind": KINDS.index(OTHER), "relations": float("nan")}
        told = {name: _all(values, bare, of_it.get(name, 0)) for name, values in targets.items()}
        told["parts"][:, PARTS.index("background")] = 1
        return _joined((windows, targets), (more, told))


def _joined(some: Drawn, more: Drawn) -> Drawn:
    """Both in one batch; counts are summed, and what else is one for all of a batch is that of the first."""
    (windows, targets), (others, theirs) = some, more
    rest = {name: values for name, values in targets.items() if name != _OF_ALL}
    joined = {n: torch.cat([values, theirs[n]]) if values.ndim else values + theirs[n] for n, values in rest.items()}
    return torch.cat([windows, others]), joined | {_OF_ALL: targets[_OF_ALL]}


def _all(values: torch.Tensor, count: int, number: float) -> torch.Tensor:
    """So many rows of the shape and kind of `values`, every one of this number."""
    return torch.full((count, *values.shape[1:]), number, dtype=values.dtype, device=values.device)

"""What the two networks are taught, as one type: their batches, their loss, and what a preset says of each."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import torch

from training.config import Preset, Schedule
from training.data.dataset import PictureBank
from training.data.manifest import Record
from training.loop.finding import FinderBatches, finder_loss
from training.loop.reading import ReaderBatches, reader_loss

Draw = Callable[[np.random.Generator, int], tuple[torch.Tensor, dict[str, torch.Tensor]]]
Loss = Callable[[object, dict[str, torch.Tensor]], dict[str, torch.Tensor]]


class Batches(Protocol):
    """Draws batches; the numpy generator decides everything."""

    draw: Draw


@dataclass(frozen=True)
class Task:
    """One of the two networks: how its batches are made, its loss, and where a preset says the rest."""

    name: str
    batches_of: Callable[[Sequence[Record], PictureBank, int], Batches]
    loss: Loss

    def schedule(self, preset: Preset) -> Schedule:
        return getattr(preset, self.name)

    def batches(self, records: Sequence[Record], bank: PictureBank, preset: Preset) -> Batches:
        """Batches of these records, whose pictures lie in `bank`, at the size that the preset trains with."""
        return self.batches_of(records, bank, getattr(preset, f"{self.name}_px"))


TASKS: Final = {
    "finder": Task("finder", FinderBatches, finder_loss),
    "reader": Task("reader", ReaderBatches, reader_loss),
}

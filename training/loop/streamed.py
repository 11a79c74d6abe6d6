"""Batches from a stream of views: each view is new, is used twice at most, and is not stored."""

import threading
import time
from abc import ABC, abstractmethod
from dataclasses import replace

import numpy as np
import torch

from classifier.recipe import CLASSES
from classifier.taxonomy import SUBJECTS
from synthetic_samples.annotate.shot_labels import HALF_A_THING
from synthetic_samples.annotate.shot_labels import LOOK_ALIKE as LOOK_ALIKE_NAME
from synthetic_samples.render.stream import ViewStream
from training.config import STRIDE
from training.data.augment import Augmentation, augmented
from training.data.geometry import Wobble, move_boxes, normed, sample_windows, window_maps, wobbled
from training.data.targets import Balance
from training.data.view_bank import PhotoBank, ViewBank, WindowBank
from training.loop import finding, reading
from training.nets.part_teaching import part_shares, part_weights

WOBBLE = Wobble(rotation_deg=8, rotation_share=0.3, zoom=0.08, shift=0.01, perspective=0.02)
"""Small: that no window is exact, is drawn with its camera."""
# Less than of stored pictures, since the darkroom did much of it.
_AUGMENTATION = replace(reading.AUGMENTATION, colour=0.5, blurred=0.06, coarse=0.05, noisy=0.1, compressed=0.0)
_OF_PHOTOS = replace(_AUGMENTATION, covered=finding.AUGMENTATION.covered)
_KEPT_BATCHES = 1.5  # of views in the bank before a batch is drawn
_NUMBERS = {kind: number for number, kind in enumerate(SUBJECTS)} | {
    LOOK_ALIKE_NAME: finding.LOOK_ALIKE, HALF_A_THING: finding.IGNORED, "": finding.NOTHING,
}  # fmt: skip

Drawn = tuple[torch.Tensor, dict[str, torch.Tensor]]


class Streamed(ABC):
    """Draws batches from a stream; a thread of its own develops what comes. The first views measure, and teach not."""

    augmentation: Augmentation

    def __init__(self, stream: ViewStream, bank: ViewBank, unseen: ViewBank, seed: int) -> None:
        self.stream, self.bank, self.unseen, self.device = stream, bank, unseen, bank.device
        self.side_px, self.drawn = bank.canvas_px, 0
        self.part_weights: torch.Tensor | None = None
        self._lock, self._problem, self._closing = threading.Lock(), None, False
        self._rng = np.random.default_rng([seed, 1])
        self._filler = threading.Thread(target=self._fill, daemon=True)
        self._filler.start()

    def _fill(self) -> None:
        try:
            for batch in self.stream.batches():
                if self._closing:
                    return
                to = self.unseen if self.unseen.added < self.unseen.capacity else self.bank
                while to is self.bank and not self._closing and len(to.unused()) + len(batch.labels) > to.capacity:
                    time.sleep(0.005)  # what nobody has learned from yet is not written over
                with self._lock:
                    to.add(batch, self._rng)
        except Exception as problem:  # told to who draws
            self._problem = problem

    def wait_for(self, count: int) -> None:
        """Until so many views may be learned from; raises what ended the stream."""
        while len(self.bank.unused()) < count:
            if self._problem is not None:
                raise self._problem
            time.sleep(0.005)

    def draw(self, rng: np.random.Generator, count: int, learned: bool = True) -> Drawn:
        """As a task's batches draw; waits until the stream has brought enough. Unless `learned`, no use is counted."""
        self.wait_for(int(_KEPT_BATCHES * count))
        with self._lock:
            if self.part_weights is None:
                some = self.bank.unused()[: reading.SAMPLE]
                plain = self.plain_maps(len(some))
                self.part_weights = part_weights(part_shares(self.bank, some, plain, self.side_px, STRIDE))
            places = rng.choice(self.bank.unused(), count, replace=False)
            self.bank.uses[places] += learned
            self.drawn += count * learned
            return self.shown(self.bank, places, wobbled(self.plain_maps(count), WOBBLE, rng), rng)

    def shown(self, bank: ViewBank, places: np.ndarray, maps: np.ndarray, rng: np.random.Generator) -> Drawn:
        """Some views through maps, augmented, and their targets."""
        pixels = bank.pixels[torch.from_numpy(places).to(self.device)]
        drawn, inside = sample_windows(pixels, bank.sizes_wh[places], maps, self.side_px)
        shown = inside * (drawn[:, 3:] > 0.75)
        windows = normed(augmented(drawn[:, :3].contiguous(), self.augmentation, rng), shown)
        parts = {"parts": part_shares(bank, places, maps, self.side_px, STRIDE), "part_weights": self.part_weights}
        return windows, self._targets(bank, places, maps) | parts

    @abstractmethod
    def _targets(self, bank: ViewBank, places: np.ndarray, maps: np.ndarray) -> dict[str, torch.Tensor]:
        """What a network is to say of some views through maps, but for the parts."""

    def plain_maps(self, count: int) -> np.ndarray:
        """Maps (N, 3, 3) to whole views."""
        middle = np.full((count, 2), self.side_px / 2)
        return window_maps(middle, np.full(count, float(self.side_px)))

    def close(self) -> None:
        """End the stream and the thread that reads it."""
        self._closing = True
        self.stream.end()
        self._filler.join(timeout=10)
        if not self._filler.is_alive():  # else the memory goes with the process
            self.stream.close()


class StreamedWindows(Streamed):
    """Windows for the reader; the values of what they show count by `Balance`."""

    augmentation = _AUGMENTATION

    def __init__(
        self, stream: ViewStream, side_px: int, capacity: int, device: torch.device, seed: int, unseen: int
    ) -> None:
        self.balance = Balance()
        banks = (WindowBank(size, side_px, device, self.balance) for size in (capacity, unseen))
        super().__init__(stream, *banks, seed)

    def _targets(self, bank: WindowBank, places: np.ndarray, maps: np.ndarray) -> dict[str, torch.Tensor]:
        found = {c: self.balance.weighed(c, bank.targets[c][places]) for c in CLASSES}
        found |= {"kind": bank.kinds[places], "relations": bank.relations[places]}
        return {name: torch.from_numpy(values).to(self.device) for name, values in found.items()}


class StreamedPhotos(Streamed):
    """Whole photos for the finder; half a thing at a photo's edge is neither asked for nor punished."""

    augmentation = _OF_PHOTOS

    def __init__(
        self, stream: ViewStream, side_px: int, capacity: int, device: torch.device, seed: int, unseen: int
    ) -> None:
        super().__init__(stream, *(PhotoBank(size, side_px, device) for size in (capacity, unseen)), seed)

    def _targets(self, bank: PhotoBank, places: np.ndarray, maps: np.ndarray) -> dict[str, torch.Tensor]:
        kinds = np.vectorize(_NUMBERS.__getitem__, otypes=[int])(bank.names[places])
        boxes = move_boxes(bank.boxes[places], maps, self.side_px)
        boxes, kinds = finding.clipped(boxes, kinds, self.side_px)
        cells = torch.from_numpy((boxes / STRIDE).astype(np.float32)).to(self.device)
        return finding.cell_targets(cells, torch.from_numpy(kinds).to(self.device), self.side_px // STRIDE)

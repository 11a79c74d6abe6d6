"""Views as the stream brings them, on the device that trains: learned from twice at most, and never stored."""

from abc import ABC, abstractmethod

import numpy as np
import torch

from classifier.recipe import CLASSES, KINDS
from synthetic_samples.annotate.shot_labels import Label
from synthetic_samples.render.part_maps import PARTS, REDUCTION, SMALL_PARTS
from synthetic_samples.render.stream import Batch
from training.data.darkroom import developed
from training.data.manifest import Reading
from training.data.targets import RELATIONS, Balance, relations_of, target_of

MOST_USES = 2
MOST_THINGS = 16
"""In one photo; more are left out."""
_ENOUGH_PX = 4  # of a spot's sixteen pixels, from which a small part wins it
_GREY = 128


class ViewBank(ABC):
    """The last `capacity` views: `pixels` uint8 (N, 4, S, S), the fourth 255 within the photo and 0 beside it;
    `parts` uint8 (N, S / 4, S / 4); and how often each view was used. What a view is labelled is kept by `_note`.
    """

    def __init__(self, capacity: int, side_px: int, device: torch.device) -> None:
        spots = side_px // REDUCTION
        self.canvas_px, self.device, self.capacity = side_px, device, capacity
        self.pixels = torch.zeros((capacity, 4, side_px, side_px), dtype=torch.uint8, device=device)
        self.parts = torch.zeros((capacity, spots, spots), dtype=torch.uint8, device=device)
        self.sizes_wh = np.full((capacity, 2), side_px, np.float32)
        self.uses = np.full(capacity, MOST_USES)  # an empty place is used up
        self.added, self.left_out, self.worlds = 0, 0, set()

    def add(self, batch: Batch, rng: np.random.Generator) -> np.ndarray:
        """Develop and keep the views of a batch that tell something; the places they went to."""
        told = [view for view, label in enumerate(batch.labels) if label.kind is not None]
        self.left_out += len(batch.labels) - len(told)
        if not told:
            return np.zeros(0, int)
        labels = [batch.labels[view] for view in told]
        light, colour, normal = (self._moved(each[:, told]) for each in (batch.radiance, batch.albedo, batch.normal))
        share = np.array([label.share for label in labels])
        photos = developed(light, colour / 255, normal / 127, share, rng)
        places = (self.added + np.arange(len(told))) % self.capacity
        rows = torch.from_numpy(places).to(self.device)
        inside = within(torch.from_numpy(np.stack([label.to_photo for label in labels])), self.canvas_px, self.device)
        self.pixels[rows, :3] = torch.where(inside[:, None], photos, torch.full_like(photos, _GREY))
        self.pixels[rows, 3] = inside.to(torch.uint8) * 255
        self.parts[rows] = reduced_parts(torch.from_numpy(batch.parts[told]).to(self.device))
        for place, label in zip(places, labels, strict=True):
            self._note(int(place), label)
        self.uses[places] = 0
        self.added += len(told)
        self.worlds.update(label.world for label in labels)
        return places

    @abstractmethod
    def _note(self, place: int, label: Label) -> None:
        """Keep what the view at this place is labelled."""

    def unused(self) -> np.ndarray:
        """Places of views that may still be learned from."""
        return np.flatnonzero(self.uses < MOST_USES)

    def _moved(self, values: np.ndarray) -> torch.Tensor:
        """(3, V, S, S) of any kind as float32 (V, 3, S, S) on the device."""
        return torch.from_numpy(values).to(self.device).transpose(0, 1).float().contiguous()


class WindowBank(ViewBank):
    """Windows of one thing each: `kinds`, targets of each concept, relations between parts (NaN: not to be told)."""

    def __init__(self, capacity: int, side_px: int, device: torch.device, balance: Balance) -> None:
        super().__init__(capacity, side_px, device)
        self.balance = balance
        self.kinds = np.zeros(capacity, int)
        self.targets = {concept: np.zeros((capacity, len(values)), np.float32) for concept, values in CLASSES.items()}
        self.relations = np.full((capacity, len(RELATIONS)), np.nan, np.float32)

    def _note(self, place: int, label: Label) -> None:
        self.kinds[place] = KINDS.index(label.kind)
        for concept in CLASSES:
            self.targets[concept][place] = target_of(concept, _reading(label.concepts.get(concept)))
        self.relations[place] = relations_of(_reading(label.concepts.get("lowering")))
        self.balance.add({concept: rows[place : place + 1] for concept, rows in self.targets.items()})


class PhotoBank(ViewBank):
    """Whole photos: `boxes` (N, M, 4) of their things in pixels and `names`, a kind or what else a label may say."""

    def __init__(self, capacity: int, side_px: int, device: torch.device) -> None:
        super().__init__(capacity, side_px, device)
        self.boxes = np.zeros((capacity, MOST_THINGS, 4))
        self.names = np.full((capacity, MOST_THINGS), "", dtype=object)

    def _note(self, place: int, label: Label) -> None:
        self.boxes[place], self.names[place] = (0, 0, 1, 1), ""
        for number, (name, box) in enumerate(label.boxes[:MOST_THINGS]):
            self.boxes[place, number] = np.array(box) * self.canvas_px
            self.names[place, number] = name


def within(to_photo: torch.Tensor, side_px: int, device: torch.device) -> torch.Tensor:
    """Which pixels (V, S, S) of windows lie in their photos; `to_photo` (V, 3, 3) as a shot's."""
    rows = to_photo.to(device, torch.float32)[..., None, None]  # (V, 3, 3, 1, 1)
    axis = (torch.arange(side_px, device=device, dtype=torch.float32) + 0.5) * (2 / side_px) - 1
    across, down = axis[None, :], axis[:, None]
    x, y, scale = (rows[:, k, 0] * across + rows[:, k, 1] * down + rows[:, k, 2] for k in range(3))
    return (scale > 0) & (x.abs() <= scale) & (y.abs() <= scale)


def reduced_parts(parts: torch.Tensor) -> torch.Tensor:
    """Part maps (V, S / 4, S / 4) uint8 of parts (V, S, S): the commonest of a spot; a small part wins from 4 px on."""
    count, side, _ = parts.shape
    spots = side // REDUCTION
    blocks = parts.reshape(count, spots, REDUCTION, spots, REDUCTION).permute(0, 1, 3, 2, 4).flatten(3).long()
    counts = torch.zeros((count, spots, spots, len(PARTS)), dtype=torch.int16, device=parts.device)
    counts.scatter_add_(3, blocks, torch.ones_like(blocks, dtype=torch.int16))
    small = torch.tensor([PARTS.index(part) for part in SMALL_PARTS], device=parts.device)
    counts[..., small] += (counts[..., small] >= _ENOUGH_PX).to(torch.int16) * REDUCTION**2
    return counts.argmax(dim=3).to(torch.uint8)


def _reading(concept: dict | None) -> Reading | None:
    if concept is None:
        return None
    possible = tuple(concept.get("possible") or (concept["value"],))
    return Reading(concept["value"], concept["visible"], possible, float(concept["evidence_px"]))

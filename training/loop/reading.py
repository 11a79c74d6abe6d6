"""What the reader trains on: windows round subjects, look-alikes and plain background, and the loss of its heads."""

from collections.abc import Sequence

import numpy as np
import torch
from torch.nn import functional

from classifier.recipe import CLASSES, KINDS, OTHER
from classifier.taxonomy import CONCEPTS_OF
from training.config import STRIDE, TAUGHT_MARGIN
from training.data.augment import Augmentation, augmented
from training.data.dataset import PictureBank
from training.data.geometry import Wobble, normed, sample_windows, window_maps, wobbled
from training.data.manifest import Record
from training.data.targets import target_of
from training.nets.part_teaching import part_loss, part_shares, part_weights

WOBBLE = Wobble(rotation_deg=25, rotation_share=0.6, zoom=0.3, shift=0.05, perspective=0.08)
AUGMENTATION = Augmentation(  # a cover would hide what the label says is in view, and so does much blur
    covered=0, light=0.4, filtered=0.12, blurred=0.12, coarse=0.1, noisy=0.3, compressed=0.2
)
SHARE_OF_KIND = {"control_box": 0.42, "actuator_head": 0.31, "hand_control": 0.07, "charger": 0.05, OTHER: 0.15}
BACKGROUND_SHARE = 0.4  # of the windows of kind "other"; the rest are look-alikes
LOSS_WEIGHT = {"parts": 2.0, "relations": 0.5}
FULL_WEIGHT_PX, LEAST_WEIGHT = 64.0, 0.4  # a box with shorter sides than this shows little, and is drawn less often
TEMPERATURE = 2.0  # of a teacher's and a pupil's answers
SAMPLE = 512  # windows from which it is judged how common each part is


class WindowTable:
    """Every box of some records as a window: which picture, where, what kind, what its concepts read.

    `targets[concept]` is float32 (M, values + 1), all zero where the concept does not apply.
    """

    def __init__(self, records: Sequence[Record], sizes_wh: np.ndarray) -> None:
        rows, targets = [], {concept: [] for concept in CLASSES}
        for picture, record in enumerate(records):
            things = [(subject.kind, subject.box, subject.concepts) for subject in record.subjects]
            things += [(OTHER, box, {}) for box in record.look_alikes]
            for kind, box, readings in things:
                rows.append((picture, KINDS.index(kind), *(np.array(box) * np.tile(sizes_wh[picture], 2))))
                for concept in CLASSES:
                    targets[concept].append(target_of(concept, readings.get(concept)))
        table = np.array(rows, dtype=np.float64).reshape(-1, 6)
        self.pictures, self.kinds, self.boxes_px = table[:, 0].astype(int), table[:, 1].astype(int), table[:, 2:]
        self.targets = {
            concept: np.array(values, np.float32).reshape(-1, len(CLASSES[concept]))
            for concept, values in targets.items()
        }

    def weights(self) -> np.ndarray:
        """Chance of each window (M,), summing to 1: kinds in fixed shares; in a concept every value equally often.

        `not_visible` keeps its natural share, so that the reader learns how often evidence is hidden.
        """
        weights = np.zeros(len(self.kinds))
        for number, kind in enumerate(KINDS):
            members = self.kinds == number
            if not members.any():
                continue
            concepts = list(CONCEPTS_OF.get(kind, {}))
            size = self._worth()[members]
            parts = [_equalised(self.targets[concept][members], size) for concept in concepts] or [size]
            weights[members] = SHARE_OF_KIND[kind] * np.mean([part / part.sum() for part in parts], axis=0)
        return weights / weights.sum()

    def _worth(self) -> np.ndarray:
        sides = (self.boxes_px[:, 2:] - self.boxes_px[:, :2]).max(axis=1)
        return (sides / FULL_WEIGHT_PX).clip(LEAST_WEIGHT, 1)


class ReaderBatches:
    """Draws training batches; the numpy generator decides everything."""

    def __init__(self, records: Sequence[Record], bank: PictureBank, out_px: int) -> None:
        self.bank, self.out_px = bank, out_px
        self.table = WindowTable(records, bank.sizes_wh)
        if not len(self.table.kinds):
            raise ValueError("no subject in any training picture, so there is nothing to read; check the manifest")
        self.cumulative = np.cumsum(self.table.weights())
        self.background_share = SHARE_OF_KIND[OTHER] * BACKGROUND_SHARE
        self.taken_px = [[] for _ in records]
        for picture, box in zip(self.table.pictures, self.table.boxes_px, strict=True):
            self.taken_px[picture].append(box)
        self.part_weights = part_weights(self._plain_parts())

    def draw(self, rng: np.random.Generator, count: int) -> tuple[torch.Tensor, dict[str, torch.Tensor]]:
        """Windows (N, 3, S, S), mean 0.5 and standard deviation 0.5; `kind` numbers and soft targets a concept."""
        background = rng.random(count) < self.background_share
        rows = np.searchsorted(self.cumulative, rng.random(count) * self.cumulative[-1]).clip(
            0, len(self.cumulative) - 1
        )
        pictures, boxes, kinds = (
            self.table.pictures[rows],
            self.table.boxes_px[rows].copy(),
            self.table.kinds[rows].copy(),
        )
        targets = {concept: values[rows] for concept, values in self.table.targets.items()}
        for index in np.flatnonzero(background):
            pictures[index], boxes[index] = self._background(rng)
            kinds[index] = KINDS.index(OTHER)
            for values in targets.values():
                values[index] = 0
        maps = wobbled(windows_round(boxes, TAUGHT_MARGIN), WOBBLE, rng)
        device = self.bank.device
        pixels = self.bank.pixels[torch.from_numpy(pictures).to(device, non_blocking=True)]
        windows, inside = sample_windows(pixels, self.bank.sizes_wh[pictures], maps, self.out_px)
        windows = normed(augmented(windows, AUGMENTATION, rng), inside)
        moved = {concept: torch.from_numpy(values).to(device, non_blocking=True) for concept, values in targets.items()}
        moved |= {"kind": torch.from_numpy(kinds).to(device, non_blocking=True), "part_weights": self.part_weights}
        return windows, moved | {"parts": part_shares(self.bank, pictures, maps, self.out_px, STRIDE)}

    def _plain_parts(self) -> torch.Tensor:
        rows = np.linspace(0, len(self.table.kinds) - 1, min(SAMPLE, len(self.table.kinds))).astype(int)
        maps = windows_round(self.table.boxes_px[rows], TAUGHT_MARGIN)
        return part_shares(self.bank, self.table.pictures[rows], maps, self.out_px, STRIDE)

    def _background(self, rng: np.random.Generator) -> tuple[int, np.ndarray]:
        """A random box that holds little of any listed thing; after twenty tries, a small corner of a picture."""
        for _ in range(20):
            picture = int(rng.integers(len(self.taken_px)))
            width, height = self.bank.sizes_wh[picture]
            side = min(width, height) * np.exp(rng.uniform(np.log(0.06), np.log(0.9)))
            shape = np.array([np.exp(rng.normal(0, 0.25)), np.exp(rng.normal(0, 0.25))]) * side
            corner = rng.uniform(0, 1, 2) * np.maximum(np.array([width, height]) - shape, 1)
            box = np.concatenate([corner, corner + shape])
            if all(_held(box, taken) < 0.2 for taken in self.taken_px[picture]):
                return picture, box
        return picture, np.array([0.0, 0.0, 0.06 * width, 0.06 * width])


def windows_round(boxes_px: np.ndarray, margin: float) -> np.ndarray:
    """Maps to the square windows that `classifier.reader.square_window` cuts round boxes (N, 4) in pixels."""
    sides = (boxes_px[:, 2:] - boxes_px[:, :2]).max(axis=1) * (1 + 2 * margin)
    return window_maps((boxes_px[:, :2] + boxes_px[:, 2:]) / 2, sides)


def reader_loss(read: dict[str, torch.Tensor], targets: dict[str, torch.Tensor]) -> dict[str, torch.Tensor]:
    """Cross-entropy of the kind, and of each concept over the windows to which it applies; the loss of the part map.

    A window counts by the sum of its target, which is 1 unless it was weighed.
    """
    losses = {"kind": functional.cross_entropy(read["kind"].float(), targets["kind"])}
    for concept in CLASSES:
        applies = targets[concept].sum(dim=1)
        each = functional.cross_entropy(read[concept].float(), targets[concept], reduction="none")
        losses[concept] = each.sum() / applies.sum().clamp(min=1)
    if "soft" in targets:
        losses["soft"] = _distillation_loss(read, targets)
    if "relations" in targets:
        losses["relations"] = _relations_loss(read["relations"].float(), targets["relations"])
    losses["parts"] = part_loss(read["parts"], targets["parts"], targets["part_weights"])
    total = sum(loss * LOSS_WEIGHT.get(name, 1.0) for name, loss in losses.items())
    return {"total": total} | {name: loss.detach() for name, loss in losses.items()}


def _distillation_loss(read: dict[str, torch.Tensor], targets: dict[str, torch.Tensor | dict]) -> torch.Tensor:
    """Divergence from a teacher's logits `targets["soft"]`, summed over the heads, mean over what each applies to.

    At temperature 2, as Hinton, Vinyals and Dean (2015, from memory), whose factor T² keeps the gradients' size.
    """
    total = read["kind"].new_zeros(())
    for head, logits in targets["soft"].items():
        of_student, of_teacher = ((each.float() / TEMPERATURE).log_softmax(1) for each in (read[head], logits))
        each = functional.kl_div(of_student, of_teacher, reduction="none", log_target=True).sum(1)
        applies = torch.ones_like(each) if head == "kind" else (targets[head].sum(1) > 0).float()
        total = total + TEMPERATURE**2 * (each * applies).sum() / applies.sum().clamp(min=1)
    return total


def _relations_loss(logits: torch.Tensor, truths: torch.Tensor) -> torch.Tensor:
    """Mean binary cross-entropy of relations (N, R) that are told; NaN is not."""
    told = ~truths.isnan()
    each = functional.binary_cross_entropy_with_logits(logits, truths.nan_to_num(), reduction="none")
    return (each * told).sum() / told.sum().clamp(min=1)


def _equalised(targets: np.ndarray, worth: np.ndarray) -> np.ndarray:
    """Weights (M,) under which each visible value of one concept has the same mass and hidden evidence its own.

    Among the windows of one value each has its share by `worth` (M,).
    """
    targets = targets * worth[:, None]
    mass = targets.sum(axis=0)
    hidden = mass[-1] / mass.sum()
    wanted = np.append(np.full(len(mass) - 1, (1 - hidden) / (len(mass) - 1)), hidden)
    return (targets * np.divide(wanted, mass, out=np.zeros(len(mass)), where=mass > 0)).sum(axis=1)


def _held(box: np.ndarray, thing: np.ndarray) -> float:
    """Intersection over the smaller of two boxes' areas."""
    shared = np.minimum(box[2:], thing[2:]) - np.maximum(box[:2], thing[:2])
    smaller = min(np.prod(box[2:] - box[:2]), np.prod(thing[2:] - thing[:2]))
    return float(np.prod(shared.clip(0)) / max(smaller, 1e-6))

"""What the finder trains on: whole pictures with their boxes moved along, and the loss against its two maps."""

from collections.abc import Sequence

import numpy as np
import torch
from torch.nn import functional

from classifier.taxonomy import SMALLEST_SUBJECT_FRACTION, SUBJECTS
from training.config import STRIDE
from training.data.augment import Augmentation, augmented
from training.data.dataset import PictureBank
from training.data.geometry import Wobble, letterbox_maps, move_boxes, normed, sample_windows, wobbled
from training.data.manifest import Record
from training.nets.part_teaching import part_loss, part_shares, part_weights

WOBBLE = Wobble(rotation_deg=25, rotation_share=0.4, zoom=0.25, shift=0.04, perspective=0.08)
AUGMENTATION = Augmentation(covered=0.15)
PART_WEIGHT = 0.5
LOOK_ALIKE = len(SUBJECTS)  # the kind number of a box that must not be found
NOTHING = -1
IGNORED = -2  # a subject that the wobble pushed mostly out of the picture
LEAST_LEFT = 0.4  # share of a box inside the picture under which it is neither asked for nor punished
LOOK_ALIKE_WEIGHT = 2.0
RARE_KINDS, RARE_GAIN = ("hand_control", "charger"), 3.0  # pictures that show one of these are drawn that much oftener
SAMPLE = 256  # pictures from which it is judged how common each part is


class FinderBatches:
    """Draws training batches; the numpy generator decides everything."""

    def __init__(self, records: Sequence[Record], bank: PictureBank, out_px: int) -> None:
        self.bank, self.out_px = bank, out_px
        self.boxes_px, self.kinds = boxes_of(records, bank.sizes_wh)
        rare = np.isin(self.kinds, [SUBJECTS.index(kind) for kind in RARE_KINDS]).any(axis=1)
        self.cumulative = np.cumsum(np.where(rare, RARE_GAIN, 1.0))
        some = np.arange(min(SAMPLE, len(bank)))
        self.part_weights = part_weights(part_shares(bank, some, letterbox_maps(bank.sizes_wh[some]), out_px, STRIDE))

    def draw(self, rng: np.random.Generator, count: int) -> tuple[torch.Tensor, dict[str, torch.Tensor]]:
        """Pictures (N, 3, S, S), mean 0.5 and standard deviation 0.5, and their targets on the cells."""
        chosen = np.searchsorted(self.cumulative, rng.random(count) * self.cumulative[-1]).clip(0, len(self.bank) - 1)
        sizes = self.bank.sizes_wh[chosen]
        maps = wobbled(letterbox_maps(sizes), WOBBLE, rng)
        pixels = self.bank.pixels[torch.from_numpy(chosen).to(self.bank.device, non_blocking=True)]
        pictures, inside = sample_windows(pixels, sizes, maps, self.out_px)
        pictures = normed(augmented(pictures, AUGMENTATION, rng), inside)
        boxes = move_boxes(self.boxes_px[chosen], maps, self.out_px)
        boxes, kinds = clipped(boxes, self.kinds[chosen], self.out_px)
        boxes_cells = torch.from_numpy((boxes / STRIDE).astype(np.float32)).to(self.bank.device, non_blocking=True)
        kinds = torch.from_numpy(kinds).to(self.bank.device, non_blocking=True)
        targets = cell_targets(boxes_cells, kinds, self.out_px // STRIDE)
        parts = part_shares(self.bank, chosen, maps, self.out_px, STRIDE)
        return pictures, targets | {"parts": parts, "part_weights": self.part_weights}


def clipped(boxes: np.ndarray, kinds: np.ndarray, out_px: int) -> tuple[np.ndarray, np.ndarray]:
    """Boxes (N, K, 4) cut to the picture, and their kinds (N, K): ignored where little of a subject is left in it."""
    cut = boxes.clip(0, out_px)
    left = _areas(cut) / np.maximum(_areas(boxes), 1e-6)
    small = _areas(cut) < 0.5 * SMALLEST_SUBJECT_FRACTION * out_px**2
    lost = (kinds >= 0) & (kinds < LOOK_ALIKE) & ((left < LEAST_LEFT) | small)
    return cut, np.where(lost, IGNORED, kinds)


def boxes_of(records: Sequence[Record], sizes_wh: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Boxes (N, K, 4) in canvas pixels and kind numbers (N, K), padded with `NOTHING`; look-alikes included."""
    most = max(1, max(len(record.subjects) + len(record.look_alikes) for record in records))
    boxes = np.zeros((len(records), most, 4))
    boxes[..., 2:] = 1.0
    kinds = np.full((len(records), most), NOTHING)
    for row, record in enumerate(records):
        things = [(SUBJECTS.index(subject.kind), subject.box) for subject in record.subjects]
        things += [(LOOK_ALIKE, box) for box in record.look_alikes]
        for column, (kind, box) in enumerate(things):
            kinds[row, column], boxes[row, column] = kind, box
    return boxes * np.tile(sizes_wh, 2)[:, None, :], kinds


def cell_targets(boxes: torch.Tensor, kinds: torch.Tensor, cells: int) -> dict[str, torch.Tensor]:
    """Targets of boxes (N, K, 4), in cells, of these kinds (N, K).

    `heat` (N, 4, C, C) is 1 at each centre and falls off round it; `heat_weight` likewise; `sides` (N, 4, C, C) are
    the distances to the box that a cell answers for, in cells; `sides_weight` (N, C, C) sums to one a box.
    """
    axis = torch.arange(cells, device=boxes.device) + 0.5
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    left, top, right, bottom = (side[..., None, None] for side in boxes.unbind(-1))  # (N, K, 1, 1)
    middle_x, middle_y = ((left + right) / 2).floor() + 0.5, ((top + bottom) / 2).floor() + 0.5
    spread_x, spread_y = ((right - left) * 0.09).clamp(min=0.5), ((bottom - top) * 0.09).clamp(min=0.5)
    bell = torch.exp(-0.5 * (((x - middle_x) / spread_x) ** 2 + ((y - middle_y) / spread_y) ** 2))  # (N, K, C, C)
    wanted = ((kinds >= 0) & (kinds < LOOK_ALIKE))[..., None, None]
    within = (x > left) & (x < right) & (y > top) & (y < bottom)
    heat = torch.stack([(bell * (kinds == kind)[..., None, None]).amax(1) for kind in range(len(SUBJECTS))], dim=1)
    answers = bell * wanted * (bell > 0.3)
    strongest, box_of_cell = answers.max(dim=1)  # (N, C, C)
    answers = answers * (answers == strongest[:, None])
    shares = answers / answers.sum(dim=(2, 3), keepdim=True).clamp(min=1e-6)
    ahead = torch.stack([(x - left), (y - top), (right - x), (bottom - y)], dim=2)  # (N, K, 4, C, C)
    picked = box_of_cell[:, None, None].expand(-1, 1, 4, -1, -1)
    return {
        "heat": heat,
        "heat_weight": _heat_weight(within, kinds),
        "sides": ahead.gather(1, picked)[:, 0].clamp(min=0.05),
        "sides_weight": shares.amax(1),
        "boxes": wanted.sum().clamp(min=1).float(),
    }


def finder_loss(found: tuple[torch.Tensor, ...], targets: dict[str, torch.Tensor]) -> dict[str, torch.Tensor]:
    """Focal loss (arXiv 1904.07850) of the heat, generalised IoU and log distance of the sides, and the parts' loss."""
    heat, sides = found[0].float(), found[1].float()
    truth, weight = targets["heat"], targets["heat_weight"]
    peak = truth > 0.999
    probability = heat.sigmoid()
    at_peaks = functional.softplus(-heat) * (1 - probability) ** 2 * peak
    elsewhere = functional.softplus(heat) * probability**2 * (1 - truth) ** 4 * ~peak * weight
    heat_loss = (at_peaks.sum() + elsewhere.sum()) / targets["boxes"]
    share = targets["sides_weight"]
    overlap = (1 - generalised_iou(sides.clamp(max=6).exp(), targets["sides"])) * share
    distance = (sides - targets["sides"].log()).abs().mean(dim=1) * share
    sides_loss = (overlap.sum() + 0.5 * distance.sum()) / targets["boxes"]
    parts_loss = part_loss(found[2], targets["parts"], targets["part_weights"])
    total = heat_loss + sides_loss + PART_WEIGHT * parts_loss
    return {"total": total, "heat": heat_loss.detach(), "sides": sides_loss.detach(), "parts": parts_loss.detach()}


def generalised_iou(given: torch.Tensor, wanted: torch.Tensor) -> torch.Tensor:
    """Generalised IoU of boxes given as distances (N, 4, ...) from one common point to left, top, right, bottom."""
    both = torch.minimum(given, wanted)
    hull = torch.maximum(given, wanted)
    shared = (both[:, 0] + both[:, 2]) * (both[:, 1] + both[:, 3])
    areas = [(box[:, 0] + box[:, 2]) * (box[:, 1] + box[:, 3]) for box in (given, wanted, hull)]
    union = areas[0] + areas[1] - shared
    return shared / union - (areas[2] - union) / areas[2]


def _heat_weight(within: torch.Tensor, kinds: torch.Tensor) -> torch.Tensor:
    """Weights (N, 4, C, C): look-alikes count more, boxes mostly outside the picture not at all."""
    like = (within & (kinds == LOOK_ALIKE)[..., None, None]).any(1)
    subject = (within & ((kinds >= 0) & (kinds < LOOK_ALIKE))[..., None, None]).any(1)
    ignored = (within & (kinds == IGNORED)[..., None, None]).any(1)
    weight = torch.where(like & ~subject, LOOK_ALIKE_WEIGHT, 1.0)
    weight = torch.where(ignored, 0.0, weight)
    return weight[:, None].expand(-1, len(SUBJECTS), -1, -1)


def _areas(boxes: np.ndarray) -> np.ndarray:
    return (boxes[..., 2] - boxes[..., 0]).clip(0) * (boxes[..., 3] - boxes[..., 1]).clip(0)

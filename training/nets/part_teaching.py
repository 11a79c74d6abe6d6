"""What part maps teach: where in a network's input each part lies, and the loss of a head that says so.

Labels name what a picture shows; part maps point at it. A small part is learned from far fewer pictures that way.
"""

import numpy as np
import torch

from synthetic_samples.render.part_maps import PARTS, REDUCTION, SMALL_PARTS
from training.data.dataset import UNKNOWN_PART, PictureBank
from training.data.geometry import places

SAMPLES_A_CELL = 4  # along each side
SMALL_PART_GAIN = 3.0  # a small part that shares its cell with a face shall not lose it
LARGEST_WEIGHT = 20.0  # of a rare part against the mean cell


def part_shares(bank: PictureBank, pictures: np.ndarray, maps: np.ndarray, out_px: int, stride: int) -> torch.Tensor:
    """Which share of each cell is which part: float32 (N, parts, out_px / stride, out_px / stride).

    `pictures` (N,) are numbers in the bank and `maps` (N, 3, 3) their windows' maps. A cell of a picture without a part
    map has no share at all.
    """
    cells, device = out_px // stride, bank.device
    fine = cells * SAMPLES_A_CELL
    x, y = places(maps, fine, device)  # (N, fine, fine)
    column, row = (x / REDUCTION).flatten(1), (y / REDUCTION).flatten(1)
    side = bank.parts.shape[-1]
    inside = (column >= 0) & (row >= 0) & (column < side) & (row < side)
    column, row = (spots.long().clamp(0, side - 1) for spots in (column, row))
    chosen = torch.from_numpy(pictures).to(device, non_blocking=True)[:, None]
    number = bank.parts[chosen, row, column].long()
    number = torch.where(inside | (number == UNKNOWN_PART), number, 0)  # outside a picture there is nothing
    number = number.reshape(-1, cells, SAMPLES_A_CELL, cells, SAMPLES_A_CELL).permute(0, 2, 4, 1, 3).flatten(1, 2)
    counts = torch.zeros((len(number), len(PARTS) + 1, cells, cells), device=device)
    counts.scatter_add_(1, number, torch.ones_like(number, dtype=counts.dtype))
    counts = counts[:, : len(PARTS)] * _gains(device)
    return counts / counts.sum(dim=1, keepdim=True).clamp(min=1)


def part_weights(shares: torch.Tensor) -> torch.Tensor:
    """Weight (parts,) of each part in the loss, from sample shares: one over the root of how common it is."""
    common = shares.mean(dim=(0, 2, 3)).clamp(min=1e-6)
    weights = (common / common.sum()).rsqrt()
    return (weights / (weights * common).sum() * common.sum()).clamp(max=LARGEST_WEIGHT)


def part_loss(logits: torch.Tensor, shares: torch.Tensor, weights: torch.Tensor) -> torch.Tensor:
    """Weighted cross-entropy of each cell, plus one minus the Dice overlap of each part that the batch shows.

    Nought for a batch without any part map.
    """
    logits = logits.float()
    weight = (shares * weights[:, None, None]).sum(dim=1)  # (N, h, w), nought where there is no part map
    each = -(shares * logits.log_softmax(dim=1)).sum(dim=1)
    entropy = (each * weight).sum() / weight.sum().clamp(min=1)
    known = shares.sum(dim=1, keepdim=True)
    probability = logits.softmax(dim=1) * known
    both, either = (probability * shares).sum(dim=(0, 2, 3)), (probability + shares).sum(dim=(0, 2, 3))
    shown = (shares.sum(dim=(0, 2, 3)) >= 1).float()
    dice = ((1 - 2 * both / either.clamp(min=1)) * shown).sum() / shown.sum().clamp(min=1)
    return entropy + dice


def part_overlap(logits: torch.Tensor, shares: torch.Tensor) -> dict[str, float]:
    """Intersection over union of each part that these cells show, the likeliest part of a cell being its answer."""
    known = shares.sum(dim=1) > 0
    answers, truths = logits.argmax(dim=1)[known], shares.argmax(dim=1)[known]
    found = {}
    for number, part in enumerate(PARTS):
        answered, true = answers == number, truths == number
        if true.any():
            found[part] = float((answered & true).sum() / (answered | true).sum())
    return found


def _gains(device: torch.device) -> torch.Tensor:
    gains = np.array([SMALL_PART_GAIN if part in SMALL_PARTS else 1.0 for part in PARTS], np.float32)
    return torch.from_numpy(gains).to(device, non_blocking=True)[:, None, None]  # a copy that does not wait

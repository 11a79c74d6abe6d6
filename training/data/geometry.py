"""Where a network's input comes from in a picture, and where boxes go: maps, in batches, between the two.

A map is a 3x3 homography from output coordinates in [-1, 1] (x right, y down) to pixels of a picture's canvas.
"""

from dataclasses import dataclass

import numpy as np
import torch
from torch.nn import functional

from training.config import MEAN, STD


@dataclass(frozen=True)
class Wobble:
    """How far a map strays at random from the plain one."""

    rotation_deg: float
    rotation_share: float  # of the samples that are turned at all
    zoom: float  # natural logarithm, half range
    shift: float  # share of the window's side, standard deviation
    perspective: float
    flip_share: float = 0.5


def window_maps(centres_px: np.ndarray, sides_px: np.ndarray) -> np.ndarray:
    """Maps (N, 3, 3) to square windows with these centres (N, 2) and sides (N,) in canvas pixels."""
    maps = np.zeros((len(sides_px), 3, 3))
    maps[:, 0, 0] = maps[:, 1, 1] = sides_px / 2
    maps[:, :2, 2] = centres_px
    maps[:, 2, 2] = 1
    return maps


def letterbox_maps(sizes_wh: np.ndarray) -> np.ndarray:
    """Maps to the square round each whole picture, the picture centred in it."""
    return window_maps(sizes_wh / 2, sizes_wh.max(axis=1))


def wobbled(maps: np.ndarray, wobble: Wobble, rng: np.random.Generator) -> np.ndarray:
    """The maps with random rotation, zoom, shift, perspective and left-right flip, all in output coordinates."""
    count = len(maps)
    turned = rng.random(count) < wobble.rotation_share
    angle = np.radians(wobble.rotation_deg) * rng.triangular(-1, 0, 1, count) * turned
    zoom = np.exp(rng.uniform(-wobble.zoom, wobble.zoom, count))
    stretch = np.exp(rng.normal(0, 0.05, count))
    flip = np.where(rng.random(count) < wobble.flip_share, -1.0, 1.0)
    change = np.zeros((count, 3, 3))
    change[:, 0, 0] = np.cos(angle) * zoom * stretch * flip
    change[:, 0, 1] = -np.sin(angle) * zoom / stretch
    change[:, 1, 0] = np.sin(angle) * zoom * stretch * flip
    change[:, 1, 1] = np.cos(angle) * zoom / stretch
    change[:, :2, 2] = rng.normal(0, 2 * wobble.shift, (count, 2))  # a side is 2 in output coordinates
    change[:, 2, :2] = rng.uniform(-wobble.perspective, wobble.perspective, (count, 2))
    change[:, 2, 2] = 1
    return maps @ change


def normed(pixels: torch.Tensor, inside: torch.Tensor) -> torch.Tensor:
    """Windows as networks take them, changed in place; what is not `inside` the picture is 0."""
    return pixels.sub_(MEAN).div_(STD) * inside


def places(maps: np.ndarray, side: int, device: torch.device) -> tuple[torch.Tensor, torch.Tensor]:
    """Where the centres of side x side spots of each window lie: x and y in canvas pixels, float32 (N, side, side).

    Sum by sum, since a GPU may round a matrix product's factors to ten bits.
    """
    factors = torch.from_numpy(maps.astype(np.float32)).to(device, non_blocking=True)[..., None, None]
    axis = (torch.arange(side, device=device, dtype=torch.float32) + 0.5) * (2 / side) - 1
    across, down = axis[None, None, :], axis[None, :, None]
    x, y, scale = (factors[:, row, 0] * across + (factors[:, row, 1] * down + factors[:, row, 2]) for row in range(3))
    return x / scale, y / scale


def sample_windows(
    pixels: torch.Tensor, sizes_wh: np.ndarray, maps: np.ndarray, out_px: int
) -> tuple[torch.Tensor, torch.Tensor]:
    """Cut windows: float32 (N, 3, out_px, out_px) in [0, 1], and where they show their picture: 1, and beside it 0.

    `pixels` is uint8 (N, 3, C, C). One sample a pixel: a picture that is reduced by half or less hardly aliases. What
    lies outside a picture is mid grey.
    """
    canvas_px = pixels.shape[-1]
    x, y = places(maps, out_px, pixels.device)
    limits = torch.from_numpy(sizes_wh).to(pixels.device, non_blocking=True)[..., None, None]  # (N, 2, 1, 1)
    inside = (x >= 0) & (y >= 0) & (x <= limits[:, 0]) & (y <= limits[:, 1])
    grid = torch.stack([x, y], dim=-1).mul_(2 / canvas_px).sub_(1)
    centred = pixels.float().div_(255).sub_(128 / 255)  # zero outside the canvas is then mid grey
    drawn = functional.grid_sample(centred, grid, mode="bilinear", padding_mode="zeros", align_corners=False)
    return drawn.add_(128 / 255), inside[:, None].float()


def move_boxes(boxes_px: np.ndarray, maps: np.ndarray, out_px: int) -> np.ndarray:
    """Boxes (N, K, 4) in canvas pixels to boxes in output pixels, not clipped.

    A turned box's corners span more than the thing in it, and the ellipse in the box spans less: the mean of the two.
    """
    back = np.linalg.inv(maps)
    left, top, right, bottom = np.moveaxis(boxes_px, -1, 0)
    centre, half = ((left + right) / 2, (top + bottom) / 2), ((right - left) / 2, (bottom - top) / 2)
    corners = _extent(back, centre, half, ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    turn = np.linspace(0, 2 * np.pi, 8, endpoint=False)
    ellipse = _extent(back, centre, half, tuple(zip(np.cos(turn), np.sin(turn), strict=True)))
    return ((corners + ellipse) / 2 + 1) * (out_px / 2)


def _extent(back: np.ndarray, centre: tuple, half: tuple, offsets: tuple) -> np.ndarray:
    """Left, top, right, bottom (N, K, 4) of points round each box's centre, in output coordinates."""
    along, across = np.array(offsets).T
    x = centre[0][..., None] + half[0][..., None] * along  # (N, K, P)
    y = centre[1][..., None] + half[1][..., None] * across
    there = np.einsum("nij,nkpj->nkpi", back, np.stack([x, y, np.ones_like(x)], axis=-1))
    flat = there[..., :2] / there[..., 2:]
    return np.concatenate([flat.min(axis=2), flat.max(axis=2)], axis=-1)

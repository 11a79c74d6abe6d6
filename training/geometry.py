"""Where a network's input comes from in a picture, and where boxes go: maps, in batches, between the two.

A map is a 3x3 homography from output coordinates in [-1, 1] (x right, y down) to pixels of a picture's canvas.
"""

from dataclasses import dataclass

import numpy as np
import torch
from torch.nn import functional


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


def sample_windows(
    pixels: torch.Tensor, sizes_wh: np.ndarray, maps: np.ndarray, out_px: int
) -> tuple[torch.Tensor, torch.Tensor]:
    """Cut windows: float32 (N, 3, out_px, out_px) in [0, 1], and the share of each pixel that its picture covers.

    `pixels` is uint8 (N, 3, C, C). Four samples a pixel are averaged, so that reduced pictures do not alias; what
    lies outside a picture is mid grey.
    """
    canvas_px = pixels.shape[-1]
    device = pixels.device
    axis = (torch.arange(2 * out_px, device=device, dtype=torch.float32) + 0.5) / out_px - 1
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    points = torch.stack([x, y, torch.ones_like(x)], dim=-1).reshape(1, -1, 3)  # (1, 4 out², 3)
    there = points @ torch.from_numpy(maps.astype(np.float32)).to(device, non_blocking=True).transpose(
        1, 2
    )  # (N, 4 out², 3)
    there = there[..., :2] / there[..., 2:]  # canvas pixels
    limits = torch.from_numpy(sizes_wh).to(device, non_blocking=True)[:, None, :]
    inside = ((there >= 0) & (there <= limits)).all(dim=-1).float().reshape(-1, 1, 2 * out_px, 2 * out_px)
    grid = (there * (2 / canvas_px) - 1).reshape(-1, 2 * out_px, 2 * out_px, 2)
    centred = pixels.float().div_(255).sub_(128 / 255)  # zero outside the canvas is then mid grey
    drawn = functional.grid_sample(centred, grid, mode="bilinear", padding_mode="zeros", align_corners=False)
    return functional.avg_pool2d(drawn, 2).add_(128 / 255), functional.avg_pool2d(inside, 2)


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

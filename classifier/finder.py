"""Where in the whole photo the subjects are: one heat map a kind, and the distances to the box's four sides."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from PIL import Image

from classifier.calibration import sigmoid
from classifier.photo import MID_GREY, Box, Photo
from classifier.recipe import FinderRecipe

MOST_FOUND = 12
"""No phone photo of one lift holds more subjects; it bounds the reader's work."""

SAME_THING_IOU = 0.5
"""Two boxes of one kind that overlap more than this are one subject seen twice."""


@dataclass(frozen=True)
class Letterbox:
    """How a photo was fitted into a square: `scale` square pixels a photo pixel, offsets and sizes in square pixels."""

    size: int
    left: int
    top: int
    width: int
    height: int

    def to_fractions(self, left: float, top: float, right: float, bottom: float) -> Box:
        """A box in square pixels as fractions of the photo, clipped to it."""
        x = np.clip((np.array([left, right]) - self.left) / self.width, 0.0, 1.0)
        y = np.clip((np.array([top, bottom]) - self.top) / self.height, 0.0, 1.0)
        return float(x[0]), float(y[0]), float(x[1]), float(y[1])

    def to_pixels(self, box: Box) -> Box:
        """A box in fractions of the photo as square pixels."""
        return (
            self.left + box[0] * self.width,
            self.top + box[1] * self.height,
            self.left + box[2] * self.width,
            self.top + box[3] * self.height,
        )


@dataclass(frozen=True)
class Found:
    """One subject that the finder proposes; `box` in fractions of the upright photo."""

    kind: str
    box: Box
    probability: float


@dataclass(frozen=True)
class Finder:
    """The finder network with its recipe. `session` is an ONNX Runtime session, `recipe` the metadata's `finder`."""

    session: Any
    recipe: FinderRecipe

    def __call__(self, photo: Photo) -> list[Found]:
        recipe = self.recipe
        pixels, placed = letterbox(photo.reduced(recipe.input_px), recipe.input_px, recipe.mean, recipe.std)
        heat, ltrb = self.session.run(["heat", "ltrb"], {self.session.get_inputs()[0].name: pixels[None]})
        return decode(heat[0], ltrb[0], placed, recipe.stride, recipe.kinds, recipe.temperature, recipe.thresholds)


def letterbox(rgb_uint8: np.ndarray, size: int, mean: float = 0.5, std: float = 0.5) -> tuple[np.ndarray, Letterbox]:
    """Fit a photo uint8 (H, W, 3) into a square on mid grey, as float32 (3, size, size), and say how it lies there."""
    if rgb_uint8.ndim != 3 or rgb_uint8.shape[2] != 3 or rgb_uint8.dtype != np.uint8:
        raise ValueError(f"uint8 (H, W, 3) is wanted, {rgb_uint8.dtype} {rgb_uint8.shape} came")
    height, width = rgb_uint8.shape[:2]
    scale = size / max(height, width)
    fitted = (max(round(width * scale), 1), max(round(height * scale), 1))
    left, top = (size - fitted[0]) // 2, (size - fitted[1]) // 2
    square = np.full((size, size, 3), MID_GREY, dtype=np.uint8)
    resized = Image.fromarray(rgb_uint8).resize(fitted, Image.Resampling.BILINEAR)
    square[top : top + fitted[1], left : left + fitted[0]] = np.asarray(resized)
    return normalise(square, mean, std), Letterbox(size, left, top, fitted[0], fitted[1])


def normalise(rgb_uint8: np.ndarray, mean: float, std: float) -> np.ndarray:
    """uint8 (H, W, 3) as the networks take it: float32 (3, H, W), (value / 255 - mean) / std."""
    return ((rgb_uint8.astype(np.float32) / 255.0 - mean) / std).transpose(2, 0, 1)


def decode(
    heat_logits: np.ndarray,
    ltrb: np.ndarray,
    letterbox: Letterbox,
    stride: int,
    kinds: Sequence[str],
    temperature: float,
    thresholds: Mapping[str, float],
) -> list[Found]:
    """The finder's two maps, heat (K, h, w) and distances (4, h, w) in strides, as boxes, likeliest first.

    A peak is a cell that no neighbour exceeds and whose probability reaches its kind's threshold.
    """
    if heat_logits.shape[0] != len(kinds) or ltrb.shape != (4, *heat_logits.shape[1:]):
        raise ValueError(
            f"heat ({len(kinds)}, h, w) and ltrb (4, h, w) are wanted, {heat_logits.shape} and {ltrb.shape} came"
        )
    probability = sigmoid(heat_logits, temperature)  # (K, h, w)
    least = np.array([thresholds[kind] for kind in kinds])[:, None, None]
    peaks = np.argwhere((heat_logits >= _largest_neighbour(heat_logits)) & (probability >= least))
    candidates = [_found_at(k, y, x, probability, ltrb, letterbox, stride, kinds) for k, y, x in peaks]
    kept: list[Found] = []
    for found in sorted(candidates, key=lambda f: -f.probability):
        twice = any(f.kind == found.kind and overlap(f.box, found.box) > SAME_THING_IOU for f in kept)
        if not twice and found.box[2] > found.box[0] and found.box[3] > found.box[1]:
            kept.append(found)
    return kept[:MOST_FOUND]


def overlap(a: Box, b: Box) -> float:
    """Intersection over union of two boxes, 0 to 1."""
    across = max(0.0, min(a[2], b[2]) - max(a[0], b[0]))
    down = max(0.0, min(a[3], b[3]) - max(a[1], b[1]))
    union = (a[2] - a[0]) * (a[3] - a[1]) + (b[2] - b[0]) * (b[3] - b[1]) - across * down
    return across * down / union if union > 0 else 0.0


def _largest_neighbour(heat: np.ndarray) -> np.ndarray:
    padded = np.pad(heat, ((0, 0), (1, 1), (1, 1)), constant_values=-np.inf)
    return np.lib.stride_tricks.sliding_window_view(padded, (3, 3), axis=(1, 2)).max(axis=(3, 4))  # (K, h, w)


def _found_at(
    k: int,
    y: int,
    x: int,
    probability: np.ndarray,
    ltrb: np.ndarray,
    letterbox: Letterbox,
    stride: int,
    kinds: Sequence[str],
) -> Found:
    centre_x, centre_y = (x + 0.5) * stride, (y + 0.5) * stride
    left, top, right, bottom = ltrb[:, y, x] * stride
    box = letterbox.to_fractions(centre_x - left, centre_y - top, centre_x + right, centre_y + bottom)
    return Found(kinds[k], box, float(probability[k, y, x]))

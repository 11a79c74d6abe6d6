"""Small patterns that materials are mixed from; all tile without a seam and cost about a millisecond."""

from typing import Final

import cv2
import numpy as np

from synthetic_samples.geometry import Vector

SIZE: Final = 256  # pixels on each side of a texture


def linear(red: float, green: float, blue: float) -> Vector:
    """Linear RGB of an sRGB colour given in 0..255 (IEC 61966-2-1, from memory)."""
    shown = np.array([red, green, blue]) / 255
    values = np.where(shown <= 0.04045, shown / 12.92, ((shown + 0.055) / 1.055) ** 2.4)
    return tuple(float(value) for value in values)


def linear_pixels(srgb: np.ndarray) -> np.ndarray:
    """(H, W, 3) uint8 sRGB picture to linear float32."""
    shown = np.arange(256) / 255
    table = np.where(shown <= 0.04045, shown / 12.92, ((shown + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return table[srgb]


def from_hsv(hue_deg: float, saturation: float, value: float) -> Vector:
    """Linear RGB of a hue in degrees, saturation and value in 0..1 as they are seen in sRGB."""
    offsets = np.abs((np.array([0.0, 120.0, 240.0]) - hue_deg + 180) % 360 - 180)
    shown = value * (1 - saturation + saturation * np.clip(2 - offsets / 60, 0, 1))
    return linear(*(255 * shown))


def cloud(rng: np.random.Generator, rows: int, columns: int | None = None) -> np.ndarray:
    """(SIZE, SIZE) float32 in about 0..1, smooth between rows x columns random cells (both divide SIZE)."""
    columns = columns or rows
    cells = np.pad(rng.random((rows, columns), np.float32), 1, mode="wrap")
    step_y, step_x = SIZE // rows, SIZE // columns
    large = cv2.resize(cells, ((columns + 2) * step_x, (rows + 2) * step_y), interpolation=cv2.INTER_LINEAR)
    return large[step_y : step_y + SIZE, step_x : step_x + SIZE]


def rough_cloud(rng: np.random.Generator, cells: int) -> np.ndarray:
    """Cloud of three octaves, (SIZE, SIZE) float32 in about 0..1."""
    return 0.57 * cloud(rng, cells) + 0.28 * cloud(rng, 2 * cells) + 0.15 * cloud(rng, 4 * cells)


def grain(rng: np.random.Generator) -> np.ndarray:
    """Independent pixels, mean 0 and standard deviation 1, (SIZE, SIZE) float32."""
    return rng.standard_normal((SIZE, SIZE), np.float32)


def patches(rng: np.random.Generator, cells: int, share: float) -> np.ndarray:
    """Soft-edged blots that cover about `share` of the (SIZE, SIZE) texture, 0..1."""
    pattern = rough_cloud(rng, cells)
    threshold = float(np.quantile(pattern[::8, ::8], 1 - share))
    return np.clip((pattern - threshold) * float(rng.uniform(1.5, 6)), 0, 1)


def scratches(rng: np.random.Generator, count: int, longest_px: float = 90.0) -> np.ndarray:
    """Thin straight scratches, (SIZE, SIZE) float32 in 0..1."""
    canvas = np.zeros((SIZE, SIZE), np.uint8)
    for _ in range(count):
        x, y = rng.integers(0, SIZE, 2)
        angle, length = rng.uniform(0, 2 * np.pi), longest_px * rng.random() ** 2 + 4
        end = (int(x + length * np.cos(angle)), int(y + length * np.sin(angle)))
        cv2.line(canvas, (int(x), int(y)), end, int(rng.integers(70, 256)), 1, cv2.LINE_AA)
    return canvas.astype(np.float32) / 255


def finger_marks(rng: np.random.Generator, count: int) -> np.ndarray:
    """Oval smears as fingers leave them, (SIZE, SIZE) float32 in 0..1."""
    canvas = np.zeros((SIZE, SIZE), np.uint8)
    for _ in range(count):
        centre = tuple(int(value) for value in rng.integers(20, SIZE - 20, 2))
        axes = (int(rng.integers(8, 15)), int(rng.integers(12, 26)))
        cv2.ellipse(canvas, centre, axes, float(rng.uniform(0, 180)), 0, 360, int(rng.integers(90, 256)), -1)
    return cv2.GaussianBlur(canvas, (0, 0), 3).astype(np.float32) / 255


def mixed(base: np.ndarray | Vector, other: np.ndarray | Vector, share: np.ndarray) -> np.ndarray:
    """Colour `base` covered by `other` where `share` (SIZE, SIZE) says; (SIZE, SIZE, 3) float32."""
    share = share.astype(np.float32, copy=False)
    pairs = zip(_channels(base), _channels(other), strict=True)
    return cv2.merge([under + (over - under) * share for under, over in pairs])


def shaded(colour: np.ndarray | Vector, factor: np.ndarray) -> np.ndarray:
    """Colour times a pattern about 1, kept within what real surfaces reflect; (SIZE, SIZE, 3) float32."""
    factor = factor.astype(np.float32, copy=False)
    return cv2.merge([np.clip(channel * factor, 0.004, 0.9) for channel in _channels(colour)])


def _channels(colour: np.ndarray | Vector) -> tuple[np.ndarray | np.float32, ...]:
    """Three planes or three numbers: numpy is ten times faster on planes than on a last axis of three."""
    pixels = np.asarray(colour, np.float32)
    return tuple(pixels) if pixels.ndim == 1 else cv2.split(pixels)

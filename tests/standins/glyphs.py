"""Printed things: stickers with meaningless glyphs, arrows, gauges with battery outlines, and posters."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw

Colour = tuple[int, int, int]


def sticker(rng: np.random.Generator, width_px: int = 160, height_px: int = 100) -> np.ndarray:
    """A label (H, W, 3) uint8 of strokes that belong to no script, with bars and frames."""
    pale = bool(rng.random() < 0.75)
    paper = tuple(int(v) for v in (rng.integers(195, 250, 3) if pale else _strong(rng)))
    ink = tuple(int(v) for v in (rng.integers(0, 80, 3) if pale else rng.integers(190, 255, 3)))
    picture = Image.new("RGB", (width_px, height_px), paper)
    pen = ImageDraw.Draw(picture)
    if rng.random() < 0.4:
        pen.rectangle((2, 2, width_px - 3, height_px - 3), outline=ink, width=2)
    top = 6
    if rng.random() < 0.5:
        band = tuple(int(v) for v in rng.integers(20, 230, 3))
        pen.rectangle((0, 0, width_px, height_px // 5), fill=band)
        top = height_px // 5 + 4
    while top < height_px - 8:
        size = int(rng.integers(5, 15))
        if rng.random() < 0.15:
            _bars(pen, rng, 8, top, width_px - 8, min(top + 2 * size, height_px - 4), ink)
            top += 2 * size + 5
            continue
        _scrawl(pen, rng, 8, top, int(rng.uniform(0.3, 0.95) * width_px), size, ink)
        top += size + int(rng.integers(3, 8))
    return np.asarray(picture)


def arrow(rng: np.random.Generator, upward: bool, ground: Colour, ink: Colour) -> np.ndarray:
    """One raise or lower sign (48, 48, 3): a triangle, a chevron or an arrow with a shaft."""
    picture = Image.new("RGB", (96, 96), ground)
    pen = ImageDraw.Draw(picture)
    form = int(rng.integers(0, 3))
    if form == 0:
        pen.polygon([(48, 20), (80, 74), (16, 74)], fill=ink)
    elif form == 1:
        pen.line([(18, 66), (48, 28), (78, 66)], fill=ink, width=13, joint="curve")
    else:
        pen.polygon([(48, 14), (76, 48), (20, 48)], fill=ink)
        pen.rectangle((39, 46, 57, 82), fill=ink)
    return np.asarray(picture if upward else picture.transpose(Image.Transpose.FLIP_TOP_BOTTOM))


def gauge(rng: np.random.Generator) -> np.ndarray:
    """A charge panel (H, W, 3): a battery outline with a filling, or rising bars, on a dark or a grey screen."""
    dark = bool(rng.random() < 0.55)
    ground: Colour = tuple(
        int(v) for v in (rng.integers(8, 40, 3) if dark else rng.integers(130, 190) + rng.integers(-12, 12, 3))
    )
    ink: Colour = tuple(int(v) for v in (rng.integers(150, 255, 3) if dark else rng.integers(5, 50, 3)))
    width, height = 180, 110
    picture = Image.new("RGB", (width, height), ground)
    pen = ImageDraw.Draw(picture)
    filled = int(rng.integers(1, 5))
    form = int(rng.integers(0, 3))
    if form == 0:
        pen.rectangle((25, 30, 145, 82), outline=ink, width=7)
        pen.rectangle((146, 44, 158, 68), fill=ink)
        for step in range(filled):
            pen.rectangle((37 + 26 * step, 41, 55 + 26 * step, 71), fill=ink)
    elif form == 1:
        for step in range(5):
            box = (26 + 28 * step, 80 - 12 * step, 44 + 28 * step, 92)
            pen.rectangle(box, fill=ink if step <= filled else None, outline=ink, width=3)
    else:
        pen.rectangle((64, 26, 116, 98), outline=ink, width=7)
        pen.rectangle((78, 14, 102, 26), fill=ink)
        for step in range(filled):
            pen.rectangle((75, 78 - 16 * step, 105, 87 - 16 * step), fill=ink)
    return np.asarray(picture)


def poster(rng: np.random.Generator) -> np.ndarray:
    """Something to hang on a wall: blocks of colour and a few strokes."""
    picture = Image.new("RGB", (180, 240), tuple(int(v) for v in rng.integers(120, 255, 3)))
    pen = ImageDraw.Draw(picture)
    for _ in range(int(rng.integers(3, 9))):
        x, y = rng.integers(0, 150), rng.integers(0, 200)
        box = (int(x), int(y), int(x + rng.integers(15, 90)), int(y + rng.integers(15, 110)))
        shape = pen.ellipse if rng.random() < 0.5 else pen.rectangle
        shape(box, fill=tuple(int(v) for v in rng.integers(0, 255, 3)))
    _scrawl(pen, rng, 12, 205, 150, 16, (20, 20, 20))
    return np.asarray(picture)


def _scrawl(
    pen: ImageDraw.ImageDraw, rng: np.random.Generator, left: int, top: int, right: int, size: int, ink: Colour
) -> None:
    x = left
    while x < right:
        for _ in range(int(rng.integers(1, 4))):
            ends = [(x + int(rng.integers(0, size)) * 2 // 3, top + int(rng.integers(0, size))) for _ in range(2)]
            pen.line(ends, fill=ink, width=max(1, size // 6))
        x += size if rng.random() < 0.85 else 2 * size


def _strong(rng: np.random.Generator) -> list[int]:
    """A plain colour that no screen has: one channel high, the others low."""
    return rng.permutation(
        [int(rng.integers(150, 230)), int(rng.integers(30, 120)), int(rng.integers(10, 70))]
    ).tolist()


def _bars(
    pen: ImageDraw.ImageDraw, rng: np.random.Generator, left: int, top: int, right: int, bottom: int, ink: Colour
) -> None:
    x = left
    while x < right:
        width = int(rng.integers(1, 5))
        pen.rectangle((x, top, min(x + width, right), bottom), fill=ink)
        x += width + int(rng.integers(1, 5))

"""Flat printed matter with signs that mean nothing: no letters, no logos, no real maker's look."""

import cv2
import numpy as np

from synthetic_samples.geometry import Picture
from synthetic_samples.materials.textures import linear_pixels

_PIXELS_PER_METRE = 3200
_LEAST_PRINT = 0.08  # share of a sticker that is not bare paper: a blank one could pass for an idle display


def sticker(rng: np.random.Generator, width_m: float | None = None, height_m: float | None = None) -> Picture:
    """A label sticker as equipment carries them; drawn sizes are 15 to 90 mm wide. Its frame is still the identity."""
    width_m = float(rng.uniform(0.015, 0.09)) if width_m is None else width_m
    height_m = float(width_m * rng.uniform(0.25, 1.0)) if height_m is None else height_m
    canvas = _paper(rng, width_m, height_m, pale=rng.random() < 0.75)
    ink = _ink(rng, canvas)
    blocks = _split(rng, (2, 2, canvas.shape[1] - 4, canvas.shape[0] - 4), 2)
    for block in blocks:
        _DRAWERS[int(rng.choice(len(_DRAWERS), p=[0.42, 0.19, 0.12, 0.1, 0.07, 0.1]))](rng, canvas, block, ink)
    if (canvas != canvas[0, 0]).mean() < _LEAST_PRINT:
        _bars(rng, canvas, (0, 0, canvas.shape[1], canvas.shape[0]), ink)
    if rng.random() < 0.4:
        cv2.rectangle(canvas, (0, 0), (canvas.shape[1] - 1, canvas.shape[0] - 1), ink, 1)
    return Picture(width_m, height_m, linear_pixels(_worn(rng, canvas)), roughness=float(rng.uniform(0.15, 0.7)))


def poster(rng: np.random.Generator) -> Picture:
    """A picture, notice or calendar for a wall, 0.2 to 0.7 m wide. Its frame is still the identity."""
    width_m = float(rng.uniform(0.2, 0.7))
    height_m = float(width_m * rng.uniform(0.6, 1.5))
    scale = 160 / max(width_m, height_m) / _PIXELS_PER_METRE
    canvas = _paper(rng, width_m * scale, height_m * scale, pale=rng.random() < 0.5)
    height, width = canvas.shape[:2]
    margin = int(rng.integers(0, 12))
    upper = int(height * rng.uniform(0.3, 0.95))
    _scene(rng, canvas, (margin, margin, width - 2 * margin, upper - 2 * margin))
    foot = (margin + 4, upper, width - 2 * margin - 8, height - upper - margin)
    _lines_of_signs(rng, canvas, foot, _ink(rng, canvas))
    return Picture(width_m, height_m, linear_pixels(canvas), roughness=float(rng.uniform(0.15, 0.8)))


def _paper(rng: np.random.Generator, width_m: float, height_m: float, pale: bool) -> np.ndarray:
    size = [int(np.clip(side * _PIXELS_PER_METRE, 12, 224)) for side in (height_m, width_m)]
    colour = rng.integers(205, 250, 3) if pale else rng.integers(10, 250, 3)
    return np.full((*size, 3), colour, np.uint8)


def _ink(rng: np.random.Generator, canvas: np.ndarray) -> tuple[int, int, int]:
    """A colour that stands out from the paper."""
    paper = float(canvas[0, 0].mean())
    level = rng.integers(0, 70, 3) if paper > 120 else rng.integers(190, 255, 3)
    if rng.random() < 0.3:
        level[rng.integers(3)] = 128
    return tuple(int(value) for value in level)


Block = tuple[int, int, int, int]  # left, top, width, height in pixels


def _split(rng: np.random.Generator, block: Block, depth: int) -> list[Block]:
    """Cut a block into two by a random line, and each again, while there is room."""
    left, top, width, height = block
    if depth == 0 or max(width, height) < 28 or rng.random() < 0.2:
        return [block]
    share = float(rng.uniform(0.3, 0.7))
    if width > height:
        cut = int(width * share)
        halves = (left, top, cut, height), (left + cut, top, width - cut, height)
    else:
        cut = int(height * share)
        halves = (left, top, width, cut), (left, top + cut, width, height - cut)
    return [piece for half in halves for piece in _split(rng, half, depth - 1)]


def _lines_of_signs(rng: np.random.Generator, canvas: np.ndarray, block: Block, ink: tuple[int, int, int]) -> None:
    """Rows of little figures of three random strokes, ragged at the right."""
    left, top, width, height = block
    pitch = int(np.clip(rng.integers(6, 15), max(5, height // 14), max(height - 2, 5)))
    step_x, step_y = int(0.8 * pitch) + 1, pitch + int(rng.integers(1, 4))
    rows, columns = (height - pitch - 1) // step_y + 1, (width - pitch) // step_x
    if rows < 1 or columns < 1:
        return
    y, x = np.mgrid[:rows, :columns]
    ends = rng.uniform(0.5, 1.0, (rows, 1)) * columns
    there = (rng.random((rows, columns)) > 0.15) & (x < ends)
    corners = np.stack([left + 2 + x * step_x, top + 2 + y * step_y], -1)[there]  # (N, 2)
    strokes = (rng.random((len(corners), 4, 2)) * (0.7 * pitch, pitch - 2)).astype(np.int32) + corners[:, None]
    cv2.polylines(canvas, list(strokes), False, ink, 1, cv2.LINE_AA)


def _large_signs(rng: np.random.Generator, canvas: np.ndarray, block: Block, ink: tuple[int, int, int]) -> None:
    """One row of two to six figures as high as there is room, of bold strokes."""
    left, top, width, height = block
    count = int(rng.integers(2, 7))
    step, tall = (width - 4) / count, (height - 4) * rng.uniform(0.5, 1.0)
    bold = max(2, int(min(step, tall) * rng.uniform(0.1, 0.22)))
    for number in range(count):
        corner = np.array([left + 2 + number * step + bold / 2, top + 2 + (height - 4 - tall) / 2 + bold / 2])
        room = np.maximum((step * 0.8 - bold, tall - bold), 1)
        strokes = (corner + rng.random((int(rng.integers(3, 6)), 2)) * room).astype(np.int32)
        cv2.polylines(canvas, [strokes], False, ink, bold, cv2.LINE_AA)


def _bars(rng: np.random.Generator, canvas: np.ndarray, block: Block, ink: tuple[int, int, int]) -> None:
    """Many thin upright bars of uneven width."""
    left, top, width, height = block
    x = left + 3
    while x < left + width - 5:
        bar = int(rng.integers(1, 4))
        canvas[top + 2 : top + height - 2, x : x + bar] = ink
        x += bar + int(rng.integers(1, 4))


def _dots(rng: np.random.Generator, canvas: np.ndarray, block: Block, ink: tuple[int, int, int]) -> None:
    """A square of random dark and light cells, at least ten a side where there is room."""
    left, top, width, height = block
    cells = int(rng.integers(10, 18))
    cell = max(1, (min(width, height) - 4) // cells)
    pattern = np.kron(rng.random((cells, cells)) < 0.5, np.ones((cell, cell), bool))[: height - 2, : width - 2]
    canvas[top + 1 : top + 1 + pattern.shape[0], left + 1 : left + 1 + pattern.shape[1]][pattern] = ink


def _band(rng: np.random.Generator, canvas: np.ndarray, block: Block, ink: tuple[int, int, int]) -> None:
    """A coloured band with signs in the paper's colour."""
    left, top, width, height = block
    paper = tuple(int(value) for value in canvas[0, 0])
    colour = tuple(int(value) for value in rng.integers(0, 255, 3))
    cv2.rectangle(canvas, (left, top), (left + width, top + height), colour, -1)
    _lines_of_signs(rng, canvas, block, paper if abs(sum(paper) - sum(colour)) > 180 else ink)


def _triangle(rng: np.random.Generator, canvas: np.ndarray, block: Block, ink: tuple[int, int, int]) -> None:
    """A yellow or white triangle with a stroke in it."""
    left, top, width, height = block
    side = min(width, height) - 4
    foot = top + side
    corners = np.array([[left + 2, foot], [left + 2 + side, foot], [left + 2 + side // 2, top + 2]], np.int32)
    cv2.fillPoly(canvas, [corners], (240, 200, 30) if rng.random() < 0.7 else (245, 245, 245))
    cv2.polylines(canvas, [corners], True, ink, 2, cv2.LINE_AA)
    cv2.line(canvas, (left + 2 + side // 2, top + side // 2), (left + 2 + side // 2, top + side - 4), ink, 2)


_DRAWERS = (_lines_of_signs, _bars, _dots, _band, _triangle, _large_signs)


def _worn(rng: np.random.Generator, canvas: np.ndarray) -> np.ndarray:
    """Rubbed and yellowed a little, (H, W, 3) uint8."""
    height, width = canvas.shape[:2]
    blots = cv2.resize(rng.random((5, 7), np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    fade = (float(rng.uniform(0, 0.5)) * np.clip(blots, 0, 1) ** 2)[..., None]
    paper = np.array([225, 218, 200]) * float(rng.uniform(0.6, 1.0))
    return np.clip(canvas * (1 - fade) + paper * fade, 0, 255).astype(np.uint8)


def _scene(rng: np.random.Generator, canvas: np.ndarray, block: Block) -> None:
    """Sky, ground and a few soft shapes, like a print of some landscape or still life."""
    left, top, width, height = block
    upper, lower = rng.integers(40, 255, 3), rng.integers(20, 220, 3)
    ramp = np.linspace(0, 1, max(height, 1))[:, None, None] ** float(rng.uniform(0.4, 2.5))
    picture = np.repeat(upper * (1 - ramp) + lower * ramp, width, axis=1).astype(np.uint8)  # (height, width, 3)
    for _ in range(int(rng.integers(2, 9))):
        centre = int(rng.integers(0, width)), int(rng.integers(0, height))
        axes = int(rng.integers(3, width // 3 + 4)), int(rng.integers(3, height // 3 + 4))
        colour = tuple(int(value) for value in rng.integers(0, 255, 3))
        cv2.ellipse(picture, centre, axes, float(rng.uniform(0, 180)), 0, 360, colour, -1, cv2.LINE_AA)
    canvas[top : top + height, left : left + width] = cv2.GaussianBlur(picture, (0, 0), float(rng.uniform(0.5, 3)))

"""Parts of a place: floor and walls, furniture along them, and what lies about. z = 0 is the floor, +y is backwards."""

from collections.abc import Sequence

import numpy as np

from synthetic_samples.geometry import Material, Part, Piece, block, cylinder, moved, shift
from synthetic_samples.materials.materials import cable_material, metal, plain_material, poster
from synthetic_samples.materials.room_materials import bench_material, wood
from synthetic_samples.surroundings import fixtures, furniture
from synthetic_samples.surroundings.clutter import clutter


def floor_slab(material: Material) -> Part:
    return Part(block(8, 8, 0.02).translate((0, 0, -0.01)), material)


def back_wall(material: Material, y: float, rng: np.random.Generator) -> list[Piece]:
    """Wall across the back, mostly with a skirting board."""
    pieces: list[Piece] = [Part(block(8, 0.1, 2.6).translate((0, y + 0.05, 1.3)), material)]
    if rng.random() < 0.8:
        skirting = block(8, 0.016, rng.uniform(0.05, 0.16))
        pieces.append(
            Part(skirting.translate((0, y - 0.008, 0.06)), plain_material(rng) if rng.random() < 0.5 else wood(rng))
        )
    return pieces


def shell(rng: np.random.Generator, back: float, floor: Material, wall: Material) -> list[Piece]:
    """Floor, back wall and sometimes one side wall that leaves the front open for light and camera."""
    pieces: list[Piece] = [floor_slab(floor), *back_wall(wall, back, rng)]
    if rng.random() < 0.35:
        side = rng.choice([-1, 1]) * rng.uniform(1.5, 2.6)
        front = min(-0.2, back - 0.6)
        slab = block(0.1, back - front, 2.6).translate((side + np.sign(side) * 0.05, (back + front) / 2, 1.3))
        pieces.append(Part(slab, wall))
    return pieces


def along_wall(rng: np.random.Generator, builders: Sequence, back: float, depth: float) -> list[Piece]:
    """Furniture side by side against the back wall, what is deeper than `depth` left out."""
    pieces: list[Piece] = []
    x = -rng.uniform(0.8, 1.8)
    for builder in builders:
        things = builder(rng)
        low, high = bounds(things)
        if -low[1] < depth:
            pieces += moved(things, shift(x - low[0], back - 0.02))
            x += high[0] - low[0] + rng.uniform(0.05, 0.4)
    return pieces


def on_wall(rng: np.random.Generator, back: float) -> list[Piece]:
    """Window, radiator, door or pictures on the back wall."""
    at_wall, draw = shift(0, back, 0), rng.random()
    if draw < 0.3:
        below = fixtures.radiator(rng) if rng.random() < 0.5 else []
        return moved(fixtures.window(rng) + below, at_wall @ shift(rng.uniform(-1.2, 1.2)))
    if draw < 0.5:
        return moved(fixtures.door(rng), at_wall @ shift(rng.choice([-1, 1]) * rng.uniform(1.2, 2.0)))
    if draw < 0.85:
        hung = [poster(rng) for _ in range(int(rng.integers(1, 3)))]
        return [one.moved(at_wall @ shift(rng.uniform(-1.5, 1.5), -0.004, rng.uniform(1.2, 1.8))) for one in hung]
    return []


def table_top(rng: np.random.Generator, height: float, back: float, material: Material) -> list[Piece]:
    """Table top from the back wall to 0.3 to 0.5 m before the anchor, on two sides."""
    front, width, thick = rng.uniform(0.3, 0.5), rng.uniform(1.0, 2.2), rng.uniform(0.018, 0.06)
    pieces: list[Piece] = [Part(furniture.board(width, back + front, thick, y=back, z=height - thick), material)]
    legs = [
        furniture.board(0.05, back + front - 0.04, height - thick, side * (width / 2 - 0.04), back - 0.02)
        for side in (-1, 1)
    ]
    leg = plain_material(rng)
    return pieces + [Part(solid, leg) for solid in legs]


def tool_wall(rng: np.random.Generator) -> list[Piece]:
    """Board with tools hanging in a row."""
    pieces: list[Piece] = [Part(block(1.4, 0.015, 0.6).translate((0, -0.008, 0.25)), bench_material(rng))]
    for x in np.linspace(-0.6, 0.6, int(rng.integers(4, 9))):
        length, thick = rng.uniform(0.1, 0.3), rng.uniform(0.012, 0.04)
        tool = furniture.board(thick, 0.02, length, x, -0.016, 0.4 - length) if rng.random() < 0.5 else cylinder(
            thick / 2, length, segments=12).translate((x, -0.035, 0.4 - length))  # fmt: skip
        pieces.append(Part(tool, cable_material(rng) if rng.random() < 0.5 else metal(rng)))
    return pieces


def strewn(rng: np.random.Generator, clear: float, place: str, count: int, back: float = 1.0) -> list[Piece]:
    """Things beside and behind a free circle, seldom a small one before it; none through a wall `back` behind."""
    pieces: list[Piece] = []
    for _ in range(count):
        thing = clutter(rng, place)
        low, high = bounds(thing)
        size = float(max(high[0] - low[0], high[1] - low[1])) / 2
        for _ in range(3):
            reach, angle = clear + size + rng.exponential(0.12), np.radians(rng.uniform(-20, 200))
            x, y = reach * np.cos(angle), reach * np.sin(angle)
            if y + size < back and size < 0.3:
                pieces += moved(thing, shift(x, y))
                break
    return pieces


def bounds(pieces: Sequence[Piece]) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of all solids and pictures, metres."""
    boxes = []
    for piece in pieces:
        if isinstance(piece, Part):
            boxes.append(np.array(piece.solid.bounding_box()).reshape(2, 3))
        else:
            reach = np.array([piece.width_m, piece.width_m, piece.height_m]) / 2
            boxes.append(np.array([piece.frame[:3, 3] - reach, piece.frame[:3, 3] + reach]))
    return np.min([box[0] for box in boxes], 0), np.max([box[1] for box in boxes], 0)

"""Places where a lift or a loose part of it is photographed: rooms, walls, benches, floors, shelves."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from synthetic_samples.geometry import Material, Part, Piece, block, cylinder, moved, rounded_block, shift, turn
from synthetic_samples.materials.materials import metal, painted_metal, plain_material, poster, sticker
from synthetic_samples.materials.room_materials import (
    bench_material,
    carpet,
    concrete,
    fabric,
    floor_material,
    tiles,
    wall_material,
    wood,
)
from synthetic_samples.surroundings import fixtures, furniture
from synthetic_samples.surroundings.clutter import clutter
from synthetic_samples.surroundings.place_parts import (
    along_wall,
    back_wall,
    bounds,
    floor_slab,
    on_wall,
    shell,
    strewn,
    table_top,
    tool_wall,
)

SETTINGS: Final = (
    "room",
    "hallway",
    "bathroom",
    "carpet",
    "bench",
    "bedside",
    "shelf",
    "bed",
    "wall",
    "board",
    "outside",
)
"""Kinds of place that `setting` builds."""


_PLACES: Final = {
    "floor": (
        ("room", 0.33),
        ("hallway", 0.15),
        ("bathroom", 0.1),
        ("carpet", 0.22),
        ("outside", 0.13),
        ("board", 0.07),
    ),
    "bench": (("bench", 0.33), ("bedside", 0.3), ("shelf", 0.13), ("bed", 0.12), ("board", 0.12)),
    "wall": (("wall", 1.0),),
}
_SHELF_REACH_M: Final = 0.22  # what reaches further is too big for a shelf


@dataclass(frozen=True, eq=False)
class Setting:
    """A place with room for a subject: seen from the half space y < 0, best within 60 degrees of its middle.

    `anchor` carries the subject's own frame (front towards -y) to its place. With backdrop "floor", "bench" or "open"
    the subject stands with the centre of its foot at the origin of that frame, z up. With "wall" the origin lies on the
    wall's face: the centre of the subject's back belongs there. `free_depth_m` is what lies free behind the anchor,
    `free_height_m` above it.
    """

    kind: str
    pieces: tuple[Piece, ...]
    anchor: np.ndarray
    backdrop: str
    free_depth_m: float
    free_height_m: float = 2.5


def draw_setting(rng: np.random.Generator, place: str, reach_m: float) -> Setting:
    """A place for a subject that stands on a "floor" or a "bench" or hangs on a "wall".

    `reach_m` is how far the subject's pieces reach sideways from the anchor: so much is left free round it.
    Raises ValueError for another word.
    """
    if place not in _PLACES:
        raise ValueError(f"a place for {place!r}: wanted one of {', '.join(_PLACES)}")
    kinds, shares = zip(*_PLACES[place], strict=True)
    kind = str(rng.choice(kinds, p=shares))
    if kind == "shelf" and reach_m > _SHELF_REACH_M:
        kind = "bench"
    return setting(rng, kind, reach_m + 0.02)


def setting(rng: np.random.Generator, kind: str, clear_radius_m: float = 0.15) -> Setting:
    """Build one place of `kind` (see SETTINGS) that leaves `clear_radius_m` round the anchor free of things.

    z = 0 is the floor; no piece carries a label. Raises ValueError for an unknown kind.
    """
    if kind not in _BUILDERS:
        raise ValueError(f"setting {kind!r}: wanted one of {', '.join(SETTINGS)}")
    return _BUILDERS[kind](rng, clear_radius_m)


def _room(rng: np.random.Generator, clear: float) -> Setting:
    """Bedroom, ward or living room: furniture along the back wall."""
    back = clear + rng.uniform(0.7, 1.8)
    choices = (furniture.bed, furniture.cabinet, furniture.wardrobe, furniture.chair, furniture.wheeled_chair,
               furniture.shelf_unit, furniture.table)  # fmt: skip
    builders = [choices[k] for k in rng.permutation(len(choices))[: int(rng.integers(1, 4))]]
    pieces = shell(rng, back, floor_material(rng), wall_material(rng))
    pieces += along_wall(rng, builders, back, back - clear)
    pieces += on_wall(rng, back)
    pieces += strewn(rng, clear, "home", int(rng.integers(0, 3)))
    return Setting("room", tuple(pieces), _turned_a_little(rng), "floor", back)


def _hallway(rng: np.random.Generator, clear: float) -> Setting:
    """Corridor: doors, handrail, little furniture."""
    back = clear + rng.uniform(0.3, 0.8)
    pieces = shell(rng, back, floor_material(rng), wall_material(rng))
    at_wall = shift(0, back, 0)
    pieces += moved(fixtures.door(rng), at_wall @ shift(rng.uniform(-1.3, 1.3)))
    if rng.random() < 0.6:
        pieces += moved(fixtures.handrail(rng), at_wall @ shift(rng.choice([-2.0, 2.0])))
    pieces += strewn(rng, clear, "home", int(rng.integers(0, 2)))
    return Setting("hallway", tuple(pieces), _turned_a_little(rng), "floor", back)


def _bathroom(rng: np.random.Generator, clear: float) -> Setting:
    """Tiled room with a basin and grab bars."""
    back = clear + rng.uniform(0.5, 1.0)
    pieces = shell(rng, back, tiles(rng), tiles(rng))
    at_wall = shift(0, back, 0)
    pieces += moved(fixtures.basin(rng), at_wall @ shift(rng.uniform(-0.9, 0.9)))
    pieces += moved(fixtures.grab_bar(rng), at_wall @ shift(rng.choice([-1.5, 1.5])))
    pieces += strewn(rng, clear, "home", int(rng.integers(0, 2)))
    return Setting("bathroom", tuple(pieces), _turned_a_little(rng), "floor", back)


def _carpet(rng: np.random.Generator, clear: float) -> Setting:
    """A floor looked down upon, with things about."""
    material = carpet(rng) if rng.random() < 0.6 else floor_material(rng)
    pieces: list[Piece] = [floor_slab(material)]
    if rng.random() < 0.4:
        rug = block(rng.uniform(0.8, 1.8), rng.uniform(0.6, 1.2), 0.008).translate((0, rng.uniform(-0.2, 0.2), 0.004))
        pieces.append(Part(rug, carpet(rng)))
    if rng.random() < 0.5:
        pieces += back_wall(wall_material(rng), clear + rng.uniform(0.2, 1.0), rng)
    pieces += strewn(rng, clear, "any", int(rng.integers(1, 5)))
    lifted = shift(z=0.008) @ _turned_a_little(rng)
    return Setting("carpet", tuple(pieces), lifted, "floor", clear)


def _bench(rng: np.random.Generator, clear: float) -> Setting:
    """Workshop bench with tools, boxes and a pegboard or bare wall behind."""
    top, back = rng.uniform(0.8, 1.0), clear + rng.uniform(0.08, 0.4)
    pieces = table_top(rng, top, back, bench_material(rng))
    pieces += shell(rng, back, concrete(rng), wall_material(rng))
    if rng.random() < 0.5:
        pieces += moved(tool_wall(rng), shift(rng.uniform(-0.3, 0.3), back, top + 0.35))
    pieces += moved(strewn(rng, clear, "workshop", int(rng.integers(2, 6)), back), shift(z=top))
    return Setting("bench", tuple(pieces), shift(z=top) @ _turned_a_little(rng), "bench", back)


def _bedside(rng: np.random.Generator, clear: float) -> Setting:
    """Table or desk at home with everyday things."""
    top, back = rng.uniform(0.55, 0.8), clear + rng.uniform(0.08, 0.4)
    pieces = table_top(rng, top, back, bench_material(rng))
    pieces += shell(rng, back, floor_material(rng), wall_material(rng))
    pieces += on_wall(rng, back)
    pieces += moved(strewn(rng, clear, "home", int(rng.integers(1, 5)), back), shift(z=top))
    return Setting("bedside", tuple(pieces), shift(z=top) @ _turned_a_little(rng), "bench", back)


def _shelf(rng: np.random.Generator, clear: float) -> Setting:
    """Storage rack: boards under and over the subject, boxes beside it."""
    level, gap, depth = rng.uniform(0.5, 1.3), rng.uniform(0.5, 0.75), 2 * clear + rng.uniform(0.05, 0.2)
    width, middle = rng.uniform(0.9, 1.6), depth / 2
    material = bench_material(rng) if rng.random() < 0.5 else painted_metal(rng)
    boards = [furniture.board(width, depth, 0.025, y=middle, z=level + k * (gap + 0.025) - 0.025) for k in (-1, 0, 1)]
    pieces: list[Piece] = [Part(solid, material) for solid in boards]
    for x, y in ((-1, -1), (-1, 1), (1, -1), (1, 1)):
        post = furniture.board(0.035, 0.035, 2.2, x * (width / 2 + 0.02), y * (middle - 0.02) + 0.0175)
        pieces.append(Part(post, metal(rng) if x == y == 1 else material))
    pieces += shell(rng, middle + 0.1, concrete(rng), wall_material(rng))
    for side in (-1, 1):
        thing = clutter(rng, "workshop")
        reach = max(clear + 0.12, width / 2 - rng.uniform(0.1, 0.25))
        if bounds(thing)[1][2] < gap:
            pieces += moved(thing, shift(side * reach, rng.uniform(0, 0.05), level))
    return Setting("shelf", tuple(pieces), shift(z=level) @ _turned_a_little(rng), "bench", middle, gap)


def _bed(rng: np.random.Generator, clear: float) -> Setting:
    """Subject laid on a bed or sofa."""
    top, back = rng.uniform(0.45, 0.65), clear + rng.uniform(0.15, 0.5)
    soft = rounded_block(2.0, back + 0.6, 0.2, 0.06, 12).translate((0, (back - 0.6) / 2, top - 0.1))
    pieces: list[Piece] = [Part(soft, fabric(rng), crease_deg=60)]
    pieces += shell(rng, back, floor_material(rng), wall_material(rng))
    pillow = (
        rounded_block(0.6, 0.12, 0.35, 0.055, 12)
        .rotate((20, 0, 0))
        .translate((rng.uniform(-0.6, 0.6), back - 0.06, top + 0.16))
    )
    if rng.random() < 0.6:
        pieces.append(Part(pillow, fabric(rng), crease_deg=60))
    pieces += moved(strewn(rng, clear, "home", int(rng.integers(0, 3)), back), shift(z=top))
    return Setting("bed", tuple(pieces), shift(z=top) @ _turned_a_little(rng), "bench", back)


def _wall(rng: np.random.Generator, clear: float) -> Setting:
    """Wall on which the subject hangs from a plate, with what walls carry beside it."""
    height = rng.uniform(0.9, 1.6)
    pieces, thick = shell(rng, 0.0, floor_material(rng), wall_material(rng)), 0.0
    if rng.random() < 0.5:
        thick = 0.012
        plate = rounded_block(rng.uniform(0.8, 1.6) * clear, 0.012, rng.uniform(0.8, 2.0) * clear, 0.004, 8)
        pieces.append(
            Part(plate.translate((0, -0.006, height)), painted_metal(rng) if rng.random() < 0.5 else wood(rng))
        )
    for _ in range(int(rng.integers(0, 3))):
        angle, reach = rng.uniform(0, 2 * np.pi), clear + rng.uniform(0.1, 0.5)
        notice = poster(rng) if rng.random() < 0.4 else sticker(rng, *rng.uniform(0.06, 0.25, 2))
        reach += max(notice.width_m, notice.height_m) / 2
        pieces.append(notice.moved(shift(reach * np.cos(angle), -0.003, max(0.4, height + reach * np.sin(angle)))))
    if rng.random() < 0.35:
        x = rng.choice([-1, 1]) * (clear + rng.uniform(0.1, 0.4))
        duct = furniture.board(rng.uniform(0.02, 0.06), 0.025, 2.4, x)
        pieces.append(Part(duct, plain_material(rng)))
    return Setting("wall", tuple(pieces), shift(0, -thick, height), "wall", 0.0)


def _board(rng: np.random.Generator, clear: float) -> Setting:
    """Subject lying or standing before a plain sheet or cloth, as sellers photograph a spare part."""
    sheet = fabric(rng) if rng.random() < 0.5 else Material((0.8, 0.8, 0.79), 0.9)
    pieces: list[Piece] = [Part(block(4, 4, 0.02).translate((0, 0, -0.01)), sheet)]
    if rng.random() < 0.5:
        pieces += back_wall(sheet, clear + rng.uniform(0.1, 0.6), rng)
    return Setting("board", tuple(pieces), _turned_a_little(rng), "bench", clear)


def _outside(rng: np.random.Generator, clear: float) -> Setting:
    """Nothing but the light around; now and then a round of ground under the subject."""
    pieces: list[Piece] = []
    if rng.random() < 0.6:
        ground = cylinder(rng.uniform(1.5, 4.0), 0.05, segments=64).translate((0, 0, -0.05))
        pieces.append(Part(ground, concrete(rng) if rng.random() < 0.6 else floor_material(rng)))
    return Setting("outside", tuple(pieces), _turned_a_little(rng), "open", 3.0)


_BUILDERS: Final[dict[str, Callable[[np.random.Generator, float], Setting]]] = {
    "room": _room, "hallway": _hallway, "bathroom": _bathroom, "carpet": _carpet, "bench": _bench, "bedside": _bedside,
    "shelf": _shelf, "bed": _bed, "wall": _wall, "board": _board, "outside": _outside,
}  # fmt: skip


def _turned_a_little(rng: np.random.Generator) -> np.ndarray:
    return turn((0, 0, 1), float(rng.normal(0, 8)))

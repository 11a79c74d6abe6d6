"""A linear actuator: motor and gear housing, tube and rod, with or without a manual lowering mechanism."""

from dataclasses import dataclass, replace

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    Vector,
    block,
    cylinder,
    moved,
    rod,
    shift,
    turn,
    turned,
)
from synthetic_samples.materials.materials import any_colour, housing_material, metal, rubber, sticker
from synthetic_samples.shapes import mechanisms
from synthetic_samples.shapes.families import drawn_family
from synthetic_samples.shapes.fittings import hanging_cable
from synthetic_samples.shapes.heads import ACTUATOR_FAMILIES, HEADS


@dataclass(frozen=True, eq=False)
class Actuator:
    """Pieces along z: tube and rod go up (+z), the fork end is down (-z), the gear housing is round the origin.

    `mechanism_axis`: outward direction of the mechanism's end (unit vector) or None; `length`: from the fork's eye to
    the rod's eye in metres; `solids`: the head without tube and rod, `housing`: its motor and gear alone;
    `knob_places`: where there is no mechanism, points (N, 3) round the smallest knob that could be, by end.
    """

    pieces: list[Piece]
    lowering: str
    family: str
    mechanism_end: str | None
    neck_m: float
    knob_radius_m: float
    fork_z: float
    rod_z: float
    solids: list[Manifold]
    housing: list[Manifold]
    knob_places: dict[str, np.ndarray]


def actuator(rng: np.random.Generator, lowering: str, style: str, reach: float | None = None) -> Actuator:
    """Build an actuator with the given lowering mechanism; `reach` is the length from the head to the rod's eye."""
    family = drawn_family(rng, ACTUATOR_FAMILIES[style])
    tube_radius = rng.uniform(0.016, 0.03)
    material = housing_material(rng)
    head, gear_half, gear_radius = HEADS[family](rng, tube_radius)
    pieces: list[Piece] = []
    for number, solid in enumerate(head):
        own = number > 0 and rng.random() < 0.4
        pieces.append(Part(solid, housing_material(rng) if own else material, "actuator_head/housing"))
    end = "fork" if rng.random() < 0.62 else "tube"
    tip = {"fork": -gear_half, "tube": gear_half}
    built = mechanisms.mechanism(rng, lowering, style, end, gear_radius, tube_radius, material)
    carry = shift(z=tip[end]) @ (turn((1, 0, 0), 180) if end == "fork" else np.eye(4))
    pieces += moved(built.pieces, carry)
    fork_start = -gear_half - (built.length_m if end == "fork" else 0.0)
    fork_pieces, fork_z = _fork(rng, fork_start, tube_radius)
    pieces += fork_pieces
    tube_start = gear_half + (built.length_m if end == "tube" else 0.0)
    widest = built.radius_m if lowering == "none" and tube_start > gear_half else np.inf
    rod_z = _tube_and_rod(rng, pieces, tube_start, gear_half, tube_radius, widest, reach)
    _details(rng, pieces, head, gear_radius)
    solids = [piece.solid for piece in pieces if isinstance(piece, Part) and piece.label.startswith("actuator_head")]
    return Actuator(
        pieces,
        lowering,
        family,
        end if lowering != "none" else None,
        built.neck_m,
        built.radius_m,
        fork_z,
        rod_z,
        solids,
        head,
        {e: mechanisms.knob_place(e, z, gear_radius, tube_radius) for e, z in tip.items() if lowering == "none"},
    )


# Ends, tube, details -------------------------------------------------------------------------------------------------


def _fork(rng: np.random.Generator, start: float, r: float) -> tuple[list[Piece], float]:
    """A clevis, an eye or a plain cap below `start`; returns pieces and the height of its pin."""
    material = metal(rng) if rng.random() < 0.6 else Material(any_colour(rng), 0.5)
    label = "actuator_head/fork"
    stem_r, stem = r * rng.uniform(0.4, 0.75), rng.uniform(0.002, 0.012 if rng.random() < 0.6 else 0.03)
    eye_r = r * rng.uniform(0.5, 0.8)
    pin = start - stem - eye_r * 1.2
    pieces: list[Piece] = [Part(cylinder(stem_r, stem + 0.006).translate((0, 0, start - stem)), material, label)]
    kind = rng.choice(["clevis", "eye", "cap"], p=[0.45, 0.35, 0.2])
    if kind == "cap":
        cap = turned([(0, 0), (r * 0.8, 0), (r, 0.006), (r, 0.016), (0, 0.016)]).translate((0, 0, start - 0.014))
        return [Part(cap, material, label)], start - 0.01
    hole = rod((0, -1, 0), (0, 1, 0), eye_r * 0.45)
    width = eye_r * (2.0 if kind == "clevis" else 0.9)
    lug = Manifold.extrude(
        CrossSection.batch_hull(
            [
                CrossSection.circle(eye_r, 32),
                CrossSection.square((2 * eye_r, eye_r * 0.4), True).translate((0, eye_r * 1.2)),
            ]
        ),
        width,
    )
    lug = lug.translate((0, 0, -width / 2)).rotate((90, 0, 0)) - hole
    if kind == "clevis":
        lug = lug - block(4 * eye_r, width * 0.5, eye_r * 1.9).translate((0, 0, -eye_r * 0.25))
    turned_by = float(rng.uniform(0, 180))
    pieces.append(Part(lug.rotate((0, 0, turned_by)).translate((0, 0, pin)), material, label))
    if rng.random() < 0.6:
        bolt = _bolt(rng, width / 2, eye_r * 0.42).rotate((0, 0, turned_by)).translate((0, 0, pin))
        pieces.append(Part(bolt, metal(rng) if rng.random() < 0.7 else Material(any_colour(rng), 0.5), label))
    return pieces, pin


def _bolt(rng: np.random.Generator, half: float, radius: float) -> Manifold:
    """What goes through an eye, across the axis: its ends stand out on both sides, and are no tabs to pinch."""
    ends = half + rng.uniform(0.002, 0.009, 2)
    bolt = rod((0, -ends[0], 0), (0, ends[1], 0), radius)
    if rng.random() < 0.7:  # a head, often a nut, a washer or a ring on the other end too
        bolt += rod((0, -ends[0], 0), (0, 0.004 - ends[0], 0), radius * rng.uniform(1.3, 1.9))
    if rng.random() < 0.5:
        bolt += rod((0, half + 0.0005, 0), (0, half + rng.uniform(0.002, 0.004), 0), radius * rng.uniform(1.3, 1.9))
    return bolt


def _tube_and_rod(
    rng: np.random.Generator,
    pieces: list[Piece],
    start: float,
    gear_half: float,
    r: float,
    widest: float,
    reach: float | None,
) -> float:
    """Outer tube (from inside the head), rod and eye. Returns the height of the rod's eye."""
    tube_length = rng.uniform(0.22, 0.42) if reach is None else reach * rng.uniform(0.55, 0.75)
    rod_length = rng.uniform(0.03, 0.2) if reach is None else max(reach - start - tube_length, 0.03)
    tube_material = metal(rng) if rng.random() < 0.5 else Material(any_colour(rng), 0.4)
    top = start + tube_length
    pieces.append(Part(cylinder(r, top - gear_half + 0.004).translate((0, 0, gear_half - 0.004)), tube_material))
    pieces.append(Part(cylinder(r * 1.004, 0.03).translate((0, 0, start)), tube_material, "actuator_tube/root"))
    if rng.random() < 0.45:
        pieces.append(_collar(rng, start, r, widest))
    pieces.append(Part(cylinder(r * 1.12, 0.014).translate((0, 0, top - 0.012)), rubber(rng)))
    pieces.append(
        Part(cylinder(r * 0.6, rod_length).translate((0, 0, top)), Material((0.7, 0.7, 0.72), 0.15, metallic=1.0))
    )
    pieces.append(Part(rod((0, -r * 0.7, top + rod_length), (0, r * 0.7, top + rod_length), r * 0.65), metal(rng)))
    return top + rod_length


def _collar(rng: np.random.Generator, start: float, r: float, widest: float) -> Part:
    """A smooth seal, clamp or boot where the tube leaves the head or the mechanism: nothing to work by hand.

    On a plain end it is no wider than that: a disc beyond a slimmer piece is a knob beyond its neck to who looks.
    """
    wide, tall = min(r * rng.uniform(1.08, 1.5), widest), rng.uniform(0.006, 0.024)
    solid = cylinder(wide, tall, wide * rng.uniform(0.75, 1.0))
    material = rubber(rng) if rng.random() < 0.5 else Material(any_colour(rng), rng.uniform(0.3, 0.7))
    return Part(solid.translate((0, 0, start)), material, "actuator_tube/root")


def _details(rng: np.random.Generator, pieces: list[Piece], head: list[Manifold], gear_radius: float) -> None:
    """A cable out of the head and a label on it."""
    low, high = np.array(Manifold.compose(head).bounding_box()).reshape(2, 3)
    if rng.random() < 0.8:
        outward: Vector = (1.0, 0.0, 0.0)
        start = np.array([high[0] - 0.004, 0.0, rng.uniform(low[2], high[2]) * 0.5])
        pieces.append(Part(rod(start, start + np.array(outward) * 0.018, 0.006), rubber(rng)))
        pieces.append(hanging_cable(rng, start + np.array(outward) * 0.018, np.array(outward), rng.uniform(0.1, 0.35)))
    if rng.random() < 0.5:
        label = sticker(rng)
        scale = min(0.7, gear_radius * 1.2 / max(label.width_m, label.height_m))
        flat = turn((0, 0, 1), float(rng.choice([0, 180])))
        side = low[1] - 0.0008 if flat[0, 0] > 0 else -high[1] - 0.0008
        where = shift(x=float(rng.uniform(0.0, high[0] * 0.5)))
        small = replace(
            label, width_m=label.width_m * scale, height_m=label.height_m * scale, label="actuator_head/housing"
        )
        pieces.append(small.moved(where @ flat @ shift(y=side)))

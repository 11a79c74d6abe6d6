"""Manual lowering mechanisms at one end of an actuator head, and the plain ends that resemble them."""

from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from classifier.taxonomy import CONCEPTS
from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    Vector,
    cylinder,
    turn,
)
from synthetic_samples.materials.materials import any_colour, contrasting, housing_material, metal
from synthetic_samples.shapes.families import drawn_family
from synthetic_samples.shapes.grips import KNOB_FAMILIES, fluted
from synthetic_samples.shapes.plain_ends import plain_end
from synthetic_samples.shapes.tabs import TAB_FAMILIES, tab

SHORTEST_NECK_M = 0.013
"""A bare neck is about 13 mm or more (taxonomy)."""

SMALLEST_KNOB_M = 0.018
"""Radius: fingers have to turn it under load."""

SHORTEST_KNOB_M = 0.014
_SLIMMEST = 0.65
"""Of the gear's radius."""


@dataclass(frozen=True, eq=False)
class Mechanism:
    """Pieces that stand on z = 0 (the face of the head) and reach up to `length_m`; `neck_m` is 0 without a neck.

    `radius_m` is that of the knob, the tabs' collar or the plain end, 0 where nothing stands.
    """

    pieces: list[Piece]
    length_m: float
    neck_m: float = 0.0
    radius_m: float = 0.0


def mechanism(
    rng: np.random.Generator,
    lowering: str,
    style: str,
    end: str,
    gear_radius: float,
    tube_radius: float,
    housing: Material,
) -> Mechanism:
    """Build the mechanism of one `lowering` value for the fork end or the tube end of a housing."""
    if lowering not in CONCEPTS["lowering"]:
        raise ValueError(f"no way to draw the lowering mechanism {lowering!r}; want one of {CONCEPTS['lowering']}")
    if lowering == "squeeze_tabs":
        slimmest = tube_radius * 1.1 if end == "tube" else 0.011
        return _squeeze_tabs(rng, drawn_family(rng, TAB_FAMILIES[style]), gear_radius, slimmest)
    if lowering in ("twist_knob", "pull_twist_knob"):
        colour = _mostly_contrasting(rng, housing)
        return _knob(
            rng,
            drawn_family(rng, KNOB_FAMILIES[style]),
            lowering == "pull_twist_knob",
            end,
            gear_radius,
            tube_radius,
            Material(colour, rng.uniform(0.3, 0.7)),
        )
    return _plain_end(rng, end, gear_radius, tube_radius)


def knob_place(end: str, face_z: float, gear_radius: float, tube_radius: float) -> np.ndarray:
    """Points (96, 3) round the smallest knob that could sit tight at an end whose face lies at `face_z`; metres."""
    radius, outward = _smallest_radius(end, gear_radius, tube_radius), -1.0 if end == "fork" else 1.0
    angles = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = np.column_stack([radius * np.cos(angles), radius * np.sin(angles), np.full(24, face_z)])
    heights = np.linspace(0.001, SHORTEST_KNOB_M, 4)
    return np.concatenate([ring + (0, 0, outward * height) for height in heights])


def _smallest_radius(end: str, gear_radius: float, tube_radius: float) -> float:
    return max(tube_radius * 1.45 if end == "tube" else 0.0, gear_radius * _SLIMMEST, SMALLEST_KNOB_M)


def _knob(
    rng: np.random.Generator,
    family: str,
    pulled: bool,
    end: str,
    gear_radius: float,
    tube_radius: float,
    knob_material: Material,
) -> Mechanism:
    """A fluted knob on the axis, tight on the housing, or beyond a bare neck if it is pulled before it turns."""
    radius = max(_smallest_radius(end, gear_radius, tube_radius), gear_radius * rng.uniform(_SLIMMEST, 1.2))
    height = float(np.clip(radius * rng.uniform(0.5, 1.4), SHORTEST_KNOB_M, 0.04))
    neck = rng.uniform(SHORTEST_NECK_M, 0.032) if pulled else 0.0
    seat = neck if pulled else rng.uniform(-0.001, 0.0012)
    pieces: list[Piece] = [
        Part(
            fluted(rng, family, radius, height).translate((0, 0, seat)),
            knob_material,
            "actuator_head/mechanism",
            crease_deg=28,
        )
    ]
    if pulled:
        slimmest = tube_radius * 1.04 if end == "tube" else radius * 0.35
        pieces += _neck(rng, neck, radius, slimmest, knob_material)
    else:
        pieces.append(Part(cylinder(radius * 0.8, height * 0.4), knob_material, "actuator_head/mechanism"))
    pieces += _knob_trimmings(rng, end, radius, height, seat)
    return Mechanism(pieces, seat + height, neck, radius)


def _neck(
    rng: np.random.Generator, length: float, knob_radius: float, slimmest: float, knob_material: Material
) -> list[Piece]:
    """The bare neck under a knob that is pulled, sometimes with a collar that leaves enough of it to be seen."""
    radius = float(np.clip(knob_radius * rng.uniform(0.35, 0.65), slimmest, knob_radius * 0.8))
    bare = metal(rng) if rng.random() < 0.5 else Material(contrasting(rng, knob_material.base_color), 0.4)
    pieces: list[Piece] = [Part(cylinder(radius, length + 0.004).translate((0, 0, -0.002)), bare, "actuator_head/neck")]
    if length > SHORTEST_NECK_M + 0.004 and rng.random() < 0.5:
        wide = radius + rng.uniform(0.1, 0.6) * (knob_radius - radius)  # a wide one would hide the neck
        collar = cylinder(wide, length - SHORTEST_NECK_M)
        pieces.append(Part(collar, Material(any_colour(rng), 0.5), "actuator_head/collar"))
    return pieces


def _knob_trimmings(rng: np.random.Generator, end: str, radius: float, height: float, seat: float) -> list[Piece]:
    """A cap, an arrow, a band or a flange of a knob that stands on `seat`; each on some knobs only."""
    pieces: list[Piece] = []
    top = seat + height
    if end == "fork" and rng.random() < 0.5:
        pieces.append(_disc(rng, radius * rng.uniform(0.4, 0.8), 0.004, top - 0.002))
    if rng.random() < 0.35:
        pieces += _turn_arrow(rng, radius * 0.7, top)
    if rng.random() < 0.25:
        band, wide = radius * rng.uniform(1.0, 1.06), height * rng.uniform(0.12, 0.3)
        pieces.append(_disc(rng, band, wide, seat + height * rng.uniform(0.2, 0.65)))
    elif rng.random() < 0.3:  # on its far face: on the near one it would look like a collar round a neck, or hide one
        wider, thick = radius * rng.uniform(0.9, 1.25), rng.uniform(0.0015, 0.004)
        pieces.append(_disc(rng, wider, thick, top - thick))
    return pieces


def _disc(rng: np.random.Generator, radius: float, height: float, z: float) -> Part:
    """A smooth piece of the grip, in a colour of its own."""
    solid = cylinder(radius, height).translate((0, 0, z))
    return Part(solid, Material(any_colour(rng), 0.5), "actuator_head/mechanism")


def _turn_arrow(rng: np.random.Generator, radius: float, z: float) -> list[Piece]:
    """A raised arc on the knob's face."""
    pale = Material((0.85, 0.85, 0.85) if rng.random() < 0.6 else (0.03, 0.03, 0.03), 0.6)
    angles = np.radians(np.linspace(0, rng.uniform(50, 120), 6))
    dots = [cylinder(radius * 0.09, 0.001).translate((radius * np.cos(a), radius * np.sin(a), z)) for a in angles]
    return [Part(Manifold.compose(dots), pale, "actuator_head/mechanism")]


def _squeeze_tabs(rng: np.random.Generator, family: str, gear_radius: float, slimmest: float) -> Mechanism:
    """Two opposed tabs stand out at the neck, to be pinched together."""
    collar_r = float(np.clip(gear_radius * rng.uniform(0.35, 0.95), slimmest, 0.05))
    collar_h = rng.uniform(0.016, 0.034)
    collar_material = Material(any_colour(rng), 0.5) if rng.random() < 0.5 else housing_material(rng)
    tab_material = Material(_mostly_contrasting(rng, collar_material), rng.uniform(0.3, 0.6))
    pieces: list[Piece] = [Part(cylinder(collar_r, collar_h), collar_material, "actuator_head/collar")]
    one = tab(rng, family, collar_r, collar_h)
    turned_by = float(rng.uniform(0, 180))
    for number, angle in enumerate((0.0, 180.0)):  # a label each, since it takes both to know them for tabs
        part = Part(one, tab_material, f"actuator_head/mechanism/{number}")
        pieces.append(part.moved(turn((0, 0, 1), angle + turned_by)))
    return Mechanism(pieces, collar_h, 0.0, collar_r)


def _mostly_contrasting(rng: np.random.Generator, ground: Material) -> Vector:
    """What is worked by hand has any colour, and stands out more often than not."""
    return contrasting(rng, ground.base_color) if rng.random() < 0.7 else any_colour(rng)


def _plain_end(rng: np.random.Generator, end: str, gear_radius: float, tube_radius: float) -> Mechanism:
    """Nothing to work by hand."""
    if rng.random() < 0.3:
        return Mechanism([], 0.0)
    radius = max(gear_radius * rng.uniform(0.5, 0.95), tube_radius * 1.08)
    solid, height = plain_end(rng, radius)
    material = metal(rng) if rng.random() < 0.5 else Material(any_colour(rng), 0.5)
    label = "actuator_head/plain_end" if end == "fork" else "actuator_head/collar"
    return Mechanism([Part(solid, material, label)], height, radius_m=radius)

"""Manual lowering mechanisms at one end of an actuator head, and the plain ends that resemble them."""

from dataclasses import dataclass

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold, OpType

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    Vector,
    bevelled_prism,
    block,
    cylinder,
    rod,
    rounded_block,
    rounded_outline,
    turn,
    turned,
)
from synthetic_samples.materials import any_colour, contrasting, housing_material, metal

KNOB_FAMILIES = {
    "train": ("lobed", "ridged", "ring_grip", "rosette", "toothed", "winged"),
    "calibration": ("scooped", "two_tiers"),
    "heldout": ("waved_cone", "barrel_grip"),
}
TAB_FAMILIES = {
    "train": ("paddles", "pads", "ears", "studs"),
    "calibration": ("clips", "hooks"),
    "heldout": ("wedges", "loops"),
}

SHORTEST_NECK_M = 0.013
"""A bare neck is about 13 mm or more (taxonomy)."""


@dataclass(frozen=True, eq=False)
class Mechanism:
    """Pieces that stand on z = 0 (the face of the head) and reach up to `length_m`; `neck_m` is 0 without a neck."""

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
    if lowering == "squeeze_tabs":
        slimmest = tube_radius * 1.1 if end == "tube" else 0.011
        return _squeeze_tabs(rng, str(rng.choice(TAB_FAMILIES[style])), gear_radius, slimmest)
    if lowering in ("twist_knob", "pull_twist_knob"):
        colour = _mostly_contrasting(rng, housing)
        return _knob(
            rng,
            str(rng.choice(KNOB_FAMILIES[style])),
            lowering == "pull_twist_knob",
            end,
            gear_radius,
            tube_radius,
            Material(colour, rng.uniform(0.3, 0.7)),
        )
    return _plain_end(rng, end, gear_radius, tube_radius)


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
    smallest = tube_radius * 1.3 if end == "tube" else 0.012
    radius = max(smallest, gear_radius * rng.uniform(0.65, 1.2), 0.014)
    height = float(np.clip(radius * rng.uniform(0.5, 1.4), 0.011, 0.04))
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
        low = tube_radius * 1.04 if end == "tube" else radius * 0.35
        neck_radius = float(np.clip(radius * rng.uniform(0.35, 0.65), low, radius * 0.8))
        bare = metal(rng) if rng.random() < 0.5 else Material(contrasting(rng, knob_material.base_color), 0.4)
        pieces.append(Part(cylinder(neck_radius, neck + 0.004).translate((0, 0, -0.002)), bare, "actuator_head/neck"))
        if neck > SHORTEST_NECK_M + 0.004 and rng.random() < 0.5:
            collar = cylinder(rng.uniform(neck_radius, radius) * 1.05, neck - SHORTEST_NECK_M)
            pieces.append(Part(collar, Material(any_colour(rng), 0.5), "actuator_head/collar"))
    else:
        pieces.append(Part(cylinder(radius * 0.8, height * 0.4), knob_material, "actuator_head/mechanism"))
    top = seat + height
    if end == "fork" and rng.random() < 0.5:
        pieces.append(_disc(rng, radius * rng.uniform(0.4, 0.8), 0.004, top - 0.002))
    if rng.random() < 0.35:
        pieces += _turn_arrow(rng, radius * 0.7, top)
    if rng.random() < 0.25:
        band, wide = radius * rng.uniform(1.0, 1.06), height * rng.uniform(0.12, 0.3)
        pieces.append(_disc(rng, band, wide, seat + height * rng.uniform(0.05, 0.65)))
    elif rng.random() < 0.3:  # on one face of the grip
        wider, thick = radius * rng.uniform(0.9, 1.25), rng.uniform(0.0015, 0.004)
        pieces.append(_disc(rng, wider, thick, seat if rng.random() < 0.5 else top - thick))
    return Mechanism(pieces, top, neck, radius)


def _disc(rng: np.random.Generator, radius: float, height: float, z: float) -> Part:
    """A smooth piece of the grip, in a colour of its own."""
    solid = cylinder(radius, height).translate((0, 0, z))
    return Part(solid, Material(any_colour(rng), 0.5), "actuator_head/mechanism")


def fluted(rng: np.random.Generator, family: str, radius: float, height: float) -> Manifold:
    """A grip that a hand can turn, standing on z = 0."""
    # Few and deep enough to be seen on a photo, and no two or three wings, which would look like tabs to pinch.
    few = {"lobed": rng.integers(5, 10), "rosette": rng.integers(5, 9), "winged": rng.integers(5, 9)}
    count = few.get(family, rng.integers(10, 21))
    angles = np.linspace(0, 2 * np.pi, int(count), endpoint=False)

    def ring(at: float, size: float) -> list[CrossSection]:
        return [CrossSection.circle(size, 16).translate((at * np.cos(a), at * np.sin(a))) for a in angles]

    pitch = 2 * np.pi * radius / count
    if family == "lobed":
        outline = CrossSection.batch_boolean(
            [CrossSection.circle(radius * 0.86, 48), *ring(radius * 0.8, radius * 0.22)], OpType.Add
        )
    elif family == "rosette":
        outline = CrossSection.batch_boolean(
            [CrossSection.circle(radius * 0.7, 48), *ring(radius * 0.68, radius * 0.32)], OpType.Add
        ).offset(-radius * 0.06, JoinType.Round, 2.0, 12)
        outline = outline.offset(radius * 0.06, JoinType.Round, 2.0, 12)
    elif family == "winged":
        wings = [
            CrossSection.square((radius * 1.0, radius * 0.28))
            .translate((radius * 0.1, -radius * 0.14))
            .rotate(float(np.degrees(a)))
            for a in angles
        ]
        outline = CrossSection.batch_boolean([CrossSection.circle(radius * 0.62, 48), *wings], OpType.Add).offset(
            radius * 0.05, JoinType.Round, 2.0, 12
        )
    elif family == "toothed":
        teeth = [
            CrossSection.square((radius * 0.15, pitch * 0.5), True)
            .translate((radius * 0.94, 0))
            .rotate(float(np.degrees(a)))
            for a in angles
        ]
        outline = CrossSection.batch_boolean([CrossSection.circle(radius * 0.9, 64), *teeth], OpType.Add)
    elif family == "scooped":
        outline = CrossSection.circle(radius, 64) - CrossSection.batch_boolean(
            ring(radius * 1.06, pitch * 0.42), OpType.Add
        )
    else:
        outline = CrossSection.circle(radius, 96) - CrossSection.batch_boolean(ring(radius, pitch * 0.36), OpType.Add)
    if family == "waved_cone":
        return Manifold.extrude(outline, height, 0, 0.0, (0.72, 0.72))
    if family == "two_tiers":
        return Manifold.extrude(outline, height * 0.55) + Manifold.extrude(outline.scale((0.72, 0.72)), height)
    if family == "ring_grip":  # a rim on a disc, hollow from above
        hollow = cylinder(radius * rng.uniform(0.55, 0.72), height).translate((0, 0, height * rng.uniform(0.25, 0.5)))
        return Manifold.extrude(outline, height) - hollow
    body = Manifold.extrude(outline, height)
    if family == "barrel_grip":
        z = np.linspace(0, height, 9)
        swell = radius * (1.01 - 0.3 * (2 * z / height - 1) ** 2)
        return body ^ turned([(0, 0), *zip(swell, z, strict=True), (0, height)], 48)
    if rng.random() < 0.4:
        body = body ^ turned(
            [(0, 0), (radius * 1.1, 0), (radius * 1.1, height * 0.7), (radius * 0.8, height), (0, height)], 48
        )
    if rng.random() < 0.3:
        body = body + cylinder(radius * 1.04, height * 0.18)
    return body


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
    tab = _tab(rng, family, collar_r, collar_h)
    turned_by = float(rng.uniform(0, 180))
    for number, angle in enumerate((0.0, 180.0)):  # a label each, since it takes both to know them for tabs
        one = Part(tab, tab_material, f"actuator_head/mechanism/{number}")
        pieces.append(one.moved(turn((0, 0, 1), angle + turned_by)))
    return Mechanism(pieces, collar_h, 0.0, collar_r)


def _tab(rng: np.random.Generator, family: str, collar_r: float, collar_h: float) -> Manifold:
    """One tab that stands out along +x from a collar of the given radius."""
    out, wide, tall = rng.uniform(0.011, 0.022), rng.uniform(0.016, 0.03), collar_h * rng.uniform(0.55, 1.0)
    z = collar_h / 2
    if family == "paddles":
        plate = bevelled_prism(rounded_outline(wide, tall, tall * 0.3), out * 0.45, 0.001).rotate((90, 0, 90))
        stem = block(out + 0.006, wide * 0.4, tall * 0.5).translate((collar_r + out / 2 - 0.004, 0, z))
        return plate.translate((collar_r + out, 0, z)) + stem
    if family == "pads":
        return rounded_block(out * 2, wide, tall, min(out, tall) * 0.35).translate((collar_r + out * 0.2, 0, z))
    if family == "ears":
        outline = CrossSection.batch_hull(
            [CrossSection.circle(wide * 0.35, 24).translate((out, 0)), CrossSection.square((0.002, wide), True)]
        )
        return Manifold.extrude(outline, tall * 0.5).translate((collar_r - 0.001, 0, z - tall * 0.25))
    if family == "clips":
        long = rng.uniform(0.025, 0.04)
        arm = (
            rounded_block(0.005, wide, long, 0.002)
            .rotate((0, 14, 0))
            .translate((collar_r + out * 0.7, 0, z + long * 0.2))
        )
        return arm + block(out, wide * 0.6, 0.006).translate((collar_r + out * 0.35, 0, z - long * 0.1))
    if family == "studs":
        size = min(wide, tall) * 0.5
        stud = rod((collar_r - 0.004, 0, z), (collar_r + out * 0.8, 0, z), size)
        return stud + rod((collar_r + out * 0.6, 0, z), (collar_r + out, 0, z), size * rng.uniform(0.8, 1.25))
    if family == "hooks":
        long = tall * rng.uniform(0.7, 1.3)
        arm = block(out + 0.004, wide, 0.005).translate((collar_r + out / 2 - 0.002, 0, z))
        return arm + rounded_block(0.006, wide, long, 0.0025).translate((collar_r + out, 0, z + long * 0.4))
    if family == "loops":
        ring = CrossSection.circle(wide * 0.5, 32) - CrossSection.circle(wide * 0.27, 24)
        loop = Manifold.extrude(ring, tall * 0.4).translate((collar_r + wide * 0.42, 0, z - tall * 0.2))
        return loop - cylinder(collar_r - 0.002, 1).translate((0, 0, -0.5))
    outline = CrossSection([[(0, -tall / 2), (out * 1.3, tall * 0.1), (out * 1.3, tall / 2), (0, tall / 2)]])
    wedge = Manifold.extrude(outline, wide).translate((0, 0, -wide / 2)).rotate((90, 0, 0))
    return wedge.translate((collar_r - 0.002, 0, z))


def _mostly_contrasting(rng: np.random.Generator, ground: Material) -> Vector:
    """What is worked by hand has any colour, and stands out more often than not."""
    return contrasting(rng, ground.base_color) if rng.random() < 0.7 else any_colour(rng)


def _plain_end(rng: np.random.Generator, end: str, gear_radius: float, tube_radius: float) -> Mechanism:
    """Nothing to work by hand: bare, a smooth ring, a hexagon or a cone."""
    kind = rng.choice(["bare", "ring", "hexagon", "cone", "stepped"], p=[0.35, 0.25, 0.12, 0.16, 0.12])
    if kind == "bare":
        return Mechanism([], 0.0)
    radius, height = max(gear_radius * rng.uniform(0.5, 0.95), tube_radius * 1.08), rng.uniform(0.006, 0.024)
    material = metal(rng) if rng.random() < 0.5 else Material(any_colour(rng), 0.5)
    if kind == "ring":
        solid = bevelled_prism(CrossSection.circle(radius, 48), height, 0.001).translate((0, 0, height / 2))
    elif kind == "hexagon":
        solid = Manifold.extrude(CrossSection.circle(radius, 6), height)
    elif kind == "cone":
        solid = cylinder(radius, height, radius * rng.uniform(0.6, 0.9))
    else:
        solid = cylinder(radius, height * 0.5) + cylinder(radius * 0.8, height)
    label = "actuator_head/plain_end" if end == "fork" else "actuator_head/collar"
    return Mechanism([Part(solid, material, label)], height)

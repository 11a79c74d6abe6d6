"""What a lowering value is, as solids: something to pinch, something to turn that touches or has a neck, or neither."""

import numpy as np
from manifold3d import Manifold

from classifier.taxonomy import CONCEPTS
from synthetic_samples.geometry import Material, Part, Piece, cylinder, turn
from synthetic_samples.grammar.grips import grip, neck
from synthetic_samples.grammar.plain_ends import plain_end
from synthetic_samples.grammar.tabs import seat, tab
from synthetic_samples.materials.materials import any_colour, contrasting, housing_material, metal, rubber
from synthetic_samples.shapes.mechanisms import SHORTEST_KNOB_M, SHORTEST_NECK_M, SMALLEST_KNOB_M, Mechanism

_ON_A_COLLAR = 0.3
_CAPPED = 0.3


def mechanism(
    rng: np.random.Generator, lowering: str, style: str, end: str, case_r: float, tube_r: float, housing: Material
) -> Mechanism:
    """The mechanism of one `lowering` value for the fork's or the tube's end of a case of this radius (m).

    What is worked by hand has any colour; two in three stand out against the case.
    """
    if lowering not in CONCEPTS["lowering"]:
        raise ValueError(f"no way to draw the lowering mechanism {lowering!r}; want one of {CONCEPTS['lowering']}")
    slimmest = tube_r * 1.12 if end == "tube" else 0.01
    if lowering == "none":
        return _nothing(rng, style, end, case_r, slimmest)
    ground = housing.base_color
    colour = contrasting(rng, ground) if rng.random() < 0.65 else any_colour(rng)
    material = Material(colour, float(rng.uniform(0.25, 0.7)))
    if lowering == "squeeze_tabs":
        return _pinched(rng, style, case_r, slimmest, material)
    return _turned(rng, style, lowering == "pull_twist_knob", end, case_r, tube_r, material)


def _pinched(rng: np.random.Generator, style: str, case_r: float, slimmest: float, material: Material) -> Mechanism:
    """Two opposed tabs, equal and on one line through the axis, wherever their seat stands."""
    solid, stalk, radius, height, middle = seat(rng, style, case_r, slimmest)
    own = Material(any_colour(rng), 0.5) if rng.random() < 0.6 else housing_material(rng)
    pieces: list[Piece] = [Part(solid, own, "actuator_head/collar")]
    if stalk is not None:
        pieces.append(Part(stalk, metal(rng) if rng.random() < 0.5 else own, "actuator_head/collar"))
    one = tab(rng, style, radius, min(2 * (height - middle), 2 * middle)).translate((0, 0, middle))
    turned_by = float(rng.uniform(0, 180))
    for number, angle in enumerate((0.0, 180.0)):  # a label each, since it takes both to know them for tabs
        part = Part(one, material, f"actuator_head/mechanism/{number}")
        pieces.append(part.moved(turn((0, 0, 1), angle + turned_by)))
    return Mechanism(pieces, height, 0.0, radius)


def _turned(
    rng: np.random.Generator, style: str, pulled: bool, end: str, case_r: float, tube_r: float, material: Material
) -> Mechanism:
    """A grip that touches the housing, or one with a bare neck of 13 mm and more behind it."""
    least = max(SMALLEST_KNOB_M, tube_r * 1.5 if end == "tube" else 0.0, case_r * 0.5)
    radius = float(np.clip(case_r * rng.uniform(0.6, 1.35), least, max(least, 0.06)))
    height = float(np.clip(radius * np.exp(rng.uniform(np.log(0.4), np.log(1.7))), SHORTEST_KNOB_M, 0.055))
    pieces: list[Piece] = []
    foot = 0.0
    if rng.random() < _ON_A_COLLAR:  # a part of the housing, no slimmer than a tight knob on it: else it were a neck
        foot = float(rng.uniform(0.003, 0.022))
        wide = max(radius, case_r * 0.7) * float(rng.uniform(1.0, 1.15))
        own = Material(any_colour(rng), 0.5) if rng.random() < 0.5 else housing_material(rng)
        pieces.append(Part(cylinder(wide, foot), own, "actuator_head/collar"))
    length = float(rng.uniform(SHORTEST_NECK_M, 0.04)) if pulled else 0.0
    if pulled:
        low = tube_r * 1.05 if end == "tube" else radius * 0.28
        shaft_r = float(np.clip(radius * rng.uniform(0.3, 0.66), low, radius * 0.8))
        bare = metal(rng) if rng.random() < 0.5 else Material(contrasting(rng, material.base_color), 0.4)
        pieces.append(Part(neck(rng, style, shaft_r, length).translate((0, 0, foot)), bare, "actuator_head/neck"))
    seat_z = foot + (length if pulled else float(rng.uniform(-0.001, 0.0008)))
    solid = grip(rng, style, radius, height).rotate((0, 0, float(rng.uniform(0, 120)))).translate((0, 0, seat_z))
    pieces.append(Part(solid, material, "actuator_head/mechanism", crease_deg=28))
    if not pulled:  # nothing shows between flutes and housing
        pieces.append(
            Part(cylinder(radius * 0.8, height * 0.4).translate((0, 0, foot)), material, "actuator_head/mechanism")
        )
    top = seat_z + height
    if rng.random() < _CAPPED:  # between housing and cap
        cap_r, cap_h = radius * float(rng.uniform(0.5, 1.05)), float(rng.uniform(0.004, 0.022))
        cap = cylinder(max(cap_r, tube_r * 1.05 if end == "tube" else 0.0), cap_h, None).translate((0, 0, top - 0.001))
        own = Material(any_colour(rng), 0.5)
        pieces.append(Part(cap, own, "actuator_head/fork" if end == "fork" else "actuator_head/collar"))
        top += cap_h - 0.001
    return Mechanism(pieces, top, length, radius)


def _nothing(rng: np.random.Generator, style: str, end: str, case_r: float, slimmest: float) -> Mechanism:
    """Nothing to work by hand: up to three plain pieces, each no wider than the one before."""
    label = "actuator_head/plain_end" if end == "fork" else "actuator_head/collar"
    pieces: list[Piece] = []
    radius, top, widest = max(case_r * float(rng.uniform(0.55, 1.05)), slimmest), 0.0, 0.0
    for _ in range(int(rng.choice([1, 2, 3], p=[0.5, 0.35, 0.15]))):
        solid, height = plain_end(rng, style, radius)
        if solid is None:
            break
        material = (
            metal(rng) if rng.random() < 0.4 else rubber(rng) if rng.random() < 0.3 else Material(any_colour(rng), 0.5)
        )
        pieces.append(Part(solid.translate((0, 0, top - 0.0005 * bool(pieces))), material, label))
        widest, top = max(widest, radius), top + height
        radius = max(radius * float(rng.uniform(0.55, 0.95)), slimmest)
    return Mechanism(pieces, top, radius_m=widest)


def reach(solid: Manifold) -> float:
    """How far a solid reaches from the axis, metres."""
    return float(np.hypot(*solid.to_mesh().vert_properties[:, :2].T).max())

"""An actuator head from operations: a case on the axis, a motor in it or on it, and what its two ends carry."""

from dataclasses import replace

import numpy as np
from manifold3d import Manifold, OpType

from synthetic_samples.geometry import Material, Part, Piece, block, cylinder, moved, rod, shift, turn, turned
from synthetic_samples.grammar.mechanisms import mechanism
from synthetic_samples.grammar.operations import body, filling, seated
from synthetic_samples.grammar.plain_ends import beyond, plain_end
from synthetic_samples.materials.materials import any_colour, housing_material, metal, rubber, sticker
from synthetic_samples.shapes.actuator import Actuator
from synthetic_samples.shapes.fittings import hanging_cable
from synthetic_samples.shapes.mechanisms import knob_place
from synthetic_samples.splits import production

_FORK_END = 0.6
_RIMMED, _BELLOWED = 0.15, 0.15
FAMILY = "composed"


def head(rng: np.random.Generator, lowering: str, style: str, reach: float | None = None) -> Actuator:
    """An actuator with the given lowering mechanism; `reach` is the length from the head to the rod's eye (m)."""
    tube_r = float(rng.uniform(0.012, 0.032))
    solids, half, case_r = _case(rng, style, tube_r)
    material = housing_material(rng)
    pieces: list[Piece] = []
    for number, solid in enumerate(solids):
        own = number > 0 and rng.random() < 0.45
        other = Material(any_colour(rng), 0.5) if rng.random() < 0.4 else housing_material(rng)
        pieces.append(Part(solid, other if own else material, "actuator_head/housing"))
    if rng.random() < _RIMMED:
        pieces += _rims(rng, half, case_r)
    end = "fork" if rng.random() < _FORK_END else "tube"
    tips = {"fork": -half, "tube": half}
    built = mechanism(rng, lowering, style, end, case_r, tube_r, material)
    carry = {"fork": shift(z=-half) @ turn((1, 0, 0), 180), "tube": shift(z=half)}
    pieces += moved(built.pieces, carry[end])
    lengths = {"fork": 0.0, "tube": 0.0} | {end: built.length_m}
    other = "tube" if end == "fork" else "fork"
    if rng.random() < 0.4:
        lengths[other] = _other_end(rng, style, other, case_r, tube_r, pieces, carry[other])
    fork_z = _held(rng, style, tube_r, pieces, shift(z=-lengths["fork"]) @ carry["fork"])
    widest = built.radius_m if lowering == "none" and end == "tube" and built.pieces else np.inf
    rod_z = _tube(rng, pieces, half, half + lengths["tube"], tube_r, reach, widest)
    _details(rng, pieces, solids)
    labelled = [p.solid for p in pieces if isinstance(p, Part) and p.label.startswith("actuator_head")]
    places = {e: knob_place(e, z, case_r, tube_r) for e, z in tips.items() if lowering == "none"}
    return Actuator(
        pieces, lowering, FAMILY, end if lowering != "none" else None, built.neck_m, built.radius_m, fork_z, rod_z,
        labelled, solids, places,
    )  # fmt: skip


# Case and motor -------------------------------------------------------------------------------------------------------


def _case(rng: np.random.Generator, style: str, r: float) -> tuple[list[Manifold], float, float]:
    """Solids of case and motor, half the height of the case along the axis, and its radius at the ends (m)."""
    kind = production(rng, "case", style)
    case_r, half = r * float(rng.uniform(1.35, 2.4)), float(rng.uniform(0.022, 0.075))
    motor_r, length = float(rng.uniform(0.016, 0.036)), float(rng.uniform(0.05, 0.16))
    if kind in ("around", "tower", "slab"):
        if kind == "tower":
            half = float(rng.uniform(0.06, 0.12))
        wide = 2 * case_r + (float(rng.uniform(0.03, 0.12)) if kind != "tower" else 0.0)
        deep = 2 * case_r * float(rng.uniform(1.0, 1.4)) if kind != "slab" else case_r * 1.9
        whole = body(rng, style, (wide, deep, 2 * half)).translate((wide / 2 - case_r, 0, 0))
        return [seated(whole, case_r * 0.9, half)], half, case_r * 0.9
    across = 2 * case_r * float(rng.uniform(1.0, 1.3))
    case = seated(body(rng, style, (across, 2 * case_r, 2 * half)), case_r * 0.92, half)
    motor = _in_two(rng, _motor(rng, style, motor_r, length), length)
    if kind in ("beside", "twin"):
        return _parallel(rng, kind, case, motor, (across, case_r, half), motor_r), half, case_r * 0.92
    if kind == "astride":
        back = length * float(rng.uniform(0.3, 0.7))
        motor = [solid.translate((0, 0, -back)) for solid in motor]
    out = case_r * float(rng.uniform(0.2, 0.6)) * (kind != "astride")
    motor = [solid.rotate((0, 90, 0)).translate((out, 0, 0)) for solid in motor]
    if kind == "oblique":
        tilt = float(rng.choice([-1, 1]) * rng.uniform(20, 60))
        motor = [solid.rotate((0, tilt, 0)) for solid in motor]
    elif kind == "elbow":
        knee = Manifold.sphere(motor_r * 1.05, 32).translate((length * 0.7, 0, 0))
        motor[0] = motor[0] + knee + cylinder(motor_r * 0.95, length * 0.6).translate((length * 0.7, 0, 0))
    elif kind == "yoke":
        arm = block(length * 0.6, motor_r * 0.6, motor_r * 1.4)
        arms = arm.translate((length * 0.3, motor_r, 0)), arm.translate((length * 0.3, -motor_r, 0))
        motor = [solid.translate((motor_r, 0, 0)) for solid in motor]
        motor[0] = motor[0] + arms[0] + arms[1]
    if motor_r > half * 0.9 and kind != "oblique":
        motor = [solid ^ block(2, 2, 2.1 * half) for solid in motor]
    motor = [solid - cylinder(r * 0.9, 2).translate((0, 0, -1)) for solid in motor]
    return [case, *(solid for solid in motor if not solid.is_empty())], half, case_r * 0.92


def _in_two(rng: np.random.Generator, motor: Manifold, length: float) -> list[Manifold]:
    """A motor that stands on z = 0, now and then with an end that is a piece of its own: a cap, or half of it."""
    if rng.random() < 0.5:
        return [motor]
    seam = length * float(rng.uniform(0.5, 1.0) if rng.random() < 0.3 else rng.uniform(0.82, 0.97))
    end, rest = motor.split_by_plane((0, 0, 1), seam)
    if rng.random() < 0.4:
        end = end.scale((0.93, 0.93, 1.0))
    return [rest, end]


def _parallel(
    rng: np.random.Generator,
    kind: str,
    case: Manifold,
    motor: list[Manifold],
    size: tuple[float, float, float],
    motor_r: float,
) -> list[Manifold]:
    """A case with one motor, or a twin on each side, parallel to the tube, up or down.

    `size`: the case across, its radius, half its height (m).
    """
    across, case_r, half = size
    level = -half * float(rng.uniform(0.1, 1.0))
    out = across / 2 + motor_r * float(rng.uniform(0.6, 0.95))
    turned_over = rng.random() < 0.35
    motor = [solid.translate((out, 0, level)) for solid in motor]
    motor = [solid.mirror((0, 0, 1)) if turned_over else solid for solid in motor]
    bridge = block(across / 2 + motor_r, min(case_r, motor_r) * 1.1, half)
    case = case + bridge.translate(((across / 2 + motor_r) / 2, 0, 0))
    return [case, *(solid + solid.mirror((1, 0, 0)) if kind == "twin" else solid for solid in motor)]


def _motor(rng: np.random.Generator, style: str, r: float, length: float) -> Manifold:
    """A motor that stands on z = 0: smooth, or with bands, grooves, fins or a flange that no hand is meant to turn."""
    kind = production(rng, "motor", style)
    if kind == "boxed":
        size = (2 * r * float(rng.uniform(0.9, 1.3)), 2 * r, length)
        return filling(body(rng, style, size), size).translate((0, 0, length / 2))
    return _ROUND_MOTORS[kind](rng, r, length)


def _plain(_rng: np.random.Generator, r: float, length: float) -> Manifold:
    return cylinder(r, length)


def _bell(rng: np.random.Generator, r: float, length: float) -> Manifold:
    return cylinder(r, length) + cylinder(r * 0.95, r * 0.4, r * rng.uniform(0.4, 0.9)).translate((0, 0, length))


def _bottle(_rng: np.random.Generator, r: float, length: float) -> Manifold:
    shoulder = cylinder(r, r * 0.6, length * 0.15).translate((0, 0, length))
    return cylinder(r, length) + shoulder + cylinder(r * 0.6, length * 0.3).translate((0, 0, length * 1.1))


def _bands(rng: np.random.Generator, r: float, length: float) -> Manifold:
    return cylinder(r, length) + _rings(rng, r * 1.09, r * 0.5, length)


def _grooves(rng: np.random.Generator, r: float, length: float) -> Manifold:
    return cylinder(r, length) - _rings(rng, r * 1.3, r * 0.92, length)


def _rings(rng: np.random.Generator, outer: float, inner: float, length: float) -> Manifold:
    """Two to ten rings between these radii (m), evenly along the further part of the motor."""
    wide, number = float(rng.uniform(0.0025, 0.008)), int(rng.integers(2, 11))
    ring = cylinder(outer, wide) - cylinder(inner, 3 * wide).translate((0, 0, -wide))
    places = np.linspace(length * rng.uniform(0.15, 0.4), length * 0.95, number) - wide
    return Manifold.batch_boolean([ring.translate((0, 0, float(z))) for z in places], OpType.Add)


def _flange(rng: np.random.Generator, r: float, length: float) -> Manifold:
    disc = cylinder(r * rng.uniform(1.1, 1.25), length * 0.08)
    return cylinder(r, length) + disc.translate((0, 0, length * rng.uniform(0.2, 0.92)))


def _fins(rng: np.random.Generator, r: float, length: float) -> Manifold:
    fin = block(2.3 * r, r * 0.09, length * 0.75).translate((0, 0, length * 0.55))
    number = int(rng.integers(5, 10))
    fins = [fin.rotate((0, 0, 180 * n / number)) for n in range(number)]
    return cylinder(r, length) + Manifold.batch_boolean(fins, OpType.Add)


def _sided(rng: np.random.Generator, r: float, length: float) -> Manifold:
    """Of five to fourteen flat sides, its far rim bevelled now and then."""
    sides = int(rng.integers(5, 15))
    rim = cylinder(r, r * 0.2, r * 0.8, sides).translate((0, 0, length)) if rng.random() < 0.5 else Manifold()
    return cylinder(r, length, None, sides) + rim


def _dome(rng: np.random.Generator, r: float, length: float) -> Manifold:
    end = Manifold.sphere(r, 32).scale((1, 1, float(rng.uniform(0.35, 1.0)))).translate((0, 0, length))
    return cylinder(r, length) + end


def _taper(rng: np.random.Generator, r: float, length: float) -> Manifold:
    """Slimmer or wider outward, with a rounded rim."""
    far = r * float(rng.uniform(0.75, 1.2))
    rim = cylinder(far, r * 0.2, far * 0.8).translate((0, 0, length))
    return cylinder(r, length, far) + rim


_ROUND_MOTORS = {
    "plain": _plain,
    "dome": _dome,
    "taper": _taper,
    "sided": _sided,
    "bell": _bell,
    "bottle": _bottle,
    "bands": _bands,
    "grooves": _grooves,
    "flange": _flange,
    "fins": _fins,
}


# Ends, tube, details --------------------------------------------------------------------------------------------------


def _other_end(
    rng: np.random.Generator, style: str, end: str, case_r: float, tube_r: float, pieces: list[Piece], carry: np.ndarray
) -> float:
    """A plain piece on the end without the mechanism; returns its height."""
    solid, height = plain_end(rng, style, max(case_r * float(rng.uniform(0.5, 0.95)), tube_r * 1.1))
    if solid is None:
        return 0.0
    label = "actuator_head/plain_end" if end == "fork" else "actuator_head/collar"
    material = rubber(rng) if rng.random() < 0.3 else Material(any_colour(rng), 0.5)
    pieces.append(Part(solid, material, label).moved(carry))
    return height


def _held(rng: np.random.Generator, style: str, r: float, pieces: list[Piece], carry: np.ndarray) -> float:
    """Eye, fork, ball or plate below everything; returns the height of its pin."""
    solid, bolt, pin = beyond(rng, style, r)
    outward = shift(z=-0.0) @ carry
    pieces.append(
        Part(solid, metal(rng) if rng.random() < 0.6 else Material(any_colour(rng), 0.5), "actuator_head/fork").moved(
            outward
        )
    )
    if bolt is not None:
        pieces.append(Part(bolt, metal(rng), "actuator_head/fork").moved(outward))
    return float((outward @ (0, 0, pin, 1))[2])


def _tube(
    rng: np.random.Generator,
    pieces: list[Piece],
    half: float,
    start: float,
    r: float,
    reach: float | None,
    widest: float,
) -> float:
    """Outer tube (from inside the case), now and then a seal or boot at its root, rod and eye; the eye's height."""
    long = float(rng.uniform(0.18, 0.42)) if reach is None else reach * float(rng.uniform(0.55, 0.75))
    rod_long = float(rng.uniform(0.03, 0.2)) if reach is None else max(reach - start - long, 0.03)
    material = metal(rng) if rng.random() < 0.5 else Material(any_colour(rng), 0.4)
    top = start + long
    outer = cylinder(r, top - half + 0.004).translate((0, 0, half - 0.004))
    if rng.random() < 0.2:  # a square tube
        outer = block(1.75 * r, 1.75 * r, top - half + 0.004).translate((0, 0, (top + half) / 2 - 0.002))
    pieces.append(Part(outer, material))
    pieces.append(Part(cylinder(r * 1.004, 0.03).translate((0, 0, start)), material, "actuator_tube/root"))
    if rng.random() < 0.45:
        wide, tall = min(r * float(rng.uniform(1.08, 1.8)), widest), float(np.exp(rng.uniform(*np.log((0.006, 0.045)))))
        ring = cylinder(wide, tall, wide * rng.uniform(0.75, 1.0)).translate((0, 0, start))
        material = (rubber(rng), metal(rng), Material(any_colour(rng), 0.5))[rng.integers(3)]
        pieces.append(Part(ring, material, "actuator_tube/root"))
    if rng.random() < _BELLOWED:
        material = rubber(rng) if rng.random() < 0.6 else Material(any_colour(rng), 0.5)
        bellows = _bellows(rng, r, min(r * float(rng.uniform(1.2, 1.8)), widest), long)
        pieces.append(Part(bellows.translate((0, 0, start)), material, "actuator_tube/root", crease_deg=28))
    pieces.append(Part(cylinder(r * 1.12, 0.014).translate((0, 0, top - 0.012)), rubber(rng)))
    pieces.append(
        Part(cylinder(r * 0.6, rod_long).translate((0, 0, top)), Material((0.7, 0.7, 0.72), 0.15, metallic=1.0))
    )
    pieces.append(Part(rod((0, -r * 0.7, top + rod_long), (0, r * 0.7, top + rod_long), r * 0.65), metal(rng)))
    return top + rod_long


def _bellows(rng: np.random.Generator, r: float, wide: float, longest: float) -> Manifold:
    """Folds round a tube of this radius, the widest of radius `wide`, along some or most of it; stands on z = 0."""
    long = float(rng.uniform(0.25, 0.95)) * longest
    folds = max(3, round(long / float(rng.uniform(0.005, 0.014))))
    z = np.linspace(0, long, 2 * folds + 1)
    low = max(r * 1.02, wide * float(rng.uniform(0.72, 0.92)))
    radii = np.where(np.arange(len(z)) % 2, low, max(wide, r * 1.06))
    return turned([(0, 0), *zip(radii, z, strict=True), (0, long)])


def _rims(rng: np.random.Generator, half: float, case_r: float) -> list[Piece]:
    """Rings in a colour of their own, let into both ends of a case: seals that no hand is meant to turn."""
    wide, tall = case_r * float(rng.uniform(0.97, 1.1)), float(rng.uniform(0.003, 0.014))
    material = rubber(rng) if rng.random() < 0.6 else Material(any_colour(rng), 0.5)
    ring = cylinder(wide, tall, wide * float(rng.uniform(0.9, 1.0)))
    sunk = half + 0.0005 - tall
    ends = (shift(z=sunk), shift(z=-sunk) @ turn((1, 0, 0), 180))
    return [Part(ring, material, "actuator_head/housing").moved(end) for end in ends]


def _details(rng: np.random.Generator, pieces: list[Piece], solids: list[Manifold]) -> None:
    """A cable out of the case, and a label on it."""
    low, high = np.array(Manifold.compose(solids).bounding_box()).reshape(2, 3)
    if rng.random() < 0.8:
        start = np.array([high[0] - 0.004, 0.0, float(rng.uniform(low[2], high[2])) * 0.5])
        out = np.array((1.0, 0.0, 0.0))
        pieces.append(Part(rod(start, start + out * 0.018, 0.006), rubber(rng)))
        pieces.append(hanging_cable(rng, start + out * 0.018, out, rng.uniform(0.1, 0.35)))
    if rng.random() < 0.5:
        label = sticker(rng)
        scale = min(0.7, (high - low)[2] * 0.6 / max(label.width_m, label.height_m))
        where = shift(x=float(rng.uniform(0.0, high[0] * 0.5)), y=low[1] - 0.0008)
        small = replace(
            label, width_m=label.width_m * scale, height_m=label.height_m * scale, label="actuator_head/housing"
        )
        pieces.append(small.moved(where))

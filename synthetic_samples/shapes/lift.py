"""The lift that carries box and actuator: mast, boom, base legs, casters, spreader bar."""

from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    block,
    cable,
    curve,
    moved,
    point_z_to,
    rod,
    rounded_block,
    shift,
    turn,
)
from synthetic_samples.materials.materials import any_colour, cable_material, painted_metal, rubber
from synthetic_samples.shapes.actuator import Actuator
from synthetic_samples.shapes.control_box import ControlBox


@dataclass(frozen=True, eq=False)
class Lift:
    """A mobile lift on z = 0, boom towards +y, operator and control box on the -y side of the mast.

    `box_frame`, `actuator_frame`: where box and actuator went; `height`: of the mast in metres.
    """

    pieces: list[Piece]
    box_frame: np.ndarray
    actuator_frame: np.ndarray
    height: float


def lift(rng: np.random.Generator, box: ControlBox, actuator: Actuator, hand: list[Piece] | None) -> Lift:
    """Put a box, an actuator and perhaps a hand control on a mobile lift."""
    paint = painted_metal(rng)
    height, half = rng.uniform(1.15, 1.45), rng.uniform(0.025, 0.04)
    pieces: list[Piece] = [*_base(rng, paint), Part(_bar((0, 0, 0.08), (0, 0, height), half, rng), paint)]
    shoulder = np.array([0.0, 0.0, height])
    rise = np.radians(rng.uniform(-15, 40))
    boom_length = rng.uniform(0.75, 1.05)
    direction = np.array([0.0, np.cos(rise), np.sin(rise)])
    tip = shoulder + direction * boom_length
    pieces += [Part(_bar(shoulder - direction * 0.08, tip, half * 0.85, rng), paint), *_spreader(rng, tip, paint)]
    actuator_frame, extra = _mount_actuator(rng, actuator, shoulder, direction, half)
    pieces += [*moved(actuator.pieces, actuator_frame), *extra]
    box_height = height * rng.uniform(0.5, 0.8)
    low, high = np.array(Manifold.compose(box.solids).bounding_box()).reshape(2, 3)
    side = 1.0 if rng.random() < 0.8 else 0.0
    if side:
        box_frame = shift(0, -half - high[1] - 0.006, box_height)
    else:
        box_frame = turn((0, 0, 1), float(rng.choice([-90, 90]))) @ shift(0, -half - high[1] - 0.006, box_height)
    pieces += moved(box.pieces, box_frame)
    pieces += _handles(rng, paint, height)
    if hand is not None:
        pieces += moved(
            hand,
            shift(half + rng.uniform(0.05, 0.1), -0.03, height * rng.uniform(0.55, 0.85))
            @ turn((0, 0, 1), rng.uniform(-40, 90)),
        )
    if rng.random() < 0.8:
        a = (actuator_frame @ (0.06, 0, 0.02, 1))[:3]
        b = (box_frame @ (0, 0, low[2], 1))[:3]
        line = np.array([a, (a + b) / 2 + rng.normal(0, 0.06, 3) - (0, 0, 0.12), b - (0, 0, 0.05), b])
        pieces.append(Part(cable(curve(line, 30), 0.0032), cable_material(rng)))
    return Lift(pieces, box_frame, actuator_frame, height)


def _bar(start, end, half: float, rng: np.random.Generator) -> Manifold:
    """A square or round tube between two points."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    if rng.random() < 0.4:
        return rod(start, end, half)
    length = float(np.linalg.norm(end - start))
    tube = rounded_block(2 * half, 2 * half, length, half * 0.25, 12).translate((0, 0, length / 2))
    return tube.transform((shift(*start) @ point_z_to(end - start))[:3])


def _base(rng: np.random.Generator, paint: Material) -> list[Piece]:
    """Two legs with four casters under the mast."""
    spread, length, h = rng.uniform(0.25, 0.4), rng.uniform(0.9, 1.15), 0.09
    solids = [_bar((-spread * 0.8, 0, h), (spread * 0.8, 0, h), 0.025, rng)]
    pieces: list[Piece] = []
    for sign in (-1, 1):
        foot = np.array([sign * spread * rng.uniform(0.9, 1.3), length, h])
        heel = np.array([sign * spread * 0.8, -0.15, h])
        solids.append(_bar(heel, foot, 0.022, rng))
        for spot in (foot, heel):
            wheel = rod(spot + (-0.012, 0, -0.055), spot + (0.012, 0, -0.055), 0.034)
            pieces.append(Part(wheel, rubber(rng)))
            pieces.append(Part(block(0.04, 0.05, 0.03).translate(tuple(spot - (0, 0, 0.025))), paint))
    return [Part(Manifold.compose([solid]), paint) for solid in solids] + pieces


def _spreader(rng: np.random.Generator, tip: np.ndarray, paint: Material) -> list[Piece]:
    """A bent bar under the boom's tip, with a hook at each end for the sling."""
    width, drop = rng.uniform(0.38, 0.55), rng.uniform(0.08, 0.2)
    centre = tip - (0, 0, drop)
    bends = np.array(
        [
            centre + (-width / 2, 0, -0.05),
            centre + (-width / 4, 0, 0.01),
            centre,
            centre + (width / 4, 0, 0.01),
            centre + (width / 2, 0, -0.05),
        ]
    )
    bar: list[Piece] = [Part(rod(tip, centre, 0.012), paint), Part(cable(curve(bends, 24), 0.014, 12), paint)]
    return bar + [_sling_hook(rng, centre + (sign * width / 2, 0, -0.05), sign) for sign in (-1, 1)]


def _sling_hook(rng: np.random.Generator, end: np.ndarray, sign: int) -> Part:
    bends = np.array([end, end + (sign * 0.02, 0, -0.04), end + (0, 0, -0.06), end + (-sign * 0.02, 0, -0.03)])
    return Part(cable(curve(bends, 14), 0.007), rubber(rng))


def _mount_actuator(rng: np.random.Generator, actuator: Actuator, shoulder: np.ndarray, boom: np.ndarray, half: float):
    """Actuator between a bracket low on the mast and the boom; head down, seldom head up."""
    low = np.array([0.0, half + rng.uniform(0.03, 0.06), shoulder[2] * rng.uniform(0.3, 0.5)])
    length = actuator.rod_z - actuator.fork_z
    reach = _reach_on_boom(low, shoulder - (0, 0, half), boom, length)
    high = shoulder + boom * reach - (0, 0, half)
    axis = (high - low) / np.linalg.norm(high - low)
    roll = turn((0, 0, 1), rng.uniform(0, 360))
    if rng.random() < 0.9:
        frame = shift(*low) @ point_z_to(axis) @ roll @ shift(z=-actuator.fork_z)
    else:
        frame = shift(*high) @ point_z_to(-axis) @ roll @ shift(z=-actuator.fork_z)
    bracket = [
        Part(
            block(0.02, 0.05, 0.05).translate((sign * 0.028, float(low[1]) - 0.02, float(low[2]))),
            Material(any_colour(rng), 0.4, metallic=0.6),
        )
        for sign in (-1, 1)
    ]
    return frame, bracket


def _reach_on_boom(low: np.ndarray, shoulder: np.ndarray, boom: np.ndarray, length: float) -> float:
    """Distance along the boom at which an actuator of this length ends (metres, at least 0.15)."""
    start = shoulder - low
    b, c = float(start @ boom), float(start @ start) - length**2
    root = b * b - c
    return max(0.15, -b + np.sqrt(root)) if root > 0 else 0.2


def _handles(rng: np.random.Generator, paint: Material, height: float) -> list[Piece]:
    """A bar to push by, behind the mast."""
    width, z, back = rng.uniform(0.3, 0.5), height * rng.uniform(0.82, 0.98), rng.uniform(0.1, 0.2)
    line = np.array(
        [(-width / 2, -back, z), (-width / 2, -0.02, z), (0, 0, z), (width / 2, -0.02, z), (width / 2, -back, z)]
    )
    pieces: list[Piece] = [Part(cable(curve(line, 24), 0.012, 12), paint)]
    grips = [
        Part(rod((sign * width / 2, -back, z), (sign * width / 2, -back + 0.08, z), 0.016), rubber(rng))
        for sign in (-1, 1)
    ]
    return pieces + grips


def mast_section(rng: np.random.Generator, box: ControlBox) -> list[Piece]:
    """A piece of mast behind a box that stands at the origin."""
    high = np.array(Manifold.compose(box.solids).bounding_box()).reshape(2, 3)[1]
    half = rng.uniform(0.022, 0.04)
    y = high[1] + half + 0.004
    return [Part(_bar((0, y, -0.9), (0, y, rng.uniform(0.25, 0.8)), half, rng), painted_metal(rng))]

"""A generic patient lift: mast, boom, spreader bar, base legs on castors, push handles. Sizes in mm, floor at z = 0."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import paints
from .actuators import actuator
from .control_boxes import Part
from .kit import Piece, aligned, bezier, block, extent, lathe, placed, prism, rod, rounded_rect, shift, sweep, turn


@dataclass(frozen=True)
class Lift:
    """The frame, where a box's back meets the mast, and the mounted actuator with its matrix."""

    frame: list[Piece]
    box_mount: np.ndarray
    actuator: Part
    actuator_matrix: np.ndarray


def lift(rng: np.random.Generator, lowering: str) -> Lift:
    """One lift; the boom points along +y, the person who works it stands on the -y side."""
    paint = paints.painted_metal(rng)
    wide, deep, tall = rng.uniform(46, 78), rng.uniform(56, 92), rng.uniform(1050, 1400)
    round_mast = bool(rng.random() < 0.3)
    section = rounded_rect(wide, deep, wide * (0.48 if round_mast else 0.12))
    pieces = [prism(section, 110, tall, paint, bevel_mm=2)]
    pivot = np.array([0, rng.uniform(0, 50), tall - 10])
    rise, long = np.radians(rng.uniform(-8, 32)), rng.uniform(800, 1100)
    along = np.array([0, np.cos(rise), np.sin(rise)])
    boom_end = pivot + along * long
    pieces.append(prism(rounded_rect(48, 66, 8), -60, long, paint, bevel_mm=2).moved(aligned(pivot, boom_end)))
    pieces.append(block(wide + 26, 90, 120, paints.dark_plastic(rng), bevel_mm=8).moved(shift(z=tall - 60)))
    pieces += _spreader(rng, boom_end)
    pieces += _base(rng, paint)
    pieces += _handles(rng, tall, paint)
    if rng.random() < 0.6:
        pieces.append(block(wide + 90, deep + 120, 170, paints.plastic(rng), bevel_mm=20).moved(shift(y=20, z=70)))
    foot = np.array(
        [
            float(rng.choice([-1, 1])) * (wide / 2 + 20) if rng.random() < 0.3 else 0,
            deep / 2 + rng.uniform(40, 70),
            rng.uniform(330, 520),
        ]
    )
    top = pivot + along * long * rng.uniform(0.3, 0.45) + [foot[0], 0, -40]
    part = _spanning(rng, lowering, float(np.linalg.norm(top - foot)))
    matrix = aligned(foot, top, rng.uniform(0, 360)) @ shift(z=-float(extent([*part.pieces])[0][2]))
    bracket = block(44, 70, 50, paint, bevel_mm=3).moved(shift(foot[0] * 0.6, deep / 2 + 15, foot[2] - 45))
    pieces += [bracket, *placed([block(40, 46, 44, paint, bevel_mm=3)], shift(*(top + [0, 0, -6])))]
    mount = np.array([0, -deep / 2 - rng.uniform(4, 22), rng.uniform(0.4, 0.62) * tall])
    return Lift(pieces, mount, part, matrix)


def _spanning(rng: np.random.Generator, lowering: str, span_mm: float) -> Part:
    """An actuator whose two ends lie the span apart."""
    seed = int(rng.integers(0, 2**31))
    tube = 0.4 * span_mm
    short = actuator(np.random.default_rng(seed), lowering, tube, 60.0)
    length = extent(short.attached)[1][2] - extent(short.pieces)[0][2]
    return actuator(np.random.default_rng(seed), lowering, tube, max(25.0, 60.0 + span_mm - float(length)))


def _spreader(rng, end: np.ndarray) -> list[Piece]:
    """The hanging bar with its hooks."""
    steel, paint = paints.metal(rng), paints.painted_metal(rng)
    hang = end - [0, 0, rng.uniform(120, 200)]
    half = rng.uniform(200, 290)
    path = bezier(
        [hang + [-half, 0, 0], hang + [-half * 0.6, 0, 70], hang + [half * 0.6, 0, 70], hang + [half, 0, 0]], 24
    )
    pieces = [rod(9, 0, float(end[2] - hang[2]), steel).moved(shift(*hang)), sweep(path, 13, paint)]
    for x in (-half, half):
        hook = bezier(
            [hang + [x, 0, 0], hang + [x * 1.15, 0, -60], hang + [x * 1.3, 0, -20], hang + [x * 1.22, 0, 20]], 16
        )
        pieces.append(sweep(hook, 7, steel))
    return pieces


def _base(rng, paint) -> list[Piece]:
    """Two legs on castors."""
    spread, long, back = rng.uniform(230, 330), rng.uniform(850, 1100), rng.uniform(120, 260)
    pieces = [block(2 * spread * 0.9, 70, 55, paint, bevel_mm=5).moved(shift(y=-back + 60, z=75))]
    pieces.append(block(70, back + 60, 55, paint, bevel_mm=5).moved(shift(y=-back / 2 + 20, z=76)))
    for side in (-1, 1):
        start, end = (
            np.array([side * spread * 0.75, -back + 50, 98.0]),
            np.array([side * spread * 1.1, long - back, 92.0]),
        )
        pieces.append(
            prism(rounded_rect(44, 38, 6), 0, float(np.linalg.norm(end - start)), paint, bevel_mm=2).moved(
                aligned(start, end)
            )
        )
        for spot, radius in ((start + [0, -30, 0], rng.uniform(42, 55)), (end + [0, -20, 0], rng.uniform(30, 48))):
            wheel = lathe([(radius - 4, -11), (radius, -8), (radius, 8), (radius - 4, 11)], paints.rubber(rng)).moved(
                shift(spot[0], spot[1], radius) @ turn("z", rng.uniform(0, 90)) @ turn("y", 90)
            )
            guard = block(38, 46, 24, paints.dark_plastic(rng), bevel_mm=5).moved(shift(spot[0], spot[1], radius + 12))
            pieces += [wheel, guard]
    return pieces


def _handles(rng, tall: float, paint) -> list[Piece]:
    """Push handles toward the person who works the lift."""
    half, out, high = rng.uniform(150, 230), -rng.uniform(110, 200), tall * rng.uniform(0.74, 0.88)
    grip = paints.rubber(rng)
    if rng.random() < 0.5:
        path = bezier(
            [
                [0, 0, high],
                [-half * 1.9, 0, high],
                [-half * 1.6, out * 1.3, high + 20],
                [half * 1.6, out * 1.3, high + 20],
                [half * 1.9, 0, high],
                [0, 0, high],
            ],
            50,
        )
        return [sweep(path, 13, paint)]
    pieces = [rod(13, -half, half, paint).moved(shift(z=high) @ turn("y", 90))]
    for x in (-half, half):
        pieces += [
            rod(13, 0, -out, paint).moved(shift(x, 0, high) @ turn("x", 90)),
            rod(17, 20, -out + 6, grip, bevel_mm=3).moved(shift(x, 0, high) @ turn("x", 90)),
        ]
    return pieces

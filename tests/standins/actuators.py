"""Actuator heads with each lowering mechanism, at the fork end or at the tube end.

The actuator's axis is local z: the housing spans z = 0 to its length, the fork lies below, the tube above. Sizes in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import fittings, paints
from .control_boxes import Part
from .kit import (
    Finish,
    Piece,
    block,
    circle,
    fluted,
    lathe,
    level,
    loft,
    placed,
    prism,
    rod,
    rounded_rect,
    shift,
    superellipse,
    turn,
)


@dataclass
class _Shell:
    """A motor housing with the room that a mechanism finds around the axis at both ends."""

    pieces: list[Piece]
    length: float
    neck_radius: float
    tube_clearance: float


def actuator(rng: np.random.Generator, lowering: str, tube_length: float, rod_length: float) -> Part:
    """A head with this mechanism, and the tube and rod that it drives (`attached`, no part of the head)."""
    colour = paints.plastic(rng)
    shell = SHELLS[int(rng.integers(0, len(SHELLS)))](rng, colour)
    at_tube = bool(rng.random() < 0.45)
    tube_radius = rng.uniform(13, 19)
    fork_side, fork_end = _mechanism(rng, "none" if at_tube else lowering, shell, rng.uniform(11, 15), np.inf)
    tube_side, tube_end = _mechanism(rng, lowering if at_tube else "none", shell, tube_radius + 1, shell.tube_clearance)
    pieces = [*shell.pieces, *placed(fork_side, turn("x", 180)), *placed(tube_side, shift(z=shell.length))]
    pieces += placed(_fork(rng, rng.uniform(10, 14)), shift(z=-fork_end))
    gland = lathe(
        [(tube_radius + 5, -1), (tube_radius + 4, 7), (tube_radius, 9)], paints.dark_plastic(rng), evidence="tube_end"
    )
    start = shell.length + tube_end
    pieces += placed([gland], shift(z=start))
    tube_finish, rod_finish = (
        (paints.painted_metal(rng) if rng.random() < 0.5 else paints.plastic(rng)),
        paints.metal(rng),
    )
    attached = [
        rod(tube_radius, start + 1, start + tube_length, tube_finish, bevel_mm=1.0),
        rod(tube_radius * 0.6, start + tube_length - 1, start + tube_length + rod_length, rod_finish),
    ]
    attached += placed(_fork(rng, tube_radius * 0.6), turn("x", 180) @ shift(z=-(start + tube_length + rod_length)))
    if rng.random() < 0.7:
        attached += _lead(rng, shell)
    return Part(
        [replace(piece, evidence=piece.evidence or "shell") for piece in pieces], attached, {"lowering": lowering}
    )


def _mechanism(rng, lowering: str, shell: _Shell, stem: float, clearance: float) -> tuple[list[Piece], float]:
    """Pieces from the housing outward (z up from 0) and where they end; the knob stays within the clearance radius."""
    body = paints.plastic(rng) if rng.random() < 0.6 else paints.dark_plastic(rng)
    if lowering == "none":
        return _plain_end(rng, stem)
    if lowering == "squeeze_tabs":
        return _tabs(rng, stem, min(clearance, 60.0), body)
    radius = min(float(rng.uniform(1.65, 2.3)) * stem + 5, clearance - 2)
    long = rng.uniform(17, 34)
    start = 0.0
    pieces: list[Piece] = []
    if lowering == "pull_twist_knob":
        start = rng.uniform(14, 26)
        bare = paints.metal(rng) if rng.random() < 0.5 else paints.plastic(rng)
        pieces.append(rod(min(stem + rng.uniform(0, 2), radius * 0.68), -1, start + 1, bare, evidence="neck"))
    pieces += placed(_knob(rng, radius, long, body), shift(z=start))
    tail = rng.uniform(3, 16)
    pieces.append(
        rod(stem, start, start + long + tail, paints.metal(rng) if rng.random() < 0.5 else paints.dark_plastic(rng))
    )
    return pieces, start + long + tail


def _plain_end(rng, stem: float) -> tuple[list[Piece], float]:
    """A bare stem, a smooth collar or a cap: nothing to work by hand."""
    finish = paints.plastic(rng) if rng.random() < 0.5 else paints.metal(rng)
    long = rng.uniform(5, 20)
    form = rng.random()
    if form < 0.4:
        return [rod(stem, -1, long, finish, evidence="plain_end")], long
    if form < 0.7:
        wide = stem + rng.uniform(3, 9)
        return [lathe([(wide, -1), (wide, long * 0.75), (stem, long)], finish, evidence="plain_end")], long
    return [lathe([(stem + 12, -1), (stem + 8, long * 0.5), (stem, long)], finish, evidence="plain_end")], long


def _tabs(rng, stem: float, clearance: float, finish: Finish) -> tuple[list[Piece], float]:
    """A collar with two opposed tabs to be pinched together."""
    collar = stem + rng.uniform(4, 9)
    long = rng.uniform(16, 28)
    tab_finish = paints.other_than(rng, finish, 0.3) if rng.random() < 0.6 else finish
    pieces = [rod(collar, -1, long, finish, bevel_mm=1.5)]
    reach = min(rng.uniform(13, 24), clearance - collar - 1) if clearance < 59 else rng.uniform(13, 24)
    wide, thick, spin = rng.uniform(15, 27), rng.uniform(5, 9), rng.uniform(0, 180)
    form = int(rng.integers(0, 3))
    for side in (0, 180):
        if form == 0:
            tab = [
                prism(rounded_rect(reach * 2, wide, 5), 0, thick, tab_finish, bevel_mm=1.5).moved(
                    shift(x=collar, z=long * 0.5 - thick / 2)
                )
            ]
        elif form == 1:
            plate = prism(rounded_rect(wide, long * 1.25, 4), 0, thick, tab_finish, bevel_mm=1.5).moved(
                turn("y", 90) @ turn("z", 90)
            )
            foot = block(reach, wide * 0.5, long * 0.4, tab_finish).moved(shift(x=collar + reach / 2 - 2, z=long * 0.3))
            tab = [plate.moved(shift(x=collar + reach - thick, z=long * 0.55)), foot]
        else:
            outline = np.array([(0, -wide / 2), (reach, -wide * 0.34), (reach, wide * 0.34), (0, wide / 2)])
            tab = [prism(outline, 0, thick * 1.4, tab_finish, bevel_mm=1.8).moved(shift(x=collar - 2, z=long * 0.4))]
        if rng.random() < 0.5:
            tab += [
                block(1.4, wide * 0.55, thick * 1.3, tab_finish).moved(shift(x=collar + reach * part, z=long * 0.45))
                for part in (0.5, 0.7)
            ]
        pieces += [
            replace(piece, evidence="other_tab" if side else "tab") for piece in placed(tab, turn("z", spin + side))
        ]
    return pieces, long


def _knob(rng, radius: float, long: float, finish: Finish) -> list[Piece]:
    """A fluted knob or ring from z = 0 to its length."""
    deep = radius * rng.uniform(0.09, 0.17)
    outline = fluted(radius, deep, int(rng.integers(7, 18)), bool(rng.random() < 0.5))
    waist = rng.uniform(0.86, 1.0)
    rings = [
        level(outline, 0, 0.95),
        level(outline, long * 0.1),
        level(outline, long * 0.5, waist),
        level(outline, long * 0.88),
        level(outline, long * 0.97, 0.96),
        level(outline, long, 0.9),
    ]
    pieces = [loft(rings, finish, evidence="mechanism")]
    if rng.random() < 0.4:
        band = paints.other_than(rng, finish, 0.3)
        low = long * rng.uniform(0.0, 0.8)
        pieces.append(prism(circle(radius + 0.6), low, low + long * 0.18, band, bevel_mm=0.6, evidence="mechanism"))
    return pieces


def _fork(rng, stem: float) -> list[Piece]:
    """A clevis, an eye or a plain cap, hanging below z = 0; evidence `fork_end`."""
    finish = paints.metal(rng) if rng.random() < 0.5 else paints.dark_plastic(rng)
    form = int(rng.integers(0, 3))
    spin = turn("z", rng.uniform(0, 180))
    lying = turn("y", 90)
    if form == 0:
        cheeks = [
            prism(rounded_rect(34, stem * 2, stem * 0.95), 0, 6, finish, bevel_mm=1.0, evidence="fork_end").moved(
                shift(x=x, z=-20) @ lying
            )
            for x in (-stem, stem - 6)
        ]
        bridge = block(stem * 2, stem * 2, 8, finish, bevel_mm=1, evidence="fork_end").moved(shift(z=-8))
        pin = rod(5, -stem - 4, stem + 4, paints.metal(rng), evidence="fork_end").moved(shift(z=-27) @ lying)
        return placed([*cheeks, bridge, pin], spin)
    if form == 1:
        eye = prism(
            rounded_rect(36, stem * 1.9, stem * 0.9), -stem * 0.5, stem * 0.5, finish, bevel_mm=1.5, evidence="fork_end"
        ).moved(shift(z=-16) @ lying)
        hole = rod(
            5.5, -stem * 0.5 - 0.4, stem * 0.5 + 0.4, Finish((0.01, 0.01, 0.01), 0.8), evidence="fork_end"
        ).moved(shift(z=-24) @ lying)
        return placed([eye, hole], spin)
    cap = lathe(
        [(stem * 0.7, -22), (stem * 1.15, -19), (stem * 1.25, -12), (stem * 1.1, 0)], finish, evidence="fork_end"
    )
    return [
        cap,
        rod(5, -stem * 1.6, stem * 1.6, paints.metal(rng), evidence="fork_end").moved(spin @ shift(z=-11) @ lying),
    ]


def _beside(rng, colour: Finish) -> _Shell:
    """A gear case with the motor pot standing beside the tube."""
    pot, length = rng.uniform(24, 34), rng.uniform(48, 80)
    away = pot + rng.uniform(36, 46)
    plan = rounded_rect(away + pot + 34, rng.uniform(60, 76), 26)
    case = prism(plan, 0, length, colour, bevel_mm=rng.uniform(2, 7)).moved(shift(x=(away + pot - 34) / 2))
    high = rng.uniform(80, 150)
    can = lathe(
        [(pot, 0), (pot, high - 6), (pot - 4, high - 1), (pot * 0.4, high)],
        colour if rng.random() < 0.5 else paints.dark_plastic(rng),
    ).moved(shift(away, 0, length - 1))
    return _Shell([case, can], length, 32, away - pot - 2)


def _tee(rng, colour: Finish) -> _Shell:
    """The motor pot leaves the gear case at right angles."""
    length, pot = rng.uniform(66, 96), rng.uniform(26, 34)
    case = prism(rounded_rect(76, 76, rng.uniform(8, 34)), 0, length, colour, bevel_mm=rng.uniform(2, 8))
    high = rng.uniform(85, 150)
    can = lathe(
        [(pot, 0), (pot, high - 8), (pot - 3, high - 2), (pot * 0.5, high)],
        colour if rng.random() < 0.5 else paints.dark_plastic(rng),
    )
    lid = rod(pot + 2.5, 42, 50, paints.dark_plastic(rng), bevel_mm=1)
    return _Shell(placed([can, lid], shift(z=length / 2) @ turn("y", 90)) + [case], length, 36, np.inf)


def _barrel(rng, colour: Finish) -> _Shell:
    """One round barrel on the axis, with bands."""
    radius, length = rng.uniform(33, 44), rng.uniform(120, 200)
    profile = [
        (radius * 0.8, 0),
        (radius * 0.95, 5),
        (radius, 12),
        (radius, length - 12),
        (radius * 0.93, length - 4),
        (radius * 0.75, length),
    ]
    bands = [
        rod(radius + 1.5, z, z + 7, paints.dark_plastic(rng), bevel_mm=1)
        for z in rng.uniform(20, length - 30, int(rng.integers(0, 3)))
    ]
    return _Shell([lathe(profile, colour), *bands], length, radius * 0.75, np.inf)


def _brick(rng, colour: Finish) -> _Shell:
    """A moulded brick round gears and motor together."""
    wide, deep, length = rng.uniform(84, 125), rng.uniform(70, 90), rng.uniform(110, 180)
    outline = (
        rounded_rect(wide, deep, rng.uniform(6, 30))
        if rng.random() < 0.5
        else superellipse(wide, deep, rng.uniform(3, 6))
    )
    case = prism(outline, 0, length, colour, bevel_mm=rng.uniform(3, 10))
    groove = prism(outline * 1.004, length * 0.5, length * 0.5 + 1, Finish((0.02, 0.02, 0.02), 0.8))
    card = placed(
        fittings.sticker(rng, wide * 0.55, length * 0.3),
        np.array([[1, 0, 0, 0], [0, 0, -1, -deep / 2], [0, 1, 0, length * 0.25], [0, 0, 0, 1.0]]),
    )
    return _Shell([case, groove, *card], length, 34, np.inf)


def _skewed(rng, colour: Finish) -> _Shell:
    """A tapering case with the motor pot raised at an angle."""
    length, pot, high = rng.uniform(80, 110), rng.uniform(24, 31), rng.uniform(100, 150)
    outline = superellipse(78, 74, 3.5)
    case = loft(
        [
            level(outline, 0, 0.85),
            level(outline, 8, 0.97),
            level(outline, length * 0.6),
            level(outline, length - 6, 0.92),
            level(outline, length, 0.82),
        ],
        colour,
    )
    can = lathe(
        [(pot, 0), (pot, high - 8), (pot - 4, high - 1), (pot * 0.3, high)],
        paints.dark_plastic(rng) if rng.random() < 0.5 else colour,
    )
    return _Shell([case, can.moved(shift(x=10, z=length * 0.35) @ turn("y", rng.uniform(60, 120)))], length, 31, np.inf)


SHELLS = (_beside, _tee, _barrel, _brick, _skewed)


def _lead(rng, shell: _Shell) -> list[Piece]:
    """The motor's cable from the side of the housing."""
    side = (
        turn("z", rng.uniform(60, 300))
        @ shift(x=shell.neck_radius, z=shell.length * rng.uniform(0.3, 0.6))
        @ turn("y", 90)
    )
    start, away = side[:3, 3], side[:3, 2]
    targets = np.array(
        [start + away * 50 + [0, 0, 120], start + away * 70 + [0, 0, 300], start + away * 40 + [0, 0, 420]]
    )
    return fittings.plug_with_cable(rng, 5.0, side, targets, bool(rng.random() < 0.3), None)

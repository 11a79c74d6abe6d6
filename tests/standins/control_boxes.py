"""Control boxes for every combination of stop, battery, service buttons and charge display."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import fittings, paints
from .housings import Body, X, Y, housing
from .kit import Finish, Piece, block, placed, prism, rounded_rect, shift
from .patch import Crowded, Patch


@dataclass(frozen=True)
class Part:
    """A modelled lift part: its own pieces, what hangs on it without belonging to it, and its values."""

    pieces: list[Piece]
    attached: list[Piece]
    values: dict[str, str]


def control_box(rng: np.random.Generator, values: dict[str, str], standing: bool) -> Part:
    """A box with these concept values; `standing` boxes have no socket below and keep their cables on the ground."""
    for _ in range(200):
        try:
            return _build(rng, values, standing)
        except Crowded:
            continue
    raise RuntimeError(f"no control box found with {values}; widen the size ranges in control_boxes.py")


def _build(rng: np.random.Generator, values: dict[str, str], standing: bool) -> Part:
    diameter = rng.uniform(27, 42)
    finish = paints.plastic(rng)
    makers = {"built_in": _built_in, "stacked_pack": _stacked, "hung_pack": _hung}
    unit, fronts, top, pack_pieces = makers[values["battery"]](rng, values, diameter, finish)
    pieces = [*unit.pieces, *pack_pieces]
    pieces += _fit(
        rng,
        fittings.stop(rng, diameter),
        2.7 * diameter / 2,
        2.7 * diameter / 2,
        [top] if values["stop_position"] == "top" else fronts[:1],
        (0.35, 1.0),
    )
    pieces += _buttons(rng, values["service_buttons"], fronts, unit)
    pieces += _display(rng, values["charge_display"], fronts, top)
    attached = _sockets(rng, unit, standing, pieces)
    pieces += _extras(rng, fronts, unit, values)
    return Part(pieces, attached, values)


def _built_in(rng, values, diameter, finish) -> tuple[Body, list[Patch], Patch, list[Piece]]:
    deep = 1.35 * diameter + 22 if values["stop_position"] == "top" else 55
    unit = housing(rng, rng.uniform(95, 210), rng.uniform(max(60, deep), 150), rng.uniform(120, 300), finish, "unit")
    return unit, [unit.front], unit.top, []


def _stacked(rng, values, diameter, finish) -> tuple[Body, list[Patch], Patch, list[Piece]]:
    """A pack stands on the unit; for a stop on top it is narrower and leaves a step free."""
    width, depth, height = rng.uniform(100, 200), rng.uniform(75, 140), rng.uniform(95, 190)
    step = 1.4 * diameter + 12
    on_top = values["stop_position"] == "top"
    stepped_front = bool(rng.random() < 0.6)
    if on_top:
        width, depth = (
            (width, step + rng.uniform(50, 75))
            if stepped_front
            else (step + rng.uniform(75, 130), max(depth, 1.4 * diameter + 26))
        )
    unit = housing(rng, width, depth, height, finish, "unit")
    share = rng.uniform(0.86, 1.03), rng.uniform(0.86, 1.03)
    pack_width, pack_depth, at_x, at_y = width * share[0], depth * share[1], 0.0, 0.0
    top = unit.top
    if on_top and stepped_front:
        pack_depth = depth - step
        at_y = depth / 2 - pack_depth / 2
        top = Patch(np.array([0, -depth / 2 + step / 2 + 1, unit.top.origin[2]]), X, Y, unit.top.width, step - 4)
    elif on_top:
        pack_width = width - step
        side = float(rng.choice([-1, 1]))
        at_x = side * (width / 2 - pack_width / 2)
        top = Patch(
            np.array([-side * (width / 2 - step / 2 - 1), unit.top.origin[1], unit.top.origin[2]]),
            X,
            Y,
            step - 4,
            unit.top.height,
        )
        if unit.top.width < width - 30:
            raise Crowded("the upward face is too round for a step at the side")
    pack, gap = _pack(rng, pack_width, pack_depth, rng.uniform(75, 170), finish)
    lift = shift(at_x, at_y, height + gap)
    joint = block(pack_width - 9, pack_depth - 9, gap + 4, Finish((0.015, 0.015, 0.015), 0.8), evidence="pack").moved(
        shift(at_x, at_y, height - 2)
    )
    pieces = [joint, *placed(pack.pieces, lift)]
    front = _lifted(pack.front, lift)
    latch_on = _lifted(pack.left if rng.random() < 0.5 else pack.right, lift) if rng.random() < 0.4 else front
    pieces += _pack_catch(rng, latch_on, (0.0, 0.4))
    if rng.random() < 0.5:
        loop = fittings.handle(rng, pack_width * 0.6, rng.uniform(22, 40), rng.uniform(4, 7))
        stand = np.array([[1, 0, 0, at_x], [0, 1, 0, at_y], [0, 0, 1, height + gap + pack.height - 2], [0, 0, 0, 1.0]])
        pieces += [_pack_piece(piece) for piece in placed(loop, stand)]
    return unit, [unit.front, front], top, pieces


def _hung(rng, values, diameter, finish) -> tuple[Body, list[Patch], Patch, list[Piece]]:
    """A slab hangs on the front or the back face; the unit's upward face stays free."""
    deep = 1.35 * diameter + 22 if values["stop_position"] == "top" else 55
    width, depth, height = rng.uniform(105, 210), rng.uniform(max(60, deep), 130), rng.uniform(150, 290)
    unit = housing(rng, width, depth, height, finish, "unit")
    behind = bool(rng.random() < 0.25)
    stop_room = 1.35 * diameter + 26 if values["stop_position"] == "front" else rng.uniform(6, 30)
    slab_height = (
        min(height - stop_room, rng.uniform(0.5, 0.9) * height) if not behind else rng.uniform(0.65, 0.95) * height
    )
    slab_width = rng.uniform(0.7, 0.98) * width if not behind else rng.uniform(0.85, 1.12) * width
    if slab_height < 85:
        raise Crowded("no room for a slab below the stop")
    slab, gap = _pack(rng, slab_width, rng.uniform(28, 48), slab_height, finish)
    foot = rng.uniform(2, 8)
    lean = abs(unit.front.up[1]) / np.linalg.norm(unit.front.up) * height / 2
    offset = (depth / 2 + gap + slab.depth / 2) * (1 if behind else -1) - (0 if behind else lean)
    hang = shift(0, offset, foot)
    joint = block(
        slab_width - 12, gap + 6 + lean, slab_height - 12, Finish((0.015, 0.015, 0.015), 0.8), evidence="pack"
    )
    pieces = [
        joint.moved(shift(0, (depth / 2 + gap / 2) * (1 if behind else -1), foot + 6)),
        *placed(slab.pieces, hang),
    ]
    slab_front = _lifted(slab.front, hang)
    if behind:
        latch_on = _lifted(slab.left if rng.random() < 0.5 else slab.right, hang)
        if latch_on.width > 22:
            pieces += _pack_catch(rng, latch_on, (0.6, 1.0))
        return unit, [unit.front], unit.top, pieces
    pieces += _pack_catch(rng, slab_front, (0.75, 1.0))
    free = height - foot - slab_height - 8
    above = Patch(unit.front.origin, X, unit.front.up, unit.front.width, unit.front.height)
    above.taken.append((-width, -height, width, -height / 2 + foot + slab_height + 3))
    if free < 16:
        above.taken.append((-width, -height, width, height))
    return unit, [above, slab_front], unit.top, pieces


def _pack(rng, width, depth, height, unit_finish) -> tuple[Body, float]:
    """A battery pack and the width of its parting line: another tone, or the same tone with a wider line."""
    same = bool(rng.random() < 0.35)
    finish = unit_finish if same else paints.other_than(rng, unit_finish, 0.3)
    return housing(rng, width, depth, height, finish, "pack"), rng.uniform(2.6, 4.0) if same else rng.uniform(1.6, 3.2)


def _pack_catch(rng, patch: Patch, band: tuple[float, float]) -> list[Piece]:
    """What the hand uses to take the pack off: a catch, a grip hollow or both."""
    found = []
    size = float(min(rng.uniform(22, 38), patch.width - 4))
    if rng.random() < 0.75:
        found += placed(fittings.latch(rng, size), patch.room(rng, size, size * 0.62, band))
    else:
        hollow = prism(rounded_rect(size * 1.2, 13, 6), 0, 0.3, Finish((0.015, 0.015, 0.015), 0.9), bevel_mm=0.0)
        found += placed([hollow], patch.room(rng, size * 1.2, 13, band))
    return [_pack_piece(piece) for piece in found]


def _buttons(rng, where: str, fronts: list[Patch], unit: Body) -> list[Piece]:
    if where == "none":
        return []
    size, vertical = rng.uniform(10.5, 19), bool(rng.random() < 0.6)
    wide, high = (1.45 * size, 2.75 * size) if vertical else (2.75 * size, 1.45 * size)
    sides = [unit.left, unit.right] if rng.random() < 0.5 else [unit.right, unit.left]
    return _fit(
        rng,
        fittings.service_buttons(rng, size, vertical),
        wide,
        high,
        sides[:1] if where == "side" else fronts,
        (0.2, 1.0),
    )


def _display(rng, which: str, fronts: list[Patch], top: Patch) -> list[Piece]:
    faces = fronts if rng.random() < 0.85 else [top, *fronts]
    if which == "lamp_row":
        count, size = int(rng.integers(3, 6)), rng.uniform(5.5, 9)
        wide, high = size * (1.75 * (count - 1) + 2), size * 1.9
        pieces = fittings.lamp_row(rng, count, size)
        if rng.random() < 0.3:
            return _fit(
                rng,
                placed(pieces, np.array([[0, -1, 0, 0], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]])),
                high,
                wide,
                faces,
                (0.1, 1.0),
            )
        return _fit(rng, pieces, wide, high, faces, (0.1, 1.0))
    if which == "gauge":
        wide = rng.uniform(26, 46)
        high = wide * rng.uniform(0.55, 0.75)
        return _fit(rng, fittings.gauge(rng, wide, high), wide, high, faces, (0.1, 1.0))
    return _fit(rng, fittings.single_lamp(rng), 7, 7, faces, (0.1, 1.0)) if rng.random() < 0.25 else []


def _fit(
    rng, pieces: list[Piece], wide: float, high: float, patches: list[Patch], band: tuple[float, float]
) -> list[Piece]:
    """The pieces on the first patch that has room."""
    for patch in patches[:-1]:
        try:
            return placed(pieces, patch.room(rng, wide, high, band))
        except Crowded:
            continue
    return placed(pieces, patches[-1].room(rng, wide, high, band))


def _sockets(rng, unit: Body, standing: bool, pieces: list[Piece]) -> list[Piece]:
    """Two to five sockets, most with a plug and a cable; returns the plugs and cables."""
    bottom = Patch(np.zeros(3), X, -Y, unit.width - 24, unit.depth - 16)
    face = (unit.front, unit.left, unit.right)[int(rng.integers(0, 3))] if standing or rng.random() < 0.3 else bottom
    attached: list[Piece] = []
    for _ in range(int(rng.integers(2, 6))):
        radius = rng.uniform(6, 9)
        try:
            matrix = face.room(rng, radius * 2.8, radius * 2.8, (0.0, 0.3) if face is not bottom else (0.0, 1.0))
        except Crowded:
            break
        pieces += placed(fittings.socket(rng, radius), matrix)
        if rng.random() < 0.7:
            start, away = matrix[:3, 3], matrix[:3, 2]
            drift = np.array([rng.normal(0, 60), rng.normal(0, 40), 0])
            down = -start[2] + 3 if standing else -rng.uniform(150, 260)
            targets = np.array(
                [
                    start + away * 60 + [0, 0, down * 0.5],
                    start + away * 70 + drift + [0, 0, down],
                    start + away * 150 + 3 * drift + [0, 0, down * (1 if standing else 2.2)],
                ]
            )
            attached += fittings.plug_with_cable(
                rng, radius * 0.8, matrix, targets, bool(rng.random() < 0.35), 0.0 if standing else None
            )
    return attached


def _extras(rng, fronts: list[Patch], unit: Body, values: dict[str, str]) -> list[Piece]:
    """Stickers, screws, vents and a handle wherever room is left."""
    pieces: list[Piece] = []
    for patch in (*fronts, unit.left, unit.right):
        if rng.random() < 0.6:
            wide = rng.uniform(0.3, 0.75) * patch.width
            pieces += _maybe(rng, fittings.sticker(rng, wide, wide * 0.5), wide, wide * 0.5, patch)
        if rng.random() < 0.2:
            pieces += _maybe(rng, fittings.vent(rng, 26, 20), 26, 20, patch)
    if rng.random() < 0.35 and len(unit.front.taken) < 4:
        pieces += fittings.screws(rng, unit.front, 3.0)
    return pieces


def _maybe(rng, pieces: list[Piece], wide: float, high: float, patch: Patch) -> list[Piece]:
    try:
        return placed(pieces, patch.room(rng, wide, high))
    except Crowded:
        return []


def _lifted(patch: Patch, matrix: np.ndarray) -> Patch:
    return Patch(patch.origin + matrix[:3, 3], patch.right, patch.up, patch.width, patch.height)


def _pack_piece(piece: Piece) -> Piece:
    return replace(piece, evidence="pack")

"""Hand controls and chargers; both lie or stand on z = 0 with their faces toward -y or upward. Sizes in mm."""

from __future__ import annotations

import numpy as np

from . import fittings, glyphs, paints
from .control_boxes import Part
from .kit import (
    Finish,
    Piece,
    bezier,
    block,
    circle,
    coil,
    decal,
    frame,
    lathe,
    level,
    loft,
    placed,
    prism,
    rod,
    rounded_rect,
    shift,
    superellipse,
    sweep,
    turn,
)


def hand_control(rng: np.random.Generator) -> Part:
    """A wired handset, upright along z with its face toward -y; the lead is no part of it."""
    long, wide, thick = rng.uniform(120, 190), rng.uniform(42, 62), rng.uniform(22, 34)
    finish = paints.plastic(rng)
    form = int(rng.integers(0, 3))
    if form == 0:
        outline = rounded_rect(wide, long, rng.uniform(6, wide * 0.45))
        shell = prism(outline, 0, thick, finish, bevel_mm=rng.uniform(3, 8))
    elif form == 1:
        outline = superellipse(wide, long, 4) * np.array([1.0, 1.0])
        outline[:, 0] *= 1 + 0.18 * outline[:, 1] / long
        shell = loft(
            [level(outline, 0, 0.9), level(outline, 4), level(outline, thick - 6), level(outline, thick, 0.9)], finish
        )
    else:
        outline = rounded_rect(wide, long, wide * 0.3)
        outline[:, 0] *= 1 - 0.22 * np.clip(-outline[:, 1] / (long / 2), 0, 1)
        shell = prism(outline, 0, thick, finish, bevel_mm=6)
    pieces = [shell]
    size, key = rng.uniform(16, 24), paints.other_than(rng, finish, 0.35)
    rows = int(rng.choice([1, 1, 1, 2]))
    ground = tuple(int(255 * channel ** (1 / 2.2)) for channel in key.colour)
    ink = (15, 15, 15) if sum(key.colour) > 0.7 else (240, 240, 240)
    for row in range(rows):
        for upward in (True, False):
            cap = prism(circle(size / 2) if rng.random() < 0.5 else rounded_rect(size, size, 4), 0, 3, key, bevel_mm=1)
            card = decal(size * 0.6, size * 0.6, glyphs.arrow(rng, upward, ground, ink)).moved(shift(z=3))
            x = 0 if rows == 1 else (row - 0.5) * wide * 0.45
            scale = 1.0 if rows == 1 else 0.75
            spot = shift(x, long * 0.18 + (size * 0.66 * scale) * (1 if upward else -1), thick)
            spot[:2, :2] *= scale
            pieces += placed([cap, card], spot)
    if rng.random() < 0.5:
        pieces += placed(fittings.sticker(rng, wide * 0.55, 18), shift(0, -long * 0.28, thick))
    if rng.random() < 0.5:
        hook = bezier([[0, 0, 0], [0, 30, 10], [0, 34, -30], [0, 4, -26]], 24)
        pieces.append(sweep(hook, 4.5, finish).moved(shift(0, long * 0.36, -2) @ turn("x", 0)))
    cord = paints.rubber(rng)
    path = bezier(
        [
            [0, -long / 2 + 2, thick / 2],
            [0, -long / 2 - 60, thick / 2],
            [rng.uniform(-120, 120), -long / 2 - 120, thick / 3],
            [rng.uniform(-300, 300), -long / 2 - 160, 6],
            [rng.uniform(-400, 400), -long / 2 + rng.uniform(-300, 200), 6],
        ],
        70,
    )
    boot = lathe([(6, 0), (4, 22)], cord).moved(
        frame(np.array([0, -long / 2 + 2, thick / 2]), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]))
    )
    lead = sweep(coil(path[6:], 7.5, 26), 2.6, cord, 8) if rng.random() < 0.6 else sweep(path, 3, cord, 8)
    return Part(pieces, [boot, sweep(path[:8], 3, cord, 8), lead], {})


def charger(rng: np.random.Generator) -> Part:
    """A desk charger, a wall cradle, a plug-in charger or a lead with an in-line adapter; lies on z = 0."""
    return (_desk, _cradle, _plug_in, _in_line)[int(rng.integers(0, 4))](rng)


def _desk(rng) -> Part:
    wide, deep, high = rng.uniform(90, 150), rng.uniform(60, 95), rng.uniform(34, 52)
    finish = paints.dark_plastic(rng) if rng.random() < 0.5 else paints.plastic(rng)
    pieces = [prism(rounded_rect(wide, deep, rng.uniform(4, 18)), 0, high, finish, bevel_mm=rng.uniform(2, 6))]
    pieces += placed(fittings.sticker(rng, wide * 0.5, wide * 0.28), shift(z=high))
    pieces += placed(fittings.single_lamp(rng), shift(wide * 0.36, 0, high))
    pieces += [
        block(wide * 0.7, 1.5, 0.6, Finish((0.02, 0.02, 0.02), 0.8)).moved(shift(0, -deep * 0.38 + 4 * i, high))
        for i in range(3)
    ]
    cord = paints.rubber(rng)
    return Part(
        [*pieces, *_cord(rng, cord, [wide / 2, 0, high / 2], 1), *_cord(rng, cord, [-wide / 2, 0, high / 2], -1)],
        [],
        {},
    )


def _cradle(rng) -> Part:
    """A charging shelf with contacts, made for a wall or a desk."""
    wide, high, deep = rng.uniform(110, 180), rng.uniform(120, 190), rng.uniform(60, 95)
    finish = paints.plastic(rng)
    outline = np.array(
        [
            (-deep / 2, 0),
            (deep / 2, 0),
            (deep / 2, high),
            (deep / 2 - 16, high),
            (deep / 2 - 20, high * 0.3),
            (-deep / 2 + 8, high * 0.25),
            (-deep / 2, high * 0.38),
        ]
    )
    side = frame(np.array([-wide / 2, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0]))
    pieces = [prism(outline, 0, wide, finish, bevel_mm=3).moved(side)]
    brass = Finish((0.8, 0.6, 0.25), 0.25, 1.0)
    pieces += [block(10, 14, 2.5, brass).moved(shift(x, 0, high * 0.27)) for x in (-18, 18)]
    pieces += placed(
        fittings.single_lamp(rng),
        frame(np.array([wide * 0.35, -deep / 2, high * 0.18]), np.array([1.0, 0, 0]), np.array([0, 0, 1.0])),
    )
    return Part([*pieces, *_cord(rng, paints.rubber(rng), [wide / 2, 0, 12], 1)], [], {})


def _plug_in(rng) -> Part:
    """A wall plug with the transformer in its body."""
    wide, deep, high = rng.uniform(48, 66), rng.uniform(38, 52), rng.uniform(64, 92)
    finish = paints.dark_plastic(rng) if rng.random() < 0.6 else paints.plastic(rng)
    pieces = [prism(rounded_rect(wide, high, rng.uniform(4, 14)), 0, deep, finish, bevel_mm=4)]
    pieces += [rod(2.4, deep, deep + 19, paints.metal(rng)).moved(shift(x, high * 0.2)) for x in (-9.5, 9.5)]
    pieces += placed(fittings.sticker(rng, wide * 0.6, high * 0.4), shift(0, -high * 0.12, deep))
    return Part([*pieces, *_cord(rng, paints.rubber(rng), [0, -high / 2, deep / 3], 0)], [], {})


def _in_line(rng) -> Part:
    """A brick in the middle of its lead, a plug at the end."""
    long, wide, high = rng.uniform(95, 150), rng.uniform(44, 62), rng.uniform(26, 36)
    finish = paints.dark_plastic(rng)
    pieces = [prism(rounded_rect(long, wide, rng.uniform(4, 14)), 0, high, finish, bevel_mm=5)]
    pieces += placed(fittings.sticker(rng, long * 0.5, wide * 0.6), shift(z=high))
    pieces += placed(fittings.single_lamp(rng), shift(long * 0.4, 0, high - 0.3))
    cord = paints.rubber(rng)
    return Part(
        [*pieces, *_cord(rng, cord, [long / 2, 0, high / 2], 1), *_cord(rng, cord, [-long / 2, 0, high / 2], -1)],
        [],
        {},
    )


def _cord(rng, cord: Finish, start: list[float], side: int) -> list[Piece]:
    """A lead that belongs to the charger, short enough to stay near it, with a round plug at its end."""
    begin = np.array(start, float)
    away = np.array([side, 0.0, 0.0]) if side else np.array([0.0, -1.0, 0.0])
    sway = np.array([rng.uniform(-30, 30), rng.uniform(-70, 70), 0])
    low = np.array([1, 1, 0])
    path = bezier(
        [
            begin,
            begin + away * 40,
            (begin + away * 70 + sway) * low + [0, 0, 3],
            (begin + away * 95 + 2 * sway) * low + [0, 0, 3],
        ],
        40,
    )
    path[:, 2] = np.maximum(path[:, 2], 2.6)
    tip = path[-1] - path[-4]
    tip /= np.linalg.norm(tip)
    right = np.cross([0, 0, 1.0], tip)
    plug = lathe([(4, 0), (6.5, 6), (6.5, 26), (4.5, 28), (4.5, 36)], cord).moved(
        frame(path[-1] + [0, 0, 4], right, np.cross(tip, right))
    )
    return [sweep(path, 2.6, cord, 8), plug]

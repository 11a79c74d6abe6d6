"""Everyday objects, and how much ground a thing covers. All stand on z = 0, sizes in mm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from . import fittings, glyphs, paints
from .kit import (
    Finish,
    Piece,
    bezier,
    block,
    decal,
    extent,
    frame,
    lathe,
    level,
    loft,
    placed,
    prism,
    rounded_rect,
    shift,
    superellipse,
    sweep,
    turn,
)

X, _, Z = np.eye(3)


def mug(rng) -> list[Piece]:
    finish, radius, high = paints.plastic(rng), rng.uniform(36, 46), rng.uniform(80, 110)
    wall = lathe(
        [(radius * 0.9, 0), (radius, 4), (radius, high), (radius - 4, high), (radius - 4, high - 12), (0, high - 12)],
        finish,
    )
    loop = bezier(
        [
            [radius - 2, 0, high * 0.8],
            [radius + 45, 0, high * 0.85],
            [radius + 40, 0, high * 0.1],
            [radius - 2, 0, high * 0.2],
        ],
        24,
    )
    return [wall, sweep(loop, 5.5, finish)]


def books(rng) -> list[Piece]:
    pieces, z = [], 0.0
    for _ in range(int(rng.integers(1, 6))):
        thick, wide, deep = rng.uniform(12, 42), rng.uniform(140, 220), rng.uniform(190, 270)
        pages = block(wide - 6, deep - 8, thick - 5, Finish((0.75, 0.72, 0.62), 0.9))
        cover = [block(wide, deep, 2.5, paints.plastic(rng)).moved(shift(z=h)) for h in (0.0, thick - 2.5)]
        pieces += placed([pages.moved(shift(z=2.5)), *cover], shift(z=z) @ turn("z", rng.uniform(-12, 12)))
        z += thick
    return pieces


def plant(rng) -> list[Piece]:
    pot = lathe([(55, 0), (75, 120), (80, 120), (80, 140), (70, 140), (70, 128), (0, 128)], paints.plastic(rng))
    green = Finish(paints.tint(rng.uniform(0.2, 0.4), rng.uniform(0.5, 0.8), rng.uniform(0.25, 0.6)), 0.5)
    leaves = []
    for _ in range(int(rng.integers(12, 26))):
        angle, reach, rise = rng.uniform(0, 6.3), rng.uniform(60, 170), rng.uniform(120, 330)
        path = bezier(
            [[0, 0, 128], [0, 0, 128 + rise * 0.7], [reach * np.cos(angle), reach * np.sin(angle), 128 + rise]], 14
        )
        leaves.append(sweep(path, 1.8, green, 6))
        leaves.append(
            loft([level(superellipse(38, 80, 2.2), 0, 0.9), level(superellipse(38, 80, 2.2), 1.5)], green).moved(
                shift(*path[-1]) @ turn("z", np.degrees(angle) - 90) @ turn("x", rng.uniform(-50, 30))
            )
        )
    return [pot, *leaves]


def shoe(rng) -> list[Piece]:
    outline = superellipse(95, 270, 2.6)
    outline[:, 0] *= 1 - 0.2 * np.sin(outline[:, 1] / 85)
    upper = paints.plastic(rng)
    return [
        loft([level(outline, 0), level(outline, 22)], paints.rubber(rng), bevel_mm=3),
        loft(
            [
                level(outline * 0.95, 22),
                level(outline * [0.85, 0.9], 60),
                level(outline * [0.6, 0.55] + [0, -42], 85),
                level(outline * [0.55, 0.4] + [0, -60], 105),
            ],
            upper,
        ),
    ]


def tape_roll(rng) -> list[Piece]:
    return [lathe([(38, 0), (60, 0), (60, 48), (38, 48), (38, 1)], paints.plastic(rng))]


def cushion(rng) -> list[Piece]:
    outline = superellipse(380, 380, 3.2)
    return [
        loft(
            [level(outline, z, s) for z, s in ((0, 0.75), (25, 0.97), (60, 1.0), (95, 0.95), (118, 0.7))],
            paints.fabric(rng),
        )
    ]


def box_of_card(rng) -> list[Piece]:
    wide, deep, high = rng.uniform(160, 380), rng.uniform(140, 300), rng.uniform(100, 260)
    card = Finish(paints.tint(0.08, 0.45, rng.uniform(0.5, 0.75)), 0.9)
    return [
        block(wide, deep, high, card, bevel_mm=2),
        block(50, deep + 1, 1, Finish((0.5, 0.4, 0.25), 0.25)).moved(shift(z=high)),
        *placed(fittings.sticker(rng, 90, 60), frame(np.array([wide * 0.15, -deep / 2, high / 2]), X, Z)),
    ]


def kettle(rng) -> list[Piece]:
    finish = paints.metal(rng) if rng.random() < 0.5 else paints.plastic(rng)
    body = lathe([(85, 0), (88, 20), (70, 190), (40, 205), (10, 215), (10, 228), (0, 232)], finish)
    grip = bezier([[60, 0, 195], [150, 0, 210], [150, 0, 30], [84, 0, 40]], 24)
    return [body, sweep(grip, 11, paints.dark_plastic(rng)), lathe([(92, 0), (92, 16)], paints.dark_plastic(rng))]


def telephone(rng) -> list[Piece]:
    finish = paints.plastic(rng)
    body = loft(
        [level(rounded_rect(180, 210, 20), 0), level(rounded_rect(180, 210, 20) * [1, 0.9] + [0, 8], 55)],
        finish,
        bevel_mm=4,
    )
    keys = [
        prism(rounded_rect(15, 12, 3), 54, 59, paints.other_than(rng, finish, 0.3), bevel_mm=1).moved(
            shift(15 + 24 * c, 20 - 22 * r)
        )
        for c in range(3)
        for r in range(4)
    ]
    receiver = loft(
        [level(rounded_rect(48, 205, 20), 56), level(rounded_rect(44, 198, 20), 88)], finish, bevel_mm=6
    ).moved(shift(-55))
    return [body, *keys, receiver]


def picture_frame(rng) -> list[Piece]:
    card = decal(150, 200, glyphs.poster(rng)).moved(shift(z=10))
    return placed(
        [block(180, 230, 10, paints.plastic(rng), bevel_mm=3), card],
        frame(np.array([0, 20, 115]), X, np.array([0, 0.25, 1.0])),
    )


EVERYDAY: dict[str, Callable] = {
    "mug": mug,
    "books": books,
    "plant": plant,
    "shoe": shoe,
    "tape_roll": tape_roll,
    "cushion": cushion,
    "box_of_card": box_of_card,
    "kettle": kettle,
    "telephone": telephone,
    "picture_frame": picture_frame,
}


def radius_of(pieces: list[Piece]) -> float:
    """Half the diagonal of the ground plan, mm."""
    low, high = extent(pieces)
    return float(np.hypot(*(high - low)[:2]) / 2)

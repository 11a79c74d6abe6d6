"""Things that look like lift parts and are none. All stand on z = 0, sizes in mm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from . import fittings, paints
from .kit import (
    Finish,
    Piece,
    bezier,
    block,
    fluted,
    frame,
    lathe,
    level,
    loft,
    placed,
    prism,
    rod,
    rounded_rect,
    shift,
    sweep,
    turn,
)

X, Y, Z = np.eye(3)
DARK = Finish((0.015, 0.015, 0.015), 0.8)


def tool_case(rng) -> list[Piece]:
    wide, deep, high = rng.uniform(220, 380), rng.uniform(90, 160), rng.uniform(150, 260)
    finish, clasp = paints.plastic(rng), paints.dark_plastic(rng)
    pieces = [
        prism(rounded_rect(wide, high, 18), 0, deep, finish, bevel_mm=5).moved(
            frame(np.array([0, deep / 2, high / 2]), X, Z)
        )
    ]
    pieces.append(block(wide + 1, 2, high * 0.96, DARK).moved(shift(z=2)))
    pieces += [
        block(26, deep * 0.5, 40, clasp, bevel_mm=3).moved(shift(x, 0, high - 14)) for x in (-wide * 0.3, wide * 0.3)
    ]
    return pieces + placed(fittings.handle(rng, wide * 0.35, 50, 8), shift(z=high - 3))


def power_strip(rng) -> list[Piece]:
    count = int(rng.integers(3, 7))
    long = 48 * count + 50
    finish = paints.plastic(rng)
    pieces = [prism(rounded_rect(long, 56, 8), 0, 38, finish, bevel_mm=4)]
    for place in range(count):
        x = -long / 2 + 72 + 48 * place
        pieces += [
            rod(18, 38, 38.6, paints.dark_plastic(rng)).moved(shift(x)),
            *[rod(2.6, 38, 39, DARK).moved(shift(x + d)) for d in (-9, 9)],
        ]
    pieces.append(
        prism(
            rounded_rect(20, 28, 3),
            38,
            43,
            Finish(paints.tint(0.0, 0.95, 0.8), 0.3, glow=float(rng.choice([0, 1.0]))),
            bevel_mm=1.5,
        ).moved(shift(-long / 2 + 26))
    )
    cord = bezier([[long / 2, 0, 18], [long / 2 + 90, 20, 5], [long / 2 + 200, rng.uniform(-200, 200), 5]], 30)
    return [*pieces, sweep(cord, 4, paints.rubber(rng))]


def drill_battery(rng) -> list[Piece]:
    finish, top = paints.dark_plastic(rng), paints.plastic(rng)
    wide, deep, high = rng.uniform(75, 95), rng.uniform(105, 130), rng.uniform(48, 75)
    pieces = [
        prism(rounded_rect(wide, deep, 12), 0, high, finish, bevel_mm=5),
        prism(rounded_rect(wide * 0.72, deep * 0.86, 6), high, high + 16, top, bevel_mm=2),
    ]
    pieces += [block(5, deep * 0.8, 14, finish).moved(shift(x, 0, high)) for x in (-wide * 0.42, wide * 0.42)]
    front = frame(np.array([0, -deep / 2, high * 0.5]), X, Z)
    return pieces + placed(fittings.sticker(rng, wide * 0.6, high * 0.5), front)


def valve_wheel(rng) -> list[Piece]:
    """A pipe with a fluted or spoked handwheel, mostly red."""
    finish = paints.stop_red(rng) if rng.random() < 0.7 else paints.plastic(rng)
    steel, radius = paints.metal(rng), rng.uniform(38, 75)
    pieces = [
        rod(17, -170, 170, steel).moved(shift(z=24) @ turn("y", 90)),
        lathe([(26, 0), (30, 30), (18, 50), (16, 70)], steel),
        rod(6, 60, 105, steel),
    ]
    if rng.random() < 0.5:
        return [*pieces, prism(fluted(radius * 0.8, 6, int(rng.integers(5, 10)), False), 92, 110, finish, bevel_mm=3)]
    ring = np.array([[radius * np.cos(a), radius * np.sin(a), 100] for a in np.linspace(0, 2 * np.pi, 50)])
    spokes = [block(radius * 2, 9, 6, finish).moved(shift(z=97) @ turn("z", 60 * i)) for i in range(3)]
    return [*pieces, sweep(ring, 7, finish), *spokes]


def bottle(rng) -> list[Piece]:
    """A bottle or jar under a fluted cap."""
    radius, high = rng.uniform(30, 48), rng.uniform(120, 230)
    neck = radius * rng.uniform(0.45, 0.9)
    body = lathe(
        [(radius * 0.95, 0), (radius, 5), (radius, high * 0.72), (neck, high * 0.92), (neck, high)], paints.plastic(rng)
    )
    cap = prism(
        fluted(neck + 4, 1.6, int(rng.integers(24, 44)), True),
        high,
        high + rng.uniform(16, 32),
        paints.plastic(rng),
        bevel_mm=1,
    )
    band = lathe([(radius + 0.3, high * 0.15), (radius + 0.3, high * 0.6)], paints.plastic(rng))
    return [body, cap, band]


def router(rng) -> list[Piece]:
    wide, deep, high = rng.uniform(160, 230), rng.uniform(110, 160), rng.uniform(28, 42)
    finish = paints.plastic(rng)
    pieces = [prism(rounded_rect(wide, deep, 16), 0, high, finish, bevel_mm=6)]
    pieces += placed(
        fittings.lamp_row(rng, int(rng.integers(4, 7)), 4.5), frame(np.array([0, -deep / 2, high * 0.5]), X, Z)
    )
    pieces += [
        rod(5, 0, rng.uniform(100, 170), paints.dark_plastic(rng), bevel_mm=2).moved(
            shift(x, deep / 2, high * 0.4) @ turn("y", rng.uniform(-25, 25))
        )
        for x in (-wide * 0.4, wide * 0.4)
    ]
    return pieces


def radiator_valve(rng) -> list[Piece]:
    """A thermostat head on a pipe: a fluted knob that lowers nothing."""
    knob = paints.plastic(rng)
    radius, steel = rng.uniform(22, 30), paints.metal(rng)
    pieces = [rod(11, 0, 70, steel), lathe([(17, 60), (20, 75), (17, 92)], steel)]
    return [
        *pieces,
        loft(
            [level(fluted(radius, 2.4, 16, True), z, s) for z, s in ((92, 0.85), (100, 1), (150, 0.95), (158, 0.75))],
            knob,
        ),
    ]


def remote(rng) -> list[Piece]:
    finish = paints.dark_plastic(rng)
    keys = paints.other_than(rng, finish, 0.2)
    pieces = [prism(rounded_rect(46, 190, 12), 0, 18, finish, bevel_mm=4)]
    for row in range(8):
        pieces += [
            prism(rounded_rect(9, 7, 3), 18, 20, keys, bevel_mm=0.6).moved(shift(x, 75 - 17 * row))
            for x in (-13, 0, 13)
        ]
    return pieces


def torch(rng) -> list[Piece]:
    radius = rng.uniform(14, 22)
    finish = paints.dark_plastic(rng)
    body = lathe([(radius, 0), (radius, 110), (radius * 1.7, 140), (radius * 1.7, 170)], finish)
    grip = prism(fluted(radius + 1.5, 1.5, 18, True), 15, 70, paints.rubber(rng))
    lens = rod(radius * 1.5, 169, 171, Finish((0.8, 0.8, 0.75), 0.1, coat=1))
    return placed([body, grip, lens], shift(-90, 0, radius * 1.7) @ turn("y", 90))


def pump(rng) -> list[Piece]:
    """A hand pump: a tube and a rod without a motor."""
    finish = paints.painted_metal(rng)
    pieces = [
        block(190, 60, 8, paints.dark_plastic(rng), bevel_mm=2),
        rod(20, 8, 420, finish),
        rod(6, 418, 560, paints.metal(rng)),
    ]
    return [*pieces, rod(13, -110, 110, paints.rubber(rng)).moved(shift(z=568) @ turn("y", 90))]


LOOK_ALIKES: dict[str, Callable] = {
    "tool_case": tool_case,
    "power_strip": power_strip,
    "drill_battery": drill_battery,
    "valve_wheel": valve_wheel,
    "bottle": bottle,
    "router": router,
    "radiator_valve": radiator_valve,
    "remote": remote,
    "torch": torch,
    "pump": pump,
}

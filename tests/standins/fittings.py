"""What stands on a housing: stops, buttons, lamps, gauges, sockets, stickers, screws, latches, vents.

Each fitting is modelled in its own frame: x right, y up, z outward from the surface at z = 0, in mm.
"""

from __future__ import annotations

import numpy as np

from . import glyphs, paints
from .kit import (
    Finish,
    Piece,
    bezier,
    block,
    circle,
    coil,
    decal,
    fluted,
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
from .patch import Patch


def stop(rng: np.random.Generator, diameter: float) -> list[Piece]:
    """A mushroom-head emergency stop, mostly red before yellow; evidence `stop`."""
    red, yellow = paints.stop_red(rng), paints.stop_yellow(rng)
    radius = diameter / 2
    rise = radius * rng.uniform(0.35, 0.6)
    pieces = []
    base = int(rng.integers(0, 4))
    if base == 0:
        pieces.append(prism(circle(radius * 1.3), 0, 2.5, yellow, evidence="stop", bevel_mm=0.8))
    elif base == 1:
        pieces.append(
            prism(
                rounded_rect(2.5 * radius, 2.5 * radius, radius * rng.uniform(0.1, 0.6)),
                0,
                2,
                yellow,
                evidence="stop",
                bevel_mm=0.6,
            )
        )
    elif base == 2:
        pieces.append(
            lathe(
                [(radius * 1.25, 0), (radius * 1.2, rise * 0.7), (radius * 1.05, rise), (radius * 0.8, rise)],
                yellow,
                evidence="stop",
            )
        )
    if base == 3 and rng.random() < 0.5:
        pieces.append(prism(circle(radius * 1.15), 0, 3, paints.dark_plastic(rng), bevel_mm=0.8))
    pieces.append(rod(radius * 0.62, 0, rise + 2, yellow if base == 3 else paints.dark_plastic(rng), evidence="stop"))
    head = radius * rng.uniform(0.4, 0.65)
    dome = rng.uniform(0.1, 0.5) * head
    if rng.random() < 0.35:
        outline = fluted(radius, radius * 0.07, int(rng.integers(10, 18)), bool(rng.random() < 0.5))
        rings = [
            level(outline, rise, 0.95),
            level(outline, rise + 0.2 * head),
            level(outline, rise + head - dome),
            level(outline, rise + head - 0.3 * dome, 0.86),
            level(outline, rise + head, 0.6),
        ]
        pieces.append(loft(rings, red, evidence="stop"))
    else:
        top = rise + head
        profile = [
            (radius * 0.7, rise),
            (radius * 0.97, rise + 0.1 * head),
            (radius, rise + 0.35 * head),
            (radius * 0.98, top - dome),
            (radius * 0.85, top - 0.5 * dome),
            (radius * 0.6, top - 0.2 * dome),
            (radius * 0.3, top - 0.04 * dome),
            (0, top),
        ]
        pieces.append(lathe(profile, red, evidence="stop"))
    if rng.random() < 0.4:
        pale = Finish((0.8, 0.8, 0.8), 0.5)
        path = np.array([[np.cos(a), np.sin(a), 0] for a in np.linspace(0.3, 4.2, 24)]) * radius * 0.55
        pieces.append(sweep(path + [0, 0, rise + head - 0.35 * dome - 0.4], 0.9, pale, 6, evidence="stop"))
    return pieces


def service_buttons(rng: np.random.Generator, size: float, vertical: bool) -> list[Piece]:
    """A raise and a lower button; evidence `button`. They span size by 2.3 sizes, upright when `vertical`."""
    pieces = []
    key, plate = paints.plastic(rng), paints.dark_plastic(rng)
    form = int(rng.integers(0, 4))
    if rng.random() < 0.5:
        outline = rounded_rect(size * 1.25, size * 2.55, size * 0.25)
        pieces.append(prism(outline, 0, 1.2, paints.other_than(rng, key, 0.25), evidence="button", bevel_mm=0.5))
    ink = (20, 20, 20) if sum(key.colour) > 0.7 else (235, 235, 235)
    ground = tuple(int(255 * channel ** (1 / 2.2)) for channel in key.colour)
    for upward in (True, False):
        rise = rng.uniform(2.0, 4.5) if form < 3 else 2.0
        if form == 0:
            cap = prism(circle(size / 2), 0, rise, key, evidence="button", bevel_mm=0.8)
        elif form == 1:
            cap = prism(rounded_rect(size, size, size * 0.2), 0, rise, key, evidence="button", bevel_mm=0.8)
        elif form == 2:
            sign = 1 if upward else -1
            triangle = np.array([(-size / 2, -sign * size / 2), (size / 2, -sign * size / 2), (0, sign * size / 2)])
            cap = prism(triangle if upward else triangle[::-1], 0, rise, key, evidence="button", bevel_mm=0.8)
        else:
            cap = prism(
                rounded_rect(size * 1.02, size * 1.04, size * 0.15), 0, rise, key, evidence="button", bevel_mm=0.5
            )
        sign_card = decal(size * 0.6, size * 0.6, glyphs.arrow(rng, upward, ground, ink), evidence="button").moved(
            shift(z=rise)
        )
        group = [cap] if form == 2 else [cap, sign_card]
        pieces += placed(group, shift(y=size * 0.64 * (1 if upward else -1)))
    if form == 2 and rng.random() < 0.5:
        pieces.append(prism(rounded_rect(size * 1.4, size * 2.7, 2), 0, 0.8, plate, evidence="button"))
    return pieces if vertical else placed(pieces, turn("z", -90))


def lamp_row(rng: np.random.Generator, count: int, diameter: float) -> list[Piece]:
    """Three or more small round lamps in a line along x; lamps are evidence `lamp`."""
    pitch = diameter * 1.75
    lit = int(rng.integers(0, count + 1))
    pieces = []
    if rng.random() < 0.5:
        pieces.append(
            prism(
                rounded_rect(pitch * (count - 1) + diameter * 2, diameter * 1.9, diameter * 0.5),
                0,
                0.8,
                paints.dark_plastic(rng),
                bevel_mm=0.3,
            )
        )
    for place in range(count):
        radius = diameter / 2
        glass = lathe(
            [(radius, 0), (radius, 1.6), (radius * 0.85, 2.3), (radius * 0.45, 2.8), (0, 2.9)],
            paints.lamp(rng, place < lit),
            20,
            evidence="lamp",
        )
        ring = lathe([(radius * 1.3, 0), (radius * 1.3, 1.2), (radius * 1.05, 1.3)], paints.dark_plastic(rng), 24)
        pieces += placed([glass, ring], shift(x=(place - (count - 1) / 2) * pitch))
    return pieces


def gauge(rng: np.random.Generator, width: float, height: float) -> list[Piece]:
    """A small panel with a battery outline or bars; evidence `gauge`."""
    frame_piece = prism(
        rounded_rect(width, height, min(width, height) * 0.12), 0, 1.6, paints.dark_plastic(rng), bevel_mm=0.6
    )
    picture = glyphs.gauge(rng)
    lit = Finish((1, 1, 1), 0.15, coat=0.6, glow=float(rng.choice([0.0, 0.0, 0.8])), image=picture)
    screen = decal(width * 0.84, height * 0.8, picture, evidence="gauge", finish=lit).moved(shift(z=1.6))
    return [frame_piece, screen]


def single_lamp(rng: np.random.Generator) -> list[Piece]:
    """One pilot lamp, which is no lamp row."""
    return [lathe([(3, 0), (3, 1.5), (1.5, 2.4), (0, 2.6)], paints.lamp(rng, bool(rng.random() < 0.5)), 20)]


def sticker(rng: np.random.Generator, width: float, height: float) -> list[Piece]:
    return [
        decal(
            width, height, glyphs.sticker(rng, 200, max(24, int(200 * height / width))), float(rng.uniform(0.25, 0.7))
        )
    ]


def socket(rng: np.random.Generator, radius: float) -> list[Piece]:
    """A round or square plug socket with its rim."""
    rim, hole = paints.dark_plastic(rng), Finish((0.01, 0.01, 0.01), 0.6)
    if rng.random() < 0.6:
        return [lathe([(radius * 1.35, 0), (radius * 1.3, 2.5), (radius, 3)], rim), rod(radius * 0.75, 0, 3.1, hole)]
    outline = rounded_rect(radius * 2.4, radius * 1.9, 2)
    return [prism(outline, 0, 2.4, rim, bevel_mm=0.6), prism(outline * 0.75, 0, 2.6, hole)]


def plug_with_cable(
    rng: np.random.Generator, radius: float, matrix: np.ndarray, targets: np.ndarray, curly: bool, floor_z: float | None
) -> list[Piece]:
    """A plug in the socket that `matrix` places, and its cable to targets (N, 3) in the box's space, above floor_z."""
    body, cord = paints.dark_plastic(rng), paints.rubber(rng)
    long, thick = rng.uniform(12, 22), rng.uniform(2.2, 3.4)
    plug = lathe([(radius, 0), (radius, long * 0.7), (radius * 0.55, long), (radius * 0.4, long + 8)], body).moved(
        matrix
    )
    leave = [(matrix @ [0, 0, long + out, 1])[:3] for out in (4, 40)]
    path = bezier([*leave, *targets], 60)
    wound = coil(path[8:], thick * 2.6, int(rng.integers(10, 20))) if curly else path
    if floor_z is not None:
        wound = np.column_stack([wound[:, :2], np.maximum(wound[:, 2], floor_z + thick)])
    pieces = [plug, sweep(wound, thick, cord, 8)]
    if curly:
        pieces.append(sweep(path[:10], thick, cord, 8))
    return pieces


def screws(rng: np.random.Generator, patch: Patch, inset: float) -> list[Piece]:
    """Four screws in the corners of a patch."""
    finish = paints.metal(rng) if rng.random() < 0.6 else paints.dark_plastic(rng)
    slot = Finish((0.02, 0.02, 0.02), 0.7)
    radius = rng.uniform(2.2, 3.6)
    pieces = []
    for sx in (-1, 1):
        for sy in (-1, 1):
            head = [
                lathe([(radius, 0), (radius * 0.95, 0.8), (radius * 0.5, 1.2), (0, 1.3)], finish, 18),
                block(radius * 1.3, 0.9, 1.4, slot),
                block(0.9, radius * 1.3, 1.4, slot),
            ]
            matrix = patch.at(sx * (patch.width / 2 - inset), sy * (patch.height / 2 - inset)) @ turn(
                "z", rng.uniform(0, 90)
            )
            pieces += placed(head, matrix)
    return pieces


def vent(rng: np.random.Generator, width: float, height: float) -> list[Piece]:
    dark = Finish((0.015, 0.015, 0.015), 0.8)
    count = max(3, int(height / 5))
    return [
        prism(rounded_rect(width, 2.2, 1.0), 0, 0.2, dark).moved(shift(y=(i - (count - 1) / 2) * height / count))
        for i in range(count)
    ]


def latch(rng: np.random.Generator, width: float) -> list[Piece]:
    """A sliding or pinching catch that holds a battery pack."""
    finish = paints.plastic(rng)
    base = prism(rounded_rect(width, width * 0.62, 3), 0, 3, paints.dark_plastic(rng), bevel_mm=0.8)
    key = prism(rounded_rect(width * 0.8, width * 0.34, 2.5), 3, 6.5, finish, bevel_mm=1.0)
    ribs = [block(width * 0.6, 1.3, 1.2, finish).moved(shift(y=d * 3.2, z=6.5)) for d in (-1, 0, 1)]
    return [base, key, *ribs]


def handle(rng: np.random.Generator, span: float, rise: float, thick: float) -> list[Piece]:
    """A carrying loop along x."""
    half = span / 2
    path = bezier([[-half, 0, 0], [-half, 0, rise * 1.35], [half, 0, rise * 1.35], [half, 0, 0]], 30)
    return [sweep(path, thick, paints.dark_plastic(rng), 12)]

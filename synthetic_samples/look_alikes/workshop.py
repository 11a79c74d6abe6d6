"""Tools and supplies that resemble parts of a lift; each stands on z = 0, centred, front towards -y."""

import numpy as np
from manifold3d import Manifold, OpType

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    bevelled_prism,
    block,
    cable,
    curve,
    cylinder,
    moved,
    rod,
    rounded_block,
    rounded_outline,
    shift,
    turn,
    turned,
)
from synthetic_samples.materials.materials import (
    housing_material,
    metal,
    painted_metal,
    plain_material,
    red_or_any,
    rubber,
    sticker,
)
from synthetic_samples.surroundings.assembly import at_places, case, fluted, in_row

_DARK = Material((0.015, 0.015, 0.017), 0.5)


def drill_battery(rng: np.random.Generator) -> list[Piece]:
    """Slab pack of a cordless tool: slide rails, release tab, a few charge bars."""
    width, depth, height = rng.uniform(0.06, 0.08), rng.uniform(0.09, 0.13), rng.uniform(0.04, 0.075)
    body = case(rng, width, depth, height)
    rail = bevelled_prism(rounded_outline(width * 0.65, depth * 0.75, 0.004), 0.02, 0.002).translate(
        (0, 0.008, height + 0.008)
    )
    slots = in_row(block(0.003, 0.05, 0.012), 4, (0.011, 0, 0)).translate((0, 0.03, height + 0.012))
    tab = rounded_block(width * 0.4, 0.01, height * 0.3, 0.003, 8).translate((0, -depth / 2, height * 0.65))
    bars = in_row(block(0.005, 0.002, 0.003), int(rng.integers(3, 6)), (0.008, 0, 0)).translate(
        (0, -depth / 2 - 0.001, height * 0.25)
    )
    glow = Material((0.1, 0.5, 0.1), 0.3, emission=(0.1, 1.2, 0.1) if rng.random() < 0.4 else None)
    return [
        Part(body, housing_material(rng)),
        Part(rail - slots, plain_material(rng)),
        Part(tab, red_or_any(rng, 0.4)),
        Part(bars, glow),
    ]


def cordless_drill(rng: np.random.Generator) -> list[Piece]:
    """Drill standing on its battery pack."""
    barrel = rod((0, 0.09, 0.2), (0, -0.06, 0.2), rng.uniform(0.028, 0.036), 28)
    chuck = fluted(rng.uniform(0.018, 0.024), 0.045, 14, 0.12).rotate((90, 0, 0)).translate((0, -0.06, 0.2))
    bit = rod((0, -0.1, 0.2), (0, -0.17, 0.2), 0.003, 8)
    grip = rounded_block(0.038, 0.05, 0.15, 0.014, 10).rotate((-12, 0, 0)).translate((0, 0.05, 0.13))
    pack = case(rng, 0.08, 0.12, rng.uniform(0.04, 0.06)).translate((0, 0.03, 0))
    trigger = rounded_block(0.018, 0.02, 0.03, 0.006, 8).translate((0, 0.018, 0.16))
    shell = housing_material(rng)
    return [
        Part(barrel, shell),
        Part(grip, shell),
        Part(chuck, _DARK),
        Part(bit, metal(rng)),
        Part(pack, _DARK),
        Part(trigger, red_or_any(rng, 0.4)),
    ]


def valve_wheel(rng: np.random.Generator) -> list[Piece]:
    """Tap on a pipe with a spoked or lobed hand wheel, often red."""
    radius, stem = rng.uniform(0.025, 0.08), rng.uniform(0.05, 0.1)
    lobes = int(rng.integers(4, 9))
    if rng.random() < 0.5:
        ring = turned([(radius * 0.85, 0), (radius, 0.006), (radius * 0.85, 0.012), (radius * 0.72, 0.006)], 40)
        spokes = [
            rod((0, 0, 0.006), (radius * 0.8 * np.cos(a), radius * 0.8 * np.sin(a), 0.006), 0.004, 8)
            for a in np.linspace(0, 2 * np.pi, 6)[:-1]
        ]
        wheel = Manifold.batch_boolean([ring, cylinder(radius * 0.25, 0.014), *spokes], OpType.Add)
    else:
        wheel = fluted(radius, rng.uniform(0.012, 0.025), lobes, rng.uniform(0.1, 0.3))
    pipe_radius = rng.uniform(0.012, 0.025)
    pipe = rod((-0.14, 0, pipe_radius), (0.14, 0, pipe_radius), pipe_radius, 24)
    neck = cylinder(pipe_radius * 0.8, stem + pipe_radius, segments=24)
    nut = cylinder(pipe_radius * 1.1, 0.02, segments=6).translate((0, 0, stem * 0.5 + pipe_radius))
    body = metal(rng)
    pieces = [
        Part(pipe, body),
        Part(neck, body),
        Part(nut, body),
        Part(wheel.translate((0, 0, stem + pipe_radius)), red_or_any(rng, 0.6)),
    ]
    if rng.random() < 0.4:
        return moved(pieces, shift(z=0.14) @ turn((1, 0, 0), 90))
    return pieces


def car_battery(rng: np.random.Generator) -> list[Piece]:
    """Starter battery with two posts, plugs and a strap."""
    width, depth, height = rng.uniform(0.18, 0.32), rng.uniform(0.13, 0.18), rng.uniform(0.16, 0.2)
    lid = bevelled_prism(rounded_outline(width * 1.01, depth * 1.01, 0.006), 0.03, 0.003).translate((0, 0, height))
    posts = in_row(cylinder(0.009, 0.022, 0.008, 20), 2, (width * 0.75, 0, 0)).translate(
        (0, -depth * 0.3, height + 0.01)
    )
    plugs = in_row(cylinder(0.012, 0.006, segments=20), 6, (width * 0.13, 0, 0)).translate(
        (0, depth * 0.2, height + 0.014)
    )
    label = sticker(rng, width * 0.7, height * 0.5).moved(shift(0, -depth / 2 - 0.002, height * 0.5))
    cover = rounded_block(0.03, 0.03, 0.025, 0.006, 8).translate((width * 0.375, -depth * 0.3, height + 0.03))
    box = block(width, depth, height).translate((0, 0, height / 2))
    return [
        Part(box, housing_material(rng)),
        Part(lid, plain_material(rng)),
        Part(posts, metal(rng)),
        Part(plugs, plain_material(rng)),
        label,
        *([Part(cover, red_or_any(rng, 0.8))] if rng.random() < 0.6 else []),
    ]


def flashlight(rng: np.random.Generator) -> list[Piece]:
    """Torch with a knurled ring, lying or standing on its head."""
    radius, length = rng.uniform(0.012, 0.02), rng.uniform(0.1, 0.22)
    head = radius * rng.uniform(1.2, 1.9)
    tube = cylinder(radius, length, segments=32)
    knurl = fluted(radius * 1.06, length * 0.35, int(rng.integers(16, 30)), 0.1).translate((0, 0, length * 0.25))
    cone = turned([(0, length), (radius, length), (head, length + 0.03), (head, length + 0.055), (0, length + 0.05)])
    cap = fluted(radius * 1.04, 0.02, 18, 0.12)
    body, other = metal(rng) if rng.random() < 0.5 else housing_material(rng), plain_material(rng)
    return _laid(rng, [Part(tube, body), Part(knurl, other), Part(cone, body), Part(cap, other)], head, length + 0.055)


def telescopic_pole(rng: np.random.Generator) -> list[Piece]:
    """Two tubes with a twist-lock collar between them, lying."""
    radius, first, second = rng.uniform(0.011, 0.018), rng.uniform(0.25, 0.5), rng.uniform(0.15, 0.35)
    collar = fluted(
        radius * rng.uniform(1.3, 1.7), rng.uniform(0.04, 0.08), int(rng.integers(6, 20)), rng.uniform(0.06, 0.2)
    )
    grip = cylinder(radius * 1.25, 0.11, segments=24)
    outer, inner = metal(rng) if rng.random() < 0.6 else painted_metal(rng), metal(rng)
    pieces = [
        Part(cylinder(radius, first, segments=28), outer),
        Part(cylinder(radius * 0.82, second, segments=28).translate((0, 0, first)), inner),
        Part(collar.translate((0, 0, first - 0.03)), plain_material(rng)),
        Part(grip, rubber(rng)),
    ]
    return moved(
        pieces,
        shift(0, 0, radius * 1.7)
        @ turn((0, 0, 1), rng.uniform(-30, 30))
        @ turn((0, 1, 0), 90)
        @ shift(z=-(first + second) / 2),
    )


def gas_spring(rng: np.random.Generator) -> list[Piece]:
    """Strut of an office chair or a bonnet: cylinder, thin rod, eyes at both ends."""
    radius, length, travel = rng.uniform(0.009, 0.025), rng.uniform(0.12, 0.3), rng.uniform(0.05, 0.2)
    eye = (cylinder(radius * 0.9, radius) - cylinder(radius * 0.4, 1).translate((0, 0, -0.3))).rotate((90, 0, 0))
    eyes = at_places(
        eye.translate((0, radius / 2, 0)), np.array([(0, 0, -radius * 0.8), (0, 0, length + travel + radius * 0.8)])
    )
    tube, shaft = (
        cylinder(radius, length, segments=32),
        cylinder(radius * 0.45, travel, segments=20).translate((0, 0, length)),
    )
    black = painted_metal(rng, (0.02, 0.02, 0.02)) if rng.random() < 0.6 else painted_metal(rng)
    pieces = [Part(tube, black), Part(shaft, metal(rng)), Part(eyes, metal(rng))]
    lying = turn((0, 0, 1), rng.uniform(-60, 60)) @ turn((0, 1, 0), 90) @ shift(z=-(length + travel) / 2)
    return moved(pieces, shift(z=radius) @ lying)


def hose_connector(rng: np.random.Generator) -> list[Piece]:
    """Garden hose coupling with a fluted nut, on a piece of hose."""
    radius = rng.uniform(0.012, 0.018)
    nut = fluted(radius * 1.35, 0.03, int(rng.integers(8, 24)), rng.uniform(0.08, 0.2))
    barrel = turned([(0, 0), (radius * 1.15, 0), (radius * 1.2, 0.03), (radius * 0.8, 0.05), (0, 0.05)]).translate(
        (0, 0, 0.03)
    )
    path = np.array([(0, 0, 0.01), (0, 0, -0.1), (0, rng.normal(0, 0.05), -0.2), (0, rng.normal(0, 0.1), -0.3)])
    hose = cable(curve(path, 16), radius, 14)
    pieces = [Part(nut, plain_material(rng)), Part(barrel, plain_material(rng)), Part(hose, rubber(rng))]
    return moved(pieces, shift(0.08, 0, radius * 1.4) @ turn((0, 0, 1), rng.uniform(-70, 70)) @ turn((0, 1, 0), 90))


def bicycle_pump(rng: np.random.Generator) -> list[Piece]:
    """Floor pump: foot, tube, T handle, hose and a gauge."""
    height, radius = rng.uniform(0.45, 0.6), rng.uniform(0.014, 0.02)
    foot = rounded_block(0.2, 0.06, 0.02, 0.008, 8).translate((0, 0, 0.01))
    handle = rod((-0.1, 0, height + 0.08), (0.1, 0, height + 0.08), 0.014, 14)
    shaft = cylinder(0.005, 0.1, segments=12).translate((0, 0, height))
    dial = cylinder(0.03, 0.02).rotate((90, 0, 0)).translate((0, -0.02, rng.choice([0.06, height * 0.9])))
    hose = cable(
        curve(np.array([(0, -0.02, 0.05), (0.12, -0.06, 0.3), (0.06, -0.02, height * 0.7), (0.02, -0.02, height)]), 20),
        0.005,
    )
    return [
        Part(foot, plain_material(rng)),
        Part(cylinder(radius, height), metal(rng)),
        Part(handle, plain_material(rng)),
        Part(shaft, metal(rng)),
        Part(dial, plain_material(rng)),
        Part(hose, rubber(rng)),
    ]


def push_button_station(rng: np.random.Generator) -> list[Piece]:
    """Machine switch box: one to three big buttons fill a small lid with four screws; a cable gland, no sockets."""
    count = int(rng.integers(1, 4))
    width, depth = rng.uniform(0.065, 0.085), rng.uniform(0.05, 0.07)
    height = width * (0.4 + 0.65 * count)
    lid = (
        bevelled_prism(rounded_outline(width, height, 0.005), 0.012, 0.002)
        .rotate((90, 0, 0))
        .translate((0, -depth / 2, height / 2))
    )
    corners = np.array(
        [
            (sx * width * 0.42, -depth / 2 - 0.006, height / 2 + sz * (height / 2 - 0.007))
            for sx in (-1, 1)
            for sz in (-1, 1)
        ]
    )
    screws = at_places(cylinder(0.003, 0.002, segments=12).rotate((90, 0, 0)), corners)
    gland = cylinder(0.011, 0.022, segments=6).translate((0, 0, height))
    pieces: list[Piece] = [
        Part(block(width, depth, height).translate((0, 0, height / 2)), housing_material(rng)),
        Part(lid, housing_material(rng)),
        Part(screws, metal(rng)),
        Part(gland, plain_material(rng)),
    ]
    for k in range(count):
        radius = rng.uniform(0.011, 0.02)
        flat = cylinder(radius, 0.012)
        dome = turned(
            [(0, 0), (radius * 0.6, 0), (radius * 0.6, 0.012), (radius, 0.016), (radius * 0.9, 0.024), (0, 0.027)]
        )
        mushroom = k == 0 and rng.random() < 0.5
        at = shift(0, -depth / 2 - 0.006, height * (k + 0.5) / count) @ turn((1, 0, 0), 90)
        pieces += moved([Part(dome if mushroom else flat, red_or_any(rng, 0.7 if k == 0 else 0.1))], at)
    return pieces


def _laid(rng: np.random.Generator, pieces: list[Piece], radius: float, length: float) -> list[Piece]:
    """A thing built along z: left standing, or laid down and turned."""
    if rng.random() < 0.3:
        return pieces
    lying = turn((0, 0, 1), rng.uniform(0, 360)) @ turn((0, 1, 0), 90) @ shift(z=-length / 2)
    return moved(pieces, shift(z=radius) @ lying)

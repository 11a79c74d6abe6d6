"""Electric household things that resemble parts of a lift; each stands on z = 0, centred, front towards -y."""

import numpy as np
from manifold3d import Manifold

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
    any_colour,
    cable_material,
    housing_material,
    lamp_material,
    metal,
    plain_material,
    sticker,
)
from synthetic_samples.materials.textures import from_hsv
from synthetic_samples.surroundings.assembly import at_places, case, fluted, in_row
from synthetic_samples.surroundings.furniture import board

_DARK = Material((0.015, 0.015, 0.017), 0.4)
_GLASS = Material((0.02, 0.025, 0.022), 0.06)


def power_strip(rng: np.random.Generator) -> list[Piece]:
    """Row of outlets with a rocker switch, often red."""
    count, pitch = int(rng.integers(2, 7)), rng.uniform(0.042, 0.055)
    width, depth, height = count * pitch + rng.uniform(0.04, 0.08), rng.uniform(0.045, 0.065), rng.uniform(0.03, 0.045)
    body = case(rng, width, depth, height)
    hollow = cylinder(pitch * 0.4, 0.02, segments=28).translate((rng.choice([-1, 1]) * 0.015, 0, height - 0.012))
    body = body - in_row(hollow, count, (pitch, 0, 0))
    red = from_hsv(float(rng.normal(0, 8)) % 360, 0.9, 0.8) if rng.random() < 0.7 else any_colour(rng)
    rocker = rounded_block(0.016, 0.024, 0.008, 0.002, 8).rotate((8, 0, 0)).translate((width / 2 - 0.018, 0, height))
    pieces: list[Piece] = [Part(body, housing_material(rng)), Part(rocker, lamp_material(rng, red, rng.random() < 0.5))]
    pieces.append(Part(_lead(rng, np.array([-width / 2, 0, height / 2])), cable_material(rng)))
    return moved(pieces, turn((0, 0, 1), rng.choice([0, 90, 180])))


def router(rng: np.random.Generator) -> list[Piece]:
    """Network box with a row of lamps and often aerials."""
    width, depth, height = rng.uniform(0.14, 0.28), rng.uniform(0.1, 0.18), rng.uniform(0.025, 0.045)
    pieces: list[Piece] = [Part(case(rng, width, depth, height), housing_material(rng))]
    count = int(rng.integers(3, 10))
    lamp = cylinder(rng.uniform(0.0015, 0.003), 0.002, segments=12).rotate((90, 0, 0))
    lamps = in_row(lamp, count, (rng.uniform(0.008, 0.015), 0, 0)).translate((0, -depth / 2 + 0.0005, height * 0.55))
    colour = from_hsv(float(rng.choice([120, 200, 30])), 0.8, 0.9)
    pieces.append(Part(lamps, lamp_material(rng, colour, rng.random() < 0.8)))
    for x in np.linspace(-0.42, 0.42, int(rng.integers(0, 5))) * width:
        aerial = rod(
            (x, depth * 0.45, height * 0.5), (x + rng.normal(0, 0.03), depth * 0.5, rng.uniform(0.12, 0.2)), 0.006, 12
        )
        pieces.append(Part(aerial, plain_material(rng)))
    return pieces if rng.random() < 0.6 else _upright(pieces, depth)


def _upright(pieces: list[Piece], depth: float) -> list[Piece]:
    """Stood on its back edge, its upper face towards the viewer."""
    return moved(pieces, shift(z=depth / 2) @ turn((1, 0, 0), 90))


def remote_control(rng: np.random.Generator) -> list[Piece]:
    """Television remote with rows of keys, no cable; lies on its back."""
    width, length, height = rng.uniform(0.035, 0.055), rng.uniform(0.13, 0.23), rng.uniform(0.014, 0.026)
    body = bevelled_prism(rounded_outline(width, length, width * rng.uniform(0.1, 0.45)), height, height * 0.25)
    columns, rows = int(rng.integers(2, 5)), int(rng.integers(5, 11))
    round_keys = rng.random() < 0.5
    size = min(width / columns, length / rows) * 0.33
    key = cylinder(size, 0.002, segments=14) if round_keys else block(size * 2.2, size * 1.6, 0.004)
    x, y = np.meshgrid(
        (np.arange(columns) - (columns - 1) / 2) * width * 0.8 / columns,
        (np.arange(rows) - (rows - 1) / 2) * length * 0.85 / rows,
    )
    places = np.c_[x.ravel(), y.ravel(), np.full(x.size, height / 2)]
    keys = rng.permutation(len(places))
    pieces: list[Piece] = [
        Part(body, housing_material(rng)),
        Part(at_places(key, places[keys[2:]]), plain_material(rng)),
    ]
    pieces.append(
        Part(at_places(key, places[keys[:2]]), Material(from_hsv(float(rng.uniform(-10, 10)) % 360, 0.85, 0.8), 0.5))
    )
    return moved(pieces, shift(z=height / 2))


def cordless_phone(rng: np.random.Generator) -> list[Piece]:
    """Handset with a key pad and display, leaning in its cradle."""
    width, height = rng.uniform(0.045, 0.055), rng.uniform(0.14, 0.18)
    handset = rounded_block(width, 0.025, height, 0.01, 12)
    x, z = np.meshgrid(np.array([-0.014, 0, 0.014]), np.array([-0.045, -0.032, -0.019, -0.006]))
    keys = at_places(block(0.01, 0.003, 0.008), np.c_[x.ravel(), np.full(12, -0.0125), z.ravel()])
    display = block(width * 0.75, 0.002, 0.03).translate((0, -0.0125, height * 0.26))
    colour = housing_material(rng)
    lean = shift(0, 0.01, height / 2 + 0.01) @ turn((1, 0, 0), -rng.uniform(8, 30))
    pieces = moved([Part(handset, colour), Part(keys, plain_material(rng)), Part(display, _GLASS)], lean)
    cradle = case(rng, width * rng.uniform(1.4, 2.4), rng.uniform(0.07, 0.1), rng.uniform(0.03, 0.05)).translate(
        (0, 0.02, 0)
    )
    return [*pieces, Part(cradle, colour if rng.random() < 0.6 else housing_material(rng))]


def intercom(rng: np.random.Generator) -> list[Piece]:
    """Door station: panel with loudspeaker slots, a lens and call buttons."""
    width, height, depth = rng.uniform(0.08, 0.13), rng.uniform(0.14, 0.24), rng.uniform(0.02, 0.04)
    slots = in_row(block(width * 0.5, 0.01, 0.003), int(rng.integers(4, 8)), (0, 0, 0.007))
    body = case(rng, width, depth, height) - slots.translate((0, -depth / 2, height * 0.78))
    count = int(rng.integers(1, 5))
    button = (
        cylinder(0.008, 0.006).rotate((90, 0, 0))
        if rng.random() < 0.5
        else rounded_block(0.035, 0.008, 0.012, 0.002, 8)
    )
    buttons = in_row(button, count, (0, 0, 0.024)).translate((0, -depth / 2, height * 0.3))
    lens = cylinder(0.011, 0.004).rotate((90, 0, 0)).translate((0, -depth / 2, height * 0.6))
    return [
        Part(body, metal(rng) if rng.random() < 0.5 else housing_material(rng)),
        Part(buttons, plain_material(rng)),
        Part(lens, _GLASS),
    ]


def wall_socket(rng: np.random.Generator) -> list[Piece]:
    """One to three outlets in a frame, sometimes with a rocker."""
    count, side = int(rng.integers(1, 4)), rng.uniform(0.07, 0.086)
    frame = bevelled_prism(rounded_outline(side * count, side, 0.006), 0.012, 0.003).rotate((90, 0, 0))
    hollow = turned([(0, -0.004), (0.02, -0.004), (0.022, 0.02), (0, 0.02)], 32).rotate((90, 0, 0))
    holes = in_row(hollow, count, (side, 0, 0))
    pins = at_places(
        cylinder(0.0026, 0.004, segments=10).rotate((90, 0, 0)), np.array([(-0.0095, 0.006, 0), (0.0095, 0.006, 0)])
    )
    white = housing_material(rng, (0.8, 0.8, 0.78)) if rng.random() < 0.6 else housing_material(rng)
    return moved([Part(frame - holes, white), Part(in_row(pins, count, (side, 0, 0)), _DARK)], shift(z=side / 2))


def fire_call_point(rng: np.random.Generator) -> list[Piece]:
    """Square red box with a pane or a press plate in its middle."""
    side, depth = rng.uniform(0.08, 0.11), rng.uniform(0.04, 0.06)
    red = from_hsv(float(rng.normal(0, 6)) % 360, 0.9, 0.75)
    body = case(rng, side, depth, side)
    pane = block(side * 0.6, 0.004, side * 0.5).translate((0, -depth / 2, side / 2))
    disc = cylinder(side * 0.1, 0.004).rotate((90, 0, 0)).translate((0, -depth / 2 - 0.002, side / 2))
    paint = housing_material(rng, red if rng.random() < 0.75 else any_colour(rng))
    return [Part(body, paint), Part(pane, Material((0.75, 0.75, 0.72), 0.3)), Part(disc, _DARK)]


def doorbell(rng: np.random.Generator) -> list[Piece]:
    """Small plate with one round push button, no mushroom."""
    width, height = rng.uniform(0.05, 0.075), rng.uniform(0.06, 0.11)
    body, size = case(rng, width, 0.022, height), rng.uniform(0.007, 0.016)
    ring = turned([(size, 0), (size * 1.3, 0), (size * 1.3, 0.004), (size, 0.004)]).rotate((90, 0, 0))
    button = cylinder(size, 0.005).rotate((90, 0, 0))
    colour = from_hsv(float(rng.normal(0, 8)) % 360, 0.85, 0.8) if rng.random() < 0.5 else any_colour(rng)
    at = shift(0, -0.011, height * rng.uniform(0.4, 0.6))
    return [
        Part(body, housing_material(rng)),
        *moved([Part(ring, metal(rng)), Part(button, Material(colour, 0.3))], at),
    ]


def camera(rng: np.random.Generator) -> list[Piece]:
    """Stills camera with a ringed lens and a shutter button."""
    width, height, depth = rng.uniform(0.1, 0.14), rng.uniform(0.06, 0.09), rng.uniform(0.03, 0.06)
    radius, reach = height * rng.uniform(0.33, 0.48), rng.uniform(0.015, 0.07)
    lens = fluted(radius, reach, int(rng.integers(24, 50)), 0.08) + cylinder(radius * 0.9, reach * 1.2)
    glass = cylinder(radius * 0.65, 0.002).translate((0, 0, reach * 1.2))
    front = shift(rng.uniform(-0.1, 0.15) * width, -depth / 2, height * 0.48) @ turn((1, 0, 0), 90)
    top = at_places(
        cylinder(0.008, 0.008, segments=20), np.array([(width * 0.35, 0, height), (width * 0.22, 0, height)])
    )
    return [
        Part(case(rng, width, depth, height), housing_material(rng)),
        *moved([Part(lens, plain_material(rng)), Part(glass, _GLASS)], front),
        Part(top, metal(rng)),
    ]


def electric_meter(rng: np.random.Generator) -> list[Piece]:
    """Meter with a window and a terminal cover."""
    width, height, depth = rng.uniform(0.11, 0.18), rng.uniform(0.16, 0.26), rng.uniform(0.06, 0.11)
    body = case(rng, width, depth, height)
    window = block(width * 0.7, 0.006, height * 0.2).translate((0, -depth / 2, height * 0.7))
    cover = rounded_block(width * 0.98, depth * 0.4, height * 0.28, 0.006, 8).translate(
        (0, -depth * 0.35, height * 0.15)
    )
    label = sticker(rng, width * 0.6, height * 0.15).moved(shift(0, -depth / 2 - 0.003, height * 0.46))
    return [Part(body, housing_material(rng)), Part(window, _GLASS), Part(cover, plain_material(rng)), label]


def thermostat(rng: np.random.Generator) -> list[Piece]:
    """Wall control with a dial or a display."""
    side = rng.uniform(0.075, 0.11)
    body = case(rng, side, 0.03, side * rng.uniform(0.8, 1.1))
    if rng.random() < 0.5:
        dial = (
            fluted(side * 0.3, 0.018, int(rng.integers(16, 40)), 0.06)
            .rotate((90, 0, 0))
            .translate((0, -0.014, side * 0.45))
        )
        return [Part(body, housing_material(rng)), Part(dial, plain_material(rng))]
    display = block(side * 0.6, 0.003, side * 0.3).translate((0, -0.015, side * 0.6))
    keys = in_row(rounded_block(0.014, 0.005, 0.008, 0.002, 8), 3, (0.02, 0, 0)).translate((0, -0.015, side * 0.25))
    return [
        Part(body, housing_material(rng)),
        Part(display, Material((0.35, 0.42, 0.33), 0.15)),
        Part(keys, plain_material(rng)),
    ]


def breaker_box(rng: np.random.Generator) -> list[Piece]:
    """Small distribution board with a row of breakers behind a flap."""
    count = int(rng.integers(4, 13))
    width, height, depth = count * 0.018 + 0.06, rng.uniform(0.18, 0.26), rng.uniform(0.06, 0.1)
    opening = block(count * 0.018, 0.02, 0.046).translate((0, -depth / 2, height * 0.55))
    bodies = in_row(block(0.0172, 0.02, 0.045), count, (0.018, 0, 0)).translate((0, -depth / 2 + 0.006, height * 0.55))
    levers = in_row(block(0.008, 0.012, 0.012), count, (0.018, 0, 0)).translate((0, -depth / 2 - 0.008, height * 0.55))
    flap = board(width * 0.9, 0.004, height * 0.4, 0, -depth / 2 - 0.03, height * 0.85)
    pieces: list[Piece] = [
        Part(case(rng, width, depth, height) - opening, housing_material(rng)),
        Part(bodies, Material((0.75, 0.75, 0.73), 0.4)),
        Part(levers, plain_material(rng)),
    ]
    return pieces + ([Part(flap, plain_material(rng))] if rng.random() < 0.4 else [])


def radio(rng: np.random.Generator) -> list[Piece]:
    """Portable radio: speaker grille, dial, knobs, a handle and an aerial."""
    width, height, depth = rng.uniform(0.16, 0.32), rng.uniform(0.1, 0.18), rng.uniform(0.05, 0.1)
    slots = in_row(block(width * 0.42, 0.01, 0.003), 9, (0, 0, height * 0.08)).translate(
        (-width * 0.2, -depth / 2, height * 0.5)
    )
    knobs = in_row(fluted(0.014, 0.012, 20, 0.1).rotate((90, 0, 0)), int(rng.integers(1, 4)), (0.036, 0, 0))
    scale = block(width * 0.34, 0.003, height * 0.25).translate((width * 0.25, -depth / 2, height * 0.72))
    arc = np.array(
        [
            (-width * 0.4, 0, height),
            (-width * 0.36, 0, height + 0.04),
            (width * 0.36, 0, height + 0.04),
            (width * 0.4, 0, height),
        ]
    )
    aerial = rod(
        (width * 0.45, depth * 0.3, height * 0.9),
        (width * rng.uniform(0.3, 0.9), depth * 0.3, height + 0.25),
        0.0025,
        8,
    )
    return [
        Part(case(rng, width, depth, height) - slots, housing_material(rng)),
        Part(knobs.translate((width * 0.25, -depth / 2, height * 0.3)), metal(rng)),
        Part(scale, _GLASS),
        Part(cable(curve(arc, 16), 0.007), plain_material(rng)),
        Part(aerial, metal(rng)),
    ]


def plug_adapter(rng: np.random.Generator) -> list[Piece]:
    """Multi-way adapter with outlets on several faces and no lead."""
    side = rng.uniform(0.05, 0.075)
    hollow = cylinder(side * 0.36, 0.02, segments=28).translate((0, 0, side / 2 - 0.012))
    body = (
        rounded_block(side, side, side, side * 0.1, 10) - hollow - hollow.rotate((90, 0, 0)) - hollow.rotate((0, 90, 0))
    )
    pins = at_places(cylinder(0.0024, 0.02, segments=10), np.array([(-0.0095, 0, 0), (0.0095, 0, 0)]))
    back = pins.rotate((-90, 0, 0)).translate((0, side / 2, 0))
    return moved([Part(body, housing_material(rng)), Part(back, metal(rng))], shift(z=side / 2))


def loudspeaker(rng: np.random.Generator) -> list[Piece]:
    """Box with one or two round cones."""
    width, depth, height = rng.uniform(0.1, 0.22), rng.uniform(0.1, 0.2), rng.uniform(0.15, 0.35)
    pieces: list[Piece] = [Part(case(rng, width, depth, height), housing_material(rng))]
    for z, radius in ((0.35, 0.4), (0.77, 0.2)):
        r = width * radius
        cone = turned([(0, -0.012), (r, -0.012), (r, 0.004), (r * 0.8, -0.003), (r * 0.35, 0.002), (0, -0.004)])
        pieces.append(Part(cone.rotate((90, 0, 0)).translate((0, -depth / 2, height * z)), _DARK))
    return pieces


def _lead(rng: np.random.Generator, start: np.ndarray) -> Manifold:
    """A lead that wanders off over the ground."""
    steps = np.cumsum(rng.normal(0, 0.06, (4, 3)) + (-0.05, 0, 0), axis=0)
    steps[:, 2] = -np.linspace(0, start[2] - 0.004, 4)
    return cable(curve(np.vstack([start, start + steps]), 24), 0.0038, 8)

"""Household and care things that resemble parts of a lift; each stands on z = 0, centred, front towards -y."""

import numpy as np

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    block,
    cable,
    curve,
    cylinder,
    moved,
    rod,
    rounded_block,
    shift,
    turn,
    turned,
)
from synthetic_samples.materials.materials import housing_material, metal, plain_material, rubber, sticker
from synthetic_samples.materials.room_materials import bench_material, fabric
from synthetic_samples.materials.textures import from_hsv
from synthetic_samples.surroundings.assembly import at_places, case, fluted, in_row

_GLASS = Material((0.02, 0.025, 0.022), 0.06)


def drawer_handle(rng: np.random.Generator) -> list[Piece]:
    """Drawer front with a bow handle or a knob."""
    width, height = rng.uniform(0.25, 0.45), rng.uniform(0.12, 0.2)
    front = block(width, 0.02, height).translate((0, 0, height / 2))
    if rng.random() < 0.5:
        line = np.array([(-0.06, -0.01, 0), (-0.055, -0.035, 0), (0.055, -0.035, 0), (0.06, -0.01, 0)])
        grip = cable(curve(line, 14), rng.uniform(0.004, 0.008))
    else:
        size = rng.uniform(0.012, 0.022)
        grip = fluted(size, 0.02, int(rng.integers(6, 24)), 0.08).rotate((90, 0, 0)).translate((0, -0.02, 0)) + rod(
            (0, 0, 0), (0, -0.025, 0), size * 0.4, 14
        )
    return [
        Part(front, bench_material(rng)),
        Part(grip.translate((0, 0, height / 2)), metal(rng) if rng.random() < 0.6 else plain_material(rng)),
    ]


def blood_pressure_monitor(rng: np.random.Generator) -> list[Piece]:
    """Table device with a display, a big button and a cuff on a hose."""
    width, depth, height = rng.uniform(0.11, 0.16), rng.uniform(0.1, 0.15), rng.uniform(0.04, 0.08)
    body = case(rng, width, depth, height)
    display = block(width * 0.6, depth * 0.45, 0.003).translate((-width * 0.1, depth * 0.12, height))
    button = cylinder(rng.uniform(0.009, 0.016), 0.005).translate((width * 0.3, -depth * 0.28, height))
    hose = cable(
        curve(
            np.array(
                [
                    (-width / 2, 0, height / 2),
                    (-width * 0.8, 0.02, 0.01),
                    (-width * 1.1, -0.05, 0.01),
                    (-width * 1.3, 0, 0.04),
                ]
            ),
            20,
        ),
        0.003,
    )
    cuff = (
        (cylinder(0.055, 0.12) - cylinder(0.05, 1.0).translate((0, 0, -0.2)))
        .rotate((90, 0, 0))
        .translate((-width * 1.5, 0.06, 0.055))
    )
    return [
        Part(body, housing_material(rng)),
        Part(display, Material((0.35, 0.42, 0.33), 0.15)),
        Part(button, plain_material(rng)),
        Part(hose, plain_material(rng)),
        Part(cuff, fabric(rng)),
    ]


def vacuum_cleaner(rng: np.random.Generator) -> list[Piece]:
    """Canister vacuum: wheels, hose, rocker and a handle."""
    length, width, height = rng.uniform(0.35, 0.45), rng.uniform(0.25, 0.3), rng.uniform(0.2, 0.28)
    body = rounded_block(width, length, height * 0.8, height * 0.3, 14).translate((0, 0, height * 0.5))
    wheels = at_places(
        cylinder(height * 0.35, 0.04).rotate((0, 90, 0)),
        np.array([(x, length * 0.25, height * 0.35) for x in (-width / 2 - 0.02, width / 2 - 0.02)]),
    )
    buttons = in_row(rounded_block(0.05, 0.035, 0.014, 0.006, 8), 2, (0.08, 0, 0)).translate(
        (0, length * 0.25, height * 0.9)
    )
    path = np.array(
        [
            (0, -length / 2, height * 0.6),
            (0.05, -length * 0.8, height * 1.2),
            (0.3, -length * 0.6, height * 0.8),
            (0.45, -length * 0.2, 0.05),
        ]
    )
    return [
        Part(body, housing_material(rng)),
        Part(wheels, rubber(rng)),
        Part(buttons, plain_material(rng)),
        Part(cable(curve(path, 30), 0.019, 14), rubber(rng)),
    ]


def kitchen_timer(rng: np.random.Generator) -> list[Piece]:
    """Round or square timer with a turning dial, often red or yellow."""
    radius, height = rng.uniform(0.03, 0.042), rng.uniform(0.025, 0.04)
    base = cylinder(radius, height, radius * 0.95) if rng.random() < 0.6 else case(rng, radius * 2, radius * 2, height)
    dial = fluted(radius * rng.uniform(0.5, 0.9), rng.uniform(0.012, 0.025), int(rng.integers(8, 36)), 0.1).translate(
        (0, 0, height)
    )
    hue = float(rng.choice([0, 50, 120, 210])) + float(rng.normal(0, 6))
    dome = Material(from_hsv(hue % 360, 0.85, 0.8), 0.3)
    pieces = [Part(base, housing_material(rng)), Part(dial, dome)]
    return pieces if rng.random() < 0.6 else moved(pieces, shift(z=radius) @ turn((1, 0, 0), 75))


def kettle(rng: np.random.Generator) -> list[Piece]:
    """Electric kettle on its base."""
    radius, height = rng.uniform(0.07, 0.09), rng.uniform(0.17, 0.23)
    body = turned([(0, 0.02), (radius, 0.02), (radius * 0.8, height), (0, height + 0.01)])
    arc = np.array(
        [
            (radius * 0.7, 0, height),
            (radius * 1.6, 0, height * 0.95),
            (radius * 1.6, 0, height * 0.4),
            (radius * 0.95, 0, height * 0.25),
        ]
    )
    spout = block(0.04, 0.05, 0.03).rotate((0, -30, 0)).translate((-radius * 0.8, 0, height * 0.92))
    shell, trim = metal(rng) if rng.random() < 0.5 else plain_material(rng), plain_material(rng)
    knob = cylinder(0.014, 0.02, segments=20).translate((0, 0, height + 0.008))
    return [
        Part(body, shell),
        Part(spout, shell),
        Part(cable(curve(arc, 18), 0.012, 10), trim),
        Part(cylinder(radius * 1.05, 0.02), trim),
        Part(knob, trim),
    ]


def soap_dispenser(rng: np.random.Generator) -> list[Piece]:
    """Wall dispenser with a window and a push bar."""
    width, depth, height = rng.uniform(0.09, 0.14), rng.uniform(0.08, 0.12), rng.uniform(0.18, 0.3)
    bar = rounded_block(width * 0.8, 0.03, 0.045, 0.01, 10).translate((0, -depth / 2, height * 0.18))
    window = block(0.014, 0.004, height * 0.35).translate((0, -depth / 2, height * 0.62))
    return [
        Part(case(rng, width, depth, height), housing_material(rng)),
        Part(bar, plain_material(rng)),
        Part(window, _GLASS),
    ]


def kitchen_scale(rng: np.random.Generator) -> list[Piece]:
    """Flat scale with a display and keys, or a dial scale with a pan."""
    side = rng.uniform(0.15, 0.22)
    if rng.random() < 0.5:
        display = block(0.06, 0.022, 0.002).translate((0, -side * 0.38, 0.022))
        keys = in_row(cylinder(0.006, 0.002, segments=16), 2, (0.1, 0, 0)).translate((0, -side * 0.38, 0.021))
        return [
            Part(case(rng, side, side * 1.15, 0.022), plain_material(rng, (0.05, 0.4))),
            Part(display, _GLASS),
            Part(keys, metal(rng)),
        ]
    dial = cylinder(side * 0.32, 0.006).rotate((90, 0, 0)).translate((0, -side * 0.3, side * 0.4))
    pan = turned(
        [(0, 0), (side * 0.4, 0), (side * 0.6, 0.04), (side * 0.58, 0.04), (side * 0.39, 0.004), (0, 0.004)]
    ).translate((0, 0, side * 0.8))
    return [
        Part(case(rng, side * 0.8, side * 0.6, side * 0.8), housing_material(rng)),
        Part(dial, Material((0.8, 0.8, 0.78), 0.3)),
        Part(pan, metal(rng)),
    ]


def clamping_knob(rng: np.random.Generator) -> list[Piece]:
    """Loose clamping knob: star or fluted grip on a threaded stud, lying."""
    radius = rng.uniform(0.015, 0.035)
    grip = fluted(radius, radius * rng.uniform(0.5, 0.9), int(rng.integers(3, 9)), rng.uniform(0.15, 0.4))
    stud = cylinder(radius * 0.25, radius * 2.2, segments=18).translate((0, 0, -radius * 2.2))
    pieces = [Part(grip, plain_material(rng)), Part(stud, metal(rng))]
    return moved(pieces, shift(z=radius * 0.9) @ turn((0, 0, 1), rng.uniform(0, 360)) @ turn((0, 1, 0), 80))


def walking_stick(rng: np.random.Generator) -> list[Piece]:
    """Crutch or stick: tube with push-button holes, a clip collar and a rubber foot; lying."""
    radius, length = rng.uniform(0.01, 0.014), rng.uniform(0.35, 0.7)
    holes = in_row(cylinder(0.003, 0.004, segments=10).rotate((90, 0, 0)), 7, (0, 0, 0.025)).translate(
        (0, -radius, length * 0.6)
    )
    collar = cylinder(radius * 1.5, 0.03, radius * 1.3, 24).translate((0, 0, length * 0.4))
    foot = turned([(0, -0.03), (radius * 2, -0.03), (radius * 1.3, 0.03), (0, 0.03)])
    grip = rounded_block(0.12, 0.03, 0.035, 0.012, 10).translate((0.03, 0, length))
    dark = Material((0.01, 0.01, 0.01), 0.6)
    pieces = [
        Part(cylinder(radius, length), metal(rng)),
        Part(holes, dark),
        Part(collar, plain_material(rng)),
        Part(foot, rubber(rng)),
        Part(grip, plain_material(rng)),
    ]
    lying = turn((0, 0, 1), rng.uniform(-50, 50)) @ turn((0, 1, 0), 90) @ shift(z=-length / 2)
    return moved(pieces, shift(z=radius * 2) @ lying)


def medicine_pump(rng: np.random.Generator) -> list[Piece]:
    """Bedside infusion or feeding pump: display, keys, lamps and a pole clamp."""
    width, depth, height = rng.uniform(0.12, 0.2), rng.uniform(0.1, 0.15), rng.uniform(0.12, 0.22)
    display = block(width * 0.6, 0.004, height * 0.25).translate((0, -depth / 2, height * 0.72))
    x, z = np.meshgrid(np.linspace(-0.3, 0.3, 4) * width, np.linspace(0.2, 0.45, 3) * height)
    keys = at_places(
        rounded_block(width * 0.11, 0.005, height * 0.08, 0.002, 8),
        np.c_[x.ravel(), np.full(12, -depth / 2), z.ravel()],
    )
    clamp = (
        fluted(0.022, 0.02, int(rng.integers(5, 9)), 0.2)
        .rotate((0, 90, 0))
        .translate((width / 2 + 0.02, 0.02, height * 0.5))
    )
    stud = rod((width / 2 - 0.01, 0.02, height * 0.5), (width / 2 + 0.02, 0.02, height * 0.5), 0.006, 12)
    label = sticker(rng, width * 0.5, height * 0.08).moved(shift(0, -depth / 2 - 0.003, height * 0.92))
    return [
        Part(case(rng, width, depth, height), housing_material(rng)),
        Part(display, _GLASS),
        Part(keys, plain_material(rng)),
        Part(clamp, plain_material(rng)),
        Part(stud, metal(rng)),
        label,
    ]

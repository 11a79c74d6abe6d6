"""Cases, cans, bottles and boxes that resemble parts of a lift; each stands on z = 0, centred, front towards -y."""

import numpy as np

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
    housing_material,
    metal,
    painted_metal,
    plain_material,
    red_or_any,
    rubber,
)
from synthetic_samples.materials.textures import from_hsv
from synthetic_samples.surroundings.assembly import at_places, case, fluted, in_row


def tool_case(rng: np.random.Generator) -> list[Piece]:
    """Flat case with a seam, two latches and a handle; standing or lying."""
    width, depth, height = rng.uniform(0.22, 0.42), rng.uniform(0.07, 0.14), rng.uniform(0.2, 0.34)
    half = bevelled_prism(rounded_outline(width, height, rng.uniform(0.01, 0.05)), depth / 2 - 0.001, 0.006).rotate(
        (90, 0, 0)
    )
    shell = at_places(half, np.array([(0, -depth / 4, height / 2), (0, depth / 4, height / 2)]))
    ribs = in_row(
        rounded_block(width * 0.08, 0.008, height * 0.7, 0.003, 8), int(rng.integers(0, 6)) + 1, (width * 0.14, 0, 0)
    )
    latch = rounded_block(0.03, 0.05, 0.016, 0.004, 8)
    arc = np.array([(-0.06, 0, height), (-0.055, 0, height + 0.035), (0.055, 0, height + 0.035), (0.06, 0, height)])
    pieces: list[Piece] = [
        Part(shell, housing_material(rng)),
        Part(ribs.translate((0, -depth / 2, height / 2)), plain_material(rng)),
        Part(in_row(latch, 2, (width * rng.uniform(0.45, 0.7), 0, 0)).translate((0, 0, height)), red_or_any(rng, 0.25)),
        Part(cable(curve(arc, 14), 0.009), plain_material(rng)),
    ]
    return (
        pieces if rng.random() < 0.6 else moved(pieces, shift(0, height / 2, depth / 2 + 0.01) @ turn((1, 0, 0), -90))
    )


def toolbox(rng: np.random.Generator) -> list[Piece]:
    """Box with a lid, a bar handle and end plates."""
    width, depth, height = rng.uniform(0.3, 0.55), rng.uniform(0.16, 0.25), rng.uniform(0.15, 0.25)
    lid = case(rng, width * 1.02, depth * 1.02, height * 0.3).translate((0, 0, height * 0.72))
    bar = rod((-width * 0.3, 0, height * 1.2), (width * 0.3, 0, height * 1.2), 0.012, 14)
    posts = in_row(block(0.02, 0.03, height * 0.25), 2, (width * 0.6, 0, 0)).translate((0, 0, height * 1.1))
    latches = in_row(rounded_block(0.035, 0.012, 0.05, 0.004, 8), 2, (width * 0.5, 0, 0)).translate(
        (0, -depth / 2 - 0.004, height * 0.7)
    )
    paint, grip = painted_metal(rng) if rng.random() < 0.5 else housing_material(rng), plain_material(rng)
    return [
        Part(case(rng, width, depth, height * 0.7), paint),
        Part(lid, housing_material(rng)),
        Part(bar, grip),
        Part(posts, grip),
        Part(latches, red_or_any(rng, 0.3)),
    ]


def fuel_can(rng: np.random.Generator) -> list[Piece]:
    """Canister with a moulded handle, a fluted cap and a cross in its side."""
    width, depth, height = rng.uniform(0.2, 0.32), rng.uniform(0.1, 0.17), rng.uniform(0.22, 0.38)
    body = case(rng, width, depth, height)
    arc = np.array(
        [
            (-width * 0.35, 0, height - 0.01),
            (-width * 0.3, 0, height + 0.05),
            (width * 0.1, 0, height + 0.05),
            (width * 0.15, 0, height - 0.01),
        ]
    )
    cap = fluted(rng.uniform(0.022, 0.032), 0.03, int(rng.integers(12, 30)), 0.1).translate((width * 0.32, 0, height))
    brace = [
        rod((-width * 0.35, -depth / 2, height * a), (width * 0.35, -depth / 2, height * b), 0.009, 10)
        for a, b in ((0.2, 0.8), (0.8, 0.2))
    ]
    shell = housing_material(rng)
    return [
        Part(body, shell),
        Part(cable(curve(arc, 14), 0.013, 10), shell),
        Part(cap, red_or_any(rng, 0.3)),
        *(Part(one, shell) for one in brace),
    ]


def capped_jar(rng: np.random.Generator) -> list[Piece]:
    """Jar or bottle with a fluted screw cap."""
    radius, height = rng.uniform(0.02, 0.06), rng.uniform(0.05, 0.2)
    neck = radius * rng.uniform(0.5, 0.95)
    body = turned([(0, 0), (radius, 0), (radius, height * 0.8), (neck, height), (0, height)])
    cap = fluted(neck * 1.1, rng.uniform(0.012, 0.035), int(rng.integers(12, 48)), rng.uniform(0.04, 0.12))
    pieces = [Part(body, plain_material(rng, (0.03, 0.5))), Part(cap.translate((0, 0, height)), plain_material(rng))]
    return (
        pieces
        if rng.random() < 0.75
        else moved(pieces, shift(z=radius) @ turn((0, 0, 1), rng.uniform(0, 360)) @ turn((0, 1, 0), 90))
    )


def spray_can(rng: np.random.Generator) -> list[Piece]:
    """Aerosol can with its cap or its nozzle."""
    radius, height = rng.uniform(0.022, 0.034), rng.uniform(0.12, 0.22)
    body = turned([(0, 0), (radius, 0), (radius, height), (radius * 0.7, height + 0.012), (0, height + 0.012)])
    cap = (
        turned([(0, 0), (radius * 0.92, 0), (radius * rng.uniform(0.6, 0.92), 0.04), (0, 0.042)])
        if rng.random() < 0.6
        else cylinder(0.007, 0.022)
    )
    return [Part(body, housing_material(rng)), Part(cap.translate((0, 0, height + 0.01)), plain_material(rng))]


def vacuum_flask(rng: np.random.Generator) -> list[Piece]:
    """Flask with a fluted cup or stopper and a ring."""
    radius, height = rng.uniform(0.032, 0.048), rng.uniform(0.18, 0.28)
    cup = fluted(radius * 0.95, rng.uniform(0.04, 0.07), int(rng.integers(10, 40)), rng.uniform(0.03, 0.1)).translate(
        (0, 0, height + 0.006)
    )
    ring = cylinder(radius * 1.03, 0.01).translate((0, 0, height - 0.004))
    return [
        Part(cylinder(radius, height), metal(rng) if rng.random() < 0.5 else housing_material(rng)),
        Part(cup, plain_material(rng)),
        Part(ring, metal(rng)),
    ]


def first_aid_box(rng: np.random.Generator) -> list[Piece]:
    """Box with a handle, two latches and a cross-shaped sign."""
    width, depth, height = rng.uniform(0.2, 0.32), rng.uniform(0.09, 0.14), rng.uniform(0.16, 0.24)
    arms = at_places(block(1, 1, 1).scale((height * 0.4, 0.002, height * 0.13)), np.zeros((1, 3)))
    sign = arms + arms.rotate((0, 90, 0))
    latches = in_row(rounded_block(0.03, 0.03, 0.018, 0.004, 8), 2, (width * 0.6, 0, 0)).translate((0, 0, height))
    arc = np.array([(-0.05, 0, height), (-0.045, 0, height + 0.03), (0.045, 0, height + 0.03), (0.05, 0, height)])
    colour = from_hsv(float(rng.choice([140, 30, 210])), 0.8, 0.7) if rng.random() < 0.7 else any_colour(rng)
    return [
        Part(case(rng, width, depth, height), housing_material(rng, colour)),
        Part(sign.translate((0, -depth / 2 - 0.001, height * 0.5)), Material((0.85, 0.85, 0.85), 0.5)),
        Part(latches, plain_material(rng)),
        Part(cable(curve(arc, 12), 0.008), plain_material(rng)),
    ]


def suitcase(rng: np.random.Generator) -> list[Piece]:
    """Small hard suitcase with ribs, latches and wheels."""
    width, depth, height = rng.uniform(0.32, 0.42), rng.uniform(0.18, 0.25), rng.uniform(0.45, 0.58)
    ribs = in_row(
        rounded_block(width * 0.05, 0.012, height * 0.85, 0.004, 8), int(rng.integers(3, 7)), (width * 0.13, 0, 0)
    )
    wheels = at_places(
        cylinder(0.025, 0.02, segments=20).rotate((0, 90, 0)),
        np.array([(x, 0, 0.02) for x in (-width * 0.4, width * 0.35)]),
    )
    arc = np.array([(-0.07, 0, height), (-0.065, 0, height + 0.04), (0.065, 0, height + 0.04), (0.07, 0, height)])
    shell = housing_material(rng)
    lock = rounded_block(0.03, 0.03, 0.06, 0.006, 8).translate((width / 2, 0, height * 0.6))
    return [
        Part(case(rng, width, depth, height), shell),
        Part(ribs.translate((0, -depth / 2, height / 2)), shell),
        Part(wheels, rubber(rng)),
        Part(cable(curve(arc, 12), 0.01), plain_material(rng)),
        Part(lock, metal(rng)),
    ]

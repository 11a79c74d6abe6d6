"""Fixtures of a wall: back at y = 0, the wall's face, centred in x, at their usual height above z = 0."""

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import (
    Material,
    Part,
    Picture,
    Piece,
    block,
    cable,
    curve,
    cylinder,
    moved,
    rod,
    shift,
    turn,
    turned,
)
from synthetic_samples.materials.materials import any_colour, metal, painted_metal, plain_material
from synthetic_samples.materials.room_materials import bench_material, fabric, wood
from synthetic_samples.materials.textures import linear
from synthetic_samples.surroundings.assembly import at_places, in_row
from synthetic_samples.surroundings.furniture import board


def radiator(rng: np.random.Generator) -> list[Piece]:
    """Panel or column radiator, low on the wall."""
    width, height = rng.uniform(0.5, 1.4), rng.uniform(0.35, 0.7)
    columns = int(width / rng.uniform(0.035, 0.07))
    fins = in_row(board(0.6 * width / columns, 0.08, height), columns, (width / columns, 0, 0))
    tubes = at_places(
        rod((-width / 2, 0, 0), (width / 2, 0, 0), 0.014, 10), np.array([(0, -0.04, 0.05), (0, -0.04, height - 0.05)])
    )
    valve = cylinder(0.022, 0.06, 0.017, 16).rotate((0, 90, 0)).translate((width / 2, -0.04, height - 0.05))
    paint = painted_metal(rng, linear(232, 230, 224) if rng.random() < 0.7 else None)
    return moved([Part(fins, paint), Part(tubes, paint), Part(valve, plain_material(rng))], shift(0, -0.03, 0.12))


def door(rng: np.random.Generator) -> list[Piece]:
    """Door leaf in its frame, with a lever handle."""
    width, height = rng.uniform(0.8, 1.1), rng.uniform(1.95, 2.1)
    leaf = board(width, 0.03, height)
    panels = in_row(block(width * 0.7, 0.012, height * 0.26), 3, (0, 0, height * 0.31)).translate(
        (0, -0.034, height * 0.5)
    )
    frame = board(width + 0.16, 0.02, height + 0.08) - board(width, 0.2, height)
    side = width * 0.42
    lever = rod((side, -0.07, 1.02), (side - 0.12, -0.07, 1.02), 0.01, 10) + rod(
        (side, 0, 1.02), (side, -0.075, 1.02), 0.01, 10
    )
    paint = bench_material(rng)
    pieces: list[Piece] = [
        Part(leaf, paint),
        Part(frame, paint if rng.random() < 0.5 else painted_metal(rng)),
        Part(lever, metal(rng)),
    ]
    return pieces + ([Part(panels, paint)] if rng.random() < 0.5 else [])


def window(rng: np.random.Generator) -> list[Piece]:
    """Frame, panes with a pale view, sill, often curtains; its sill about 0.9 m up."""
    width, height, sill = rng.uniform(0.7, 1.5), rng.uniform(0.8, 1.3), rng.uniform(0.75, 1.0)
    ramp = np.linspace(1.0, 0.2, 24, dtype=np.float32)[::-1, None, None] ** 0.7
    view = np.clip(ramp * np.array(any_colour(rng), np.float32) * 0.5 + 0.35 * ramp, 0, 0.9) * np.ones(
        (24, 24, 1), np.float32
    )
    pane = Picture(width, height, view, roughness=0.05).moved(shift(0, -0.012, sill + height / 2))
    bars = board(width + 0.1, 0.05, height + 0.1, z=sill - 0.05) - board(width, 0.2, height, y=0.1, z=sill)
    paint = plain_material(rng) if rng.random() < 0.3 else Material(linear(238, 237, 232), 0.3)
    pieces: list[Piece] = [pane, Part(bars, paint), Part(board(0.05, 0.04, height, z=sill), paint)]
    pieces.append(Part(board(width + 0.2, 0.16, 0.03, z=sill - 0.05), paint))
    if rng.random() < 0.7:
        cloth = fabric(rng)
        for side in (-1, 1):
            pieces.append(
                Part(_curtain(rng, height + 0.3).translate((side * (width / 2 + 0.1), -0.1, sill - 0.2)), cloth)
            )
    return pieces


def _curtain(rng: np.random.Generator, height: float) -> Manifold:
    """Wavy cloth hanging 0.3 m wide."""
    x = np.linspace(-0.15, 0.15, 40)
    y = 0.025 * np.sin(2 * np.pi * x / rng.uniform(0.05, 0.1))
    outline = np.vstack([np.c_[x, y - 0.004], np.c_[x, y + 0.004][::-1]])
    return Manifold.extrude(CrossSection([outline]), height)


def handrail(rng: np.random.Generator) -> list[Piece]:
    """Rail along a corridor wall, 0.9 m up."""
    length = 2.6
    bar = rod((-length / 2, -0.07, 0.9), (length / 2, -0.07, 0.9), rng.uniform(0.018, 0.026), 16)
    feet = in_row(rod((0, 0, 0.86), (0, -0.07, 0.9), 0.01, 8), 4, (0.75, 0, 0))
    return [Part(bar, wood(rng) if rng.random() < 0.5 else plain_material(rng)), Part(feet, metal(rng))]


def grab_bar(rng: np.random.Generator) -> list[Piece]:
    """Bent bar beside a bath or toilet."""
    line = np.array([(-0.3, 0, 0), (-0.3, -0.08, 0), (0, -0.09, 0), (0.3, -0.08, 0), (0.3, 0, 0)])
    bar = cable(curve(line, 20), 0.016, 12)
    return moved(
        [Part(bar, metal(rng))], shift(z=rng.uniform(0.7, 0.9)) @ turn((0, 1, 0), float(rng.choice([0, 45, 90])))
    )


def basin(rng: np.random.Generator) -> list[Piece]:
    """Wash basin with a tap and a mirror above."""
    white = Material(linear(244, 243, 240), 0.08)
    profile = [(0, 0), (0.14, 0), (0.26, 0.14), (0.24, 0.14), (0.12, 0.03), (0, 0.03)]
    tap = cable(curve(np.array([(0, -0.08, 0.94), (0, -0.08, 1.05), (0, -0.16, 1.08), (0, -0.2, 1.02)]), 14), 0.012, 10)
    mirror = board(0.55, 0.01, 0.7, z=1.2)
    return [
        Part(turned(profile).translate((0, -0.28, 0.8)), white), Part(board(0.3, 0.1, 0.12, z=0.82), white),
        Part(tap, metal(rng)), Part(mirror, Material((0.8, 0.8, 0.8), 0.05, metallic=1.0)),
    ]  # fmt: skip

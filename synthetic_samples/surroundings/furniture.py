"""Furniture of homes, wards and workshops: back at y = 0, centred in x, standing on z = 0."""

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import (
    Part,
    Piece,
    bevelled_prism,
    block,
    cylinder,
    moved,
    rod,
    rounded_outline,
    shift,
    turned,
)
from synthetic_samples.materials.materials import metal, painted_metal, plain_material, rubber
from synthetic_samples.materials.room_materials import bench_material, fabric, wood
from synthetic_samples.surroundings.assembly import at_places, in_row


def board(width: float, depth: float, height: float, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Manifold:
    """Cuboid centred in x, from y backwards-facing to y - depth, from z upward."""
    return block(width, depth, height).translate((x, y - depth / 2, z + height / 2))


def bed(rng: np.random.Generator) -> list[Piece]:
    """Ward or home bed seen from its side, 2 m along x, with a rail."""
    height, depth = rng.uniform(0.4, 0.6), rng.uniform(0.85, 1.0)
    frame = painted_metal(rng) if rng.random() < 0.5 else wood(rng)
    mattress = bevelled_prism(rounded_outline(1.98, depth - 0.04, 0.08), 0.14, 0.04).translate((0, -depth / 2, height))
    cover = bevelled_prism(rounded_outline(1.4, depth + 0.02, 0.05), 0.2, 0.05).translate((-0.25, -depth / 2, height))
    ends = at_places(board(0.04, depth, height + 0.35), np.array([(-1.02, 0, 0), (1.02, 0, 0)]))
    legs = at_places(
        cylinder(0.025, height - 0.1, segments=12),
        np.array([(x, y, 0) for x in (-0.9, 0.9) for y in (-0.1, 0.1 - depth)]),
    )
    pieces: list[Piece] = [
        Part(mattress, fabric(rng), crease_deg=60), Part(cover, fabric(rng), crease_deg=60), Part(ends, frame),
        Part(legs, metal(rng)), Part(board(2.0, depth, 0.06, z=height - 0.15), frame),
    ]  # fmt: skip
    if rng.random() < 0.7:
        bars = in_row(rod((0, 0, 0), (0, 0, 0.35), 0.009, 8), 7, (0.15, 0, 0))
        rails = at_places(rod((-0.5, 0, 0), (0.5, 0, 0), 0.013, 10), np.array([(0, 0, 0.35), (0, 0, 0)]))
        rail = metal(rng)
        pieces += moved([Part(bars, rail), Part(rails, rail)], shift(-0.2, -depth - 0.02, height))
    return pieces


def cabinet(rng: np.random.Generator) -> list[Piece]:
    """Bedside cabinet or chest of drawers."""
    width, depth, height = rng.uniform(0.4, 0.9), rng.uniform(0.35, 0.5), rng.uniform(0.5, 0.95)
    drawers = int(rng.integers(1, 5))
    step = (height - 0.06) / drawers
    body, front = bench_material(rng), bench_material(rng)
    fronts = in_row(block(width - 0.03, 0.02, step - 0.012), drawers, (0, 0, step))
    grips = in_row(rod((-0.05, 0, 0), (0.05, 0, 0), 0.007, 8), drawers, (0, 0, step))
    middle = (0, -depth, height / 2 + 0.01)
    return [
        Part(board(width, depth, height), body),
        Part(fronts.translate(middle), front if rng.random() < 0.5 else body),
        Part(grips.translate((0, -depth - 0.025, height / 2 + 0.01)), metal(rng)),
    ]


def wardrobe(rng: np.random.Generator) -> list[Piece]:
    """Tall cupboard with one or two doors."""
    width, depth, height = rng.uniform(0.6, 1.2), rng.uniform(0.4, 0.6), rng.uniform(1.6, 2.2)
    doors = in_row(block(width / 2 - 0.01, 0.02, height - 0.1), 2, (width / 2, 0, 0)).translate((0, -depth, height / 2))
    knobs = at_places(cylinder(0.014, 0.03, segments=14).rotate((90, 0, 0)), np.array([(-0.04, 0, 0), (0.04, 0, 0)]))
    return [
        Part(board(width, depth, height), bench_material(rng)),
        Part(doors, bench_material(rng)),
        Part(knobs.translate((0, -depth - 0.01, height * 0.5)), metal(rng)),
    ]


def chair(rng: np.random.Generator) -> list[Piece]:
    """Plain chair, its back to the wall."""
    width, depth, seat = rng.uniform(0.4, 0.55), rng.uniform(0.4, 0.5), rng.uniform(0.42, 0.48)
    corners = np.array([(x, y, 0) for x in (-width / 2 + 0.02, width / 2 - 0.02) for y in (-0.04, -depth + 0.02)])
    legs = at_places(cylinder(rng.uniform(0.01, 0.02), seat, segments=10), corners)
    frame, cloth = wood(rng) if rng.random() < 0.5 else metal(rng), fabric(rng)
    cushion = bevelled_prism(rounded_outline(width, depth, 0.04), 0.05, 0.015).translate((0, -depth / 2, seat))
    back = (
        bevelled_prism(rounded_outline(width, 0.4, 0.05), 0.04, 0.01)
        .rotate((84, 0, 0))
        .translate((0, -0.04, seat + 0.35))
    )
    posts = at_places(board(0.03, 0.03, seat + 0.5), np.array([(-width / 2 + 0.03, 0, 0), (width / 2 - 0.03, 0, 0)]))
    return [Part(legs, frame), Part(cushion, cloth), Part(back, cloth), Part(posts, frame)]


def wheeled_chair(rng: np.random.Generator) -> list[Piece]:
    """Chair on two large spoked wheels and two casters."""
    width, depth, seat = 0.46, 0.44, rng.uniform(0.46, 0.52)
    ring = turned([(0.27, 0), (0.3, -0.012), (0.3, 0.012)], 40).rotate((0, 90, 0))
    spokes = np.array([(0, 0.27 * np.cos(a), 0.27 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 9)[:-1]])
    spoke = [rod((0, 0, 0), tip, 0.003, 6) for tip in spokes]
    wheels = [(x, -0.12, 0.3) for x in (-width / 2 - 0.03, width / 2 + 0.03)]
    tube, cloth = metal(rng), plain_material(rng)
    frame = [
        rod((x, 0, 0.95), (x, -0.02, 0.35), 0.012, 10) for x in (-width / 2, width / 2)
    ] + [rod((x, 0, seat), (x, -depth, seat), 0.012, 10) for x in (-width / 2, width / 2)] + [
        rod((x, -depth, seat), (x * 0.8, -depth - 0.15, 0.12), 0.012, 10) for x in (-width / 2, width / 2)
    ]  # fmt: skip
    small = cylinder(0.07, 0.03, segments=20).rotate((0, 90, 0))
    pieces: list[Piece] = [Part(solid, tube) for solid in frame]
    pieces += [Part(at_places(ring, np.array(wheels)), rubber(rng))]
    pieces += [Part(at_places(solid, np.array(wheels)), tube) for solid in spoke]
    pieces.append(Part(at_places(small, np.array([(x, -0.42, 0.07) for x in (-0.2, 0.19)])), rubber(rng)))
    pieces.append(Part(board(width, depth, 0.03, z=seat), cloth))
    pieces.append(Part(board(width, 0.02, 0.42, z=seat + 0.05), cloth))
    return pieces


def shelf_unit(rng: np.random.Generator) -> list[Piece]:
    """Open shelves with uprights."""
    width, depth, height = rng.uniform(0.6, 1.2), rng.uniform(0.25, 0.45), rng.uniform(0.9, 2.0)
    boards = int(rng.integers(3, 6))
    step = (height - 0.04) / (boards - 1)
    sides = at_places(board(0.025, depth, height), np.array([(-width / 2, 0, 0), (width / 2, 0, 0)]))
    shelves = in_row(board(width, depth, 0.022), boards, (0, 0, step)).translate((0, 0, height / 2 - 0.011))
    material = bench_material(rng)
    pieces: list[Piece] = [Part(sides, material), Part(shelves, material)]
    for level in range(boards - 1):
        x = -width / 2 + 0.04
        while x < width / 2 - 0.12 and rng.random() < 0.75:
            wide, high = rng.uniform(0.04, 0.25), rng.uniform(0.3, 0.85) * (step - 0.03)
            wide = min(wide, width / 2 - 0.03 - x)
            pieces.append(
                Part(board(wide, depth * 0.8, high, x + wide / 2, -0.02, level * step + 0.022), plain_material(rng))
            )
            x += wide + rng.exponential(0.05)
    return pieces


def table(rng: np.random.Generator) -> list[Piece]:
    """Table with four legs."""
    width, depth, height = rng.uniform(0.7, 1.6), rng.uniform(0.5, 0.8), rng.uniform(0.68, 0.78)
    corners = np.array([(x, y, 0) for x in (-width / 2 + 0.05, width / 2 - 0.05) for y in (-0.05, -depth + 0.05)])
    legs = at_places(board(0.045, 0.045, height, y=0.0225), corners)
    return [Part(legs, wood(rng)), Part(board(width, depth, 0.03, z=height), bench_material(rng))]

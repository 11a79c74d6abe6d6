"""Tools and supplies that lie about in a workshop; each lies on z = 0, centred, in real size."""

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import Material, Part, Piece, cylinder, moved, rod, rounded_block, shift, turn, turned
from synthetic_samples.materials.materials import metal, plain_material, rubber
from synthetic_samples.materials.room_materials import wood
from synthetic_samples.surroundings.assembly import copies


def screwdriver(rng: np.random.Generator) -> list[Piece]:
    radius, grip, blade = rng.uniform(0.011, 0.018), rng.uniform(0.08, 0.12), rng.uniform(0.06, 0.18)
    star = CrossSection.circle(radius, 36) - CrossSection.compose(
        [CrossSection.circle(radius * 0.25, 10).translate((radius * 1.08, 0)).rotate(60 * k) for k in range(6)]
    )
    handle = Manifold.extrude(star, grip).rotate((0, 90, 0))
    shaft = rod((grip, 0, 0), (grip + blade, 0, 0), 0.0032, 12)
    return moved([Part(handle, plain_material(rng)), Part(shaft, metal(rng))], shift(-0.08, 0, radius))


def spanner(rng: np.random.Generator) -> list[Piece]:
    length, width = rng.uniform(0.12, 0.24), rng.uniform(0.012, 0.02)
    gap = CrossSection.square((width * 2, width * 1.1), True).translate((width, 0))
    jaw = CrossSection.circle(width * 1.2, 32) - gap
    eye = CrossSection.circle(width, 32) - CrossSection.circle(width * 0.55, 6)
    shank = CrossSection.square((length - width * 1.8, width * 0.8), True)
    outline = jaw.translate((length / 2, 0)) + eye.translate((-length / 2, 0)) + shank
    return [Part(Manifold.extrude(outline, 0.006), metal(rng))]


def hammer(rng: np.random.Generator) -> list[Piece]:
    length = rng.uniform(0.24, 0.33)
    head = rounded_block(0.028, 0.11, 0.028, 0.006, 8).translate((length / 2, 0, 0.016))
    shaft = rod((-length / 2, 0, 0.014), (length / 2, 0, 0.014), 0.0125, 14)
    return [Part(head, metal(rng)), Part(shaft, wood(rng) if rng.random() < 0.5 else rubber(rng))]


def tape_roll(rng: np.random.Generator) -> list[Piece]:
    radius, height = rng.uniform(0.035, 0.065), rng.uniform(0.015, 0.05)
    core = radius * rng.uniform(0.5, 0.8)
    ring = cylinder(radius, height) - cylinder(core, 1.0).translate((0, 0, -0.2))
    inner = cylinder(core, height * 0.98) - cylinder(core * 0.93, 1.0).translate((0, 0, -0.2))
    return [Part(ring, plain_material(rng)), Part(inner, Material((0.5, 0.4, 0.28), 0.9))]


def storage_bin(rng: np.random.Generator) -> list[Piece]:
    width, depth, height = rng.uniform(0.1, 0.3), rng.uniform(0.12, 0.35), rng.uniform(0.07, 0.16)
    outer = Manifold.hull_points(_frustum(width, depth, height, 0.9))
    inner = Manifold.hull_points(_frustum(width - 0.006, depth - 0.006, height, 0.9)).translate((0, 0, 0.004))
    return [Part(outer - inner, plain_material(rng, (0.3, 0.6)))]


def parts_tray(rng: np.random.Generator) -> list[Piece]:
    pieces = storage_bin(rng)
    screw = turned([(0, 0), (0.005, 0), (0.005, 0.003), (0.0025, 0.003), (0.0025, 0.02), (0, 0.02)], 8)
    places = [
        shift(*rng.normal(0, 0.05, 2), 0.005) @ turn((0, 0, 1), rng.uniform(0, 360)) @ turn((1, 0, 0), 90)
        for _ in range(int(rng.integers(5, 15)))
    ]
    return [*pieces, Part(copies(screw, places), metal(rng)).moved(shift(0.16))]


def _frustum(width: float, depth: float, height: float, foot: float) -> np.ndarray:
    """Corners of a box that narrows to its foot, (8, 3), standing on z = 0."""
    corners = np.array([[x, y] for x in (-0.5, 0.5) for y in (-0.5, 0.5)]) * (width, depth)
    return np.vstack([np.c_[corners * foot, np.zeros(4)], np.c_[corners, np.full(4, height)]])

"""Solids that many things are put together from: rows of copies, housings, fluted grips."""

from collections.abc import Iterable

import numpy as np
from manifold3d import CrossSection, Manifold, Mesh

from synthetic_samples.geometry import bevelled_prism, rounded_block, rounded_outline


def copies(solid: Manifold, transforms: Iterable[np.ndarray]) -> Manifold:
    """One solid repeated by 4x4 rigid or scaling transforms; copies may touch, no boolean is done."""
    mesh = solid.to_mesh()
    points = np.c_[mesh.vert_properties[:, :3], np.ones(len(mesh.vert_properties))]  # (N, 4)
    placed = np.einsum("kij,nj->kni", np.stack(list(transforms))[:, :3], points)  # (K, N, 3)
    offsets = np.arange(len(placed), dtype=np.uint32)[:, None, None] * len(points)
    triangles = (mesh.tri_verts[None] + offsets).reshape(-1, 3).astype(np.uint32)
    return Manifold(Mesh(np.ascontiguousarray(placed.reshape(-1, 3), np.float32), triangles))


def in_row(solid: Manifold, count: int, step: tuple[float, float, float]) -> Manifold:
    """`count` copies, one step apart, centred on the solid's own place."""
    offsets = (np.arange(count) - (count - 1) / 2)[:, None] * np.asarray(step, float)
    return at_places(solid, offsets)


def at_places(solid: Manifold, places: np.ndarray) -> Manifold:
    """Copies shifted to (N, 3) places."""
    transforms = np.tile(np.eye(4), (len(places), 1, 1))
    transforms[:, :3, 3] = places
    return copies(solid, transforms)


def case(rng: np.random.Generator, width: float, depth: float, height: float) -> Manifold:
    """A housing of that size standing on z = 0: sharp, bevelled, rounded all over, or tapered to its top."""
    shape = int(rng.integers(4))
    least = min(width, depth, height)
    if shape == 0:
        body = bevelled_prism(rounded_outline(width, depth, least * rng.uniform(0.02, 0.4)), height, least * 0.05)
    elif shape == 1:
        face = bevelled_prism(rounded_outline(width, height, least * rng.uniform(0.05, 0.49)), depth, least * 0.08)
        body = face.rotate((90, 0, 0))
    elif shape == 2:
        body = rounded_block(width, depth, height, least * rng.uniform(0.05, 0.35), 12)
    else:
        outline = rounded_outline(width, depth, least * rng.uniform(0.05, 0.3))
        narrow = rng.uniform(0.75, 0.98)
        body = Manifold.extrude(outline, height, scale_top=(narrow, narrow)).translate((0, 0, -height / 2))
    return body.translate((0, 0, height / 2))


def fluted(radius: float, height: float, flutes: int, depth: float) -> Manifold:
    """Round grip with hollow flutes along z, standing on z = 0; `depth` is a share of the radius."""
    angles = np.linspace(0, 2 * np.pi, flutes * 8, endpoint=False)
    reach = radius * (1 - depth * (0.5 + 0.5 * np.cos(flutes * angles)) ** 2)
    return Manifold.extrude(CrossSection([np.c_[reach * np.cos(angles), reach * np.sin(angles)]]), height)

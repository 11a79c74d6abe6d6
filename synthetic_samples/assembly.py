"""Many copies of one solid at the price of one: fins, slats, leaves, keys."""

from collections.abc import Iterable

import numpy as np
from manifold3d import Manifold, Mesh


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

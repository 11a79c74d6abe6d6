"""Solids, surfaces and parts: what a scene is built from, before any renderer sees it.

Lengths are metres, angles degrees, colours linear RGB in 0..1. Local frames: x to the right, y away from the
viewer (a front face looks towards -y), z up.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold, Mesh

Vector = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Material:
    """How a surface answers light; an array instead of a number is a texture that repeats every `tile_m` metres.

    `base_color`: RGB or (H, W, 3) float32; `roughness`: number or (H, W) float32; `emission`: RGB radiance or None.
    """

    base_color: Vector | np.ndarray
    roughness: float | np.ndarray = 0.5
    metallic: float = 0.0
    specular: float = 0.5
    clearcoat: float = 0.0
    emission: Vector | None = None
    tile_m: float = 0.2

    @property
    def textured(self) -> bool:
        return isinstance(self.base_color, np.ndarray) or isinstance(self.roughness, np.ndarray)


@dataclass(frozen=True, eq=False)
class Part:
    """One solid with one material; `label` says which mask its pixels count to (`kind/piece`, "" for none).

    With `split_faces`, the label of each triangle gets the side it looks to in the part's own frame
    (`/front`, `/back`, `/left`, `/right`, `/top`, `/bottom`).
    """

    solid: Manifold
    material: Material
    label: str = ""
    split_faces: bool = False
    crease_deg: float = 35.0
    frame: np.ndarray = field(default_factory=lambda: np.eye(4))

    def moved(self, transform: np.ndarray) -> "Part":
        """The part carried along by a 4x4 rigid transform (its own frame turns with it)."""
        return replace(self, solid=self.solid.transform(transform[:3]), frame=transform @ self.frame)


@dataclass(frozen=True, eq=False)
class Picture:
    """A flat rectangle that carries its own image: a sticker, a display, a poster.

    `pixels`: (H, W, 3) linear RGB float32. `frame` puts its centre at the origin, width along x, height along z,
    looking towards -y.
    """

    width_m: float
    height_m: float
    pixels: np.ndarray
    label: str = ""
    roughness: float = 0.4
    frame: np.ndarray = field(default_factory=lambda: np.eye(4))

    def moved(self, transform: np.ndarray) -> "Picture":
        return replace(self, frame=transform @ self.frame)


Piece = Part | Picture


def moved(pieces: Iterable[Piece], transform: np.ndarray) -> list[Piece]:
    """All pieces carried along by one rigid transform."""
    return [piece.moved(transform) for piece in pieces]


def shift(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, 3] = (x, y, z)
    return matrix


def turn(axis: Sequence[float], angle_deg: float) -> np.ndarray:
    """Rotation about an axis through the origin, right-handed."""
    unit = np.asarray(axis, float) / np.linalg.norm(axis)
    angle = np.radians(angle_deg)
    cross = np.array([[0, -unit[2], unit[1]], [unit[2], 0, -unit[0]], [-unit[1], unit[0], 0]])
    matrix = np.eye(4)
    matrix[:3, :3] = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    return matrix


def point_z_to(direction: Sequence[float]) -> np.ndarray:
    """Rotation that carries +z to `direction`."""
    goal = np.asarray(direction, float) / np.linalg.norm(direction)
    axis = np.cross([0.0, 0.0, 1.0], goal)
    if np.linalg.norm(axis) < 1e-9:
        return np.eye(4) if goal[2] > 0 else turn((1, 0, 0), 180.0)
    return turn(axis, np.degrees(np.arccos(np.clip(goal[2], -1, 1))))


# Solids -----------------------------------------------------------------------------------------------------------


def block(width: float, depth: float, height: float) -> Manifold:
    """Sharp-edged cuboid, centred on the origin."""
    return Manifold.cube((width, depth, height), True)


def rounded_block(width: float, depth: float, height: float, radius: float, segments: int = 20) -> Manifold:
    """Cuboid with all edges rounded, centred on the origin."""
    radius = min(radius, 0.499 * min(width, depth, height))
    corners = [
        Manifold.sphere(radius, segments).translate((x, y, z))
        for x in (-width / 2 + radius, width / 2 - radius)
        for y in (-depth / 2 + radius, depth / 2 - radius)
        for z in (-height / 2 + radius, height / 2 - radius)
    ]
    return Manifold.batch_hull(corners)


def rounded_outline(width: float, height: float, radius: float, segments: int = 32) -> CrossSection:
    """Rectangle with round corners, centred on the origin."""
    radius = min(radius, 0.499 * min(width, height))
    core = CrossSection.square((width - 2 * radius, height - 2 * radius), True)
    return core.offset(radius, JoinType.Round, 2.0, segments) if radius > 0 else core


def bevelled_prism(outline: CrossSection, height: float, bevel: float) -> Manifold:
    """Outline pulled up along z, its two rims bevelled; centred on z = 0. The outline should be convex."""
    bevel = min(bevel, 0.45 * height)
    if bevel <= 0:
        return Manifold.extrude(outline, height).translate((0, 0, -height / 2))
    inner = outline.offset(-bevel, JoinType.Round, 2.0, 32)
    middle = Manifold.extrude(outline, height - 2 * bevel).translate((0, 0, -height / 2 + bevel))
    full = Manifold.extrude(inner, height).translate((0, 0, -height / 2))
    return Manifold.batch_hull([middle, full])


def cylinder(radius: float, height: float, top_radius: float | None = None, segments: int = 40) -> Manifold:
    """Cylinder or cone frustum along z, standing on z = 0."""
    return Manifold.cylinder(height, radius, radius if top_radius is None else top_radius, segments)


def turned(profile: Sequence[tuple[float, float]], segments: int = 48) -> Manifold:
    """Lathe-turned solid about z from (radius, z) points of a closed outline."""
    return Manifold.revolve(CrossSection([[(r, z) for r, z in profile]]), segments)


def rod(start: Sequence[float], end: Sequence[float], radius: float, segments: int = 24) -> Manifold:
    """Round rod between two points."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    length = float(np.linalg.norm(end - start))
    transform = shift(*start) @ point_z_to(end - start)
    return cylinder(radius, length, segments=segments).transform(transform[:3])


def cable(points: np.ndarray, radius: float, segments: int = 8) -> Manifold:
    """Cable along a polyline, swept without twist: (N, 3) points in metres."""
    tangents = np.gradient(points, axis=0)
    tangents /= np.maximum(np.linalg.norm(tangents, axis=1, keepdims=True), 1e-12)
    # The direction in which the line runs least never comes near a tangent, so the frame does not flip.
    reference = np.linalg.eigh(tangents.T @ tangents)[1][:, 0]
    side = np.cross(tangents, reference)
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-9)
    other = np.cross(tangents, side)
    angles = np.linspace(0, 2 * np.pi, segments, endpoint=False)
    cosines, sines = np.cos(angles)[None, :, None], np.sin(angles)[None, :, None]
    rings = points[:, None] + radius * (cosines * side[:, None] + sines * other[:, None])  # (N, segments, 3)
    count = len(points)
    vertices = np.vstack([rings.reshape(-1, 3), points[:1], points[-1:]]).astype(np.float32)
    faces = []
    for k in range(segments):
        after = (k + 1) % segments
        start, end = np.arange(count - 1) * segments, np.arange(1, count) * segments
        faces += [np.stack([start + k, start + after, end + after], 1), np.stack([start + k, end + after, end + k], 1)]
        last = (count - 1) * segments
        faces.append(np.array([[count * segments, after, k], [count * segments + 1, last + k, last + after]]))
    return Manifold(Mesh(vertices, np.vstack(faces).astype(np.uint32)))


def curve(control: np.ndarray, count: int = 24) -> np.ndarray:
    """Smooth Catmull-Rom line through (K, 3) control points; returns (count, 3)."""
    padded = np.vstack([2 * control[0] - control[1], control, 2 * control[-1] - control[-2]])
    steps = np.linspace(0, len(control) - 1 - 1e-9, count)
    index = steps.astype(int)
    t = (steps - index)[:, None]
    p0, p1, p2, p3 = (padded[index + k] for k in range(4))
    return 0.5 * (2 * p1 + (p2 - p0) * t + (2 * p0 - 5 * p1 + 4 * p2 - p3) * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3)


# Surfaces for the renderer ----------------------------------------------------------------------------------------

_SIDES = ("right", "left", "back", "front", "top", "bottom")  # +x, -x, +y, -y, +z, -z


@dataclass(frozen=True, eq=False)
class Surface:
    """Triangles of one part, unshared: `vertices`, `normals` (3M, 3), `uv` (3M, 2), `sides` (M,) index into SIDES."""

    vertices: np.ndarray
    normals: np.ndarray
    uv: np.ndarray
    sides: np.ndarray


def surface_of(part: Part) -> Surface:
    """Triangulate a part with smooth normals up to its crease angle and box-projected texture coordinates."""
    mesh = part.solid.calculate_normals(0, part.crease_deg).to_mesh()
    triangles = mesh.tri_verts.reshape(-1)
    vertices = mesh.vert_properties[triangles, :3].astype(np.float32)  # (3M, 3)
    normals = mesh.vert_properties[triangles, 3:6].astype(np.float32)
    to_local = np.linalg.inv(part.frame)
    local = vertices @ to_local[:3, :3].T + to_local[:3, 3]
    corners = local.reshape(-1, 3, 3)
    facing = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])  # (M, 3)
    axis = np.abs(facing).argmax(axis=1)
    positive = np.take_along_axis(facing, axis[:, None], 1)[:, 0] > 0
    sides = 2 * axis + ~positive
    first = np.where(axis == 0, 1, 0)
    second = np.where(axis == 2, 1, 2)
    u = np.take_along_axis(corners, np.repeat(first[:, None, None], 3, 1), 2)[..., 0]
    v = np.take_along_axis(corners, np.repeat(second[:, None, None], 3, 1), 2)[..., 0]
    uv = np.stack([u, v], -1).reshape(-1, 2).astype(np.float32) / part.material.tile_m
    return Surface(vertices, normals, uv, sides.astype(np.int32))


def side_name(side: int) -> str:
    """Name of a side index of `Surface.sides`."""
    return _SIDES[side]

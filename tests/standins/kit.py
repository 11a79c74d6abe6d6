"""The modelling kit: solid pieces in millimetres as plain arrays, so that every shape exists without Blender.

A piece carries its finish, what it is evidence of, and the bevel and cuts that `cycles` turns into Blender modifiers.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class Finish:
    """How a surface looks: linear RGB colour and the knobs of one procedural material."""

    colour: Rgb
    roughness: float = 0.5
    metallic: float = 0.0
    grain: float = 0.0
    grain_mm: float = 1.0
    wear: float = 0.0
    dust: float = 0.0
    coat: float = 0.0
    glow: float = 0.0
    pattern: str = ""
    second: Rgb = (0.0, 0.0, 0.0)
    pattern_mm: float = 100.0
    upright: bool = False
    image: np.ndarray | None = field(default=None, compare=False, hash=False)


@dataclass(frozen=True)
class Piece:
    """One mesh: vertices (N, 3) in mm, polygon faces, and what its pixels are evidence of."""

    vertices: np.ndarray
    faces: tuple[tuple[int, ...], ...]
    finish: Finish
    evidence: str = ""
    bevel_mm: float = 0.0
    bevel_segments: int = 3
    cuts: tuple[Piece, ...] = ()
    uv: np.ndarray | None = None
    subject: int = -1

    def moved(self, matrix: np.ndarray) -> Piece:
        """The same piece under a 4x4 matrix, its cuts with it."""
        vertices = self.vertices @ matrix[:3, :3].T + matrix[:3, 3]
        return replace(self, vertices=vertices, cuts=tuple(cut.moved(matrix) for cut in self.cuts))


def placed(pieces: list[Piece], matrix: np.ndarray) -> list[Piece]:
    """All pieces under one 4x4 matrix."""
    return [piece.moved(matrix) for piece in pieces]


def marked(pieces: list[Piece], subject: int) -> list[Piece]:
    """All pieces as parts of one numbered subject."""
    return [replace(piece, subject=subject) for piece in pieces]


def extent(pieces: list[Piece]) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner (3,) in mm over all vertices."""
    points = np.concatenate([piece.vertices for piece in pieces])
    return points.min(axis=0), points.max(axis=0)


def shift(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, 3] = x, y, z
    return matrix


def turn(axis: str, degrees: float) -> np.ndarray:
    """Rotation about a coordinate axis, right-handed."""
    cosine, sine = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    first, second = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    matrix = np.eye(4)
    matrix[first, first] = matrix[second, second] = cosine
    matrix[first, second], matrix[second, first] = -sine, sine
    return matrix


def frame(origin: np.ndarray, right: np.ndarray, up: np.ndarray) -> np.ndarray:
    """Matrix from local (right, up, outward) to the space that the three vectors (3,) are given in."""
    right = np.asarray(right, float) / np.linalg.norm(right)
    up = np.asarray(up, float) - np.dot(up, right) * right
    up /= np.linalg.norm(up)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = right, up, np.cross(right, up), origin
    return matrix


def aligned(start: np.ndarray, end: np.ndarray, spin_deg: float = 0.0) -> np.ndarray:
    """Matrix that puts the local z axis on the line from start to end, its origin at start."""
    direction = np.asarray(end, float) - np.asarray(start, float)
    direction /= np.linalg.norm(direction)
    helper = np.array([0.0, 1.0, 0.0]) if abs(direction[1]) < 0.9 else np.array([1.0, 0.0, 0.0])
    right = np.cross(helper, direction)
    return frame(np.asarray(start, float), right, np.cross(direction, right)) @ turn("z", spin_deg)


# Outlines are (N, 2), counter-clockwise, in mm.


def rounded_rect(width: float, height: float, radius: float, steps: int = 6) -> np.ndarray:
    radius = min(radius, width / 2 - 0.1, height / 2 - 0.1)
    points = []
    for quarter, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        angles = np.radians(90 * quarter) + np.linspace(0, np.pi / 2, steps)
        centre = np.array([sx * (width / 2 - radius), sy * (height / 2 - radius)])
        points.append(centre + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1))
    return np.concatenate(points)


def chamfered_rect(width: float, height: float, cut_x: float, cut_y: float) -> np.ndarray:
    w, h = width / 2, height / 2
    return np.array(
        [
            (w, -h + cut_y),
            (w, h - cut_y),
            (w - cut_x, h),
            (-w + cut_x, h),
            (-w, h - cut_y),
            (-w, -h + cut_y),
            (-w + cut_x, -h),
            (w - cut_x, -h),
        ]
    )


def superellipse(width: float, height: float, power: float, steps: int = 64) -> np.ndarray:
    angles = np.linspace(0, 2 * np.pi, steps, endpoint=False)
    cosine, sine = np.cos(angles), np.sin(angles)
    return np.stack(
        [
            width / 2 * np.sign(cosine) * np.abs(cosine) ** (2 / power),
            height / 2 * np.sign(sine) * np.abs(sine) ** (2 / power),
        ],
        axis=1,
    )


def circle(radius: float, steps: int = 40) -> np.ndarray:
    angles = np.linspace(0, 2 * np.pi, steps, endpoint=False)
    return radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)


def fluted(radius: float, depth: float, lobes: int, sharp: bool) -> np.ndarray:
    """A grip outline: `sharp` gives scooped grooves between flat lands, else even waves."""
    angles = np.linspace(0, 2 * np.pi, lobes * 10, endpoint=False)
    wave = np.cos(lobes * angles)
    dip = np.clip(-wave, 0, 1) ** 0.7 if sharp else (1 - wave) / 2
    return ((radius - depth * dip)[:, None]) * np.stack([np.cos(angles), np.sin(angles)], axis=1)


# Solids


def loft(rings: list[np.ndarray], finish: Finish, **more) -> Piece:
    """Skin over rings (N, 3) of equal length, ordered along the loft, with closed ends."""
    count = len(rings[0])
    faces: list[tuple[int, ...]] = [tuple(range(count - 1, -1, -1))]
    for level in range(len(rings) - 1):
        low, high = level * count, (level + 1) * count
        faces += [(low + i, low + (i + 1) % count, high + (i + 1) % count, high + i) for i in range(count)]
    faces.append(tuple(range((len(rings) - 1) * count, len(rings) * count)))
    return Piece(np.concatenate(rings), tuple(faces), finish, **more)


def prism(outline: np.ndarray, low: float, high: float, finish: Finish, **more) -> Piece:
    """The outline (N, 2) extruded along z from low to high."""
    return loft([level(outline, low), level(outline, high)], finish, **more)


def level(outline: np.ndarray, z: float, scale: float = 1.0) -> np.ndarray:
    return np.column_stack([outline * scale, np.full(len(outline), z)])


def block(width: float, depth: float, height: float, finish: Finish, **more) -> Piece:
    """A cuboid centred in x and y, standing on z = 0."""
    w, d = width / 2, depth / 2
    return prism(np.array([(w, -d), (w, d), (-w, d), (-w, -d)]), 0.0, height, finish, **more)


def lathe(profile: list[tuple[float, float]], finish: Finish, steps: int = 40, **more) -> Piece:
    """A solid of revolution about z from (radius, z) points, ordered from the lower end upward."""
    return loft([level(circle(max(r, 0.01), steps), z) for r, z in profile], finish, **more)


def rod(radius: float, low: float, high: float, finish: Finish, **more) -> Piece:
    return prism(circle(radius, 36), low, high, finish, **more)


def sweep(path: np.ndarray, radius: float, finish: Finish, steps: int = 12, **more) -> Piece:
    """A round tube along a path (N, 3)."""
    return sweep_outline(path, circle(radius, steps), finish, **more)


def sweep_outline(path: np.ndarray, outline: np.ndarray, finish: Finish, **more) -> Piece:
    """An outline (M, 2) carried along a path (N, 3) with as little twist as can be."""
    tangents = np.gradient(path, axis=0)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    helper = np.array([0.0, 0.0, 1.0]) if abs(tangents[0, 2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    right = np.cross(helper, tangents[0])
    rings = []
    for point, tangent in zip(path, tangents, strict=True):
        right = right - np.dot(right, tangent) * tangent
        right /= np.linalg.norm(right)
        up = np.cross(tangent, right)
        rings.append(point + outline[:, :1] * right + outline[:, 1:] * up)
    return loft(rings, finish, **more)


def bezier(points: list, steps: int = 40) -> np.ndarray:
    """A smooth path (steps, 3) under Bezier control points of any number."""
    control = np.asarray(points, float)
    t = np.linspace(0, 1, steps)[:, None]
    layers = [np.repeat(point[None], steps, axis=0) for point in control]
    while len(layers) > 1:
        layers = [(1 - t) * a + t * b for a, b in zip(layers[:-1], layers[1:], strict=True)]
    return layers[0]


def coil(path: np.ndarray, radius: float, turns: int) -> np.ndarray:
    """A helix wound round a path (N, 3), straight at both ends."""
    count = turns * 12
    at = np.linspace(0, len(path) - 1, count)
    centre = np.stack([np.interp(at, np.arange(len(path)), path[:, axis]) for axis in range(3)], axis=1)
    tangents = np.gradient(centre, axis=0)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    helper = np.array([0.31, 0.87, 0.38])
    right = np.cross(helper, tangents)
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    up = np.cross(tangents, right)
    angle = np.linspace(0, 2 * np.pi * turns, count)[:, None]
    size = radius * np.clip(np.minimum(np.arange(count), np.arange(count)[::-1]) / 12, 0, 1)[:, None]
    return centre + size * (np.cos(angle) * right + np.sin(angle) * up)


def decal(width: float, height: float, image: np.ndarray, roughness: float = 0.4, lift: float = 0.25, **more) -> Piece:
    """A thin printed card in the local xy plane, its picture (H, W, 3) on the upper side."""
    finish = more.pop("finish", None) or Finish((1, 1, 1), roughness, image=image)
    piece = block(width, height, lift, finish, **more)
    uv = np.stack([piece.vertices[:, 0] / width + 0.5, piece.vertices[:, 1] / height + 0.5], axis=1)
    return replace(piece, uv=uv)

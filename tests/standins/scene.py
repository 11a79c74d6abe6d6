"""What one picture is made of: pieces, subjects, lights, a world and a camera. Positions in mm, z up."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .kit import Piece, extent, frame

SENSOR_LONG_MM = 36.0
"""Focal lengths are given for a 36 mm wide frame; a phone's short side is three quarters of its long side."""


@dataclass(frozen=True)
class Light:
    """A lamp that shines along its local -z: `area` (a square of size_mm), `spot` or `sun`."""

    kind: str
    matrix: np.ndarray
    power_w: float
    colour: tuple[float, float, float]
    size_mm: float


@dataclass(frozen=True)
class World:
    """The surroundings at infinity: `map` (a named environment map), `sky` or `plain`."""

    kind: str
    strength: float
    name: str = ""
    turn_deg: float = 0.0
    sun_elevation_deg: float = 40.0
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)


@dataclass(frozen=True)
class Subject:
    """One lift part in the scene, `matrix` from its own frame to the scene."""

    kind: str
    matrix: np.ndarray
    values: dict[str, str]


@dataclass(frozen=True)
class Camera:
    """A pinhole camera looking along its local -z with x right and y up."""

    matrix: np.ndarray
    focal_mm: float
    width: int
    height: int
    roll_deg: float
    distance_mm: float

    def project(self, points: np.ndarray) -> np.ndarray:
        """Points (N, 3) in mm to (N, 3): x and y in pixels from the upper left corner, depth in mm (positive ahead)."""
        local = (points - self.matrix[:3, 3]) @ self.matrix[:3, :3]
        depth = -local[:, 2]
        scale = self.focal_mm / SENSOR_LONG_MM * max(self.width, self.height) / np.maximum(depth, 1e-6)
        return np.stack([self.width / 2 + local[:, 0] * scale, self.height / 2 - local[:, 1] * scale, depth], axis=1)


@dataclass
class Scene:
    """All that stands in the picture; subject numbers in the pieces index `subjects`, then `look_alikes`."""

    place: str
    pieces: list[Piece]
    subjects: list[Subject] = field(default_factory=list)
    look_alikes: list[str] = field(default_factory=list)
    lights: list[Light] = field(default_factory=list)
    world: World = World("plain", 0.3)
    back_y: float = 1e6
    floor_z: float = -1e6
    lighting: str = ""
    focus: int = -1
    clear_of: tuple[float, float] = (0.0, 0.0)

    def corners(self, subject: int) -> np.ndarray:
        """Vertices (N, 3) of one subject's pieces."""
        return np.concatenate([piece.vertices for piece in self.pieces if piece.subject == subject])


def look(rng: np.random.Generator, scene: Scene, framing: str, fair: bool) -> Camera:
    """A camera on the scene's focus, within the room, for a framing; fair ones are nearly level and centred."""
    portrait = bool(rng.random() < 0.5)
    width, height = (384, 512) if portrait else (512, 384)
    points = (
        scene.corners(scene.focus)
        if scene.focus >= 0
        else np.concatenate([piece.vertices for piece in scene.pieces if piece.subject != -1])
    )
    low, high = points.min(axis=0), points.max(axis=0)
    centre, radius = (low + high) / 2, float(np.linalg.norm(high - low)) / 2
    for _ in range(300):
        focal = float(rng.uniform(24, 40) if framing != "close" else rng.uniform(25, 62))
        half_short = 0.75 * SENSOR_LONG_MM / 2 / focal
        share = {
            "close": rng.uniform(0.72, 1.05) if fair else rng.uniform(0.65, 1.35),
            "mid": rng.uniform(0.2, 0.42),
            "wide": rng.uniform(0.1, 0.19),
            "none": rng.uniform(0.4, 0.9),
        }[framing]
        distance = max(radius / share / half_short, 180 + radius * 0.8)
        azimuth = np.radians(rng.uniform(-68, 68) if fair else rng.uniform(-95, 95))
        elevation = np.radians(rng.uniform(4, 50) if fair else rng.uniform(-12, 72))
        if scene.place == "lift" and scene.focus >= 0 and scene.subjects[scene.focus].kind == "actuator_head":
            azimuth = np.radians(rng.uniform(40, 320))
        if framing == "wide":
            elevation = np.radians(rng.uniform(-2, 28))
        direction = np.array(
            [np.sin(azimuth) * np.cos(elevation), -np.cos(azimuth) * np.cos(elevation), np.sin(elevation)]
        )
        eye = centre + distance * direction
        if (
            eye[1] > scene.back_y - 60
            or eye[2] < scene.floor_z + 60
            or eye[2] > scene.floor_z + 2450
            and scene.lighting in ("room", "night", "flash")
        ):
            continue
        break
    wander = 0.12 if fair else 0.5
    aim = centre + rng.uniform(-wander, wander, 3) * half_short * distance * (1 - 0.75 * min(1, share) if fair else 0.6)
    roll = float(rng.normal(0, 4) if fair or rng.random() < 0.6 else rng.uniform(-45, 45))
    return Camera(_facing(eye, aim, roll), focal, width, height, roll, float(distance))


def _facing(eye: np.ndarray, aim: np.ndarray, roll_deg: float) -> np.ndarray:
    backward = (eye - aim) / np.linalg.norm(eye - aim)
    right = np.cross([0, 0, 1.0], backward)
    right /= np.linalg.norm(right)
    up = np.cross(backward, right)
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    return frame(eye, c * right + s * up, c * up - s * right)


def resting(pieces: list[Piece]) -> float:
    """How far the pieces must be raised to stand on z = 0, mm."""
    return -float(extent(pieces)[0][2])

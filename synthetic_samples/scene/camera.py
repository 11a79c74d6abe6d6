"""Where the phone is held: distance, direction, roll, and what hangs in front of the subject."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import Part, Piece, block, cylinder, point_z_to, rounded_block, shift, turn
from synthetic_samples.materials.materials import housing_material
from synthetic_samples.materials.room_materials import fabric
from synthetic_samples.scene.layout import Composition

FULL_FRAME_HALF_WIDTH_MM = 18.0
_LONGEST_TILT_DEG = 45.0

SIDES_APART_DEG = 50.0
"""Least difference in azimuth of two views of one lift."""

MOST_VIEWS = 3
"""So many views find room that far apart on the front half of any composition."""

_WIDEST_DEG = 88
_FRONT_DEG = tuple(range(-_WIDEST_DEG, _WIDEST_DEG + 1))


@dataclass(frozen=True)
class Camera:
    """A pinhole at `position` (metres) looking at `target`; `view_deg` spans the longer side of the picture.

    `azimuth_deg` is the direction that the subject is seen from, round its own upright axis: 0 is its front.
    """

    position: tuple[float, float, float]
    target: tuple[float, float, float]
    up: tuple[float, float, float]
    view_deg: float
    focal_mm: float
    roll_deg: float
    distance_m: float
    azimuth_deg: float

    @property
    def axes(self) -> np.ndarray:
        """Unit vectors to the picture's right, its top, and forward: the rows of a (3, 3)."""
        position, target, up = (np.asarray(vector, float) for vector in (self.position, self.target, self.up))
        forward = (target - position) / np.linalg.norm(target - position)
        right = np.cross(forward, up)
        right /= np.linalg.norm(right)
        return np.array([right, np.cross(right, forward), forward])


def draw_camera(
    rng: np.random.Generator,
    composition: Composition,
    framing: str,
    aspect: float,
    conditions: tuple[str, ...],
    sides: Sequence[float] = (),
) -> tuple[Camera, list[Piece]]:
    """A camera that takes the composition's focus, and the pieces of the scene.

    Surroundings that no camera could look past are left out; with `covered`, something hides a part of the focus.

    `aspect` is width over height, `sides` the azimuths of earlier views, which this one is to lie apart from. Focal
    lengths are 24 to 80 mm in 35 mm equivalents, mostly short as on phones.
    """
    focal = float(rng.choice([24, 26, 28, 35, 50, 70, 77])) if rng.random() < 0.6 else float(rng.uniform(24, 80))
    half_view = np.arctan(FULL_FRAME_HALF_WIDTH_MM / focal)
    distance = _distance_m(rng, composition, framing, np.arctan(np.tan(half_view) * min(aspect, 1 / aspect)))
    focus = np.asarray(composition.focus)
    target = focus + rng.normal(0, 1, 3) * composition.extent_m * (0.08 if framing == "close" else 0.25)
    position, before = free_position(rng, composition, distance, sides)
    roll = float(np.clip(rng.normal(0, 5), -18, 18))
    if "tilted" in conditions:
        roll = float(rng.uniform(20, _LONGEST_TILT_DEG) * rng.choice([-1, 1]))
    forward = (target - position) / np.linalg.norm(target - position)
    up = turn(forward, roll)[:3, :3] @ upright(forward, composition.up)
    camera = Camera(
        _triple(position), _triple(target), _triple(up), float(np.degrees(2 * half_view)), focal, roll, float(distance),
        azimuth_of(position, composition),
    )  # fmt: skip
    pieces = _without(before, composition.pieces)
    return camera, pieces + (_cover(rng, composition, position) if "covered" in conditions else [])


def _distance_m(rng: np.random.Generator, composition: Composition, framing: str, half_short: float) -> float:
    """From how far the focus fills its share of a picture whose shorter side spans twice `half_short` (radians)."""
    fill = {  # every framing's is drawn, so that the draws after it do not hang on the framing
        "close": rng.uniform(0.5, 1.0),
        "mid": rng.uniform(0.18, 0.42),
        "wide": rng.uniform(0.6, 1.1),
        "none": rng.uniform(0.45, 1.1),
    }[framing]
    return max(composition.extent_m / (2 * np.tan(half_short) * fill), 0.12) + composition.extent_m * 0.15


def free_position(
    rng: np.random.Generator, composition: Composition, distance: float, sides: Sequence[float]
) -> tuple[np.ndarray, list[Manifold]]:
    """A place for the phone, and the solids of the surroundings that stand between it and the focus (mostly none)."""
    focus = np.asarray(composition.focus)
    for _ in range(12):
        position = focus + _direction(rng, composition, sides) * distance
        position[2] = max(position[2], 0.06)
        end = focus + (position - focus) * 0.12
        before = [solid for solid in composition.obstacles if solid.ray_cast(tuple(position), tuple(end))]
        if not before and _gap_deg(azimuth_of(position, composition), sides) >= SIDES_APART_DEG:
            break
    return position, before


def _triple(vector: np.ndarray) -> tuple[float, float, float]:
    return (float(vector[0]), float(vector[1]), float(vector[2]))


def _direction(rng: np.random.Generator, composition: Composition, sides: Sequence[float]) -> np.ndarray:
    """Unit vector from the focus to the camera, mostly from the front and a little above."""
    if sides:
        azimuth = float(rng.choice(_other_sides(sides)))
    elif composition.any_side and rng.random() < 0.5:
        azimuth = rng.uniform(-180, 180)
    else:
        azimuth = float(np.clip(rng.normal(0, composition.azimuth_deg), -_WIDEST_DEG, _WIDEST_DEG))
    low, high = composition.elevation_deg
    elevation = float(np.clip(rng.normal((low + high) / 2, (high - low) / 3.2), low, high))
    local = turn((0, 0, 1), azimuth)[:3, :3] @ turn((1, 0, 0), -elevation)[:3, :3] @ np.array([0.0, -1.0, 0.0])
    return composition.frame[:3, :3] @ local


def _other_sides(sides: Sequence[float]) -> list[int]:
    """Azimuths of the front half that lie apart from all `sides`, and leave room for as many views as there may be.

    Where obstacles pushed earlier views together and no room is left, the one that lies furthest from them.
    """
    free = [azimuth for azimuth in _FRONT_DEG if _gap_deg(azimuth, sides) >= SIDES_APART_DEG]
    if len(sides) + 1 < MOST_VIEWS:
        free = [a for a in free if any(_gap_deg(other, [*sides, a]) >= SIDES_APART_DEG for other in free)]
    return free or [max(_FRONT_DEG, key=lambda azimuth: _gap_deg(azimuth, sides))]


def _gap_deg(azimuth: float, sides: Sequence[float]) -> float:
    return min((abs((azimuth - side + 180) % 360 - 180) for side in sides), default=360.0)


def azimuth_of(position: np.ndarray, composition: Composition) -> float:
    across, along, _ = composition.frame[:3, :3].T @ (position - np.asarray(composition.focus))
    return float(np.degrees(np.arctan2(across, -along)))


def upright(forward: np.ndarray, up: np.ndarray) -> np.ndarray:
    flat = up - forward * (up @ forward)
    if np.linalg.norm(flat) < 0.05:
        flat = np.cross(forward, (1.0, 0.0, 0.0))
    return flat / np.linalg.norm(flat)


def _without(solids: list[Manifold], pieces: list[Piece]) -> list[Piece]:
    return [
        piece for piece in pieces if not (isinstance(piece, Part) and any(piece.solid is solid for solid in solids))
    ]


def _cover(rng: np.random.Generator, composition: Composition, position: np.ndarray) -> list[Piece]:
    """Something between phone and subject that hides a part of it: a bar, a board, a cushion or a cloth."""
    focus = np.asarray(composition.focus)
    away = (position - focus) / np.linalg.norm(position - focus)
    gap = np.linalg.norm(position - focus) * rng.uniform(0.3, 0.6)
    size = composition.extent_m * (1 - gap / np.linalg.norm(position - focus)) * rng.uniform(0.35, 0.7)
    side = np.cross(away, (0, 0, 1))
    side /= max(np.linalg.norm(side), 1e-6)
    centre = (
        focus
        + away * gap
        + side * rng.choice([-1, 1]) * size * rng.uniform(0.3, 0.75)
        + np.array([0, 0, rng.normal(0, 0.3) * size])
    )
    kind = rng.choice(["bar", "board", "cushion", "cloth"])
    if kind == "bar":
        solid = (
            cylinder(size * 0.16, size * 8)
            .translate((0, 0, -size * 4))
            .transform(turn((0, 1, 0), rng.uniform(-70, 70))[:3])
        )
        part = Part(solid, housing_material(rng))
    elif kind == "board":
        part = Part(
            block(size, 0.01, size * rng.uniform(1, 3)).transform(turn((0, 1, 0), rng.uniform(-30, 30))[:3]),
            housing_material(rng),
        )
    elif kind == "cushion":
        part = Part(rounded_block(size * 1.2, size * 0.5, size, size * 0.24), fabric(rng))
    else:
        part = Part(
            block(size, 0.003, size * 2).transform(point_z_to(rng.normal(0, 0.4, 3) + (0, 0, 1))[:3]), fabric(rng)
        )
    heading = np.degrees(np.arctan2(away[1], away[0])) + 90
    return [part.moved(shift(*centre) @ turn((0, 0, 1), heading + rng.normal(0, 20)))]

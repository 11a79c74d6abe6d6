"""How people hold the phone to a thing: whole, cut off, at arm's length, in the background, tilted, a hand at it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from classifier.taxonomy import ACTUATOR_HEAD, CHARGER, CONTROL_BOX, HAND_CONTROL
from synthetic_samples.geometry import Part, Piece, turn
from synthetic_samples.scene.camera import FULL_FRAME_HALF_WIDTH_MM, Camera, azimuth_of, free_position, upright
from synthetic_samples.scene.hands import hand
from synthetic_samples.scene.layout import Composition
from synthetic_samples.scene.truths import Truth

FRAMINGS = {"whole": 0.34, "cut_off": 0.3, "arms_length": 0.28, "background": 0.08}
"""How a thing fills the photo: two in three are not as a careful photographer would. What stands in the background of
another's photo is mostly too small to read, and at its edge half out of it."""
_FILL = {
    "whole": (0.5, 0.95),
    "cut_off": (1.0, 2.4),
    "arms_length": (0.14, 0.5),
    "background": (0.06, 0.14),
}  # of the photo's shorter side
_ASIDE = {
    "whole": 0.1,
    "cut_off": 0.3,
    "arms_length": 0.0,
    "background": 0.0,
}  # of the thing's size, standard deviation
_WEIGHTS = {CONTROL_BOX: 1.0, ACTUATOR_HEAD: 1.15, HAND_CONTROL: 0.35, CHARGER: 0.3}
_LOOK_ALIKE_WEIGHT, _BACKGROUND_WEIGHT = 0.8, 0.1
_TILTED = 0.25
_HAND = 0.3
_LEAST_SIDE = 0.05  # of the photo's longer side: a window is no smaller


@dataclass(frozen=True, eq=False)
class Target:
    """What a shot is of: a subject, a look-alike (`truth` is None), or the surroundings (no points either)."""

    truth: Truth | None
    points: np.ndarray | None


def with_a_hand(rng: np.random.Generator, composition: Composition) -> Composition:
    """The composition, three times in ten with somebody's hand at one of its subjects."""
    if not composition.truths or rng.random() >= _HAND:
        return composition
    return replace(composition, pieces=[*composition.pieces, *_hand_at(rng, composition)])


def targets_of(composition: Composition) -> list[tuple[Target, float]]:
    """What may be photographed, with weights: subjects, look-alikes and, seldom, anything else."""
    found = [(Target(truth, truth.outline), _WEIGHTS[truth.kind]) for truth in composition.truths]
    kinds = sorted({piece.label for piece in composition.pieces if piece.label.startswith("look_alike/")})
    for kind in kinds:
        own = [p.solid for p in composition.pieces if isinstance(p, Part) and p.label == kind]
        corners = np.array([solid.bounding_box() for solid in own]).reshape(-1, 3)
        found.append((Target(None, _corners(corners.min(axis=0), corners.max(axis=0))), _LOOK_ALIKE_WEIGHT))
    return [*found, (Target(None, None), _BACKGROUND_WEIGHT)]


def _corners(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    return np.array([(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])


def _hand_at(rng: np.random.Generator, composition: Composition) -> list[Piece]:
    """A hand that comes from any side but from behind, to the rim of one of the subjects."""
    points = composition.truths[int(rng.integers(len(composition.truths)))].outline
    at = points[int(rng.integers(len(points)))]
    way = at - points.mean(axis=0) + rng.normal(0, 0.05, 3) + composition.frame[:3, 1] * -rng.uniform(0.0, 0.15)
    way[2] = max(way[2], 0.0) if at[2] < 0.2 else way[2]
    return hand(rng, at, way, float(np.ptp(points, axis=0).max()) * 0.5)


def drawn_target(rng: np.random.Generator, targets: Sequence[tuple[Target, float]]) -> Target:
    """One of the targets, by their weights."""
    weights = np.array([weight for _, weight in targets])
    return targets[int(rng.choice(len(targets), p=weights / weights.sum()))][0]


def drawn_framing(rng: np.random.Generator) -> str:
    return str(rng.choice(list(FRAMINGS), p=list(FRAMINGS.values())))


def halves_of(photo: Camera, wh: np.ndarray) -> np.ndarray:
    """Tangents of a photo's half width and height."""
    return wh / wh.max() * np.tan(np.radians(photo.view_deg / 2))


def photo_of(
    rng: np.random.Generator,
    composition: Composition,
    target: Target,
    framing: str,
    wh: np.ndarray,
    sides: Sequence[float] = (),
) -> Camera:
    """A photo (`wh` its width and height) of a target, from a side that lies apart from the azimuths `sides`."""
    focal = float(rng.choice([24, 26, 28, 35, 50, 70])) if rng.random() < 0.6 else float(rng.uniform(24, 80))
    half_view = float(np.arctan(FULL_FRAME_HALF_WIDTH_MM / focal))
    half_short = float(np.arctan(np.tan(half_view) * wh.min() / wh.max()))
    focus, extent = np.asarray(composition.focus), composition.extent_m
    if target.points is not None:
        low, high = target.points.min(axis=0), target.points.max(axis=0)
        focus, extent = (low + high) / 2, float(np.linalg.norm(high - low))
    any_side = composition.any_side or (target.truth is not None and target.truth.kind == ACTUATOR_HEAD)
    about = replace(
        composition, focus=tuple(map(float, focus)), extent_m=extent,
        any_side=any_side and composition.azimuth_deg > 10,  # what stands in a row is seen from before it
    )  # fmt: skip
    distance = max(extent / (2 * np.tan(half_short) * rng.uniform(*_FILL[framing])), 0.1) + extent * 0.2
    position, _ = free_position(rng, about, distance, sides)
    aim = focus + rng.normal(0, 1, 3) * extent * _ASIDE[framing]
    roll = float(rng.uniform(15, 90) * rng.choice([-1, 1]) if rng.random() < _TILTED else rng.normal(0, 6))
    if framing in ("arms_length", "background"):  # anywhere in the photo, at its very edge too
        reach = distance * np.tan(half_short) * 0.95
        aim = aim + np.cross(position - focus, (0, 0, 1)) / distance * rng.uniform(-1, 1) * reach
        aim = aim + np.array([0, 0, 1.0]) * rng.uniform(-1, 1) * reach
    return _camera(position, aim, about.up, roll, float(np.degrees(2 * half_view)), focal, distance, about)


def _camera(position, aim, up, roll, view_deg, focal, distance, composition) -> Camera:
    forward = (aim - position) / np.linalg.norm(aim - position)
    above = turn(forward, roll)[:3, :3] @ upright(forward, up)
    azimuth = azimuth_of(position, composition)
    return Camera(triple(position), triple(aim), triple(above), view_deg, focal, roll, float(distance), azimuth)


def triple(vector: np.ndarray) -> tuple[float, float, float]:
    return (float(vector[0]), float(vector[1]), float(vector[2]))


def seen_box(photo: Camera, points: np.ndarray, halves: np.ndarray) -> np.ndarray | None:
    """Left, top, right, bottom of points (N, 3) in tangents, y down, cut to the photo; None where little is left."""
    right, above, forward = photo.axes
    local = points - np.asarray(photo.position)
    depth = local @ forward
    if (depth < 0.02).any():
        return None
    seen = np.column_stack([local @ right, -(local @ above)]) / depth[:, None]
    low, high = seen.min(axis=0), seen.max(axis=0)
    cut_low, cut_high = np.maximum(low, -halves), np.minimum(high, halves)
    left = np.clip(cut_high - cut_low, 0, None)
    if np.prod(left) < 0.12 * np.prod(high - low) or left.max() < _LEAST_SIDE * halves.max():
        return None
    return np.concatenate([cut_low, cut_high])

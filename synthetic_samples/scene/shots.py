"""How people photograph a thing, again and again: whole, cut off, at arm's length, tilted; and the window round it.

A built scene is expensive, a further view of it nearly free. So what is drawn here is one world and many shots of it:
each a photo's camera and the square window of that photo which the reader would be shown.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from synthetic_samples.geometry import turn
from synthetic_samples.scene.camera import Camera
from synthetic_samples.scene.composition import compose
from synthetic_samples.scene.layout import Brief, Composition
from synthetic_samples.scene.people import (
    Target,
    drawn_framing,
    drawn_target,
    halves_of,
    photo_of,
    seen_box,
    targets_of,
    triple,
    with_a_hand,
)
from synthetic_samples.scene.scene import SIZES, Scene, scene_of_composition

WORLDS = {"close": 0.78, "mid": 0.04, "none": 0.18}
"""What worlds are of, with shares: as the framings of a picture."""
_TRIES = 12


@dataclass(frozen=True, eq=False)
class Shot:
    """A photo and one square window of it.

    `photo`, `window`: cameras at one place; `half_tangent` of the window; `share`: of the photo's longer side that the
    window spans; `to_photo` (3, 3) carries the window's coordinates, -1 to 1 with y down, to the photo's. `halves`:
    tangents of the photo's half width and height; `whole`: the window is the square round the photo.
    """

    target: Target
    framing: str
    photo: Camera
    window: Camera
    half_tangent: float
    share: float
    to_photo: np.ndarray
    halves: tuple[float, float]
    whole: bool = False


@dataclass(frozen=True, eq=False)
class World:
    """A scene with its pieces, whose camera is the first shot's window, and all its shots."""

    scene: Scene
    shots: list[Shot]


def draw_world(seed: int, number: int, brief: Brief, count: int, whole: bool = False) -> World | None:
    """World `number` of a seed with `count` shots of it; None where no camera finds its things.

    `whole`: the shots are the photos themselves, not windows of them.
    """
    rng = np.random.default_rng([seed, number, 7])
    framing = str(rng.choice(list(WORLDS), p=list(WORLDS.values())))
    composition = compose(rng, brief, framing)
    composition = with_a_hand(rng, composition)
    targets = targets_of(composition)
    shots = [shot for _ in range(count) if (shot := draw_shot(rng, composition, targets)) is not None]
    if not shots:
        return None
    shots = (shots * count)[:count]
    if whole:
        shots = [whole_photo(shot) for shot in shots]
    return World(scene_of_composition(rng, brief.style, framing, composition, shots[0].window), shots)


# Shots ----------------------------------------------------------------------------------------------------------------


def draw_shot(
    rng: np.random.Generator, composition: Composition, targets: Sequence[tuple[Target, float]]
) -> Shot | None:
    """A photo of one of the targets and the window round it; None where the photo would not show it."""
    for _ in range(_TRIES):
        target, framing = drawn_target(rng, targets), drawn_framing(rng)
        wh = np.array(SIZES[int(rng.choice(len(SIZES), p=(0.35, 0.5, 0.15)))], float)
        photo = photo_of(rng, composition, target, framing, wh)
        halves = halves_of(photo, wh)
        box = _anywhere(rng, halves) if target.points is None else seen_box(photo, target.points, halves)
        if box is not None:
            return _windowed(rng, target, framing, photo, halves, box)
    return None


def _anywhere(rng: np.random.Generator, halves: np.ndarray) -> np.ndarray:
    side = halves.min() * np.exp(rng.uniform(np.log(0.2), np.log(1.6)))
    middle = rng.uniform(-1, 1, 2) * np.maximum(halves - side / 2, 0)
    return np.concatenate([middle - side / 2, middle + side / 2])


def _windowed(
    rng: np.random.Generator, target: Target, framing: str, photo: Camera, halves: np.ndarray, box: np.ndarray
) -> Shot:
    """The square window round a box (tangents), as a finder that is not exact would cut it, perhaps turned a little."""
    margin = float(np.clip(rng.normal(0.15, 0.12), -0.05, 0.6))
    side = float((box[2:] - box[:2]).max()) * (1 + 2 * margin)
    middle = (box[:2] + box[2:]) / 2 + rng.normal(0, 0.05, 2) * side
    right, above, forward = photo.axes
    way = forward + middle[0] * right - middle[1] * above
    length = float(np.linalg.norm(way))
    position = np.asarray(photo.position)
    half = side / 2 / length
    up = turn(way, float(rng.triangular(-20, 0, 20)) if rng.random() < 0.5 else 0.0)[:3, :3] @ above
    window = replace(
        photo, target=triple(position + way), up=triple(up), view_deg=float(np.degrees(2 * np.arctan(half)))
    )
    between = photo.axes @ window.axes.T  # a window's right, above and forward in the photo's
    flip = np.diag([1.0, -1.0, 1.0])  # y down
    to_photo = np.diag([1 / halves[0], 1 / halves[1], 1.0]) @ flip @ between @ flip @ np.diag([half, half, 1.0])
    spans = side / (2 * halves.max())
    return Shot(target, framing, photo, window, half, spans, to_photo, (float(halves[0]), float(halves[1])))


def whole_photo(shot: Shot) -> Shot:
    """The photo of a shot as a shot of its own: the square round it, of which the photo is a band."""
    longest = max(shot.halves)
    to_photo = np.diag([longest / shot.halves[0], longest / shot.halves[1], 1.0])
    return replace(shot, window=shot.photo, half_tangent=longest, share=1.0, to_photo=to_photo, whole=True)

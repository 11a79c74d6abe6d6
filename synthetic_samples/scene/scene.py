"""A frozen description of one picture: what stands where, under which light, before which camera.

`draw_scene` is the entry: seed, number and style give the same scene on any machine. Several views of one lift show the
same things in the same place; camera, side of the light, phone settings and hard conditions are each view's own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from synthetic_samples.geometry import Piece, point_z_to, shift
from synthetic_samples.phone.families import CONDITIONS, HARD_CONDITIONS, PhoneStyle, draw_phone, phone_families
from synthetic_samples.scene.camera import MOST_VIEWS, Camera, draw_camera
from synthetic_samples.scene.composition import compose
from synthetic_samples.scene.layout import Brief, Composition
from synthetic_samples.scene.people import (
    drawn_framing,
    drawn_target,
    halves_of,
    photo_of,
    seen_box,
    targets_of,
    with_a_hand,
)
from synthetic_samples.scene.truths import Truth

ENVIRONMENTS = {
    "train": ("apartment", "city", "dawn", "forest", "night", "park", "studio", "warehouse"),
    "calibration": ("sunset", "workshop"),
    "heldout": ("sky", "sunrise"),
}
"""Environment maps by style; no map lights two styles."""

STYLES = tuple(ENVIRONMENTS)

SIZES = ((704, 528), (528, 704), (396, 704))
"""Width and height in pixels: fewer than a phone's, but enough for the reader's window on a part seen from near by."""
_SIZE_SHARES = (0.35, 0.5, 0.15)
_TRIES_OF_PEOPLE = 12
FRAMINGS = {"close": 0.66, "mid": 0.12, "wide": 0.07, "none": 0.15}
"""How near the lift parts are, with shares; `none` holds no lift part at all."""
DENSE_FRAMINGS = {"close": 0.9, "mid": 0.04, "none": 0.06}
"""The same where a picture shall hold as many readable parts as it can: for the reader alone to learn from."""

_SAMPLES = 10
_FLASHES = 0.08  # of the worlds that many views are taken of


@dataclass(frozen=True, eq=False)
class Panel:
    """A glowing rectangle, 2 x 2 units in its own frame, facing +z."""

    frame: np.ndarray
    radiance: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything the renderer and the phone need; pictures are `width` x `height` pixels, upright.

    Pictures of one set that share `lift` show the same things in the same place. `photo_share`: of a photo's longer
    side that the picture spans, less than 1 where it is a window of one.
    """

    index: int
    lift: int
    seed: int
    style: str
    framing: str
    width: int
    height: int
    samples: int
    pieces: list[Piece]
    camera: Camera
    environment: str
    environment_scale: float
    environment_turn_deg: float
    flash_intensity: float
    panel: Panel
    phone: PhoneStyle
    conditions: tuple[str, ...]
    families: dict[str, str]
    truths: list[Truth] = field(default_factory=list)
    photo_share: float = 1.0


@dataclass(frozen=True)
class _Shot:
    """What is settled of a picture before its camera: hard conditions and size in pixels."""

    conditions: tuple[str, ...]
    size: tuple[int, int]


def draw_scene(
    seed: int,
    index: int,
    style: str,
    combinations: Sequence[dict[str, str]] = (),
    views: int = 1,
    dense: bool = False,
    grammar: float = 0.0,
    people: float = 0.0,
) -> Scene:
    """Draw picture number `index` of a style; half of its control boxes are of `combinations` where some are given.

    A `dense` picture is seldom of a whole lift or of no lift part, and in style `train` mostly of a crowd. The share
    `grammar` of boxes, actuators and look-alikes is built by the grammar. The share `people` of pictures is framed as
    people do it, cut off, at arm's length or tilted, the others as by a careful photographer.

    Every `views` pictures in a row are of one lift, from different sides; the first of them is the very picture that
    the lift's number gives by itself. Raises ValueError for an unknown style and for more views than find room.
    """
    if style not in STYLES:
        raise ValueError(f"style {style!r} came; wanted one of {', '.join(STYLES)}")
    if not 1 <= views <= MOST_VIEWS:
        raise ValueError(f"{views} views of one lift came; wanted 1 to {MOST_VIEWS}")
    lift, view = divmod(index, views)
    numbers = [seed, lift, STYLES.index(style)]
    rng = np.random.default_rng(numbers)
    framings = DENSE_FRAMINGS if dense else FRAMINGS
    framing = str(rng.choice(list(framings), p=list(framings.values())))
    shot = _shot(rng, framing)
    composition = compose(rng, Brief(style, tuple(combinations), dense, grammar), framing)
    if people and framing == "close" and rng.random() < people:
        composition, photographed = with_a_hand(rng, composition), _taken_by_people
    else:
        photographed = _photographed
    scenes = [photographed(rng, style, framing, composition, shot, [])]
    for number in range(1, view + 1):
        rng = np.random.default_rng([*numbers, number])
        scenes.append(photographed(rng, style, framing, composition, _shot(rng, framing), scenes))
    return replace(scenes[view], index=index, lift=lift)


def _shot(rng: np.random.Generator, framing: str) -> _Shot:
    return _Shot(_conditions(rng, framing), SIZES[int(rng.choice(len(SIZES), p=_SIZE_SHARES))])


def _taken_by_people(
    rng: np.random.Generator, style: str, framing: str, composition: Composition, shot: _Shot, earlier: list[Scene]
) -> Scene:
    """The same with the camera where people hold it; a photo that would not show its target is not taken."""
    scene = _photographed(rng, style, framing, composition, shot, earlier)
    targets, wh = [each for each in targets_of(composition) if each[0].truth is not None], np.array(shot.size, float)
    sides = [each.camera.azimuth_deg for each in earlier]
    for _ in range(_TRIES_OF_PEOPLE):
        target, kind = drawn_target(rng, targets), drawn_framing(rng)
        camera = photo_of(rng, composition, target, kind, wh, sides)
        if seen_box(camera, target.points, halves_of(camera, wh)) is not None:
            return replace(scene, camera=camera, pieces=composition.pieces)
    return scene


def _photographed(
    rng: np.random.Generator, style: str, framing: str, composition: Composition, shot: _Shot, earlier: list[Scene]
) -> Scene:
    """One view of a composition, from a side that no earlier view took; place and phone are those of the first one."""
    width, height = shot.size
    sides = [scene.camera.azimuth_deg for scene in earlier]
    camera, pieces = draw_camera(rng, composition, framing, width / height, shot.conditions, sides)
    hard = [condition for condition in shot.conditions if condition in HARD_CONDITIONS]
    family = earlier[0].phone.family if earlier else str(rng.choice(phone_families(style)))
    phone = draw_phone(rng, family, hard)
    environment = earlier[0].environment if earlier else str(rng.choice(ENVIRONMENTS[style]))
    return Scene(
        index=0,
        lift=0,
        seed=int(rng.integers(0, 2**31 - 2)),
        style=style,
        framing=framing,
        width=width,
        height=height,
        samples=_SAMPLES,
        pieces=pieces,
        camera=camera,
        environment=environment,
        environment_scale=float(np.exp(rng.normal(0, 0.35))),
        environment_turn_deg=float(rng.uniform(0, 360)),
        flash_intensity=_flash(rng, camera, shot.conditions),
        panel=_panel(rng, composition, camera, shot.conditions),
        phone=phone,
        conditions=shot.conditions,
        families={**composition.families, "environment": environment, "phone": phone.family},
        truths=composition.truths,
    )


def scene_of_composition(
    rng: np.random.Generator, style: str, framing: str, composition: Composition, camera: Camera
) -> Scene:
    """A composition under one light, before a camera whose picture is square; its size is whoever's who renders it."""
    environment = str(rng.choice(ENVIRONMENTS[style]))
    return Scene(
        index=0,
        lift=0,
        seed=int(rng.integers(0, 2**31 - 2)),
        style=style,
        framing=framing,
        width=1,
        height=1,
        samples=_SAMPLES,
        pieces=composition.pieces,
        camera=camera,
        environment=environment,
        environment_scale=float(np.exp(rng.normal(0, 0.35))),
        environment_turn_deg=float(rng.uniform(0, 360)),
        flash_intensity=_flash(rng, camera, ("flash",)) if rng.random() < _FLASHES else 0.0,
        panel=_panel(rng, composition, camera, ()),
        phone=draw_phone(rng, str(rng.choice(phone_families(style))), []),
        conditions=(),
        families=composition.families,
        truths=composition.truths,
    )


def _conditions(rng: np.random.Generator, framing: str) -> tuple[str, ...]:
    """Hard conditions; two pictures in three have none. `far` says that the parts are small in the frame."""
    found = ["far"] if framing == "wide" else []
    if rng.random() < 0.36:
        count = 1 if rng.random() < 0.75 else 2
        found += [str(name) for name in rng.choice(CONDITIONS, count, replace=False)]
    return tuple(found)


def _flash(rng: np.random.Generator, camera: Camera, conditions: tuple[str, ...]) -> float:
    """Radiant intensity of the flash; 0 without. It outshines the room at the subject's distance."""
    return float(rng.uniform(1.0, 5.0) * camera.distance_m**2) if "flash" in conditions else 0.0


def _panel(rng: np.random.Generator, composition: Composition, camera: Camera, conditions: tuple[str, ...]) -> Panel:
    """One lamp or window: overhead or to the side, behind the subject when backlit; off, in effect, in one third.

    Never between camera and subject: its back is black, and a picture behind it would show nothing of its labels.
    """
    target, position = np.asarray(composition.focus), np.asarray(camera.position)
    away = position - target
    away /= max(np.linalg.norm(away), 1e-6)
    backlit = "backlit" in conditions
    strength = rng.uniform(8, 25) if backlit else 0.02 if rng.random() < 0.33 else rng.uniform(2, 14)
    half_size = rng.uniform(0.1, 0.5, 2)
    while True:
        if backlit:
            side = np.cross(away, (0, 0, 1))
            where = target - away * rng.uniform(0.8, 1.6) + side * rng.normal(0, 0.5) + (0, 0, rng.uniform(0.0, 0.8))
        else:
            direction = rng.normal(0, 1, 3) + (0, 0, 1.2) + away * 0.6
            where = target + direction / np.linalg.norm(direction) * rng.uniform(1.5, 3.0)
        where = np.array([where[0], where[1], max(float(where[2]), 0.4)])
        look = target - where
        frame = _facing(where, look / np.linalg.norm(look)) @ np.diag([*half_size, 1.0, 1.0])
        if not _stands_before(frame, camera):
            break
    warm = rng.uniform(-0.25, 0.3)
    return Panel(frame, (strength * (1 + warm), strength, strength * (1 - warm)))


def _stands_before(frame: np.ndarray, camera: Camera) -> bool:
    """Whether a rectangle, 2 x 2 units in its own frame, hides anything in view that lies as far as the subject."""
    right, above, forward = camera.axes
    steps = np.linspace(-1, 1, 61) * np.tan(np.radians(camera.view_deg / 2))
    across, along = (grid.reshape(-1, 1) for grid in np.meshgrid(steps, steps))
    rays = forward + across * right + along * above  # one unit forward each
    into = np.linalg.inv(frame)
    start, rays = into[:3, :3] @ np.asarray(camera.position) + into[:3, 3], rays @ into[:3, :3].T
    reach = -start[2] / np.where(np.abs(rays[:, 2]) > 1e-9, rays[:, 2], 1e-9)
    hit = start[:2] + reach[:, None] * rays[:, :2]
    return bool(((np.abs(hit) <= 1).all(axis=1) & (reach > 0) & (reach < camera.distance_m)).any())


def _facing(where: np.ndarray, direction: np.ndarray) -> np.ndarray:
    return shift(*where) @ point_z_to(direction)

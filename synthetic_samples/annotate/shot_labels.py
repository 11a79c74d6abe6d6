"""What the shots of a world show: a window's one thing with its concepts, a whole photo's things with their boxes."""

from dataclasses import dataclass, replace

import numpy as np

from classifier.taxonomy import (
    ACTUATOR_HEAD,
    CONCEPTS_OF,
    EVIDENCE_WIDTH_PX,
    SMALLEST_EVIDENCE_PX,
    SMALLEST_SUBJECT_FRACTION,
    SUBJECTS,
)
from synthetic_samples.annotate.annotate import concepts_in_window, project
from synthetic_samples.annotate.labels import without_number
from synthetic_samples.render.part_maps import part_numbers
from synthetic_samples.scene.scene import Scene
from synthetic_samples.scene.shots import Shot
from synthetic_samples.scene.truths import Truth, values_by_number

OTHER, LOOK_ALIKE, HALF_A_THING = "other", "look_alike", "half_a_thing"
"""A window of nothing of ours; a box that must not be found; a box of which too little shows to be asked for."""

_LEAST_SHOWN = 0.02  # of a window's pixels that its subject covers: of less nobody could say what it is
_MOST_OF_A_SUBJECT = 0.01  # in a window that is said to show none
_LEAST_INSIDE = 0.35  # of a thing's outline inside the photo: of less nobody could say what it is, unless it works
_FEWEST_PX = 12
_MECHANISM = ("actuator_head/mechanism", "actuator_head/neck")

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Label:
    """What a view shows: a kind of subject or `other`, and its concepts as a manifest has them; None: not to be used.

    `to_photo` (3, 3) and `share` as a shot's; `world` is the number of the world it was taken of. Of a whole photo
    `boxes` are its things, left, top, right and bottom in fractions of the view, with a kind or one of the names above.
    """

    kind: str | None
    concepts: dict[str, dict]
    to_photo: np.ndarray
    share: float
    world: int
    boxes: tuple[tuple[str, Box], ...] = ()


def labelled(
    scene: Scene, shots: list[Shot], label_ids: np.ndarray, labels: list[str], world: int
) -> tuple[list[Label], np.ndarray]:
    """Labels and parts (V, S, S) uint8 of views; what lies beside its photo is nothing."""
    numbers = part_numbers(labels, values_by_number(scene.truths))
    found, parts = [], np.zeros(label_ids.shape, np.uint8)
    for view, (shot, ids) in enumerate(zip(shots, label_ids, strict=True)):
        shown = np.where(within_photo(shot.to_photo, ids.shape[0]), ids, 0)
        parts[view] = numbers[shown]
        found.append((_photo_label if shot.whole else _label)(scene, shot, shown, labels, world))
    return found, parts


def within_photo(to_photo: np.ndarray, side_px: int) -> np.ndarray:
    """(S, S) bool: which pixels of a window lie in its photo."""
    axis = (np.arange(side_px) + 0.5) * (2 / side_px) - 1
    x, y, scale = (row[0] * axis[None, :] + row[1] * axis[:, None] + row[2] for row in to_photo)
    return (scale > 0) & (np.abs(x) <= scale) & (np.abs(y) <= scale)


def _label(scene: Scene, shot: Shot, shown: np.ndarray, labels: list[str], world: int) -> Label:
    used = np.bincount(shown.ravel(), minlength=len(labels)) / shown.size
    own = shot.target.truth
    if own is None:  # a look-alike or anything else: none of ours may be in it
        subjects = sum(share for label, share in zip(labels, used, strict=True) if _is_subject(label))
        return Label(OTHER if subjects < _MOST_OF_A_SUBJECT else None, {}, shot.to_photo, shot.share, world)
    seen = _as_seen(scene, shot, shown.shape[0])
    covered = sum(share for label, share in zip(labels, used, strict=True) if label.startswith(own.name + "/"))
    if covered < _LEAST_SHOWN or not _recognisable(seen, shot, own, shown, labels):
        return Label(None, {}, shot.to_photo, shot.share, world)
    return Label(own.kind, concepts_in_window(seen, own, shown, labels), shot.to_photo, shot.share, world)


def _as_seen(scene: Scene, shot: Shot, side_px: int) -> Scene:
    return replace(scene, camera=shot.window, width=side_px, height=side_px, photo_share=shot.share)


def _recognisable(seen: Scene, shot: Shot, own: Truth, shown: np.ndarray, labels: list[str]) -> bool:
    """Whether the photo's frame leaves enough of a thing to know it: a third of it, or of a head what is worked."""
    side = shown.shape[0]
    points = np.column_stack([project(seen, own.outline) * (2 / side) - 1, np.ones(len(own.outline))])
    x, y, scale = shot.to_photo @ points.T
    if ((np.abs(x) <= scale) & (np.abs(y) <= scale)).mean() >= _LEAST_INSIDE:
        return True
    if own.kind != ACTUATOR_HEAD:
        return False
    works = [_belongs(label, own, _MECHANISM) for label in labels]
    return float(np.array(works)[shown].sum()) * (EVIDENCE_WIDTH_PX * shot.share / side) ** 2 >= SMALLEST_EVIDENCE_PX


def _belongs(label: str, own: Truth, prefixes: tuple[str, ...]) -> bool:
    plain, number = without_number(label)
    return number == own.number and plain.startswith(prefixes)


def _is_subject(label: str) -> bool:
    return label.partition("/")[0].partition("#")[0] in CONCEPTS_OF


# Whole photos ---------------------------------------------------------------------------------------------------------


def _photo_label(scene: Scene, shot: Shot, shown: np.ndarray, labels: list[str], world: int) -> Label:
    """Boxes of all things in a photo, from the pixels that show them."""
    seen = _as_seen(scene, shot, shown.shape[0])
    photo_px = shown.size * float(np.prod(1 / np.diag(shot.to_photo)[:2]))
    boxes = []
    for truth in scene.truths:
        box = _box(shown, np.array([label.startswith(truth.name + "/") for label in labels]), photo_px)
        if box is not None:
            known = _recognisable(seen, shot, truth, shown, labels)
            boxes.append((truth.kind if known else HALF_A_THING, box))
    for kind in sorted({label for label in labels if label.startswith("look_alike/")}):
        box = _box(shown, np.array([label == kind for label in labels]), photo_px)
        if box is not None:
            boxes.append((LOOK_ALIKE, box))
    return Label(SUBJECTS[0], {}, shot.to_photo, shot.share, world, tuple(boxes))


def _box(shown: np.ndarray, wanted: np.ndarray, photo_px: float) -> Box | None:
    """The box of the pixels with a wanted label; None where it is too small to count as a subject."""
    mask = wanted[shown]
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows) or mask.sum() < _FEWEST_PX:
        return None
    low, high = (columns[0], rows[0]), (columns[-1] + 1, rows[-1] + 1)
    if (high[0] - low[0]) * (high[1] - low[1]) < SMALLEST_SUBJECT_FRACTION * photo_px:
        return None
    side = shown.shape[0]
    return (low[0] / side, low[1] / side, high[0] / side, high[1] / side)

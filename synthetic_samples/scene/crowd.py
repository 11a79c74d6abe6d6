"""Four to eight lift parts in rows before a wall: one picture that teaches as much as several."""

from dataclasses import dataclass, replace

import numpy as np
from manifold3d import Manifold

from classifier.taxonomy import ACTUATOR_HEAD, CHARGER, CONTROL_BOX, HAND_CONTROL
from synthetic_samples.annotate.labels import numbered
from synthetic_samples.geometry import Part, Piece, block, moved, shift, turn
from synthetic_samples.scene.layout import Brief, Composition, actuator_attitude, bounds
from synthetic_samples.scene.truths import Truth, actuator_truth, box_truth, plain_truth
from synthetic_samples.shapes.accessories import charger, hand_control

_SHARES = {CONTROL_BOX: 0.45, ACTUATOR_HEAD: 0.38, HAND_CONTROL: 0.1, CHARGER: 0.07}
_HEADS_ALONE = 0.4  # of dense crowds: without boxes beside them heads, which are small, fill a picture
_STRANGERS = 0.5  # of the crowds hold something that is no lift part
_LARGEST_STRANGER_M = 0.45
_ORDERS = 60  # arrangements that are tried; the tightest is taken
_EXTENT_SHARE = 0.46  # of the diagonal of the rows: so they fill a picture as other close subjects do
_TOUCH_M = 0.004  # what is nearer than this hangs together

Row = list[int]


@dataclass(frozen=True, eq=False)
class _Thing:
    """One part as the camera will see it, in its place or round the origin; `families` as a composition names them.

    `truth` is None of what is no lift part.
    """

    pieces: list[Piece]
    truth: Truth | None
    families: dict[str, str]

    @property
    def outline(self) -> np.ndarray:
        return np.array(bounds(self.pieces)) if self.truth is None else self.truth.outline

    def moved(self, transform: np.ndarray) -> "_Thing":
        truth = None if self.truth is None else self.truth.moved(transform)
        return replace(self, pieces=moved(self.pieces, transform), truth=truth)


def crowd(rng: np.random.Generator, brief: Brief) -> Composition:
    """Things with nothing between them and the camera, each turned its own way as if photographed by itself."""
    things = [_thing(rng, brief, kind, number) for number, kind in enumerate(_kinds(rng, brief), 1)]
    things += _strangers(rng, brief)
    boxes = [bounds(_in_sight(thing)) for thing in things]
    sizes = np.array([high - low for low, high in boxes])[:, [0, 2]] + rng.uniform(0.008, 0.03, (len(things), 2))
    centres = _packed(rng, sizes)
    pieces: list[Piece] = []
    placed: list[_Thing] = []
    families: dict[str, str] = {}
    for thing, (low, high), (x, z) in zip(things, boxes, centres, strict=True):
        back = thing.outline[:, 1].max() + rng.uniform(0.003, 0.012)
        put = thing.moved(shift(x - (low[0] + high[0]) / 2, -back, z - (low[2] + high[2]) / 2))
        pieces += put.pieces
        placed.append(put)
        families |= thing.families
    points = np.vstack([thing.outline for thing in placed])
    truths = [thing.truth for thing in placed if thing.truth]
    low, high = points.min(axis=0), points.max(axis=0)
    return Composition(
        pieces, truths, tuple(map(float, (low + high) / 2)), float(np.hypot(*(high - low)[[0, 2]]) * _EXTENT_SHARE),
        (-12, 12), False, families, "wall", azimuth_deg=6.0,
    )  # fmt: skip


def _kinds(rng: np.random.Generator, brief: Brief) -> list[str]:
    """At least one box and one head, the others by their shares; in some dense pictures heads alone."""
    if brief.dense and rng.random() < _HEADS_ALONE:
        return [ACTUATOR_HEAD] * int(rng.integers(5, 9))
    more = rng.choice(list(_SHARES), int(rng.integers(2, 5)), p=list(_SHARES.values()))
    return [CONTROL_BOX, ACTUATOR_HEAD, *map(str, more)]


# One thing -----------------------------------------------------------------------------------------------------------


def _thing(rng: np.random.Generator, brief: Brief, kind: str, number: int) -> _Thing:
    if kind == CONTROL_BOX:
        box = brief.box(rng)
        thing, attitude = _Thing(box.pieces, box_truth(box), box.families), _seen_from(rng, 38, (-12, 52))
    elif kind == ACTUATOR_HEAD:
        built = brief.actuator(rng)
        lay, lies = actuator_attitude(rng)
        thing = _Thing(built.pieces, actuator_truth(built), {"actuator": built.family})
        attitude = _seen_from(rng, None, (5, 75) if lies else (-25, 50)) @ lay
    else:
        pieces, family = (hand_control if kind == HAND_CONTROL else charger)(rng, brief.style)
        thing, attitude = _Thing(pieces, plain_truth(kind, pieces), {kind: family}), _seen_from(rng, 25, (-15, 40))
    own = [_of_number(piece, number) for piece in _cut_short(rng, thing)]
    return replace(thing, pieces=own, truth=replace(thing.truth, number=number)).moved(attitude)


def _strangers(rng: np.random.Generator, brief: Brief) -> list[_Thing]:
    """Now and then one look-alike that is no larger than a box; of what is longer, such as a stick, none."""
    if rng.random() >= _STRANGERS:
        return []
    pieces = brief.look_alike(rng)
    thing = _Thing(pieces, None, {}).moved(_seen_from(rng, 38, (-12, 52)))
    return [thing] if np.ptp(thing.outline, axis=0).max() <= _LARGEST_STRANGER_M else []


def _seen_from(rng: np.random.Generator, spread_deg: float | None, elevation_deg: tuple[float, float]) -> np.ndarray:
    """The turn that shows a camera in front what it would see from round and above; from all round without spread."""
    azimuth = rng.uniform(-180, 180) if spread_deg is None else float(np.clip(rng.normal(0, spread_deg), -88, 88))
    low, high = elevation_deg
    elevation = float(np.clip(rng.normal((low + high) / 2, (high - low) / 3.2), low, high))
    return turn((0, 1, 0), rng.normal(0, 5)) @ turn((1, 0, 0), elevation) @ turn((0, 0, 1), -azimuth)


def _cut_short(rng: np.random.Generator, thing: _Thing) -> list[Piece]:
    """The pieces without what reaches far beyond the outline: a long tube, its rod, cables would cross neighbours.

    Of a tube so much is left that its root is whole; of a cable no loop that comes back from outside.
    """
    low, high = thing.truth.outline.min(axis=0), thing.truth.outline.max(axis=0)
    low, high = low - rng.uniform(0.015, 0.03), high + rng.uniform(0.015, 0.03)
    if thing.truth.kind == ACTUATOR_HEAD:
        high[2] += rng.uniform(0.02, 0.035)
    near = block(*(high - low)).translate(tuple((low + high) / 2))
    left = [piece for piece in thing.pieces if piece.label.startswith(f"{thing.truth.kind}/")]
    held = Manifold.compose([piece.solid for piece in left if isinstance(piece, Part)])
    for piece in thing.pieces:
        if not piece.label.startswith(f"{thing.truth.kind}/"):
            if isinstance(piece, Part):
                ends = (piece.solid ^ near).decompose()
                if len(ends) > 1:
                    ends = [end for end in ends if end.min_gap(held, _TOUCH_M) < _TOUCH_M]
                if not ends:
                    continue
                piece = replace(piece, solid=Manifold.compose(ends))
                held = Manifold.compose([held, piece.solid])
            left.append(piece)
    return left


def _of_number(piece: Piece, number: int) -> Piece:
    return replace(piece, label=numbered(piece.label, number))


def _in_sight(thing: _Thing) -> list[Piece]:
    """What must not meet a neighbour; a cable's end may pass it."""
    head = thing.truth is not None and thing.truth.kind == ACTUATOR_HEAD
    return [piece for piece in thing.pieces if piece.label or head]


# Rows ----------------------------------------------------------------------------------------------------------------


def _packed(rng: np.random.Generator, sizes: np.ndarray) -> np.ndarray:
    """Centres (N, 2) of rectangles of these sizes (N, 2) in two or three rows, in the smallest square of some tries."""
    best, least = [[0]], np.inf
    for _ in range(_ORDERS):
        rows = _cut_in_rows(rng, len(sizes))
        side = max(max(sizes[row, 0].sum() for row in rows), sum(sizes[row, 1].max() for row in rows))
        if side < least:
            best, least = rows, side
    widest = max(sizes[row, 0].sum() for row in best)
    centres = np.zeros((len(sizes), 2))
    top = 0.0
    for row in best:
        tallest = sizes[row, 1].max()
        between = (widest - sizes[row, 0].sum()) / len(row)
        left = 0.0
        for index in row:
            wide, tall = sizes[index]
            centres[index] = (
                left + wide / 2 + between * rng.uniform(0.3, 0.7),
                top - tallest / 2 + (tallest - tall) * rng.uniform(-0.5, 0.5),
            )
            left += wide + between
        top -= tallest
    return centres


def _cut_in_rows(rng: np.random.Generator, count: int) -> list[Row]:
    """All things in any order, cut into two or three rows."""
    order = rng.permutation(count).tolist()
    cuts = sorted(rng.choice(np.arange(1, count), int(rng.integers(1, 3)), replace=False).tolist())
    return [order[start:end] for start, end in zip([0, *cuts], [*cuts, count], strict=True)]

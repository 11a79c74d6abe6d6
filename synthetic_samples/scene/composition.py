"""What a picture is of: lift parts on a lift, a mast, a wall, a bench or a carpet, or no lift part at all."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from manifold3d import Manifold

from classifier.taxonomy import ACTUATOR_HEAD, CHARGER, CONTROL_BOX, HAND_CONTROL
from synthetic_samples.geometry import Part, Piece, moved, point_z_to, shift, turn
from synthetic_samples.scene.crowd import crowd
from synthetic_samples.scene.layout import Brief, Composition, actuator_attitude, bounds
from synthetic_samples.scene.truths import Truth, actuator_truth, box_truth, outline_of, plain_truth
from synthetic_samples.shapes.accessories import charger, hand_control
from synthetic_samples.shapes.lift import lift, mast_section
from synthetic_samples.surroundings.surroundings import draw_setting


def compose(rng: np.random.Generator, brief: Brief, framing: str) -> Composition:
    """Draw what stands where for one picture, its surroundings included."""
    if framing == "none":
        composition = _no_lift_part(rng, brief)
    elif framing == "close":
        composition = _CLOSE[close_kind(rng, brief)](rng, brief)
    else:
        composition = _on_lift(
            rng, brief, "all" if framing == "wide" else str(rng.choice([CONTROL_BOX, ACTUATOR_HEAD]))
        )
    return _surrounded(rng, brief, composition, company=framing != "none")


def close_kind(rng: np.random.Generator, brief: Brief) -> str:
    """What a close picture is of.

    Crowds are to learn from only: pictures to measure with show one lift, as photos do that a user sends.
    """
    shares = _CLOSE_SHARES
    if brief.style == "train":
        crowds = _CROWDS_WHERE_DENSE if brief.dense else _CROWDS
        shares = {kind: (1 - crowds) * share for kind, share in shares.items()} | {"crowd": crowds}
    return str(rng.choice(list(shares), p=list(shares.values())))


# Close pictures of one thing -----------------------------------------------------------------------------------------


_STANDS_ON = {"mast": "floor", "wall": "wall", "bench": "bench", "floor": "floor"}  # one that lies may lie on either


def _close_box(rng: np.random.Generator, brief: Brief) -> Composition:
    if rng.random() < 0.22:
        return _on_lift(rng, brief, CONTROL_BOX)
    box = brief.box(rng)
    low, high = np.array(Manifold.compose(box.solids).bounding_box()).reshape(2, 3)
    place = str(rng.choice(["mast", "wall", "bench", "floor", "lying"], p=[0.34, 0.16, 0.24, 0.14, 0.12]))
    pieces, transform = list(box.pieces), np.eye(4)
    if place == "mast":
        pieces += mast_section(rng, box)
        transform = shift(z=rng.uniform(0.92, 1.1))
    elif place == "wall":
        transform = shift(0, -high[1] - 0.005, 0)
    elif place == "lying":
        transform = shift(z=high[1]) @ turn((1, 0, 0), -90)
    else:
        transform = shift(z=-low[2])
    composition = Composition(
        pieces, [box_truth(box)], (0.0, float(low[1] + high[1]) / 2, float(low[2] + high[2]) / 2),
        float(np.linalg.norm((high - low)[[0, 2]])), (-12, 52), place != "wall" and rng.random() < 0.12,
        box.families, _STANDS_ON.get(place) or str(rng.choice(["bench", "floor"])),
    )  # fmt: skip
    if place == "lying":
        composition = replace(composition, elevation_deg=(-35, 40))
    return composition.carried(transform)


def _close_actuator(rng: np.random.Generator, brief: Brief) -> Composition:
    if rng.random() < 0.3:
        return _on_lift(rng, brief, ACTUATOR_HEAD)
    built = brief.actuator(rng)
    truth = actuator_truth(built)
    lay, lies = actuator_attitude(rng)
    place, elevation = (str(rng.choice(["bench", "floor"])), (5, 75)) if lies else ("floor", (-25, 50))
    low = truth.moved(lay).outline[:, 2].min()
    lay = shift(z=-low if elevation[0] > 0 else rng.uniform(0.45, 0.9) - low) @ lay
    points = truth.outline
    centre = (points.min(axis=0) + points.max(axis=0)) / 2
    extent = float(np.linalg.norm(np.ptp(points, axis=0)) * 0.95)
    composition = Composition(
        list(built.pieces), [truth], tuple(map(float, centre)), extent, elevation, True,
        {"actuator": built.family}, place,
    )  # fmt: skip
    carried = composition.carried(lay)
    return replace(carried, frame=np.eye(4), up=np.array([0.0, 0.0, 1.0]))


def _close_hand_control(rng: np.random.Generator, brief: Brief) -> Composition:
    pieces, family = hand_control(rng, brief.style)
    return _small_thing(rng, HAND_CONTROL, pieces, family)


def _close_charger(rng: np.random.Generator, brief: Brief) -> Composition:
    pieces, family = charger(rng, brief.style)
    return _small_thing(rng, CHARGER, pieces, family)


def _small_thing(rng: np.random.Generator, kind: str, pieces: list[Piece], family: str) -> Composition:
    """A hand control lies, hangs or leans; a charger stands or hangs on the wall."""
    truth = plain_truth(kind, pieces)
    low, high = truth.outline.min(axis=0), truth.outline.max(axis=0)
    place = str(rng.choice(["bench", "floor", "wall"]))
    if place == "wall":
        transform, elevation = shift(0, -high[1] - 0.004, 0), (-15, 40)
    elif kind == HAND_CONTROL:
        transform, elevation = (
            shift(z=high[1]) @ turn((0, 0, 1), rng.uniform(-180, 180)) @ turn((1, 0, 0), -90),
            (-40, 30),
        )
    else:
        transform, elevation = shift(z=-low[2]) @ turn((0, 0, 1), rng.uniform(-60, 60)), (8, 60)
    centre, extent = (low + high) / 2, float(np.linalg.norm(high - low))
    composition = Composition(
        pieces, [truth], tuple(map(float, centre)), extent, elevation, False,
        {kind: family}, place,
    )  # fmt: skip
    return composition.carried(transform)


def _pair(rng: np.random.Generator, brief: Brief) -> Composition:
    """A box and an actuator side by side on a bench or floor, as laid out before an order."""
    box = brief.box(rng)
    built = brief.actuator(rng)
    standing, lay = (
        box_truth(box),
        turn((0, 0, 1), rng.uniform(0, 360)) @ point_z_to((1, 0, 0)) @ turn((0, 0, 1), rng.uniform(0, 360)),
    )
    box_move = shift(z=-standing.outline[:, 2].min()) @ turn((0, 0, 1), rng.uniform(-35, 35))
    laid = actuator_truth(built).moved(lay)
    gap = standing.moved(box_move).outline[:, 0].max() - laid.outline[:, 0].min() + rng.uniform(0.02, 0.08)
    move = shift(gap, rng.uniform(-0.12, 0.02), -laid.outline[:, 2].min()) @ lay
    if rng.random() < 0.5:
        flip = turn((0, 0, 1), 180)
        move = flip @ move if rng.random() < 0.5 else move
    truths = [standing.moved(box_move), actuator_truth(built).moved(move)]
    pieces = [*moved(box.pieces, box_move), *moved(built.pieces, move)]
    families = {**box.families, "actuator": built.family}
    points = np.vstack([truth.outline for truth in truths])
    centre = (points.min(axis=0) + points.max(axis=0)) / 2
    for kind, draw, share in ((HAND_CONTROL, hand_control, 0.3), (CHARGER, charger, 0.2)):
        if rng.random() < share:
            own, families[kind] = draw(rng, brief.style)
            truth = plain_truth(kind, own)
            put = _laid_before(rng, truth, points)
            pieces += moved(own, put)
            truths.append(truth.moved(put))
    return Composition(
        pieces, truths, tuple(map(float, centre)),
        float(np.linalg.norm(np.ptp(points, axis=0)) * 0.64), (5, 60), False,
        families, str(rng.choice(["bench", "floor"])),
    )  # fmt: skip


def _laid_before(rng: np.random.Generator, truth: Truth, behind: np.ndarray) -> np.ndarray:
    """Where a small thing lies that was put before others, whose points (N, 3) are `behind`."""
    turned_by = turn((0, 0, 1), rng.uniform(-180, 180))
    lay = turned_by @ turn((1, 0, 0), -90) if truth.kind == HAND_CONTROL else turned_by
    low, high = (edge(truth.moved(lay).outline, axis=0) for edge in (np.min, np.max))
    x = rng.uniform(behind[:, 0].min(), behind[:, 0].max()) - (low[0] + high[0]) / 2
    return shift(x, behind[:, 1].min() - high[1] - rng.uniform(0.01, 0.08), -low[2]) @ lay


_CLOSE: dict[str, Callable[[np.random.Generator, Brief], Composition]] = {
    CONTROL_BOX: _close_box,
    ACTUATOR_HEAD: _close_actuator,
    HAND_CONTROL: _close_hand_control,
    CHARGER: _close_charger,
    "pair": _pair,
    "crowd": crowd,
}
# Pairs most: a picture of two things teaches twice.
_CLOSE_SHARES = {CONTROL_BOX: 0.25, ACTUATOR_HEAD: 0.21, HAND_CONTROL: 0.06, CHARGER: 0.05, "pair": 0.43}
_CROWDS, _CROWDS_WHERE_DENSE = 0.4, 0.75


# A whole lift --------------------------------------------------------------------------------------------------------


def _on_lift(rng: np.random.Generator, brief: Brief, focus: str) -> Composition:
    """Box and actuator on a mobile lift; `focus` is one of them or `all`."""
    box = brief.box(rng)
    built = brief.actuator(rng, (0.5, 0.72))
    hand = hand_control(rng, brief.style) if rng.random() < 0.55 else None
    whole = lift(rng, box, built, hand[0] if hand else None)
    truths = [box_truth(box).moved(whole.box_frame), actuator_truth(built).moved(whole.actuator_frame)]
    if hand:
        body = [piece for piece in whole.pieces if isinstance(piece, Part) and piece.label == "hand_control/body"]
        truths.append(Truth(HAND_CONTROL, {}, outline_of([piece.solid for piece in body]), np.eye(4)))
    families = {**box.families, "actuator": built.family, **({HAND_CONTROL: hand[1]} if hand else {})}
    if focus == "all":
        centre, extent, frame = np.array([0, 0.25, whole.height * 0.52]), whole.height * 1.15, np.eye(4)
    else:
        points = truths[0 if focus == CONTROL_BOX else 1].outline
        centre, extent = (
            (points.min(axis=0) + points.max(axis=0)) / 2,
            float(np.linalg.norm(np.ptp(points, axis=0)) * 0.92),
        )
        frame = whole.box_frame if focus == CONTROL_BOX else turn((0, 0, 1), rng.uniform(60, 300))
    return Composition(
        whole.pieces, truths, tuple(map(float, centre)), extent, (-5, 35),
        focus == "all" and rng.random() < 0.4, families, reach_m=1.2, frame=frame,
    )  # fmt: skip


# Pictures of something else, and what surrounds the subject ----------------------------------------------------------


def _no_lift_part(rng: np.random.Generator, brief: Brief) -> Composition:
    """One to four look-alikes, or a room with nothing of interest."""
    pieces: list[Piece] = []
    count = int(rng.integers(1, 5)) if rng.random() < 0.75 else 0
    x = 0.0
    for _ in range(count):
        thing = brief.look_alike(rng)
        thing = moved(thing, turn((0, 0, 1), rng.uniform(-60, 60)))
        low, high = bounds(thing)
        pieces += moved(thing, shift(x - low[0], rng.uniform(-0.1, 0.1), 0))
        x += high[0] - low[0] + rng.uniform(0.02, 0.1)
    if pieces:
        low, high = bounds(pieces)
        centre, extent = (low + high) / 2, float(np.linalg.norm(high - low))
        if count > 1 and rng.random() < 0.4:
            extent *= 0.6
    else:
        centre, extent = (
            np.array([rng.normal(0, 0.3), rng.normal(0, 0.2), rng.uniform(0.1, 0.9)]),
            float(rng.uniform(0.4, 1.5)),
        )
    return Composition(
        pieces, [], tuple(map(float, centre)), extent, (-5, 60), False, {},
        str(rng.choice(["bench", "floor", "wall"] if not pieces else ["bench", "floor"])),
    )  # fmt: skip


def _surrounded(rng: np.random.Generator, brief: Brief, composition: Composition, company: bool) -> Composition:
    """Put the composition into a place, sometimes with look-alikes beside it."""
    if company and composition.place != "wall" and rng.random() < 0.3:
        thing = brief.look_alike(rng)
        low, high = bounds(thing)
        reach = np.vstack([truth.outline for truth in composition.truths])
        side = float(rng.choice([-1, 1]))
        edge = reach[:, 0].max() - low[0] if side > 0 else reach[:, 0].min() - high[0]
        where = shift(edge + side * rng.uniform(0.02, 0.25), rng.uniform(-0.05, 0.25), 0)
        composition = replace(composition, pieces=[*composition.pieces, *moved(thing, where)])
    low, high = bounds(composition.pieces) if composition.pieces else (np.zeros(3), np.full(3, 0.2))
    setting = draw_setting(rng, composition.place, float(np.abs([low[:2], high[:2]]).max()))
    carried = composition.carried(setting.anchor)
    obstacles = [piece.solid for piece in setting.pieces if isinstance(piece, Part)]
    return replace(carried, pieces=[*carried.pieces, *setting.pieces], obstacles=obstacles)

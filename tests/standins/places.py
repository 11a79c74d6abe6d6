"""Places that the parts are photographed in: tables, floors, walls and whole lifts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import glyphs, paints
from .actuators import actuator
from .control_boxes import Part, control_box
from .everyday import EVERYDAY, radius_of
from .handhelds import charger, hand_control
from .kit import (
    bezier,
    block,
    decal,
    extent,
    frame,
    marked,
    placed,
    prism,
    rounded_rect,
    shift,
    sweep,
    turn,
)
from .lift import lift
from .lighting import light_up
from .look_alikes import LOOK_ALIKES
from .scene import Scene, Subject, resting

X, Y, Z = np.eye(3)


@dataclass(frozen=True)
class Wish:
    """What a picture shall show, as drawn by `draw.wish`."""

    framing: str
    fair: bool
    place: str
    lighting: str
    focus: str
    box: dict[str, str]
    lowering: str
    covered: bool
    look_alikes: tuple[str, ...]
    everyday: tuple[str, ...]


def compose(rng: np.random.Generator, wish: Wish) -> Scene:
    """The scene of a wish, its parts numbered by subject; raises nothing for any wish that `draw.wish` makes."""
    scene = {"table": _table, "floor": _floor, "wall": _wall, "lift": _lift}[wish.place](rng, wish)
    scene.lighting = wish.lighting
    _strew(rng, scene, wish)
    if wish.covered and scene.focus >= 0:
        _cover(rng, scene)
    light_up(rng, scene)
    return scene


def _table(rng, wish: Wish) -> Scene:
    scene = Scene("table", [], back_y=float(rng.uniform(280, 700)), floor_z=-float(rng.uniform(700, 900)))
    top = block(rng.uniform(1300, 2000), scene.back_y + 650, 32, paints.table(rng), bevel_mm=4)
    scene.pieces.append(top.moved(shift(0, (scene.back_y - 650) / 2 - 5, -32)))
    _parts_on_ground(rng, scene, wish)
    return scene


def _floor(rng, wish: Wish) -> Scene:
    scene = Scene("floor", [], back_y=float(rng.uniform(400, 1600)), floor_z=0.0)
    _parts_on_ground(rng, scene, wish)
    return scene


def _parts_on_ground(rng, scene: Scene, wish: Wish) -> None:
    """The focus at the origin, sometimes a second part beside it."""
    if not wish.focus:
        return
    lying = wish.focus == "actuator_head"
    part = _part(rng, wish.focus, wish, standing=True)
    _add(scene, wish.focus, part, _pose(rng, wish.focus, part, at=(0.0, 0.0)))
    scene.focus = 0
    if rng.random() < 0.3:
        other = str(
            rng.choice(
                [kind for kind in ("control_box", "actuator_head", "hand_control", "charger") if kind != wish.focus]
            )
        )
        part = _part(rng, other, wish, standing=True)
        reach = radius_of(placed([p for p in scene.pieces if p.subject == 0], np.eye(4))) + radius_of(part.pieces) + 25
        side = float(rng.choice([-1, 1]))
        _add(
            scene, other, part, _pose(rng, other, part, at=(side * reach, float(rng.uniform(0, 120 if lying else 60))))
        )


def _part(rng, kind: str, wish: Wish, standing: bool) -> Part:
    if kind == "control_box":
        return control_box(rng, wish.box, standing)
    if kind == "actuator_head":
        return actuator(rng, wish.lowering, float(rng.uniform(150, 320)), float(rng.uniform(20, 200)))
    return hand_control(rng) if kind == "hand_control" else charger(rng)


def _pose(rng, kind: str, part: Part, at: tuple[float, float]) -> np.ndarray:
    """How a part rests on z = 0: boxes stand, actuators lie on their side, hand controls lie or lean."""
    tilt = np.eye(4)
    if kind == "actuator_head":
        tilt = (
            turn("z", rng.uniform(-70, 70))
            @ turn("y", 90 if rng.random() < 0.5 else -90)
            @ turn("z", rng.uniform(0, 360))
        )
    elif kind == "control_box":
        tilt = turn("z", rng.uniform(-40, 40))
    else:
        tilt = turn("z", rng.uniform(-60, 60))
    raised = resting(placed([*part.pieces, *(part.attached if kind == "actuator_head" else [])], tilt))
    return (
        shift(at[0], at[1], raised if kind == "actuator_head" else max(0.0, resting(placed(part.pieces, tilt)))) @ tilt
    )


def _wall(rng, wish: Wish) -> Scene:
    """A part on a wall: boxes and chargers on a plate, hand controls on a hook, actuators on two brackets."""
    scene = Scene("wall", [], back_y=0.0, floor_z=-float(rng.uniform(900, 1400)))
    part = _part(rng, wish.focus, wish, standing=False)
    pose = np.eye(4)
    if wish.focus == "hand_control":
        pose = frame(np.zeros(3), X, Z)
    elif wish.focus == "actuator_head":
        pose = turn("z", rng.uniform(0, 360))
    elif wish.focus == "charger":
        pose = np.eye(4) if extent(part.pieces)[1][2] > 100 else frame(np.zeros(3), X, Z)
    gap = float(rng.uniform(3, 26))
    pose = shift(y=-gap - float(extent(placed(part.pieces, pose))[1][1])) @ pose
    _add(scene, wish.focus, part, pose)
    scene.focus = 0
    low, high = extent([piece for piece in scene.pieces if piece.subject == 0])
    wide, tall = (high - low)[0], (high - low)[2]
    if gap > 6 or rng.random() < 0.4:
        plate = prism(
            rounded_rect(wide * rng.uniform(0.5, 1.15), tall * rng.uniform(0.5, 1.1), 8),
            0,
            gap,
            paints.painted_metal(rng),
            bevel_mm=1.5,
        )
        scene.pieces.append(plate.moved(frame(np.array([(low + high)[0] / 2, 0, (low + high)[2] / 2]), X, Z)))
    for _ in range(int(rng.integers(0, 3))):
        x = float(rng.choice([-1, 1])) * (wide / 2 + rng.uniform(160, 420))
        card = (
            decal(200, 270, glyphs.poster(rng))
            if rng.random() < 0.6
            else prism(rounded_rect(85, 85, 6), 0, 10, paints.plastic(rng), bevel_mm=3)
        )
        scene.pieces.append(card.moved(frame(np.array([x, 0, rng.uniform(0, 500)]), X, Z)))
    return scene


def _lift(rng, wish: Wish) -> Scene:
    scene = Scene("lift", [], back_y=float(rng.uniform(1500, 2600)), floor_z=0.0)
    whole = lift(rng, wish.lowering)
    scene.pieces += whole.frame
    box = control_box(rng, wish.box, standing=False)
    away = whole.box_mount[1] - float(extent(box.pieces)[1][1])
    _add(scene, "control_box", box, shift(whole.box_mount[0], away, whole.box_mount[2]))
    strap = block(60, -float(whole.box_mount[1]) + 6, 70, paints.painted_metal(rng))
    scene.pieces.append(strap.moved(shift(0, whole.box_mount[1] / 2 + 3, whole.box_mount[2] + 60)))
    _add(scene, "actuator_head", whole.actuator, whole.actuator_matrix)
    if rng.random() < 0.4:
        pose = (
            shift(float(rng.choice([-1, 1])) * rng.uniform(60, 110), -70, whole.box_mount[2] + rng.uniform(250, 380))
            @ turn("z", rng.uniform(-40, 40))
            @ frame(np.zeros(3), X, Z)
        )
        _add(scene, "hand_control", hand_control(rng), pose)
    scene.focus = 1 if wish.focus == "actuator_head" else 0
    return scene


def _add(scene: Scene, kind: str, part: Part, matrix: np.ndarray) -> None:
    scene.pieces += marked(placed(part.pieces, matrix), len(scene.subjects)) + placed(part.attached, matrix)
    scene.subjects.append(Subject(kind, matrix, part.values))


def _strew(rng, scene: Scene, wish: Wish) -> None:
    """Look-alikes and everyday things round the focus, clear of every part and of each other."""
    ground = scene.floor_z if scene.place in ("wall", "lift") else 0.0
    busy = [(0.0, 0.0, 0.0 if not wish.focus else 60.0)]
    for index in range(len(scene.subjects)):
        points = scene.corners(index)
        low, high = points.min(axis=0), points.max(axis=0)
        busy.append((*((low + high) / 2)[:2], float(np.hypot(*(high - low)[:2]) / 2) + 12))
    if scene.place == "lift":
        busy.append((0.0, 300.0, 700.0))
    for name in (*wish.look_alikes, *wish.everyday):
        maker = LOOK_ALIKES.get(name) or EVERYDAY[name]
        pieces = placed(maker(rng), turn("z", rng.uniform(-50, 50)))
        size = radius_of(pieces)
        for attempt in range(50):
            spread = (120 if not wish.focus else 260) + 14 * attempt
            x, y = rng.uniform(-1.6, 1.6) * spread, rng.uniform(-0.25 if wish.focus else -0.8, 1.0) * spread
            if y + size < scene.back_y and all(np.hypot(x - a, y - b) > size + r for a, b, r in busy):
                break
        else:
            continue
        busy.append((x, y, size))
        known = name in LOOK_ALIKES
        number = 100 + len(scene.look_alikes) if known else (-2 if not wish.focus else -1)
        low, _ = extent(pieces)
        scene.pieces += marked(placed(pieces, shift(x, y, ground - float(low[2]))), number)
        if known:
            scene.look_alikes.append(name)


def _cover(rng, scene: Scene) -> None:
    """A cloth strip, a strap or a thick cable before a part of the focus."""
    low, high = (f(axis=0) for f in (scene.corners(scene.focus).min, scene.corners(scene.focus).max))
    size, y = high - low, low[1] - 35
    if rng.random() < 0.5:
        z = rng.uniform(low[2] + 0.2 * size[2], high[2] - 0.2 * size[2])
        path = bezier(
            [
                [low[0] - 120, y, z + 60],
                [low[0], y - 20, z - 30],
                [high[0], y - 20, z + 30],
                [high[0] + 120, y, z - 60],
            ],
            40,
        )
        scene.pieces.append(sweep(path, rng.uniform(12, 24), paints.fabric(rng)))
        return
    x = rng.uniform(low[0], high[0])
    sheet = block(
        rng.uniform(0.25, 0.5) * size[0], 4, size[2] * rng.uniform(0.5, 1.4), paints.fabric(rng), bevel_mm=1.5
    )
    scene.pieces.append(
        sheet.moved(shift(x, y, low[2] + rng.uniform(0.0, 0.4) * size[2]) @ turn("y", rng.uniform(-25, 25)))
    )

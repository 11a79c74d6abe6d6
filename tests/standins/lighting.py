"""The surfaces round a scene and the light in it: closed rooms, environment maps, open sky, studio lamps."""

from __future__ import annotations

import numpy as np

from . import paints
from .kit import Finish, block, frame, shift
from .scene import Light, Scene, World

MAPS = ("bridge", "esplanade", "hall", "lab", "lobby", "venice")
CLOSED = ("room", "night", "flash")
_, Y, Z = np.eye(3)


def light_up(rng, scene: Scene) -> None:
    """The surfaces round the scene and the light that falls into it."""
    wall_finish, floor_finish = paints.wall(rng), paints.floor(rng)
    has_wall = scene.place == "wall" or scene.lighting in CLOSED or rng.random() < 0.55
    if not has_wall:
        scene.back_y = 1e5
    floor_z, back = scene.floor_z, scene.back_y
    ground = 7000 if scene.lighting in CLOSED else 14000
    scene.pieces.append(block(ground, ground, 20, floor_finish).moved(shift(0, 0, floor_z - 20)))
    if has_wall:
        scene.pieces.append(block(ground, 60, 2700, wall_finish).moved(shift(0, back + 30, floor_z)))
        scene.pieces.append(
            block(ground, 14, rng.uniform(60, 110), paints.plastic(rng)).moved(shift(0, back - 5, floor_z))
        )
    if scene.lighting in CLOSED:
        _room(rng, scene, wall_finish)
    elif scene.lighting == "map":
        scene.world = World("map", 1.0, str(rng.choice(MAPS)), float(rng.uniform(0, 360)))
    elif scene.lighting == "sky":
        scene.world = World(
            "sky", 0.25, turn_deg=float(rng.uniform(0, 360)), sun_elevation_deg=float(rng.uniform(12, 65))
        )
    else:
        scene.world = World(
            "plain", float(rng.uniform(0.1, 0.5)), colour=tuple(float(v) for v in rng.uniform(0.8, 1.0, 3))
        )
        for _ in range(int(rng.integers(2, 4))):
            spot = np.array(
                [
                    rng.uniform(-1500, 1500),
                    rng.uniform(-1600, min(300, back - 200)),
                    max(rng.uniform(600, 1900), floor_z + 500),
                ]
            )
            scene.lights.append(_lamp(spot, rng.uniform(8, 40), _warmth(rng), rng.uniform(200, 900)))


def _room(rng, scene: Scene, finish: Finish) -> None:
    """Side walls, a rear wall, a ceiling; windows and ceiling panels, one lamp at night, little light for a flash."""
    half, front, floor_z = rng.uniform(1700, 2900), -rng.uniform(3600, 4600), scene.floor_z
    deep = scene.back_y - front
    middle = (scene.back_y + front) / 2
    ceiling = Finish((0.8, 0.8, 0.78), 0.9)
    scene.pieces += [
        block(60, deep, 2700, finish).moved(shift(side * (half + 30), middle, floor_z)) for side in (-1, 1)
    ]
    scene.pieces.append(block(2 * half, 60, 2700, finish).moved(shift(0, front - 30, floor_z)))
    scene.pieces.append(block(2 * half, deep, 30, ceiling).moved(shift(0, middle, floor_z + 2700)))
    scene.world = World("plain", 0.02)
    if scene.lighting == "night":
        spot = np.array(
            [rng.uniform(-900, 900), scene.back_y - rng.uniform(300, 900), floor_z + rng.uniform(1000, 1700)]
        )
        scene.lights.append(
            _lamp(spot, rng.uniform(6, 16), (1.0, 0.72, 0.42), 140, aim=np.array([0, 0, floor_z + 500]))
        )
        return
    dim = 0.15 if scene.lighting == "flash" else 1.0
    for _ in range(int(rng.integers(1, 3))):
        side = float(rng.choice([-1, 1]))
        matrix = frame(
            np.array([side * (half - 5), rng.uniform(front * 0.6, scene.back_y - 700), floor_z + 1500]), Y * side, Z
        )
        scene.lights.append(Light("area", matrix, dim * rng.uniform(60, 220), (0.85, 0.93, 1.0), 1200))
    for _ in range(int(rng.integers(0, 4))):
        spot = np.array(
            [rng.uniform(-1, 1) * (half - 500), rng.uniform(front + 800, scene.back_y - 300), floor_z + 2690]
        )
        scene.lights.append(_lamp(spot, dim * rng.uniform(25, 70), _warmth(rng), 600, aim=spot - [0, 0, 100]))


def _lamp(
    spot: np.ndarray, power_w: float, colour: tuple[float, float, float], size_mm: float, aim: np.ndarray | None = None
) -> Light:
    outward = spot - (np.zeros(3) if aim is None else aim)
    right = np.cross([0.02, 1.0, 0.03], outward)
    return Light("area", frame(spot, right, np.cross(outward, right)), float(power_w), colour, float(size_mm))


def _warmth(rng) -> tuple[float, float, float]:
    warm = rng.random()
    return (1.0, 1.0 - 0.25 * warm, 1.0 - 0.5 * warm)

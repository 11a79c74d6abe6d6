"""A hand that points at a thing, holds it or covers a part of it."""

import numpy as np
from manifold3d import Manifold, OpType

from synthetic_samples.geometry import Material, Part, Piece, rod

_SKIN = ((0.72, 0.5, 0.38), (0.5, 0.3, 0.2), (0.2, 0.11, 0.07), (0.8, 0.62, 0.52), (0.32, 0.18, 0.11))  # linear RGB
_GLOVE = ((0.05, 0.2, 0.55), (0.8, 0.8, 0.78), (0.02, 0.02, 0.02))


def hand(rng: np.random.Generator, at: np.ndarray, towards: np.ndarray, size_m: float) -> list[Piece]:
    """Fingers whose tips touch round `at` (3,), coming from the side `towards` (3,); they cover `size_m` at most."""
    way = towards / np.linalg.norm(towards)
    side = np.cross(way, rng.normal(0, 1, 3))
    side /= np.linalg.norm(side)
    skin = _SKIN[int(rng.integers(len(_SKIN)))] if rng.random() < 0.8 else _GLOVE[int(rng.integers(len(_GLOVE)))]
    count = int(rng.integers(1, 5))
    pitch = min(0.02, size_m / max(count, 2))
    fingers = []
    knuckles = []
    for k in range(count):
        thick = rng.uniform(0.0065, 0.009)
        tip = at + side * (k - (count - 1) / 2) * pitch + way * rng.uniform(0.002, 0.012)
        middle = tip + way * rng.uniform(0.02, 0.03) + rng.normal(0, 0.004, 3)
        knuckle = middle + way * rng.uniform(0.035, 0.05) + np.cross(way, side) * rng.uniform(-0.02, 0.02)
        fingers += [rod(tip, middle, thick), rod(middle, knuckle, thick * 1.1)]
        fingers += [Manifold.sphere(thick * grown, 16).translate(tuple(p)) for p, grown in ((tip, 1), (middle, 1.05))]
        knuckles.append(Manifold.sphere(thick * 1.4, 16).translate(tuple(knuckle)))
    wrist = at + way * rng.uniform(0.15, 0.2)
    palm = Manifold.batch_hull([*knuckles, Manifold.sphere(0.03, 20).translate(tuple(wrist))])
    arm = rod(wrist, wrist + way * 0.25 + rng.normal(0, 0.03, 3), 0.03)
    material = Material(tuple(float(c * rng.uniform(0.85, 1.1)) for c in skin), 0.55)
    sleeve = Material(tuple(map(float, rng.uniform(0.02, 0.7, 3))), 0.9)
    return [Part(Manifold.batch_boolean([*fingers, palm], OpType.Add), material, crease_deg=60), Part(arm, sleeve)]

"""What a thing is in the main: a case, a slab, a tub, a ring, a frame, a bent tube, a stack."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold, OpType

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    block,
    cable,
    curve,
    moved,
    rod,
    rounded_block,
    shift,
    turned,
)
from synthetic_samples.grammar.operations import body
from synthetic_samples.materials.materials import (
    housing_material,
    metal,
    painted_metal,
    plain_material,
    rubber,
)


@dataclass(frozen=True, eq=False)
class Build:
    """The main solid round the origin, what else belongs to it, and its width, depth and height (m)."""

    solid: Manifold
    pieces: list[Piece]
    size: tuple[float, float, float]


def any_material(rng: np.random.Generator) -> Material:
    """Moulded plastic, paint, smooth plastic, metal or rubber."""
    draw = (housing_material, painted_metal, plain_material, metal, rubber)
    return draw[int(rng.choice(len(draw), p=[0.4, 0.2, 0.25, 0.1, 0.05]))](rng)


def _sized(rng: np.random.Generator, low: float, high: float) -> tuple[float, float, float]:
    w, d, h = (float(x) for x in np.exp(rng.uniform(np.log(low), np.log(high), 3)))
    return w, d, h


def _of_one(rng: np.random.Generator, solid: Manifold, crease_deg: float = 35.0) -> Build:
    low, high = np.array(solid.bounding_box()).reshape(2, 3)
    centred = solid.translate(tuple(-(low + high) / 2))
    w, d, h = (float(x) for x in high - low)
    return Build(centred, [Part(centred, any_material(rng), crease_deg=crease_deg)], (w, d, h))


def _case(rng: np.random.Generator, style: str) -> Build:
    return _of_one(rng, body(rng, style, _sized(rng, 0.06, 0.35)))


def _slab(rng: np.random.Generator, style: str) -> Build:
    w, _, h = _sized(rng, 0.06, 0.3)
    return _of_one(rng, body(rng, style, (w, float(rng.uniform(0.008, 0.03)), h), changes=rng.random() < 0.4))


def _tub(rng: np.random.Generator, style: str) -> Build:
    """Open above: basin, crate, tray, bin."""
    w, d, h = _sized(rng, 0.1, 0.35)
    outer, wall = body(rng, style, (w, d, h), changes=False), min(w, d, h) * float(rng.uniform(0.04, 0.12))
    inner = outer.scale((1 - 2 * wall / w, 1 - 2 * wall / d, 1.0)).translate((0, 0, wall))
    return _of_one(rng, outer - inner)


def _vase(rng: np.random.Generator, style: str) -> Build:
    h, r = float(rng.uniform(0.08, 0.35)), float(rng.uniform(0.03, 0.11))
    radii = r * rng.uniform(0.35, 1.0, int(rng.integers(3, 8)))
    return _of_one(rng, turned([(0, 0), *zip(radii, np.linspace(0, h, len(radii)), strict=True), (0, h)], 64), 50.0)


def _ring(rng: np.random.Generator, style: str) -> Build:
    r, thick = float(rng.uniform(0.05, 0.16)), float(rng.uniform(0.006, 0.03))
    angles = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    hoop = turned([(r + thick * np.cos(a), thick * np.sin(a)) for a in angles], 64)
    spokes = [
        rod((0, 0, 0), (r * np.cos(a), r * np.sin(a), 0), thick * 0.5) for a in angles[:: int(rng.integers(4, 8))]
    ]
    whole = Manifold.batch_boolean([hoop, *spokes], OpType.Add) if rng.random() < 0.7 else hoop
    return _of_one(rng, whole.rotate((90, 0, 0)) if rng.random() < 0.7 else whole, 50.0)


def _frame(rng: np.random.Generator, style: str) -> Build:
    """Tubes joined to a gate, rack, stool or walker."""
    w, d, h = _sized(rng, 0.15, 0.5)
    r = float(rng.uniform(0.006, 0.016))
    corners = [(x * w / 2, y * d / 2) for x in (-1, 1) for y in (-1, 1)]
    posts = [rod((x, y, -h / 2), (x, y, h / 2), r) for x, y in corners]
    bars = []
    for z in rng.uniform(-0.45, 0.5, int(rng.integers(1, 4))) * h:
        for (x, y), (u, v) in ((corners[0], corners[1]), (corners[2], corners[3]), (corners[0], corners[2])):
            bars.append(rod((x, y, z), (u, v, z), r * 0.9))
    return _of_one(rng, Manifold.batch_boolean([*posts, *bars], OpType.Add), 50.0)


def _branch(rng: np.random.Generator, style: str) -> Build:
    """A bent tube: handrail, lever, exhaust, drain."""
    points = np.cumsum(rng.normal(0, 0.09, (int(rng.integers(4, 7)), 3)), axis=0)
    return _of_one(rng, cable(curve(points, 40), float(rng.uniform(0.008, 0.03)), 20), 50.0)


def _stack(rng: np.random.Generator, style: str) -> Build:
    """Boards, books, trays, boxes on one another, each its own way."""
    pieces: list[Piece] = []
    z, widest, deepest = 0.0, 0.0, 0.0
    for _ in range(int(rng.integers(2, 6))):
        w, d, h = float(rng.uniform(0.1, 0.28)), float(rng.uniform(0.08, 0.2)), float(rng.uniform(0.015, 0.08))
        one = body(rng, style, (w, d, h), changes=False).rotate((0, 0, float(rng.normal(0, 8))))
        pieces.append(Part(one.translate((0, 0, z + h / 2)), any_material(rng)))
        z, widest, deepest = z + h, max(widest, w), max(deepest, d)
    lowered = moved(pieces, shift(z=-z / 2))
    whole = Manifold.batch_boolean([piece.solid for piece in lowered if isinstance(piece, Part)], OpType.Add)
    return Build(whole, lowered, (widest, deepest, z))


def _wedge(rng: np.random.Generator, style: str) -> Build:
    """Slanted in front: desk, cash register, ramp."""
    w, d, h = _sized(rng, 0.08, 0.3)
    cut = block(2, 2, 1).translate((0, 0, 0.5)).rotate((float(rng.uniform(15, 55)), 0, 0))
    return _of_one(rng, rounded_block(w, d, h, min(w, d, h) * 0.08) - cut.translate((0, -d * 0.1, h * 0.1)))


def _ball(rng: np.random.Generator, style: str) -> Build:
    w, d, h = _sized(rng, 0.06, 0.2)
    return _of_one(rng, Manifold.sphere(0.5, 48).scale((w, d, h)), 50.0)


def _bundle(rng: np.random.Generator, style: str) -> Build:
    """Sticks side by side: broom, pipes, pens."""
    long, r = float(rng.uniform(0.15, 0.5)), float(rng.uniform(0.004, 0.015))
    spots = rng.normal(0, 2.2 * r, (int(rng.integers(3, 10)), 2))
    ends = rng.uniform(0.7, 1.0, len(spots)) * long / 2
    sticks = [rod((x, y, -e), (x * 1.6, y * 1.6, e), r) for (x, y), e in zip(spots, ends, strict=True)]
    return _of_one(rng, Manifold.batch_boolean(sticks, OpType.Add), 50.0)


def _shoe(rng: np.random.Generator, style: str) -> Build:
    """A long low shell on a flat sole: iron, shoe, mouse, saddle."""
    w, d, h = float(rng.uniform(0.06, 0.12)), float(rng.uniform(0.15, 0.3)), float(rng.uniform(0.05, 0.12))
    shell = Manifold.sphere(0.5, 48).scale((w, d, 2 * h)) ^ block(1, 1, 1).translate((0, 0, 0.5))
    sole = Manifold.sphere(0.5, 48).scale((w * 1.06, d * 1.04, 0.02))
    return _of_one(rng, shell + sole, 50.0)


BUILDS: dict[str, Callable[[np.random.Generator, str], Build]] = {
    "case": _case, "slab": _slab, "tub": _tub, "vase": _vase, "ring": _ring, "frame": _frame, "branch": _branch,
    "stack": _stack, "wedge": _wedge, "ball": _ball, "bundle": _bundle, "shoe": _shoe,
}  # fmt: skip

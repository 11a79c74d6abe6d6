"""What is done to a solid: ribs, grooves, steps, bites, bosses, slopes, feet, dishes, waists, cuts, rails, scallops."""

from collections.abc import Callable

import numpy as np
from manifold3d import Manifold, OpType

from synthetic_samples.geometry import bevelled_prism, block, cylinder, rounded_block
from synthetic_samples.grammar.outlines import outline

Size = tuple[float, float, float]


def changed(rng: np.random.Generator, kind: str, style: str, solid: Manifold, size: Size) -> Manifold:
    """The solid, which fills `size` (m) round the origin, after one change of this kind; it may fill another size."""
    return _CHANGED[kind](rng, style, solid, size)


def along(axis: int, solid: Manifold) -> Manifold:
    """A solid built along z, laid along x (0), y (1) or left standing (2)."""
    return solid.rotate((0, 90, 0)) if axis == 0 else solid.rotate((90, 0, 0)) if axis == 1 else solid


def across(axis: int, size: Size) -> tuple[float, float, float]:
    """Width and height of the outline, and its length, of what is built along an axis of a size."""
    w, d, h = size
    return (h, d, w) if axis == 0 else (w, h, d) if axis == 1 else (w, d, h)


def _ribs(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """Ribs along a flank, standing out or cut in."""
    w, d, h = size
    count, out = int(rng.integers(3, 10)), min(w, d) * rng.uniform(0.015, 0.05)
    upright = rng.random() < 0.5
    span, thick = (d if upright else h) * rng.uniform(0.4, 0.8), rng.uniform(0.002, 0.006)
    ribs = []
    for at in np.linspace(-span / 2, span / 2, count):
        rib = block(w + 2 * out, thick, h * 0.8) if upright else block(w + 2 * out, d * 0.8, thick)
        ribs.append(rib.translate((0, at, 0) if upright else (0, 0, at)))
    bars = Manifold.batch_boolean(ribs, OpType.Add)
    return solid + bars if rng.random() < 0.6 else solid - (bars - block(w - 2 * out, d * 2, h * 2))


def _groove(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A thin groove where two shells meet: cosmetic, nothing comes off."""
    w, d, h = size
    deep, gap, axis = 0.002, rng.uniform(0.0006, 0.0014), int(rng.integers(3))
    cut = [2 * w, 2 * d, 2 * h]
    cut[axis] = gap
    kept = [w - 2 * deep, d - 2 * deep, h - 2 * deep]
    kept[axis] = 1.0
    where = [0.0, 0.0, 0.0]
    where[axis] = float(rng.uniform(-0.3, 0.3)) * size[axis]
    return solid - (block(*cut) - block(*kept)).translate(tuple(where))


def _step(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A whole edge cut away in a step."""
    w, d, h = size
    cut = [2 * w, 2 * d, 2 * h]
    axes = rng.choice(3, 2, replace=False)
    where = [0.0, 0.0, 0.0]
    for axis in axes:
        cut[axis] = size[axis] * rng.uniform(0.12, 0.4)
        where[axis] = float(rng.choice([-1, 1])) * size[axis] / 2
    return solid - block(*cut).translate(tuple(where))


def _bite(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A round bite out of an edge, as a grip or for a cable."""
    axis = int(rng.integers(3))
    wide, deep, length = across(axis, size)
    hole = cylinder(min(wide, deep) * rng.uniform(0.12, 0.35), 4 * length).translate((0, 0, -2 * length))
    side = rng.uniform(-0.3, 0.3) * wide, deep / 2 * float(rng.choice([-1, 1]))
    return solid - along(axis, hole.translate((*side, 0)))


def _boss(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A smaller slab that stands out of a face; the whole is fitted into its size again."""
    share = rng.uniform(0.3, 0.8, 3)
    where = rng.uniform(-0.15, 0.15, 3) * size
    axis = int(rng.integers(3))
    share[axis], where[axis] = 0.3, float(rng.choice([-1, 1])) * size[axis] * 0.42
    w, d, h = (float(side) for side in share * size)
    return solid + rounded_block(w, d, h, min(w, d, h) * rng.uniform(0.05, 0.4)).translate(tuple(where))


def _slope(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A plane that cuts an edge off slantwise, mostly the upper front."""
    w, d, h = size
    normal = np.array([0.0, -1.0, rng.uniform(0.3, 1.5)])
    if rng.random() < 0.35:
        normal = np.array([float(rng.choice([-1, 1])), 0.0, rng.uniform(0.3, 1.5)])
    unit = normal / np.linalg.norm(normal)
    reach = float(np.abs(unit * (w, d, h)).sum()) / 2
    return solid.trim_by_plane(tuple(-unit), -reach * rng.uniform(0.62, 0.85))


def _foot(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A wider foot, head or belt."""
    w, d, h = size
    tall, narrow = h * rng.uniform(0.06, 0.2), rng.uniform(0.84, 0.96)
    level = float(rng.choice([-(h - tall) / 2, (h - tall) / 2, rng.uniform(-0.3, 0.3) * h], p=[0.5, 0.25, 0.25]))
    belt = bevelled_prism(outline(rng, style, w, d, but=("notched", "bent")), tall, tall * 0.2)
    return solid.scale((narrow, narrow, 1.0)) + belt.translate((0, 0, level))


def _dish(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A shallow recess in the front or a side, flat at its ground."""
    w, d, h = size
    front = rng.random() < 0.6
    plate = rounded_block((w if front else d) * rng.uniform(0.5, 0.85), 0.02, h * rng.uniform(0.4, 0.85), 0.005)
    deep = rng.uniform(0.0015, 0.005)
    if front:
        return solid - plate.translate((0, -d / 2 - 0.01 + deep, h * rng.uniform(-0.05, 0.05)))
    side = float(rng.choice([-1, 1]))
    return solid - plate.rotate((0, 0, 90)).translate((side * (w / 2 + 0.01 - deep), 0, 0))


def _waist(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A broad band round it drawn in."""
    w, d, h = size
    deep, tall = min(w, d) * rng.uniform(0.03, 0.08), h * rng.uniform(0.1, 0.4)
    ring = block(2 * w, 2 * d, tall) - rounded_block(w - 2 * deep, d - 2 * deep, 2 * h, min(w, d) * 0.1)
    return solid - ring.translate((0, 0, float(rng.uniform(-0.25, 0.25)) * h))


def _corner_cut(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """One corner cut off."""
    signs = rng.choice([-1.0, 1.0], 3)
    unit = signs / np.array(size)
    unit /= np.linalg.norm(unit)
    reach = float(np.abs(unit * size).sum()) / 2
    return solid.trim_by_plane(tuple(-unit), -reach * rng.uniform(0.55, 0.8))


def _rail(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """Two rails that run along it."""
    w, d, h = size
    wide, out = d * rng.uniform(0.06, 0.14), w * rng.uniform(0.02, 0.06)
    y = d * rng.uniform(0.15, 0.35)
    rails = [block(w + 2 * out, wide, h * rng.uniform(0.7, 1.0)).translate((0, side * y, 0)) for side in (-1, 1)]
    return solid + rails[0] + rails[1]


def _scallops(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """A row of round bites along an upright edge or the rim."""
    w, d, h = size
    count, radius = int(rng.integers(3, 7)), h * rng.uniform(0.03, 0.06)
    side, line = float(rng.choice([-1, 1])), np.linspace(-0.35, 0.35, int(count)) * h
    bites = [cylinder(radius, 3 * d).translate((0, 0, -1.5 * d)).rotate((90, 0, 0)) for _ in line]
    put = [bite.translate((side * w / 2, 0, float(z))) for bite, z in zip(bites, line, strict=True)]
    return solid - Manifold.batch_boolean(put, OpType.Add)


def _saddle(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    """The top or the back hollowed by a large round."""
    w, d, h = size
    deep = h * rng.uniform(0.05, 0.14)
    radius = (w**2 / 4 + deep**2) / (2 * deep)
    drum = cylinder(radius, 3 * d, segments=128).translate((0, 0, -1.5 * d)).rotate((90, 0, 0))
    return solid - drum.translate((0, 0, h / 2 - deep + radius))


_CHANGED: dict[str, Callable[[np.random.Generator, str, Manifold, Size], Manifold]] = {
    "ribs": _ribs, "groove": _groove, "step": _step, "bite": _bite, "boss": _boss, "slope": _slope, "foot": _foot,
    "dish": _dish, "waist": _waist, "corner_cut": _corner_cut, "rail": _rail, "scallops": _scallops,
    "saddle": _saddle,
}  # fmt: skip

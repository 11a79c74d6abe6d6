"""Housings from operations: extruded, turned, blended, stacked, joined or crossed, then changed and mirrored."""

from collections.abc import Callable

import numpy as np
from manifold3d import Manifold, OpType

from synthetic_samples.geometry import bevelled_prism, block, cylinder, rounded_block, turned
from synthetic_samples.grammar.changes import Size, across, along, changed
from synthetic_samples.grammar.outlines import outline
from synthetic_samples.splits import production

_CHANGES = (0.3, 0.35, 0.25, 0.1)  # how often a solid is changed 0, 1, 2 or 3 times
_KEPT_SHARE = 0.45  # of its bounding box that a housing fills at least: less is a frame, not a housing


def body(rng: np.random.Generator, style: str, size: Size, changes: bool = True) -> Manifold:
    """One sound solid that fills width x depth x height metres round the origin, built by a style's productions."""
    solid = filling(_SOLIDS[production(rng, "solid", style)](rng, style, size), size)
    for _ in range(int(rng.choice(4, p=_CHANGES)) if changes else 0):
        solid = _changed(rng, style, solid, size)
    if rng.random() < 0.25:  # mirrored, as most moulded things are
        half = solid ^ block(size[0], size[1] * 2, size[2] * 2).translate((size[0] / 2, 0, 0))
        solid = _accepted(half + half.mirror((1, 0, 0)), solid, size)
    return filling(solid, size)


def filling(solid: Manifold, size: Size) -> Manifold:
    """The solid stretched and shifted so that it fills a size (m) round the origin."""
    low, high = np.array(solid.bounding_box()).reshape(2, 3)
    share = np.array(size) / (high - low)
    return solid.translate(tuple(-(low + high) / 2)).scale(tuple(map(float, share)))


def _changed(rng: np.random.Generator, style: str, solid: Manifold, size: Size) -> Manifold:
    return _accepted(changed(rng, production(rng, "change", style), style, solid, size), solid, size)


def _accepted(new: Manifold, old: Manifold, size: Size) -> Manifold:
    """The changed solid, in one piece; the old one where the change would leave no housing."""
    pieces = new.decompose()
    if not pieces:
        return old
    whole = max(pieces, key=Manifold.volume)
    return whole if whole.volume() > _KEPT_SHARE * np.prod(size) * 0.8 and whole.volume() > 0.5 * old.volume() else old


# Solids ---------------------------------------------------------------------------------------------------------------


def _extruded(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    axis = int(rng.choice(3, p=[0.2, 0.4, 0.4]))
    wide, deep, length = across(axis, size)
    shape = outline(rng, style, wide, deep)
    bevel = min(size) * float(rng.choice([0.0, rng.uniform(0.01, 0.05), rng.uniform(0.05, 0.2)], p=[0.2, 0.4, 0.4]))
    if shape.area() < 0.97 * shape.hull().area():  # a bevel is a hull: it would fill what is notched
        return along(axis, Manifold.extrude(shape, length))
    return along(axis, bevelled_prism(shape, length, bevel))


def _turned(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    axis = int(rng.integers(3))
    _, _, length = across(axis, size)
    steps = int(rng.integers(2, 6))
    z = np.sort(np.concatenate([[0.0, 1.0], rng.uniform(0.08, 0.92, steps - 1)])) * length
    radii = rng.uniform(0.72, 1.0, len(z)) * length / 2
    smooth = rng.random() < 0.5
    points = [(0.0, 0.0)]
    for k, (radius, at) in enumerate(zip(radii, z, strict=True)):
        if k and not smooth:
            points.append((float(radius), float(z[k - 1])))
        points.append((float(radius), float(at)))
    return along(axis, turned([*points, (0.0, length)], 64))


def _blended(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    """The hull of a few slices: one outline that becomes another."""
    axis = int(rng.choice(3, p=[0.2, 0.4, 0.4]))
    wide, deep, length = across(axis, size)
    slices, thin = [], length * 0.02
    for z in (0.0, *sorted(rng.uniform(0.1, 0.9, int(rng.integers(0, 3)))), 1.0):
        shape = outline(rng, style, wide * rng.uniform(0.72, 1.0), deep * rng.uniform(0.72, 1.0))
        slices.append(Manifold.extrude(shape, thin).translate((0, 0, z * (length - thin))))
    return along(axis, Manifold.batch_hull(slices))


def _stacked(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    """Slabs of unlike outlines on each other."""
    axis = int(rng.integers(3))
    wide, deep, length = across(axis, size)
    cuts = np.sort(np.concatenate([[0.0, 1.0], rng.uniform(0.15, 0.85, int(rng.integers(1, 3)))])) * length
    slabs = []
    for low, high in zip(cuts[:-1], cuts[1:], strict=True):
        shape = outline(rng, style, wide * rng.uniform(0.8, 1.0), deep * rng.uniform(0.8, 1.0))
        slabs.append(Manifold.extrude(shape, max(high - low, 0.004) + 0.001).translate((0, 0, low)))
    return along(axis, Manifold.batch_boolean(slabs, OpType.Add))


def _joined(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    """Two or three plain solids grown into each other."""
    parts = []
    for k in range(int(rng.integers(2, 4))):
        share = rng.uniform(0.75, 1.0, 3) if k == 0 else rng.uniform(0.4, 0.95, 3)
        w, d, h = (float(side) for side in share * size)
        room = (np.array(size) - (w, d, h)) / 2
        kind = rng.random()
        if kind < 0.5:
            one = rounded_block(w, d, h, min(w, d, h) * rng.uniform(0.03, 0.45))
        elif kind < 0.8:
            one = filling(cylinder(0.5, 1.0, float(rng.uniform(0.35, 0.5)), 48), (w, d, h))
            one = filling(along(int(rng.integers(3)), one), (w, d, h))
        else:
            one = Manifold.sphere(0.5, 40).scale((w, d, h))
        parts.append(one.translate(tuple(rng.uniform(-1, 1, 3) * room)))
    return Manifold.batch_boolean(parts, OpType.Add)


def _crossed(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    """What two outlines, seen from two sides, have in common."""
    first, second = rng.choice(3, 2, replace=False)
    solids = []
    for axis in (int(first), int(second)):
        wide, deep, length = across(axis, size)
        shape = outline(rng, style, wide, deep, but=("half_round", "bent"))
        solids.append(along(axis, Manifold.extrude(shape, length * 1.01).translate((0, 0, -length * 0.505))))
    return solids[0] ^ solids[1]


def _faceted(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    """The hull of points near a block's corners: flat faces that lean."""
    corners = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * 0.5
    points = np.vstack([corners * rng.uniform(0.7, 1.0, (8, 3)) for _ in range(2)]) * size
    return Manifold.hull_points(points)


def _lofted(rng: np.random.Generator, style: str, size: Size) -> Manifold:
    """An outline that turns and narrows on its way."""
    axis = int(rng.choice(3, p=[0.15, 0.35, 0.5]))
    wide, deep, length = across(axis, size)
    shape = outline(rng, style, wide, deep)
    narrower = tuple(map(float, rng.uniform(0.7, 1.0, 2)))
    return along(axis, Manifold.extrude(shape, length, 12, float(rng.uniform(-25, 25)), narrower))


_SOLIDS: dict[str, Callable[[np.random.Generator, str, Size], Manifold]] = {
    "extruded": _extruded, "turned": _turned, "blended": _blended, "stacked": _stacked, "joined": _joined,
    "crossed": _crossed, "faceted": _faceted, "lofted": _lofted,
}  # fmt: skip


def seated(solid: Manifold, radius: float, half: float) -> Manifold:
    """The solid with a round seat on the axis whose two faces lie at -half and half: where ends and tubes stand."""
    return solid + cylinder(radius, 2 * half).translate((0, 0, -half))

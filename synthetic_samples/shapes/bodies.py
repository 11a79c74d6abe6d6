"""Housing shapes: one function a geometry family, all filling the same outer size."""

from collections.abc import Callable

import numpy as np
from manifold3d import CrossSection, Manifold, OpType

from synthetic_samples.geometry import bevelled_prism, block, cylinder, rounded_block, rounded_outline

BODY_FAMILIES = {
    "train": ("rounded", "slab_edges", "column", "sloped_front", "barrel", "finned", "two_shells", "chamfered"),
    "calibration": ("tapered", "skirted"),
    "heldout": ("domed_front", "octagonal"),
}
"""Families by style; no family stands in two styles."""


def housing(rng: np.random.Generator, family: str, width: float, depth: float, height: float) -> Manifold:
    """A closed housing of one family, centred on the origin, with the outer size given in metres."""
    return _BUILDERS[family](rng, width, depth, height)


def _radius(rng: np.random.Generator, *sizes: float) -> float:
    return float(min(sizes) * rng.uniform(0.03, 0.28))


def _rounded(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    return rounded_block(w, d, h, _radius(rng, w, d, h))


def _slab_edges(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """Outline rounded as seen from the front, front and back rims bevelled."""
    outline = rounded_outline(w, h, min(w, h) * rng.uniform(0.05, 0.4))
    return bevelled_prism(outline, d, d * rng.uniform(0.02, 0.2)).rotate((90, 0, 0))


def _column(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """Outline rounded as seen from above."""
    outline = rounded_outline(w, d, min(w, d) * rng.uniform(0.08, 0.48))
    return bevelled_prism(outline, h, min(w, d) * rng.uniform(0.02, 0.12))


def _sloped_front(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """The upper part of the front leans back."""
    cut, start = d * rng.uniform(0.15, 0.4), h * rng.uniform(-0.2, 0.25)
    side = CrossSection([[(-d / 2, -h / 2), (d / 2, -h / 2), (d / 2, h / 2), (-d / 2 + cut, h / 2), (-d / 2, start)]])
    bevel = min(w, d) * rng.uniform(0.03, 0.1)
    return bevelled_prism(side, w, bevel).rotate((90, 0, 90))


def _barrel(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """Flanks that bulge, as seen from the front."""
    waist = w * rng.uniform(0.72, 0.9)
    z = np.linspace(-h / 2, h / 2, 13)
    half = waist / 2 + (w - waist) / 2 * np.sqrt(np.maximum(0.0, 1 - (2 * z / h) ** 2))
    outline = CrossSection([[*zip(half, z, strict=True), *zip(-half[::-1], z[::-1], strict=True)]])
    return bevelled_prism(outline, d, d * rng.uniform(0.03, 0.15)).rotate((90, 0, 0))


def _finned(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """Ribs down both sides."""
    core = rounded_block(w * 0.95, d, h, _radius(rng, w, d, h))
    count, thick = int(rng.integers(3, 9)), d * rng.uniform(0.02, 0.05)
    spread = d * rng.uniform(0.5, 0.8)
    fins = [block(w, thick, h * 0.86).translate((0, y, 0)) for y in np.linspace(-spread / 2, spread / 2, count)]
    return Manifold.batch_boolean([core, *fins], OpType.Add)


def _two_shells(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """A thin groove runs round the housing where its two shells meet: cosmetic, nothing comes off."""
    core = rounded_block(w, d, h, _radius(rng, w, d, h))
    y, groove = d * rng.uniform(-0.2, 0.3), rng.uniform(0.0006, 0.0014)
    ring = block(w * 2, groove, h * 2) - block(w - 0.003, 1.0, h - 0.003)
    return core - ring.translate((0, y, 0))


def _chamfered(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """Straight chamfers on every edge."""
    c = min(w, d, h) * rng.uniform(0.04, 0.16)
    return Manifold.batch_hull(
        [block(w - 2 * c, d - 2 * c, h), block(w - 2 * c, d, h - 2 * c), block(w, d - 2 * c, h - 2 * c)]
    )


def _tapered(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """Wider at one end than at the other."""
    narrow, radius = rng.uniform(0.75, 0.92), _radius(rng, w, d) * 0.6
    wide_up = rng.random() < 0.3
    sizes = (
        [(w, d, -h / 2), (w * narrow, d * narrow, h / 2)]
        if not wide_up
        else [(w * narrow, d * narrow, -h / 2), (w, d, h / 2)]
    )
    ends = [
        rounded_block(a, b, 2.2 * radius, radius).translate((0, (d - b) / 2, z - np.sign(z) * 1.1 * radius))
        for a, b, z in sizes
    ]
    return Manifold.batch_hull(ends)


def _skirted(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """A wider plinth at the foot."""
    narrow, foot = rng.uniform(0.84, 0.95), h * rng.uniform(0.06, 0.16)
    core = rounded_block(w * narrow, d * narrow, h, _radius(rng, w, d, h))
    plinth = bevelled_prism(rounded_outline(w, d, min(w, d) * 0.1), foot, foot * rng.uniform(0.1, 0.4))
    return core + plinth.translate((0, 0, -h / 2 + foot / 2))


def _domed_front(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """The front bulges towards the viewer."""
    bulge = d * rng.uniform(0.12, 0.3)
    curve_radius = (w**2 / 4 + bulge**2) / (2 * bulge)
    drum = cylinder(curve_radius, h, segments=160).translate((0, -d / 2 + curve_radius, -h / 2))
    slab = rounded_block(w, d * 2, h, _radius(rng, w, d, h)).translate((0, -d * 0.5, 0))
    return (drum ^ slab) ^ block(w, d, h)


def _octagonal(rng: np.random.Generator, w: float, d: float, h: float) -> Manifold:
    """Eight upright sides."""
    cut = min(w, d) * rng.uniform(0.15, 0.27)
    outline = CrossSection([[
        (-w / 2 + cut, -d / 2), (w / 2 - cut, -d / 2), (w / 2, -d / 2 + cut), (w / 2, d / 2 - cut),
        (w / 2 - cut, d / 2), (-w / 2 + cut, d / 2), (-w / 2, d / 2 - cut), (-w / 2, -d / 2 + cut),
    ]])  # fmt: skip
    return bevelled_prism(outline, h, min(w, d) * rng.uniform(0.02, 0.08))


_BUILDERS: dict[str, Callable[[np.random.Generator, float, float, float], Manifold]] = {
    "rounded": _rounded,
    "slab_edges": _slab_edges,
    "column": _column,
    "sloped_front": _sloped_front,
    "barrel": _barrel,
    "finned": _finned,
    "two_shells": _two_shells,
    "chamfered": _chamfered,
    "tapered": _tapered,
    "skirted": _skirted,
    "domed_front": _domed_front,
    "octagonal": _octagonal,
}

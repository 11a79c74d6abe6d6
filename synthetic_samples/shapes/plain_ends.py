"""Ends with nothing to work by hand, though some stand out, are ribbed or have corners."""

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import bevelled_prism, block, cylinder, rod, rounded_block, turned

_KINDS = {
    "ring": 0.23, "cone": 0.14, "hexagon": 0.12, "stepped": 0.12, "boot": 0.12, "clamp": 0.11, "flange": 0.08,
    "square": 0.08,
}  # fmt: skip


def plain_end(rng: np.random.Generator, radius: float) -> tuple[Manifold, float]:
    """A solid that stands on z = 0, at about this radius (m), and its height in metres."""
    kind = rng.choice(list(_KINDS), p=list(_KINDS.values()))
    height, turned_by = rng.uniform(0.006, 0.024), float(rng.uniform(0, 360))
    if kind == "ring":
        solid = bevelled_prism(CrossSection.circle(radius, 48), height, 0.001).translate((0, 0, height / 2))
    elif kind == "hexagon":
        solid = Manifold.extrude(CrossSection.circle(radius, 6), height)
    elif kind == "cone":
        solid = cylinder(radius, height, radius * rng.uniform(0.6, 0.9))
    elif kind == "stepped":
        solid = cylinder(radius, height * 0.5) + cylinder(radius * 0.8, height)
    elif kind == "boot":
        solid, height = _boot(rng, radius, height + 0.01), height + 0.01
    elif kind == "clamp":
        solid = _clamp(rng, radius, height)
    elif kind == "flange":
        height *= 0.5
        solid = _flange(rng, radius, height)
    else:
        solid = rounded_block(2 * radius, 2 * radius, height, radius * 0.1).translate((0, 0, height / 2))
    return solid.rotate((0, 0, turned_by)), height


def _boot(rng: np.random.Generator, radius: float, height: float) -> Manifold:
    """A rubber boot: ribs round it and none along it."""
    points = 2 * int(rng.integers(2, 6)) + 1
    wide = radius * np.where(np.arange(points) % 2, 1.0, rng.uniform(0.72, 0.9))
    return turned([(0, 0), *zip(wide, np.linspace(0, height, points), strict=True), (0, height)])


def _clamp(rng: np.random.Generator, radius: float, height: float) -> Manifold:
    """A ring closed by one screw at its side."""
    lug = block(0.012, rng.uniform(0.006, 0.014), height).translate((radius + 0.003, 0, height / 2))
    screw = rod((radius + 0.004, -0.012, height / 2), (radius + 0.004, 0.012, height / 2), height * 0.25)
    return cylinder(radius, height) + lug + screw


def _flange(rng: np.random.Generator, radius: float, height: float) -> Manifold:
    """A disc held by three to six screws."""
    angles = np.linspace(0, 2 * np.pi, int(rng.integers(3, 7)), endpoint=False)
    head = cylinder(0.003, height + 0.002, segments=12).translate((radius * 0.8, 0, 0))
    solid = cylinder(radius, height)
    for angle in angles:
        solid += head.rotate((0, 0, float(np.degrees(angle))))
    return solid

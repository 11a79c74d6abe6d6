"""Ends with nothing to work by hand, and what lies beyond an end whatever is worked there."""

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import block, cylinder, rod, rounded_block, turned
from synthetic_samples.splits import production


def plain_end(rng: np.random.Generator, style: str, radius: float) -> tuple[Manifold | None, float]:
    """A solid that stands on z = 0 within about this radius (m), and its height; None and 0 where nothing stands.

    No wider piece stands beyond a slimmer one: that would be a knob beyond its neck to who looks.
    """
    kind = production(rng, "plain", style)
    h = float(rng.uniform(0.006, 0.03))
    if kind == "nothing":
        return None, 0.0
    if kind in ("boot", "second_tube"):
        solid, h = (_boot if kind == "boot" else _second_tube)(rng, radius, h)
    elif kind == "flange":
        h *= 0.5
        solid = _flange(rng, radius, h)
    else:
        solid = _PLAIN.get(kind, _bevelled)(rng, radius, h)
    return solid.rotate((0, 0, float(rng.uniform(0, 360)))), h


def _boot(rng: np.random.Generator, r: float, h: float) -> tuple[Manifold, float]:
    """Ribs round it and none along it."""
    h += 0.012
    points = 2 * int(rng.integers(2, 7)) + 1
    wide = r * np.where(np.arange(points) % 2, rng.uniform(0.72, 0.9), 1.0)
    taper, z = np.linspace(1, rng.uniform(0.7, 1), points), np.linspace(0, h, points)
    return turned([(0, 0), *zip(wide * taper, z, strict=True), (0, h)]), h


def _second_tube(rng: np.random.Generator, r: float, h: float) -> tuple[Manifold, float]:
    h += float(rng.uniform(0.02, 0.09))
    return cylinder(r * rng.uniform(0.7, 1.0), h), h


def _flange(rng: np.random.Generator, r: float, h: float) -> Manifold:
    solid = cylinder(r, h)
    for angle in np.linspace(0, 360, int(rng.integers(3, 7)), endpoint=False):
        solid += cylinder(0.003, h + 0.0025, segments=12).translate((r * 0.8, 0, 0)).rotate((0, 0, angle))
    return solid


def _cone(rng: np.random.Generator, r: float, h: float) -> Manifold:
    return cylinder(r, h, r * rng.uniform(0.5, 0.9))


def _clamp(rng: np.random.Generator, r: float, h: float) -> Manifold:
    """A ring closed by one screw at its side."""
    lug = block(0.014, rng.uniform(0.006, 0.014), h).translate((r + 0.003, 0, h / 2))
    return cylinder(r, h) + lug + rod((r + 0.004, -0.012, h / 2), (r + 0.004, 0.012, h / 2), h * 0.22)


def _steps(rng: np.random.Generator, r: float, h: float) -> Manifold:
    return cylinder(r, h * 0.4) + cylinder(r * 0.85, h * 0.7) + cylinder(r * 0.65, h)


def _nut(rng: np.random.Generator, r: float, h: float) -> Manifold:
    solid = Manifold.extrude(CrossSection.circle(r, 6), h * 0.7) + cylinder(r * 0.6, h)
    return solid + cylinder(r * 1.0, 0.002) if rng.random() < 0.5 else solid


def _dome(rng: np.random.Generator, r: float, h: float) -> Manifold:
    return turned([(0, 0), *((r * np.cos(a), h * np.sin(a)) for a in np.linspace(0, 1.4, 9)), (0, h)])


def _bush(rng: np.random.Generator, r: float, h: float) -> Manifold:
    return cylinder(r, h) - cylinder(r * 0.7, h).translate((0, 0, h * 0.6))


def _strap(rng: np.random.Generator, r: float, h: float) -> Manifold:
    solid = cylinder(r * 0.93, h) + cylinder(r, h * 0.4).translate((0, 0, h * 0.3))
    return solid + block(0.012, 0.012, h * 0.6).translate((r, 0, h / 2))


def _bell(rng: np.random.Generator, r: float, h: float) -> Manifold:
    z = np.linspace(0, h, 8)
    return turned([(0, 0), *zip(r * (1 - 0.45 * np.sin(np.pi / 2 * z / h)), z, strict=True), (0, h)])


def _block(rng: np.random.Generator, r: float, h: float) -> Manifold:
    return rounded_block(1.7 * r, 1.5 * r, h, r * 0.1).translate((0, 0, h / 2))


def _bevelled(rng: np.random.Generator, r: float, h: float) -> Manifold:
    bevel = h * rng.uniform(0.05, 0.4)
    return turned([(0, 0), (r, 0), (r, h - bevel), (r * 0.93, h), (0, h)])


_PLAIN = {
    "cone": _cone, "clamp": _clamp, "steps": _steps, "nut": _nut, "dome": _dome, "bush": _bush, "strap": _strap,
    "bell": _bell, "block": _block,
}  # fmt: skip
"""What makes an end of this kind: `(rng, radius, height)`, both in metres."""


def beyond(rng: np.random.Generator, style: str, r: float) -> tuple[Manifold, Manifold | None, float]:
    """What an actuator is held by, standing on z = 0: the solid, a bolt through it or None, and its pin's height.

    `r` is the tube's radius.
    """
    kind = production(rng, "beyond", style)
    stem = float(rng.uniform(0.002, 0.035 if rng.random() < 0.4 else 0.012))
    if kind == "cap":
        h = float(rng.uniform(0.006, 0.02))
        return turned([(0, 0), (r, 0), (r, h * 0.6), (r * 0.8, h), (0, h)]), None, h
    stalk = cylinder(r * float(rng.uniform(0.4, 0.75)), stem + 0.004).translate((0, 0, -0.002))
    if kind == "ball":
        size = r * float(rng.uniform(0.5, 0.8))
        return stalk + Manifold.sphere(size, 32).translate((0, 0, stem + size * 0.8)), None, stem + size
    if kind == "plate":
        return _held_plate(rng, r, stem, stalk)
    if kind == "stud":
        long = float(rng.uniform(0.02, 0.045))
        stud = cylinder(r * 0.35, long) + Manifold.extrude(CrossSection.circle(r * 0.6, 6), 0.007)
        return stud.translate((0, 0, -0.001)), None, long
    return _lug(rng, r, stem, stalk, kind)


def _held_plate(
    rng: np.random.Generator, r: float, stem: float, stalk: Manifold
) -> tuple[Manifold, Manifold | None, float]:
    """A plate with two holes across the stalk."""
    wide, thick = r * float(rng.uniform(1.6, 3.0)), float(rng.uniform(0.004, 0.008))
    plate = rounded_block(wide, r * 1.3, thick, 0.0015).translate((0, 0, stem + thick / 2))
    for side in (-1, 1):
        plate -= cylinder(0.003, 0.1).translate((side * wide * 0.36, 0, -0.02))
    return stalk + plate.rotate((0, 0, float(rng.uniform(0, 180)))), None, stem + thick


def _lug(
    rng: np.random.Generator, r: float, stem: float, stalk: Manifold, kind: str
) -> tuple[Manifold, Manifold | None, float]:
    """An eye, a clevis or a bracket: what a bolt goes through."""
    eye_r = r * float(rng.uniform(0.5, 0.85))
    pin, wide = stem + eye_r * 1.1, eye_r * (0.9 if kind == "eye" else 2.0)
    shank = CrossSection.square((2 * eye_r, eye_r * 1.2), True).translate((0, -eye_r * 0.6))
    lug = Manifold.extrude(CrossSection.circle(eye_r, 32) + shank, wide).translate((0, 0, -wide / 2))
    lug = lug.rotate((90, 0, 0)) - rod((0, -1, 0), (0, 1, 0), eye_r * 0.42)
    if kind in ("clevis", "bracket"):
        lug -= block(4 * eye_r, wide * 0.5, eye_r * 1.9).translate((0, 0, eye_r * 0.3))
    turned_by = (0, 0, float(rng.uniform(0, 180)))
    bolt = None
    if rng.random() < 0.5:
        ends = wide / 2 + rng.uniform(0.002, 0.008, 2)
        bolt = rod((0, -ends[0], 0), (0, ends[1], 0), eye_r * 0.4)
        bolt += rod((0, -ends[0], 0), (0, 0.003 - ends[0], 0), eye_r * 0.62)
        bolt = bolt.translate((0, 0, pin)).rotate(turned_by)
    solid = lug.translate((0, 0, pin)).rotate(turned_by) + stalk
    if kind == "bracket":
        foot = rounded_block(eye_r * 3.4, eye_r * 2.4, 0.005, 0.001)
        solid += foot.translate((0, 0, pin + eye_r * 1.2)).rotate(turned_by)
    return solid, bolt, pin

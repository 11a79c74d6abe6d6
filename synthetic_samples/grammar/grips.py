"""Something to turn: gripped all round, of any wave, lobes, wings or bar, straight, waisted, tiered or domed."""

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold, OpType

from synthetic_samples.geometry import block, cylinder, turned
from synthetic_samples.grammar.outlines import polar
from synthetic_samples.splits import production

_FINEST_FLUTE_M = 0.007
"""Round the rim: with finer ones a knob is a smooth collar on a photo, and its name a guess."""


def grip(rng: np.random.Generator, style: str, radius: float, height: float) -> Manifold:
    """A grip that stands on z = 0, as wide at its foot as nearly anywhere, for a foot drawn in would be a neck."""
    kind = production(rng, "grip", style)
    if kind == "wheel":
        return _wheel(rng, radius, height)
    if kind == "bar":
        return _bar(rng, radius, height)
    return _profiled(rng, production(rng, "profile", style), _rim(rng, kind, radius), radius, height)


def _rim(rng: np.random.Generator, kind: str, r: float) -> CrossSection:
    """The outline that fingers hold, reaching out to `r`."""
    most = int(2 * np.pi * r / _FINEST_FLUTE_M)
    few, many = int(rng.integers(3, 9)), int(rng.integers(8, max(9, min(24, most) + 1)))
    phase = np.linspace(0, 1, 18, endpoint=False)
    if kind == "lobes":
        count = int(rng.integers(3, 9))
        size = r * float(rng.uniform(0.16, 0.34)) * (1.25 if count < 5 else 1.0)
        return _softened(_all_round(CrossSection.circle(size, 24).translate((r - size, 0)), count), r * rng.uniform(
            0.55, 0.85), r * 0.06)  # fmt: skip
    if kind == "wings":
        count = int(rng.integers(4, 9))  # few thin ones would look like tabs to pinch
        wing = CrossSection.square((r, r * float(rng.uniform(1.6, 2.2)) / count), True).translate((r / 2, 0))
        return _softened(_all_round(wing, count), r * rng.uniform(0.5, 0.72), r * 0.05)
    if kind == "paddles":  # three to five thick ones on a ring: two of them in view are no pair of tabs
        count, wide = int(rng.integers(3, 6)), r * float(rng.uniform(0.32, 0.6))
        paddle = CrossSection.square((r, wide), True).translate((r / 2, 0))
        return _softened(_all_round(paddle, count), r * float(rng.uniform(0.45, 0.62)), r * 0.08)
    if kind == "teeth":
        count = min(many, most)
        tooth = CrossSection.square((r * 0.3, np.pi * r / count * float(rng.uniform(0.7, 1.1))), True)
        return _softened(_all_round(tooth.translate((r * 0.85, 0)), count), r * rng.uniform(0.82, 0.92), r * 0.01)
    if kind in ("scoops", "slots"):
        count = few + 1 if kind == "scoops" else min(many, most)
        size = np.pi * r / count * float(rng.uniform(0.45, 0.8))
        cut = CrossSection.circle(size, 24).translate((r * 1.02, 0))
        if kind == "slots":
            cut = CrossSection.square((r * 0.34, size), True).translate((r * 0.95, 0))
        return CrossSection.circle(r, 96) - _all_round(cut, count)
    if kind == "star":
        deep = float(rng.uniform(0.1, 0.28))
        return polar(np.tile(r * (1 - deep * 2 * np.abs(phase - 0.5)), min(max(few + 2, 5), most)))
    if kind == "petals":
        return polar(np.tile(r * (1 - 0.3 * (1 - np.abs(np.sin(np.pi * phase)) ** 0.6)), min(few + 2, 7)))
    if kind == "crown":
        return CrossSection.circle(r, 96)
    deep = float(np.clip(2 * np.pi / many * rng.uniform(0.35, 0.9), 0.1, 0.28))
    second = rng.uniform(0, 0.5) if rng.random() < 0.4 else 0.0  # every other flute deeper
    wave = 0.5 - 0.5 * np.cos(2 * np.pi * phase)
    return polar(r * (1 - deep * np.concatenate([wave, (1 - second) * wave] * (max(3, min(many, most) // 2)))))


def _all_round(one: CrossSection, count: int) -> CrossSection:
    return CrossSection.batch_boolean([one.rotate(360 / count * k) for k in range(count)], OpType.Add)


def _softened(outer: CrossSection, hub: float, by: float) -> CrossSection:
    shape = outer + CrossSection.circle(hub, 64)
    return (
        shape.offset(by, JoinType.Round, 2.0, 16)
        .offset(-2 * by, JoinType.Round, 2.0, 16)
        .offset(by, JoinType.Round, 2.0, 16)
    )


def _profiled(rng: np.random.Generator, kind: str, rim: CrossSection, r: float, h: float) -> Manifold:
    """The rim pulled up and shaped as seen from the side."""
    if kind == "cone":
        narrow = float(rng.uniform(0.65, 0.92))
        body = Manifold.extrude(rim, h, 0, float(rng.uniform(-12, 12)), (narrow, narrow))
    elif kind == "tiers":
        small = float(rng.uniform(0.5, 0.8))
        body = Manifold.extrude(rim, h * rng.uniform(0.4, 0.7)) + Manifold.extrude(rim.scale((small, small)), h)
    else:
        body = Manifold.extrude(rim, h)
    if kind == "dome":
        edge = np.linspace(0, np.pi / 2, 7)
        low = h * rng.uniform(0.2, 0.6)
        over = [(r * (0.25 + 0.76 * np.cos(a)), low + (h - low) * np.sin(a)) for a in edge]
        body = body ^ turned([(0, -0.001), (r * 1.01, -0.001), *over, (0, h)])
    elif kind in ("barrel", "hourglass"):
        z = np.linspace(0, h, 11)
        bulge = 1 - (2 * z / h - 1) ** 2
        swell = r * (1.01 - 0.2 * (bulge if kind == "hourglass" else 1 - bulge))
        body = body ^ turned([(0, 0), *zip(swell, z, strict=True), (0, h)])
    elif kind == "rim":  # hollow from above, the hollow within what the flutes leave whole
        within = 0.92 * float(np.hypot(*np.vstack(rim.to_polygons()).T).min())
        deep = h * rng.uniform(0.3, 0.75)
        body = body - cylinder(within * rng.uniform(0.7, 1.0), h).translate((0, 0, h - deep))
    if rng.random() < 0.2:
        body = body + cylinder(r * rng.uniform(0.3, 0.6), h * rng.uniform(1.05, 1.3))
    return _castellated(rng, body, r, h) if rim.area() > 0.99 * np.pi * r * r else body


def _castellated(rng: np.random.Generator, body: Manifold, r: float, h: float) -> Manifold:
    """A round knob cut by notches from its face: a crown."""
    count = int(rng.integers(4, 9))
    notch = block(r * 0.8, np.pi * r / count * 0.8, h).translate((r * 0.9, 0, h * rng.uniform(0.65, 0.8)))
    return body - Manifold.batch_boolean([notch.rotate((0, 0, 360 / count * k)) for k in range(count)], OpType.Add)


def _wheel(rng: np.random.Generator, r: float, h: float) -> Manifold:
    """A rim with bumps, open between three to five spokes."""
    bumps = _all_round(CrossSection.circle(r * 0.1, 16).translate((r * 0.9, 0)), int(rng.integers(6, 13)))
    wheel = Manifold.extrude(CrossSection.circle(r * 0.93, 64) + bumps - CrossSection.circle(r * 0.7, 48), h * 0.6)
    count = int(rng.integers(3, 6))
    spoke = block(r * 0.8, r * rng.uniform(0.18, 0.3), h * 0.4).translate((r * 0.4, 0, h * 0.25))
    spokes = [spoke.rotate((0, 0, 360 / count * k)) for k in range(count)]
    return Manifold.batch_boolean([wheel, cylinder(r * 0.42, h), *spokes], OpType.Add)


def _bar(rng: np.random.Generator, r: float, h: float) -> Manifold:
    """A bar across a ribbed hub."""
    count = max(8, min(20, int(2 * np.pi * r / _FINEST_FLUTE_M)))
    cuts = _all_round(CrossSection.circle(r * 0.09, 12).translate((r * 0.98, 0)), count)
    hub = Manifold.extrude(CrossSection.circle(r, 96) - cuts, h * rng.uniform(0.45, 0.7))
    long, thick = r * rng.uniform(1.7, 2.1), r * rng.uniform(0.28, 0.45)
    return hub + block(long, thick, h).translate((0, 0, h / 2))


def neck(rng: np.random.Generator, style: str, radius: float, length: float) -> Manifold:
    """The bare shaft between housing and grip, from a little below z = 0 to a little beyond its length."""
    kind = production(rng, "neck", style)
    long = length + 0.004
    if kind == "many_sided":
        shaft = Manifold.extrude(CrossSection.circle(radius, int(rng.choice([5, 6, 8]))), long)
    elif kind == "square":
        shaft = Manifold.extrude(CrossSection.square((1.6 * radius, 1.6 * radius), True), long)
    elif kind == "tapered":
        shaft = cylinder(radius, long, radius * rng.uniform(0.65, 0.95))
    elif kind == "ringed":
        shaft = cylinder(radius * 0.85, long)
        for at in np.linspace(0.2, 0.8, int(rng.integers(1, 3))):
            shaft += cylinder(radius, 0.0015).translate((0, 0, at * length))
    elif kind == "fluted":
        cuts = _all_round(CrossSection.circle(radius * 0.2, 12).translate((radius, 0)), 8)
        shaft = Manifold.extrude(CrossSection.circle(radius, 48) - cuts, long)
    else:
        shaft = cylinder(radius, long)
    return shaft.translate((0, 0, -0.002))

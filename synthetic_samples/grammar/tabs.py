"""Two opposed things to pinch: what one of them looks like, and what the two stand on."""

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import bevelled_prism, block, cylinder, rod, rounded_block, turned
from synthetic_samples.grammar.outlines import outline
from synthetic_samples.splits import production


def tab(rng: np.random.Generator, style: str, seat_r: float, seat_h: float) -> Manifold:
    """One tab that stands out along +x from a seat of this radius about the axis, whose middle is at z = 0 (metres)."""
    kind = production(rng, "tab", style)
    out = float(rng.uniform(0.009, 0.026))
    wide = float(min(rng.uniform(0.012, 0.036), 1.5 * seat_r))
    tall = float(np.clip(seat_h * rng.uniform(0.5, 1.3), 0.008, 0.034))
    root = min(0.006, seat_r * 0.4)
    return _TABS[kind](rng, style, out, wide, tall, root).translate((seat_r, 0, 0))


def _plate(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    """A plate that faces outwards on a stem, smooth or with ridges."""
    thick = rng.uniform(0.003, 0.007)
    plate = Manifold.extrude(outline(rng, style, wide, tall * 1.2), thick).rotate((90, 0, 90))
    for k in range(int(rng.integers(2, 5)) if rng.random() < 0.4 else 0):
        plate += block(0.002, wide * 0.7, 0.0016).translate((thick, 0, (k - 1.5) * tall * 0.17))
    stem = block(out + root, wide * rng.uniform(0.3, 0.8), tall * rng.uniform(0.3, 0.8))
    lean = plate.rotate((0, float(rng.uniform(-22, 22)), 0)).translate((out - thick, 0, 0))
    return lean + stem.translate(((out - root) / 2 - thick / 2, 0, 0))


def _pad(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    return rounded_block(out + root, wide, tall, min(out, wide, tall) * rng.uniform(0.1, 0.48)).translate(
        ((out - root) / 2, 0, 0)
    )


def _stud(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    size = min(wide, tall) * rng.uniform(0.4, 0.6)
    stud = rod((-root, 0, 0), (out, 0, 0), size)
    return stud + rod((out * 0.6, 0, 0), (out, 0, 0), size * rng.uniform(0.8, 1.35))


def _fin(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    """A fin along the axis."""
    thick = rng.uniform(0.004, 0.012)
    fin = Manifold.extrude(outline(rng, style, out + root, tall * 1.2), thick).translate((0, 0, -thick / 2))
    return fin.rotate((90, 0, 0)).translate(((out - root) / 2, 0, 0)) + block(2 * root, thick, tall * 0.5)


def _lever(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    """An arm that runs along the axis, held at the seat, with a pad at its end now and then."""
    long, thick = rng.uniform(0.02, 0.045), rng.uniform(0.004, 0.008)
    way = float(rng.choice([-1, 1], p=[0.25, 0.75]))
    arm = rounded_block(thick, wide, long, thick * 0.3).rotate((0, float(rng.uniform(-6, 22)) * way, 0))
    arm = arm.translate((out * 0.75, 0, way * long * 0.3))
    held = block(out * 0.8 + root, wide * rng.uniform(0.4, 0.9), min(tall, 0.01))
    return arm + held.translate(((out * 0.8 - root) / 2, 0, 0))


def _shelf(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    """A wing across the axis."""
    thick = tall * rng.uniform(0.25, 0.6)
    wing = Manifold.extrude(outline(rng, style, out + root, wide), thick).translate(((out - root) / 2, 0, -thick / 2))
    return wing + block(2 * root, wide * 0.5, thick)


def _paddle(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    plate = bevelled_prism(CrossSection.circle(0.5, 40).scale((wide, tall * 1.2)), out * 0.4, 0.001).rotate((90, 0, 90))
    stem = block(out + root, wide * 0.35, tall * 0.5).translate(((out - root) / 2, 0, 0))
    return plate.translate((out * 0.9, 0, 0)) + stem


def _hook(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    arm = block(out + root, wide, 0.005).translate(((out - root) / 2, 0, 0))
    tip = rounded_block(0.006, wide, tall * 1.1, 0.0025)
    return arm + tip.translate((out, 0, tall * 0.4 * float(rng.choice([-1, 1]))))


def _key(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    """A round key on a short stem."""
    size = min(wide, tall) * rng.uniform(0.5, 0.7)
    return rod((-root, 0, 0), (out, 0, 0), size * 0.5) + rod((out * 0.65, 0, 0), (out, 0, 0), size * 1.25)


def _loop(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    ring = CrossSection.circle(wide * 0.55, 32) - CrossSection.circle(wide * 0.3, 24)
    thick = tall * rng.uniform(0.3, 0.6)
    loop = Manifold.extrude(ring, thick).translate((wide * 0.45, 0, -thick / 2))
    return loop.rotate((90.0 if rng.random() < 0.5 else 0.0, 0, 0)) + block(2 * root, wide * 0.4, thick)


def _horn(rng: np.random.Generator, style: str, out: float, wide: float, tall: float, root: float) -> Manifold:
    """A wedge that grows outwards."""
    side = CrossSection(
        [[(-root, -tall * 0.2), (out * 1.2, -tall * 0.55), (out * 1.2, tall * 0.55), (-root, tall * 0.2)]]
    )
    return Manifold.extrude(side, wide).translate((0, 0, -wide / 2)).rotate((90, 0, 0))


_TABS = {
    "plate": _plate, "pad": _pad, "stud": _stud, "fin": _fin, "lever": _lever, "shelf": _shelf, "paddle": _paddle,
    "hook": _hook, "key": _key, "loop": _loop, "horn": _horn,
}  # fmt: skip


def seat(
    rng: np.random.Generator, style: str, case_r: float, slimmest: float
) -> tuple[Manifold, Manifold | None, float, float, float]:
    """What two tabs stand on: the seat, its slimmer stalk or None, its radius, its height and where its middle lies.

    It stands on z = 0; a seat is smooth all round, for what is fluted would be there to turn. `slimmest` is the least
    radius (a tube may run through it).
    """
    kind = production(rng, "tab_seat", style)
    radius = float(np.clip(case_r * rng.uniform(0.4, 1.0), slimmest, 0.055))
    height, foot = float(rng.uniform(0.01, 0.032)), 0.0
    stalk = None
    if kind == "case":  # as wide as the case itself: the tabs stand on its very end
        radius, height = max(case_r * float(rng.uniform(0.95, 1.02)), slimmest), float(rng.uniform(0.012, 0.026))
        solid = cylinder(radius, height)
    elif kind == "stalk":  # a collar beyond the housing
        foot = float(rng.uniform(0.006, 0.03))
        stalk = cylinder(max(radius * float(rng.uniform(0.45, 0.85)), slimmest * 0.98), foot + 0.004)
        solid = cylinder(radius, height).translate((0, 0, foot))
    elif kind == "ring":
        solid = cylinder(radius * 0.8, height * 1.3) + cylinder(radius, height * 0.6).translate((0, 0, height * 0.3))
        height *= 1.3
    elif kind == "hexagon":
        solid = Manifold.extrude(CrossSection.circle(radius * 1.06, 6), height)
    elif kind == "cup":
        solid = turned([(0, 0), (radius * 0.7, 0), (radius, height * 0.8), (radius, height), (0, height)])
    elif kind == "between":  # a cap beyond, at least as wide
        cap = float(rng.uniform(0.008, 0.03))
        wide = radius * float(rng.uniform(0.95, 1.25))
        solid = cylinder(radius, height) + cylinder(wide, cap, wide * rng.uniform(0.8, 1.0)).translate((0, 0, height))
        return solid, None, radius, height + cap, height / 2
    else:
        solid = cylinder(radius, height, radius * float(rng.uniform(0.9, 1.0)))
    return solid, stalk, radius, foot + height, foot + height / 2

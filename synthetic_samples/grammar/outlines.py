"""Flat outlines of any size: what is extruded, blended and cut."""

import numpy as np
from manifold3d import CrossSection, JoinType

from synthetic_samples.geometry import rounded_outline
from synthetic_samples.splits import production


def outline(
    rng: np.random.Generator, style: str, width: float, height: float, but: tuple[str, ...] = ()
) -> CrossSection:
    """An outline of one production of the style that fills width x height metres, centred on the origin."""
    return fitted(_shape(rng, production(rng, "outline", style, but), width / height), width, height)


def fitted(shape: CrossSection, width: float, height: float) -> CrossSection:
    """The shape stretched and shifted so that it fills width x height round the origin."""
    left, low, right, high = shape.bounds()
    centred = shape.translate((-(left + right) / 2, -(low + high) / 2))
    return centred.scale((width / (right - left), height / (high - low)))


def softened(shape: CrossSection, by: float) -> CrossSection:
    """Corners rounded, outward ones and inward ones, by a radius in the shape's own units."""
    return (
        shape.offset(-by, JoinType.Round, 2.0, 24)
        .offset(2 * by, JoinType.Round, 2.0, 24)
        .offset(-by, JoinType.Round, 2.0, 24)
    )


def polar(reach: np.ndarray, turned_by: float = 0.0) -> CrossSection:
    """The outline whose radius is `reach` (N,) at N even angles."""
    angles = np.linspace(0, 2 * np.pi, len(reach), endpoint=False) + turned_by
    return CrossSection([np.column_stack([reach * np.cos(angles), reach * np.sin(angles)])])


def _shape(rng: np.random.Generator, kind: str, aspect: float) -> CrossSection:
    """A shape about one unit large; `aspect` is the width over the height that it will be stretched to."""
    w, h = float(np.sqrt(aspect)), float(1 / np.sqrt(aspect))  # so that round corners stay round
    return _SHAPES.get(kind, _shield)(rng, w, h)


def _rounded(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    return rounded_outline(w, h, min(w, h) * rng.uniform(0.02, 0.5))


def _chamfered(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    cut = min(w, h) * rng.uniform(0.05, 0.32, 4)
    return CrossSection([[
        (-w / 2 + cut[0], -h / 2), (w / 2 - cut[1], -h / 2), (w / 2, -h / 2 + cut[1]), (w / 2, h / 2 - cut[2]),
        (w / 2 - cut[2], h / 2), (-w / 2 + cut[3], h / 2), (-w / 2, h / 2 - cut[3]), (-w / 2, -h / 2 + cut[0]),
    ]])  # fmt: skip


def _many_sided(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    sides = int(rng.integers(5, 11))
    return softened(polar(np.ones(sides), rng.uniform(0, np.pi)), rng.uniform(0.01, 0.12))


def _swelling(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    """Straight ends, flanks that bulge or draw in."""
    y = np.linspace(-h / 2, h / 2, 15)
    half = w / 2 * (1 - rng.uniform(-0.25, 0.3) * np.sin(np.pi * (y / h + 0.5)))
    return softened(CrossSection([[*zip(half, y, strict=True), *zip(-half[::-1], y[::-1], strict=True)]]), 0.03)


def _wavy(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    angles = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    reach = 1 + sum(rng.normal(0, 0.12 / n) * np.cos(n * angles + rng.uniform(0, 6.3)) for n in range(2, 5))
    return polar(np.clip(reach, 0.5, 1.6))


def _half_round(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    bow = CrossSection.circle(0.5, 48).scale((1, float(rng.uniform(0.5, 1.4))))
    straight = CrossSection.square((1.0, 1.0), True).translate((0, -0.5))
    return softened(bow + straight, rng.uniform(0.01, 0.08)).rotate(90.0 * int(rng.integers(4)))


def _trapezoid(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    low, high = rng.uniform(0.35, 0.5, 2)
    lean = rng.uniform(-0.08, 0.08)
    return softened(CrossSection([[(-low, -0.5), (low, -0.5), (high + lean, 0.5), (lean - high, 0.5)]]), 0.04)


def _notched(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    small = min(w, h)
    plate = rounded_outline(w, h, small * rng.uniform(0.03, 0.2))
    notch = CrossSection.square((w * rng.uniform(0.15, 0.4), h * rng.uniform(0.15, 0.4)), True)
    corner = (w / 2 * float(rng.choice([-1, 1])), h / 2 * float(rng.choice([-1, 1])))
    return softened(plate - notch.translate(corner), small * 0.03)


def _bent(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    small = min(w, h)
    one = rounded_outline(w, h * 0.7, small * rng.uniform(0.05, 0.3)).translate((0, h * 0.12))
    leg = rounded_outline(w * rng.uniform(0.4, 0.75), h, small * 0.1)
    return softened(one + leg.translate((w * float(rng.uniform(-0.12, 0.12)), 0)), small * 0.03)


def _squircle(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    angles, power = np.linspace(0, 2 * np.pi, 96, endpoint=False), rng.uniform(2.6, 5.0)
    return polar((np.abs(np.cos(angles)) ** power + np.abs(np.sin(angles)) ** power) ** (-1 / power))


def _house(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    eaves = float(rng.uniform(-0.1, 0.3))
    return softened(CrossSection([[(-0.5, -0.5), (0.5, -0.5), (0.5, eaves), (0, 0.5), (-0.5, eaves)]]), 0.03)


def _discs(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    discs = [
        CrossSection.circle(float(r), 40).translate((float(x), float(y)))
        for r, x, y in zip(rng.uniform(0.15, 0.4, 3), rng.uniform(-0.4, 0.4, 3), (-0.35, 0.0, 0.35), strict=True)
    ]
    return CrossSection.batch_hull(discs)


def _shield(rng: np.random.Generator, w: float, h: float) -> CrossSection:
    """Broad above, drawn to a blunt point below."""
    y = np.linspace(0, 1, 16)
    half = 0.5 * y ** float(rng.uniform(0.25, 0.5)) + 0.08
    return CrossSection([[*zip(half, y, strict=True), *zip(-half[::-1], y[::-1], strict=True)]])


_SHAPES = {
    "rounded": _rounded, "chamfered": _chamfered, "many_sided": _many_sided, "swelling": _swelling, "wavy": _wavy,
    "half_round": _half_round, "trapezoid": _trapezoid, "notched": _notched, "bent": _bent, "squircle": _squircle,
    "house": _house, "discs": _discs,
}  # fmt: skip
"""What draws a shape of this kind: `(rng, width, height)`, both about one unit."""

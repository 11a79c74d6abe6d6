"""Finishes drawn at random: plastics, rubber, metal, signal colours, and the surfaces of rooms."""

from __future__ import annotations

import colorsys

import numpy as np

from .kit import Finish, Rgb


def tint(hue: float, saturation: float, value: float) -> Rgb:
    """Linear RGB of a display colour given by hue, saturation and value in [0, 1]."""
    return tuple(float(channel**2.2) for channel in colorsys.hsv_to_rgb(hue % 1.0, saturation, value))


def plastic(rng: np.random.Generator) -> Finish:
    """A housing in any colour, greys and whites a little more often."""
    draw = rng.random()
    if draw < 0.3:
        colour = tint(rng.uniform(0.05, 0.65), rng.uniform(0.0, 0.08), rng.uniform(0.72, 0.95))
    elif draw < 0.55:
        colour = tint(rng.random(), rng.uniform(0.0, 0.12), rng.uniform(0.12, 0.65))
    else:
        colour = tint(rng.random(), rng.uniform(0.15, 0.85), rng.uniform(0.25, 0.9))
    return _worn(rng, colour, rng.uniform(0.25, 0.65))


def dark_plastic(rng: np.random.Generator) -> Finish:
    return _worn(rng, tint(rng.random(), rng.uniform(0, 0.25), rng.uniform(0.06, 0.28)), rng.uniform(0.3, 0.7))


def other_than(rng: np.random.Generator, taken: Finish, apart: float) -> Finish:
    """A plastic whose linear colour lies at least `apart` from the one that is taken (sum over the channels)."""
    for _ in range(40):
        found = plastic(rng)
        if sum(abs(a - b) for a, b in zip(found.colour, taken.colour, strict=True)) >= apart:
            return found
    return dark_plastic(rng)


def rubber(rng: np.random.Generator) -> Finish:
    value = rng.uniform(0.04, 0.2) if rng.random() < 0.7 else rng.uniform(0.45, 0.75)
    return Finish(
        tint(rng.random(), rng.uniform(0, 0.15), value),
        rng.uniform(0.6, 0.9),
        grain=0.1,
        grain_mm=0.8,
        dust=rng.uniform(0, 0.4),
    )


def metal(rng: np.random.Generator) -> Finish:
    tone = rng.uniform(0.45, 0.85)
    return Finish(
        (tone, tone * rng.uniform(0.96, 1.0), tone * rng.uniform(0.92, 1.02)),
        rng.uniform(0.15, 0.5),
        1.0,
        grain=0.05,
        grain_mm=rng.uniform(0.5, 4),
        wear=rng.uniform(0, 0.3),
        dust=rng.uniform(0, 0.3),
    )


def painted_metal(rng: np.random.Generator) -> Finish:
    draw = rng.random()
    if draw < 0.4:
        colour = tint(0.6, rng.uniform(0, 0.08), rng.uniform(0.7, 0.95))
    elif draw < 0.65:
        colour = tint(0.6, rng.uniform(0, 0.1), rng.uniform(0.1, 0.5))
    else:
        colour = tint(rng.random(), rng.uniform(0.2, 0.8), rng.uniform(0.3, 0.85))
    return Finish(
        colour,
        rng.uniform(0.15, 0.5),
        coat=0.4,
        grain=0.04,
        grain_mm=2.0,
        wear=rng.uniform(0, 0.5),
        dust=rng.uniform(0, 0.3),
    )


def stop_red(rng: np.random.Generator) -> Finish:
    """Mostly a strong red, sometimes faded, dark or dirty."""
    faded = rng.random() < 0.2
    colour = tint(
        rng.uniform(-0.02, 0.025), rng.uniform(0.55, 0.75) if faded else rng.uniform(0.85, 1.0), rng.uniform(0.55, 0.92)
    )
    return Finish(colour, rng.uniform(0.2, 0.55), dust=rng.uniform(0, 0.35) if faded else 0.1, coat=0.2 * rng.random())


def stop_yellow(rng: np.random.Generator) -> Finish:
    return Finish(
        tint(rng.uniform(0.12, 0.165), rng.uniform(0.75, 1.0), rng.uniform(0.75, 0.98)),
        rng.uniform(0.3, 0.6),
        dust=rng.uniform(0, 0.3),
    )


def lamp(rng: np.random.Generator, lit: bool) -> Finish:
    hue = float(rng.choice([0.0, 0.09, 0.15, 0.33, 0.38, 0.6]))
    if lit:
        return Finish(tint(hue, 0.8, 0.9), 0.2, glow=float(rng.uniform(1.0, 4.0)))
    return Finish(tint(hue, rng.uniform(0.1, 0.7), rng.uniform(0.25, 0.75)), 0.15, coat=1.0)


def wall(rng: np.random.Generator) -> Finish:
    colour = tint(rng.uniform(0, 0.7), rng.uniform(0, 0.25), rng.uniform(0.55, 0.93))
    pattern = str(rng.choice(["", "", "", "tiles", "bricks", "stripes", "planks"]))
    second = tuple(channel * float(rng.uniform(0.55, 0.95)) for channel in colour)
    return Finish(
        colour,
        rng.uniform(0.5, 0.95),
        grain=0.15,
        grain_mm=rng.uniform(1, 6),
        pattern=pattern,
        second=second,
        pattern_mm=float(rng.uniform(90, 300)),
        upright=True,
    )


def floor(rng: np.random.Generator) -> Finish:
    pattern = str(rng.choice(["carpet", "carpet", "planks", "tiles", "speckle", "speckle"]))
    colour = tint(rng.uniform(0.0, 0.7), rng.uniform(0.0, 0.4), rng.uniform(0.2, 0.75))
    second = tuple(channel * float(rng.uniform(0.4, 0.9)) for channel in colour)
    rough = 0.95 if pattern == "carpet" else rng.uniform(0.15, 0.6)
    if pattern == "planks":
        colour, second = wood_tones(rng)
    return Finish(
        colour,
        rough,
        grain=0.6 if pattern == "carpet" else 0.05,
        grain_mm=rng.uniform(1.5, 5),
        pattern=pattern,
        second=second,
        pattern_mm=float(rng.uniform(70, 300)),
    )


def table(rng: np.random.Generator) -> Finish:
    draw = rng.random()
    if draw < 0.5:
        colour, second = wood_tones(rng)
        return Finish(
            colour,
            rng.uniform(0.2, 0.6),
            grain=0.05,
            pattern="wood",
            second=second,
            pattern_mm=float(rng.uniform(40, 140)),
        )
    if draw < 0.75:
        colour = tint(rng.random(), rng.uniform(0, 0.3), rng.uniform(0.3, 0.9))
        second = tuple(channel * 0.8 for channel in colour)
        return Finish(
            colour, rng.uniform(0.15, 0.5), pattern="speckle", second=second, pattern_mm=float(rng.uniform(4, 12))
        )
    return fabric(rng)


def fabric(rng: np.random.Generator) -> Finish:
    colour = tint(rng.random(), rng.uniform(0.05, 0.6), rng.uniform(0.2, 0.85))
    second = tint(rng.random(), rng.uniform(0.05, 0.5), rng.uniform(0.2, 0.85))
    pattern = str(rng.choice(["weave", "weave", "checks", "stripes"]))
    return Finish(
        colour,
        0.95,
        grain=0.5,
        grain_mm=rng.uniform(1, 3),
        pattern=pattern,
        second=second,
        pattern_mm=float(rng.uniform(8, 60)),
    )


def wood_tones(rng: np.random.Generator) -> tuple[Rgb, Rgb]:
    hue, value = rng.uniform(0.05, 0.11), rng.uniform(0.3, 0.8)
    return tint(hue, rng.uniform(0.35, 0.6), value), tint(
        hue - 0.01, rng.uniform(0.45, 0.7), value * rng.uniform(0.55, 0.85)
    )


def _worn(rng: np.random.Generator, colour: Rgb, roughness: float) -> Finish:
    old = rng.random() < 0.4
    return Finish(
        colour,
        float(roughness),
        grain=float(rng.choice([0.0, 0.05, 0.15])),
        grain_mm=float(rng.uniform(0.5, 1.8)),
        wear=float(rng.uniform(0.2, 0.7)) if old else 0.0,
        dust=float(rng.uniform(0.1, 0.55)) if old else float(rng.uniform(0, 0.1)),
    )

"""What lifts, their parts and the things round them are made of. Colour carries no meaning but for the stop button."""

from typing import Final

import numpy as np

from synthetic_samples.geometry import Material, Vector
from synthetic_samples.materials.stickers import poster, sticker
from synthetic_samples.materials.textures import (
    SIZE,
    cloud,
    finger_marks,
    from_hsv,
    grain,
    linear,
    mixed,
    patches,
    rough_cloud,
    scratches,
    shaded,
)

__all__ = [
    "any_colour", "cable_material", "contrasting", "housing_material", "lamp_material", "metal", "painted_metal",
    "plain_material", "poster", "red_or_any", "room_colour", "rubber", "sticker", "stop_red", "stop_yellow",
]  # fmt: skip

_STANDS_OUT: Final = 2.2
_DIRT: Final = linear(92, 78, 62)
_DUST: Final = linear(176, 170, 160)


def any_colour(rng: np.random.Generator) -> Vector:
    """Linear RGB of whatever colour people make things in: greys, whites and blacks often, every hue sometimes."""
    kind = rng.choice(["white", "light_grey", "grey", "dark", "black", "beige", "muted", "strong", "deep"],
                      p=[0.12, 0.13, 0.11, 0.08, 0.1, 0.07, 0.15, 0.14, 0.1])  # fmt: skip
    hue = float(rng.uniform(0, 360))
    ranges = {
        "white": (hue, (0.0, 0.05), (0.86, 0.96)),
        "light_grey": (hue, (0.0, 0.07), (0.68, 0.86)),
        "grey": (hue, (0.0, 0.1), (0.42, 0.68)),
        "dark": (hue, (0.0, 0.2), (0.2, 0.4)),
        "black": (hue, (0.0, 0.2), (0.09, 0.18)),
        "beige": (float(rng.uniform(28, 50)), (0.1, 0.32), (0.65, 0.92)),
        "muted": (hue, (0.2, 0.45), (0.45, 0.85)),
        "strong": (hue, (0.6, 0.95), (0.55, 0.95)),
        "deep": (hue, (0.5, 0.9), (0.2, 0.5)),
    }
    hue, saturation, value = ranges[str(kind)]
    return from_hsv(hue, float(rng.uniform(*saturation)), float(rng.uniform(*value)))


def contrasting(rng: np.random.Generator, *grounds: Vector | np.ndarray) -> Vector:
    """Linear RGB of any colour that stands out in brightness from each of these colours, or textures of colours.

    Contrast as WCAG 2 defines it (from memory), (L + 0.05) / (l + 0.05); after sixty tries whichever of them had most.
    """
    levels = [_luminance(np.asarray(ground)) for ground in grounds]
    tried: list[tuple[float, Vector]] = []
    for _ in range(60):
        colour = any_colour(rng)
        least = min(_contrast(_luminance(np.array(colour)), level) for level in levels)
        if least >= _STANDS_OUT:
            return colour
        tried.append((least, colour))
    return max(tried)[1]


def _luminance(colours: np.ndarray) -> float:
    return float(colours.reshape(-1, 3).mean(axis=0) @ (0.2126, 0.7152, 0.0722))


def _contrast(one: float, other: float) -> float:
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)


def room_colour(rng: np.random.Generator) -> Vector:
    """Linear RGB as rooms are painted and furnished: mostly pale, warm or muted, now and then loud."""
    if rng.random() < 0.12:
        return any_colour(rng)
    hue = float(rng.normal(35, 25) if rng.random() < 0.65 else rng.uniform(0, 360)) % 360
    return from_hsv(hue, float(rng.beta(1.5, 5)) * 0.9, float(rng.uniform(0.3, 0.95)))


def plain_material(rng: np.random.Generator, roughness: tuple[float, float] = (0.1, 0.7)) -> Material:
    """Any one colour without a texture: cheap, for small things."""
    return Material(any_colour(rng), float(rng.uniform(*roughness)))


def red_or_any(rng: np.random.Generator, share: float) -> Material:
    """Smooth plastic: red in `share` of the cases, else of any colour."""
    colour = from_hsv(float(rng.normal(0, 6)) % 360, 0.88, 0.75) if rng.random() < share else any_colour(rng)
    return Material(colour, float(rng.uniform(0.2, 0.5)))


def housing_material(rng: np.random.Generator, colour: Vector | None = None) -> Material:
    """Moulded plastic of any colour, new or used: fine grain, grime, dust, scratches and finger marks."""
    colour = any_colour(rng) if colour is None else colour
    roughness = float(rng.choice([rng.uniform(0.22, 0.4), rng.uniform(0.4, 0.7)], p=[0.35, 0.65]))
    if rng.random() < 0.12:
        return Material(colour, roughness, specular=float(rng.uniform(0.35, 0.6)))
    coarse = float(rng.choice([0.0, 0.01, 0.025], p=[0.4, 0.4, 0.2]))
    pixels = shaded(colour, 1 + 0.05 * (cloud(rng, 4) - 0.5) + coarse * grain(rng))
    pixels, dirt = _used(rng, pixels, float(rng.beta(1.2, 2.5)))
    sheen = roughness + 0.12 * (cloud(rng, 8) - 0.5) + 0.25 * dirt + 0.5 * coarse * grain(rng)
    if rng.random() < 0.5:
        sheen = sheen - 0.15 * finger_marks(rng, int(rng.integers(2, 9)))
    return Material(pixels, np.clip(sheen, 0.12, 0.95), specular=float(rng.uniform(0.35, 0.6)),
                    tile_m=float(rng.uniform(0.12, 0.3)))  # fmt: skip


def metal(rng: np.random.Generator) -> Material:
    """Bare metal: polished, brushed, cast, zinc-plated or dark."""
    kind = str(rng.choice(["polished", "brushed", "cast", "zinc", "dark"]))
    levels = {"polished": 0.75, "brushed": 0.62, "cast": 0.5, "zinc": 0.6, "dark": 0.2}
    level = levels[kind] * rng.uniform(0.85, 1.12)
    tone = np.array([1 + rng.uniform(-0.03, 0.06), 1.0, 1 + rng.uniform(-0.06, 0.04)]) * level
    sheens = {"polished": (0.08, 0.2), "cast": (0.45, 0.65)}
    if rng.random() < 0.6:  # without a texture, which small parts would not show
        return Material(
            tuple(float(c) for c in tone), float(rng.uniform(*sheens.get(kind, (0.25, 0.45)))), metallic=1.0
        )
    lines = cloud(rng, SIZE, 4) if kind == "brushed" else rough_cloud(rng, 32 if kind == "zinc" else 16)
    pixels = mixed(shaded(tone, 0.92 + 0.16 * lines), _DIRT, 0.4 * patches(rng, 8, 0.08 * rng.random()))
    sheen = float(rng.uniform(*sheens.get(kind, (0.25, 0.45)))) + 0.15 * (lines - 0.5)
    return Material(pixels, np.clip(sheen, 0.05, 0.8), metallic=1.0, tile_m=float(rng.uniform(0.08, 0.25)))


def painted_metal(rng: np.random.Generator, colour: Vector | None = None) -> Material:
    """Powder-coated or enamelled metal, chipped here and there."""
    colour = any_colour(rng) if colour is None else colour
    peel = float(rng.uniform(0.0, 0.03))
    pixels = shaded(colour, 1 + 0.04 * (cloud(rng, 4) - 0.5) + peel * grain(rng))
    if rng.random() < 0.4:
        pixels = mixed(pixels, linear(120, 118, 115), patches(rng, 32, float(rng.uniform(0.002, 0.02))))
    pixels, dirt = _used(rng, pixels, float(rng.beta(1.2, 3.0)))
    sheen = float(rng.uniform(0.15, 0.55)) + 0.3 * dirt + 2 * peel * cloud(rng, 64)
    clearcoat = float(rng.choice([0.0, 0.6, 1.0], p=[0.6, 0.2, 0.2]))
    return Material(pixels, np.clip(sheen, 0.1, 0.9), clearcoat=clearcoat, tile_m=float(rng.uniform(0.15, 0.4)))


def rubber(rng: np.random.Generator) -> Material:
    """Tyres, feet, boots and grips: mostly dark and dull, sometimes coloured."""
    colour = from_hsv(float(rng.uniform(0, 360)), float(rng.uniform(0, 0.15)), float(rng.uniform(0.1, 0.3)))
    if rng.random() < 0.2:
        colour = any_colour(rng)
    return Material(colour, float(rng.uniform(0.55, 0.9)), specular=0.4)


def cable_material(rng: np.random.Generator) -> Material:
    """Cable sheath: black, grey, white, sometimes a colour."""
    kind = rng.random()
    value = rng.uniform(0.1, 0.22) if kind < 0.45 else rng.uniform(0.4, 0.7) if kind < 0.75 else rng.uniform(0.8, 0.93)
    colour = from_hsv(float(rng.uniform(0, 360)), float(rng.uniform(0, 0.06)), float(value))
    if kind > 0.9:
        colour = any_colour(rng)
    return Material(colour, float(rng.uniform(0.3, 0.65)))


def stop_red(rng: np.random.Generator) -> Material:
    """The red of an emergency stop's mushroom head, some faded or dirty (red: ISO 13850, IEC 60204-1; from memory)."""
    faded = rng.random() < 0.15
    hue = float(rng.uniform(2, 12) if faded else rng.uniform(-6, 6)) % 360
    saturation = float(rng.uniform(0.62, 0.75) if faded else rng.uniform(0.8, 0.97))
    return _stop_plastic(rng, from_hsv(hue, saturation, float(rng.uniform(0.62, 0.88))))


def stop_yellow(rng: np.random.Generator) -> Material:
    """The yellow behind an emergency stop, some faded or dirty (yellow: ISO 13850, IEC 60204-1; from memory)."""
    faded = rng.random() < 0.15
    saturation = float(rng.uniform(0.5, 0.7) if faded else rng.uniform(0.78, 0.98))
    return _stop_plastic(rng, from_hsv(float(rng.uniform(44, 57)), saturation, float(rng.uniform(0.8, 0.96))))


def lamp_material(rng: np.random.Generator, colour: Vector, lit: bool) -> Material:
    """A lens or a diode in `colour`, glowing when `lit`."""
    glow = float(rng.uniform(0.8, 4.0))
    emission = tuple(glow * channel for channel in colour) if lit else None
    return Material(colour, float(rng.uniform(0.12, 0.3)), clearcoat=0.6, emission=emission)


def _stop_plastic(rng: np.random.Generator, colour: Vector) -> Material:
    roughness = float(rng.uniform(0.18, 0.5))
    if rng.random() < 0.4:
        return Material(colour, roughness)
    pixels = shaded(colour, 1 + 0.08 * (cloud(rng, 8) - 0.5))
    pixels = mixed(pixels, _DIRT, 0.45 * patches(rng, 8, float(rng.beta(1.0, 4.0))))
    sheen = np.clip(roughness + 0.15 * (cloud(rng, 8) - 0.5), 0.1, 0.9)
    return Material(pixels, sheen, tile_m=float(rng.uniform(0.04, 0.1)))


def _used(rng: np.random.Generator, pixels: np.ndarray, wear: float) -> tuple[np.ndarray, np.ndarray]:
    """Grime, dust and scratches on (SIZE, SIZE, 3) colours; also where the grime lies, (SIZE, SIZE) in 0..1."""
    dirt = wear * patches(rng, int(rng.choice([4, 8, 16])), 0.05 + 0.4 * wear)
    pixels = mixed(pixels, _DIRT, 0.4 * dirt)
    if rng.random() < 0.35:
        pixels = mixed(pixels, _DUST, float(rng.uniform(0.05, 0.35)) * (0.4 + 0.6 * rough_cloud(rng, 8)))
    marks = scratches(rng, int(60 * wear * rng.random()))
    tone = linear(210, 208, 204) if rng.random() < 0.6 else linear(45, 42, 40)
    return mixed(pixels, tone, float(rng.uniform(0.1, 0.5)) * marks), dirt

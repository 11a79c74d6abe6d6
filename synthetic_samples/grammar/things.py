"""Things of household, workshop, street and care home that are no lift part, by the same operations.

Red buttons, handles, knobs and lamps are among them. None has all that makes a control box: a closed housing with a
mushroom stop on its yellow ground, and none is a motor on a tube.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import Material, Part, Piece, block, cylinder, moved, rod, rounded_block, shift, turned
from synthetic_samples.grammar.grips import grip
from synthetic_samples.grammar.nameless.mixture import mixture
from synthetic_samples.grammar.operations import body
from synthetic_samples.grammar.trimmings import bow, covered, dial, lamp_dot, lead, red_button, switch
from synthetic_samples.materials.materials import (
    any_colour,
    housing_material,
    metal,
    painted_metal,
    plain_material,
    red_or_any,
    rubber,
)
from synthetic_samples.splits import production

_MIXED = 0.6
"""Share of the things that have no name of their own: a build with anything on it."""

Draw = Callable[[np.random.Generator, str], list[Piece]]


def thing(rng: np.random.Generator, style: str) -> tuple[str, list[Piece]]:
    """The name of a style's production and one such thing in real size (metres), standing about the origin."""
    if rng.random() < _MIXED:
        return mixture(rng, style)
    kind = production(rng, "thing", style)
    return kind, _THINGS[kind](rng, style)


def _appliance(rng: np.random.Generator, style: str) -> list[Piece]:
    """A body with something to set and see, a spout, lid, slot or feet that say what it is for."""
    w, d, h = (float(x) for x in rng.uniform(0.08, 0.32, 3))
    solid = body(rng, style, (w, d, h))
    pieces: list[Piece] = [Part(solid, housing_material(rng))]
    pieces += covered(rng, style, solid, ("front", "front", "top", "left", "right"), int(rng.integers(1, 6)))
    kind = int(rng.integers(4))
    if kind == 0:  # a spout
        spout = rod((0, -d * 0.4, h * 0.2), (0, -d / 2 - float(rng.uniform(0.02, 0.08)), h * 0.32), min(w, h) * 0.08)
        pieces.append(Part(spout, metal(rng)))
    elif kind == 1:  # a lid with a knob
        lid = turned([(0, 0), (0.45, 0), (0.4, 0.1), (0, 0.16)]).scale((w, d, min(w, h) * 0.6)).translate((0, 0, h / 2))
        pieces.append(Part(lid, plain_material(rng)))
        pieces.append(
            Part(grip(rng, style, 0.015, 0.02).translate((0, 0, h / 2 + min(w, h) * 0.09)), plain_material(rng))
        )
    elif kind == 2:  # feet
        foot = cylinder(min(w, d) * 0.08, h * 0.2)
        feet = [foot.translate((x * w * 0.38, y * d * 0.38, -h * 0.6)) for x in (-1, 1) for y in (-1, 1)]
        pieces.append(Part(Manifold.compose(feet), rubber(rng)))
    if rng.random() < 0.5:
        handle = bow(rng, (-w * 0.3, 0, h / 2), (w * 0.3, 0, h / 2), (0, 0, float(rng.uniform(0.03, 0.08))), 0.008)
        pieces.append(Part(handle, plain_material(rng)))
    return [*pieces, lead(rng, (w * 0.2, d / 2, -h * 0.3))] if rng.random() < 0.6 else pieces


def _vessel(rng: np.random.Generator, style: str) -> list[Piece]:
    """A jug, can, bottle or pot: turned, with a cap to screw or a handle."""
    r, h = float(rng.uniform(0.03, 0.11)), float(rng.uniform(0.08, 0.34))
    radii = r * rng.uniform(0.55, 1.0, int(rng.integers(3, 7)))
    z = np.linspace(0, h, len(radii))
    pieces: list[Piece] = [
        Part(turned([(0, 0), *zip(radii, z, strict=True), (0, h)], 64), housing_material(rng), crease_deg=50)
    ]
    top = float(radii[-1])
    if rng.random() < 0.6:
        cap = grip(rng, style, max(top * float(rng.uniform(0.5, 1.0)), 0.012), float(rng.uniform(0.012, 0.035)))
        pieces.append(Part(cap.translate((0, 0, h - 0.002)), red_or_any(rng, 0.3), crease_deg=28))
    if rng.random() < 0.6:
        thick = float(rng.uniform(0.004, 0.01))
        handle = bow(rng, (top * 0.8, 0, h * 0.9), (float(radii[0]) * 0.8, 0, h * 0.25), (r * 0.9, 0, 0), thick)
        pieces.append(Part(handle, plain_material(rng)))
    if rng.random() < 0.4:
        pieces.append(Part(rod((-top * 0.5, 0, h * 0.75), (-r * 1.5, 0, h * 0.95), r * 0.12), plain_material(rng)))
    return pieces


def _machine(rng: np.random.Generator, style: str) -> list[Piece]:
    """A motor on feet with a fan cover, a terminal box, a pulley or a flange: lying, and on no tube."""
    r, long = float(rng.uniform(0.04, 0.1)), float(rng.uniform(0.12, 0.3))
    drum = rod((-long / 2, 0, r), (long / 2, 0, r), r)
    ribs = [
        rod((x, 0, r), (x + 0.003, 0, r), r * 1.06)
        for x in np.linspace(-long * 0.4, long * 0.4, int(rng.integers(4, 14)))
    ]
    paint = painted_metal(rng)
    pieces: list[Piece] = [Part(drum, paint), Part(Manifold.compose(ribs), paint)]
    feet = block(long * 0.7, r * 2.2, 0.012).translate((0, 0, 0.006))
    box = rounded_block(long * 0.35, r, r * 0.6, 0.006).translate((0, 0, 2 * r))
    pieces += [Part(feet, paint), Part(box, housing_material(rng))]
    pieces.append(Part(rod((long / 2, 0, r), (long / 2 + 0.04, 0, r), r * 0.16), metal(rng)))
    wheel = rod((long / 2 + 0.015, 0, r), (long / 2 + 0.035, 0, r), r * float(rng.uniform(0.5, 1.2)))
    pieces.append(Part(wheel, metal(rng) if rng.random() < 0.5 else plain_material(rng)))
    return pieces + covered(rng, style, box, ("top", "front"), int(rng.integers(0, 3)))


def _tool(rng: np.random.Generator, style: str) -> list[Piece]:
    """A body with a handle to hold and a nose to work with; lies on its side."""
    long, r = float(rng.uniform(0.1, 0.24)), float(rng.uniform(0.02, 0.05))
    barrel = body(rng, style, (long, 2 * r, 2 * r)).translate((0, 0, r))
    pieces: list[Piece] = [Part(barrel, housing_material(rng))]
    nose = rod((-long / 2, 0, r), (-long / 2 - float(rng.uniform(0.03, 0.12)), 0, r), r * float(rng.uniform(0.2, 0.8)))
    pieces.append(Part(nose, metal(rng)))
    if rng.random() < 0.6:
        lean = float(rng.uniform(-0.03, 0.05))
        handle = rod((long * 0.3, 0, r), (long * 0.3 + lean, -float(rng.uniform(0.08, 0.14)), r), r * 0.7)
        trigger = rounded_block(0.012, 0.03, 0.015, 0.004).translate((long * 0.3 - r * 0.8, -0.045, r))
        pieces += [Part(handle, rubber(rng)), Part(trigger, red_or_any(rng, 0.5))]
    else:
        pieces.append(Part(bow(rng, (-long * 0.3, 0, 2 * r), (long * 0.4, 0, 2 * r), (0, 0, 0.04), 0.009), rubber(rng)))
    return pieces + covered(rng, style, barrel, ("front", "top", "back"), int(rng.integers(0, 4)))


def _pole(rng: np.random.Generator, style: str) -> list[Piece]:
    """A stick, stand or strut of one or two tubes with a clamping knob, a foot and a grip: no motor on it."""
    long, r = float(rng.uniform(0.25, 0.8)), float(rng.uniform(0.008, 0.02))
    pieces: list[Piece] = [Part(cylinder(r, long), metal(rng) if rng.random() < 0.5 else plain_material(rng))]
    if rng.random() < 0.7:
        pieces.append(Part(cylinder(r * 0.75, long * 0.5).translate((0, 0, long)), metal(rng)))
        collar = cylinder(r * 1.5, 0.03).translate((0, 0, long - 0.015))
        knob = (
            grip(rng, style, float(rng.uniform(0.012, 0.025)), 0.02).rotate((90, 0, 0)).translate((0, -r * 2.4, long))
        )
        stem = rod((0, 0, long), (0, -r * 2.6, long), 0.004)
        pieces += [
            Part(collar, plain_material(rng)),
            Part(knob, red_or_any(rng, 0.3), crease_deg=28),
            Part(stem, metal(rng)),
        ]
    pieces.append(Part(cylinder(r * 1.6, 0.03, r * 1.2), rubber(rng)))
    top = long * (1.5 if len(pieces) > 2 else 1.0)
    if rng.random() < 0.6:
        pieces.append(Part(rod((-0.05, 0, top), (0.07, 0, top), r * 1.2), rubber(rng)))
    return pieces


def _fixture(rng: np.random.Generator, style: str) -> list[Piece]:
    """A plate with a lever, a bar, a bell push or a hook, as walls and doors have."""
    w, h = float(rng.uniform(0.05, 0.2)), float(rng.uniform(0.06, 0.25))
    plate = body(rng, style, (w, float(rng.uniform(0.008, 0.04)), h), changes=False)
    pieces: list[Piece] = [Part(plate, painted_metal(rng) if rng.random() < 0.5 else housing_material(rng))]
    front = plate.bounding_box()[1]
    if rng.random() < 0.5:
        lever = rod((0, front, 0), (0, front - 0.04, 0), 0.008) + rod(
            (0, front - 0.04, 0), (0.1, front - 0.045, 0), 0.008
        )
        pieces.append(Part(lever, metal(rng) if rng.random() < 0.6 else red_or_any(rng, 0.4)))
    else:
        handle = bow(rng, (0, front, h * 0.35), (0, front, -h * 0.35), (0, -0.045, 0), 0.008)
        pieces.append(Part(handle, metal(rng)))
    return pieces + covered(rng, style, plate, ("front",), int(rng.integers(0, 4)))


def _tap(rng: np.random.Generator, style: str) -> list[Piece]:
    """Pipes with a wheel or lever to turn, and an open end."""
    r, rise = float(rng.uniform(0.008, 0.02)), float(rng.uniform(0.06, 0.18))
    shine = metal(rng)
    pipe = cylinder(r, rise) + Manifold.sphere(r * 1.15, 24).translate((0, 0, rise))
    out = float(rng.uniform(0.08, 0.2))
    spout = rod((0, 0, rise), (0, -out, rise + 0.01), r * 0.9) + rod(
        (0, -out, rise + 0.01), (0, -out, rise - 0.035), r * 0.9
    )
    pieces: list[Piece] = [Part(pipe + spout, shine), Part(cylinder(r * 2, 0.012), shine)]
    stem = cylinder(r * 0.4, 0.03).translate((0, 0, rise))
    knob = grip(rng, style, float(rng.uniform(0.018, 0.032)), 0.018).translate((0, 0, rise + 0.026))
    return [*pieces, Part(stem, shine), Part(knob, red_or_any(rng, 0.35), crease_deg=28)]


def _lamp(rng: np.random.Generator, style: str) -> list[Piece]:
    """A lamp: foot, stem and shade, or a beacon on a foot."""
    foot = turned([(0, 0), (0.07, 0), (0.065, 0.012), (0.01, 0.022), (0, 0.022)])
    tall = float(rng.uniform(0.05, 0.35))
    pieces: list[Piece] = [Part(foot, painted_metal(rng)), Part(cylinder(0.006, tall), metal(rng))]
    colour = any_colour(rng)
    glow = tuple(float(rng.uniform(1, 4)) * c for c in colour) if rng.random() < 0.5 else None
    wide = float(rng.uniform(0.04, 0.12))
    shade = cylinder(wide, wide * float(rng.uniform(0.8, 1.6)), wide * float(rng.uniform(0.4, 1.0)))
    return [*pieces, Part(shade.translate((0, 0, tall)), Material(colour, 0.4, emission=glow))]


def _cart(rng: np.random.Generator, style: str) -> list[Piece]:
    """A body on wheels: toy, trolley, mower, cleaner."""
    w, d, h = float(rng.uniform(0.15, 0.4)), float(rng.uniform(0.1, 0.25)), float(rng.uniform(0.06, 0.2))
    r = float(rng.uniform(0.02, 0.06))
    solid = body(rng, style, (w, d, h)).translate((0, 0, h / 2 + r))
    wheels = [
        rod((x * w * 0.35, y * d * 0.5, r), (x * w * 0.35, y * (d * 0.5 + 0.02), r), r)
        for x in (-1, 1)
        for y in (-1, 1)
    ]
    pieces: list[Piece] = [Part(solid, painted_metal(rng)), Part(Manifold.compose(wheels), rubber(rng))]
    if rng.random() < 0.5:
        handle = bow(rng, (w * 0.45, -d * 0.3, h + r), (w * 0.45, d * 0.3, h + r), (0.08, 0, 0.15), 0.008)
        pieces.append(Part(handle, metal(rng)))
    return pieces + covered(rng, style, solid, ("front", "top", "left"), int(rng.integers(1, 5)))


def _valve(rng: np.random.Generator, style: str) -> list[Piece]:
    """A pipe with flanges and a hand wheel on a stem above it, or a pressure dial."""
    r, long = float(rng.uniform(0.012, 0.03)), float(rng.uniform(0.15, 0.35))
    pipe = rod((-long / 2, 0, 0), (long / 2, 0, 0), r)
    flanges = [rod((x - 0.006, 0, 0), (x + 0.006, 0, 0), r * 1.9) for x in (-long * 0.25, long * 0.25)]
    paint = painted_metal(rng)
    middle = Manifold.sphere(r * 1.6, 32)
    rise = r * float(rng.uniform(2.2, 4.0))
    pieces: list[Piece] = [Part(pipe, metal(rng)), Part(Manifold.compose(flanges), paint), Part(middle, paint)]
    pieces.append(Part(cylinder(r * 0.4, rise), metal(rng)))
    wheel = grip(rng, style, float(rng.uniform(0.025, 0.05)), 0.014).translate((0, 0, rise))
    return [*pieces, Part(wheel, red_or_any(rng, 0.6), crease_deg=28)]


def _panel(rng: np.random.Generator, style: str) -> list[Piece]:
    """A flat panel of many keys, dials or lamps: keypad, mixer, remote, instrument."""
    w, h, d = float(rng.uniform(0.06, 0.3)), float(rng.uniform(0.06, 0.25)), float(rng.uniform(0.012, 0.06))
    solid = rounded_block(w, d, h, min(d * 0.4, 0.012))
    pieces: list[Piece] = [Part(solid, housing_material(rng))]
    columns, rows = int(rng.integers(3, 7)), int(rng.integers(3, 6))
    size = min(w / columns, h / rows) * float(rng.uniform(0.4, 0.7))
    make = partial([switch, dial, red_button, lamp_dot][int(rng.integers(4))], rng, style, size)
    for x in np.linspace(-0.38, 0.38, columns) * w:
        for z in np.linspace(-0.38, 0.38, rows) * h:
            pieces += moved(make()[0], shift(float(x), -d / 2, float(z)))
    return pieces


def _rack(rng: np.random.Generator, style: str) -> list[Piece]:
    """Several boxes, tins or books that stand side by side."""
    pieces: list[Piece] = []
    x = 0.0
    for _ in range(int(rng.integers(2, 6))):
        w, d, h = float(rng.uniform(0.03, 0.12)), float(rng.uniform(0.06, 0.18)), float(rng.uniform(0.08, 0.28))
        solid = body(rng, style, (w, d, h)).translate((x + w / 2, 0, h / 2))
        pieces.append(Part(solid, housing_material(rng)))
        pieces += covered(rng, style, solid, ("front",), int(rng.integers(0, 2)))
        x += w + float(rng.uniform(0.002, 0.02))
    return pieces


def _pump(rng: np.random.Generator, style: str) -> list[Piece]:
    """A cylinder with a plunger's handle and a hose."""
    r, h = float(rng.uniform(0.02, 0.06)), float(rng.uniform(0.12, 0.35))
    pieces: list[Piece] = [
        Part(cylinder(r, h), housing_material(rng)),
        Part(cylinder(0.005, h * 0.4).translate((0, 0, h)), metal(rng)),
    ]
    handle = rod((-r * 1.6, 0, h * 1.4), (r * 1.6, 0, h * 1.4), 0.01)
    return [*pieces, Part(handle, red_or_any(rng, 0.4)), lead(rng, (r, 0, h * 0.1))]


def _case_with_clasps(rng: np.random.Generator, style: str) -> list[Piece]:
    """A case that opens: two halves, clasps and a bow handle."""
    w, d, h = float(rng.uniform(0.2, 0.45)), float(rng.uniform(0.08, 0.16)), float(rng.uniform(0.15, 0.32))
    solid = rounded_block(w, d, h, d * 0.15)
    seam = solid - block(2, 0.002, 2)
    pieces: list[Piece] = [Part(seam, housing_material(rng))]
    for x in (-0.3, 0.3):
        pieces.append(Part(block(0.03, d * 0.4, 0.006).translate((x * w, 0, h / 2)), metal(rng)))
    return [*pieces, Part(bow(rng, (-0.06, 0, h / 2), (0.06, 0, h / 2), (0, 0, 0.035), 0.008), plain_material(rng))]


def _winch(rng: np.random.Generator, style: str) -> list[Piece]:
    """A drum between two cheeks with a crank."""
    w, r = float(rng.uniform(0.08, 0.2)), float(rng.uniform(0.03, 0.07))
    drum = rod((-w / 2, 0, r * 1.5), (w / 2, 0, r * 1.5), r)
    cheeks = [block(0.006, r * 2.8, r * 3).translate((x * w / 2, 0, r * 1.5)) for x in (-1, 1)]
    crank = rod((w / 2, 0, r * 1.5), (w / 2 + 0.05, 0, r * 1.5), 0.008) + rod(
        (w / 2 + 0.05, 0, r * 1.5), (w / 2 + 0.05, -r * 2, r * 2), 0.008
    )
    knob = rod((w / 2 + 0.05, -r * 2, r * 2), (w / 2 + 0.13, -r * 2, r * 2), 0.014)
    turning: list[Piece] = [Part(crank, metal(rng)), Part(knob, red_or_any(rng, 0.5))]
    return [Part(drum, plain_material(rng)), Part(Manifold.compose(cheeks), painted_metal(rng)), *turning]


def _stand(rng: np.random.Generator, style: str) -> list[Piece]:
    """A post on a foot with a box-like head that has one red button or screen: ticket post, dispenser, call post."""
    tall = float(rng.uniform(0.2, 0.6))
    size = tuple(float(x) for x in rng.uniform(0.08, 0.2, 3))
    head = body(rng, style, size).translate((0, 0, tall))
    pieces: list[Piece] = [
        Part(cylinder(0.02, tall), metal(rng)),
        Part(cylinder(0.09, 0.012), painted_metal(rng)),
        Part(head, painted_metal(rng)),
    ]
    return pieces + covered(rng, style, head, ("front",), int(rng.integers(1, 4)))


_THINGS: dict[str, Draw] = {
    "appliance": _appliance, "vessel": _vessel, "machine": _machine, "tool": _tool, "pole": _pole,
    "fixture": _fixture, "tap": _tap, "lamp": _lamp, "cart": _cart, "valve": _valve, "panel": _panel, "rack": _rack,
    "pump": _pump, "case": _case_with_clasps, "winch": _winch, "stand": _stand,
}  # fmt: skip

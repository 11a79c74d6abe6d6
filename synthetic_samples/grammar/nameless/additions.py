"""What stands on a thing: buttons, knobs, handles, levers, spouts, legs, wheels, hoses, lids, lamps."""

from collections.abc import Callable

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    block,
    cable,
    cylinder,
    moved,
    point_z_to,
    rod,
    rounded_block,
    shift,
)
from synthetic_samples.grammar.grips import grip
from synthetic_samples.grammar.nameless.builds import Build, any_material
from synthetic_samples.grammar.trimmings import bow, covered, dial, lamp_dot, lead, red_button, switch
from synthetic_samples.materials.materials import (
    any_colour,
    metal,
    plain_material,
    red_or_any,
    rubber,
)
from synthetic_samples.shapes.faces import Face


def _on_a_side(rng: np.random.Generator, build: Build, own: list[Piece], wide: float, tall: float) -> list[Piece]:
    """Pieces put where a face has room for them, or else before the middle of the thing."""
    for side in rng.permutation(["front", "front", "top", "left", "right"])[:3]:
        spot = Face(build.solid, str(side)).place(rng, wide, tall, unevenness=0.006)
        if spot is not None:
            return moved(own, spot)
    return moved(own, shift(y=-build.size[1] / 2))


def _fitting(draw: Callable, low: float, high: float) -> Callable:
    def added(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
        return _on_a_side(rng, build, *draw(rng, style, float(rng.uniform(low, high))))

    return added


def _mushroom(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    """A red mushroom on a plate of its own, which may be yellow: on what is no closed housing."""
    r = float(rng.uniform(0.013, 0.026))
    plate = Material((0.75, 0.55, 0.02), 0.5) if rng.random() < 0.4 else plain_material(rng)
    head = cylinder(r, r * 0.45) + Manifold.sphere(r, 32).scale((1, 1, 0.35)).translate((0, 0, r * 0.45))
    own: list[Piece] = [Part(cylinder(r * 1.5, 0.003), plate), Part(cylinder(r * 0.55, r * 0.7), plain_material(rng))]
    own.append(Part(head.translate((0, 0, r * 0.7)), red_or_any(rng, 0.9), crease_deg=50))
    return _on_a_side(rng, build, moved(own, point_z_to((0, -1, 0))), 3 * r, 3 * r)


def _row(rng: np.random.Generator, style: str, build: Build, draw: Callable, size: float) -> list[Piece]:
    count, pitch = int(rng.integers(2, 7)), size * float(rng.uniform(1.2, 2.2))
    own: list[Piece] = []
    for k in range(count):
        own += moved(draw(rng, style, size)[0], shift(x=(k - (count - 1) / 2) * pitch))
    return _on_a_side(rng, build, own, count * pitch, size * 1.4)


def _buttons(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    return _row(rng, style, build, red_button, float(rng.uniform(0.008, 0.02)))


def _lamps(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    return _row(rng, style, build, lamp_dot, float(rng.uniform(0.012, 0.035)))


def _knob(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    """Something to turn on a stem, out of a side and off the middle."""
    r, stem = float(rng.uniform(0.012, 0.035)), float(rng.uniform(0.004, 0.05))
    own: list[Piece] = [
        Part(cylinder(r * 0.3, stem + 0.01).translate((0, 0, -0.01)), metal(rng)),
        Part(grip(rng, style, r, r * float(rng.uniform(0.5, 1.3))).translate((0, 0, stem)), red_or_any(rng, 0.4),
             crease_deg=28),
    ]  # fmt: skip
    return _on_a_side(rng, build, moved(own, point_z_to((0, -1, 0))), 2 * r, 2 * r)


def _lugs(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    """Two clasps that hold a lid, both on one side."""
    w, d, h = build.size
    one = rounded_block(0.02, 0.012, float(rng.uniform(0.02, 0.05)), 0.003)
    material = any_material(rng)
    return [Part(one.translate((x * w * 0.3, -d / 2, h * 0.3)), material) for x in (-1, 1)]


def _bow(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, d, h = build.size
    out = float(rng.uniform(0.03, 0.1))
    if rng.random() < 0.6:
        solid = bow(rng, (-w * 0.3, 0, h / 2 - 0.01), (w * 0.3, 0, h / 2 - 0.01), (0, 0, out), 0.008)
    else:
        solid = bow(rng, (0, -d / 2 + 0.01, h * 0.35), (0, -d / 2 + 0.01, -h * 0.35), (0, -out, 0), 0.008)
    return [Part(solid, red_or_any(rng, 0.25) if rng.random() < 0.6 else metal(rng))]


def _lever(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, _, h = build.size
    end = np.array([w / 2 + rng.uniform(0.03, 0.15), rng.normal(0, 0.03), h * rng.uniform(0, 0.6) + 0.05])
    arm = rod((w * 0.3, 0, h * 0.1), tuple(end), float(rng.uniform(0.004, 0.008)))
    ball = Manifold.sphere(float(rng.uniform(0.01, 0.022)), 32).translate(tuple(end))
    return [Part(arm, metal(rng)), Part(ball, red_or_any(rng, 0.5))]


def _spout(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    _, d, h = build.size
    r = float(rng.uniform(0.006, 0.02))
    tip = (0.0, -d / 2 - float(rng.uniform(0.03, 0.12)), h * float(rng.uniform(0, 0.5)))
    return [Part(rod((0, -d * 0.3, h * 0.1), tip, r), any_material(rng))]


def _legs(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, d, h = build.size
    long, r = float(rng.uniform(0.02, 0.25)), float(rng.uniform(0.005, 0.014))
    legs = [
        rod((x * w * 0.35, y * d * 0.35, -h * 0.4), (x * w * 0.45, y * d * 0.45, -h / 2 - long), r)
        for x in (-1, 1)
        for y in (-1, 1)
    ]
    return [Part(Manifold.compose(legs), any_material(rng))]


def _wheels(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, d, h = build.size
    r = float(rng.uniform(0.015, 0.05))
    wheels = [
        rod((x * w * 0.38, y * (d / 2), -h / 2), (x * w * 0.38, y * (d / 2 + 0.02), -h / 2), r)
        for x in (-1, 1)
        for y in (-1, 1)
    ]
    return [Part(Manifold.compose(wheels), rubber(rng))]


def _lead(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, d, h = build.size
    return [lead(rng, (w * 0.2, d / 2 - 0.005, -h * 0.3))]


def _hose(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    """A hose or rope in a loose coil beside the thing."""
    w, _, h = build.size
    turns = np.linspace(0, 2 * np.pi * rng.uniform(1.5, 3), 60)
    r = float(rng.uniform(0.05, 0.12))
    rise = np.linspace(0, 0.05, 60)
    line = np.column_stack([w / 2 + r * (1 + np.cos(turns)), r * np.sin(turns), rise - h / 2])
    return [Part(cable(line, float(rng.uniform(0.004, 0.012)), 12), any_material(rng), crease_deg=60)]


def _blade(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, _, h = build.size
    long = float(rng.uniform(0.06, 0.25))
    return [
        Part(block(long, 0.003, float(rng.uniform(0.01, 0.04))).translate((-w / 2 - long / 2, 0, h * 0.2)), metal(rng))
    ]


def _brush(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, d, h = build.size
    long = float(rng.uniform(0.015, 0.05))
    spots = rng.uniform(-0.45, 0.45, (40, 2)) * (w, d)
    hairs = [rod((x, y, -h * 0.45), (x * 1.08, y * 1.08, -h / 2 - long), 0.0012, 6) for x, y in spots]
    return [Part(Manifold.compose(hairs), Material(any_colour(rng), 0.8))]


def _lid(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, d, h = build.size
    lid = rounded_block(w * 1.04, d * 1.04, float(rng.uniform(0.008, 0.025)), 0.004)
    tilt = float(rng.choice([0.0, rng.uniform(10, 70)]))
    return [Part(lid.translate((0, -d / 2, 0)).rotate((-tilt, 0, 0)).translate((0, d / 2, h / 2)), any_material(rng))]


def _bulb(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    r, h, colour = float(rng.uniform(0.012, 0.04)), build.size[2], any_colour(rng)
    glow = tuple(float(rng.uniform(1, 4)) * c for c in colour) if rng.random() < 0.5 else None
    dome = Manifold.sphere(r, 32).scale((1, 1, float(rng.uniform(0.7, 1.6)))).translate((0, 0, h / 2 + r * 0.5))
    return [
        Part(dome, Material(colour, 0.15, emission=glow)),
        Part(cylinder(r, 0.01).translate((0, 0, h / 2)), metal(rng)),
    ]


def _strap(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    w, d, h = build.size
    band = block(float(rng.uniform(0.015, 0.04)), d + 0.006, h + 0.006)
    return [Part(band.translate((float(rng.uniform(-0.3, 0.3)) * w, 0, 0)), Material(any_colour(rng), 0.85))]


def _hook(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    h, r = build.size[2], float(rng.uniform(0.02, 0.05))
    angles = np.linspace(-0.5 * np.pi, 0.9 * np.pi, 24)
    line = np.column_stack([r * np.cos(angles), 0 * angles, r * np.sin(angles) + h / 2 + r])
    return [Part(cable(line, float(rng.uniform(0.003, 0.007)), 12), metal(rng), crease_deg=60)]


def _keys(rng: np.random.Generator, style: str, build: Build) -> list[Piece]:
    return covered(rng, style, build.solid, ("front", "top", "left"), int(rng.integers(2, 7)))


ADDITIONS: dict[str, Callable[[np.random.Generator, str, Build], list[Piece]]] = {
    "red_button": _fitting(red_button, 0.012, 0.05), "dial": _fitting(dial, 0.015, 0.05),
    "switch": _fitting(switch, 0.015, 0.04), "mushroom": _mushroom, "buttons": _buttons, "lamps": _lamps,
    "knob": _knob, "lugs": _lugs, "bow": _bow, "lever": _lever, "spout": _spout, "legs": _legs, "wheels": _wheels,
    "lead": _lead, "hose": _hose, "blade": _blade, "brush": _brush, "lid": _lid, "bulb": _bulb, "strap": _strap,
    "hook": _hook, "keys": _keys,
}  # fmt: skip

"""Buttons, gauges and lamps of any build; each stands on a face whose outside is -y, its up along z."""

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import (
    Material,
    Part,
    Picture,
    Piece,
    Vector,
    bevelled_prism,
    block,
    cylinder,
    moved,
    rounded_outline,
    shift,
    turn,
)
from synthetic_samples.materials.materials import any_colour, contrasting
from synthetic_samples.shapes.displays import gauge_face
from synthetic_samples.shapes.fittings import OUTWARD
from synthetic_samples.splits import production

_LAMP_COLOURS = ((0.05, 0.7, 0.1), (0.8, 0.5, 0.02), (0.8, 0.05, 0.03), (0.75, 0.75, 0.7), (0.05, 0.2, 0.8))


def buttons(
    rng: np.random.Generator, style: str, size: float, upright: bool, grounds: list
) -> tuple[list[Piece], float, float]:
    """A raise and a lower button with opposed signs; pieces, width and height in metres."""
    label, kind = "control_box/service_buttons", production(rng, "buttons", style)
    pitch = size * float(rng.uniform(1.05, 2.0))
    width, height = (size, pitch + size) if upright else (pitch + size, size)
    first = Material(any_colour(rng), float(rng.uniform(0.3, 0.7)))
    caps = (first, first if rng.random() < 0.6 else Material(any_colour(rng), 0.5))
    pieces: list[Piece] = []
    plated = kind in ("arrow", "rocker", "membrane", "recessed", "ring") or rng.random() < 0.35
    if plated:
        width, height = width * float(rng.uniform(1.12, 1.5)), height * float(rng.uniform(1.08, 1.35))
        thick = 0.0006 if kind == "membrane" else float(rng.uniform(0.001, 0.003))
        plate = Manifold.extrude(rounded_outline(width, height, size * float(rng.uniform(0.05, 0.5))), thick)
        ground = Material(contrasting(rng, *(each.base_color for each in caps)), 0.5)
        pieces.append(Part(plate, ground, label).moved(OUTWARD))
    else:
        caps = (Material(contrasting(rng, *grounds), 0.5),) * 2 if rng.random() < 0.6 else caps
    out = {"membrane": 0.0008, "recessed": 0.0012}.get(kind, float(rng.uniform(0.0015, 0.009)))
    dark = np.mean(np.asarray(caps[0].base_color)) < 0.35
    ink = Material((0.9, 0.9, 0.9) if dark else (0.03, 0.03, 0.03), 0.6)
    for sign, cap in zip((1, -1), caps, strict=True):
        where = shift(z=sign * pitch / 2) if upright else shift(x=-sign * pitch / 2)
        solid = _cap(rng, kind, size, sign, out + 0.003 * plated)
        pieces.append(Part(solid, cap, label).moved(OUTWARD).moved(where))
        if kind == "recessed":
            wall = CrossSection.circle(size * 0.62, 32) - CrossSection.circle(size * 0.52, 32)
            pieces.append(Part(Manifold.extrude(wall, 0.005), cap, label).moved(OUTWARD).moved(where))
        if kind != "arrow":
            mark = Manifold.extrude(_sign(rng, size * 0.26, sign), 0.0005).translate((0, 0, solid.bounding_box()[5]))
            pieces.append(Part(mark, ink, label).moved(OUTWARD).moved(where))
    return pieces, width, height


def _cap(rng: np.random.Generator, kind: str, size: float, sign: int, out: float) -> Manifold:
    if kind == "arrow":
        return Manifold.extrude(_triangle(size * 0.55, sign), out)
    if kind == "rocker":
        return block(size, size * 0.98, out).rotate((float(sign * rng.uniform(4, 12)), 0, 0)).translate((0, 0, out / 2))
    if kind == "half_moons":
        disc = CrossSection.circle(size * 0.55, 40)
        return Manifold.extrude(
            disc - CrossSection.square((2 * size, size)).translate((-size, -size * (sign > 0) - 0.0)), out
        )
    if kind in ("square", "membrane"):
        return bevelled_prism(
            rounded_outline(size, size * 0.9, size * float(rng.uniform(0.05, 0.4))), out, 0.0004
        ).translate((0, 0, out / 2))
    if kind == "pill":
        return Manifold.extrude(rounded_outline(size, size * 0.6, size * 0.3), out)
    if kind == "ring":
        return Manifold.extrude(CrossSection.circle(size / 2, 32), out) - cylinder(size * 0.3, 1).translate(
            (0, 0, out * 0.6)
        )
    radius = size * (0.45 if kind == "recessed" else 0.5)
    dome = Manifold.sphere(radius, 32).scale((1, 1, float(rng.uniform(0.1, 0.4)))).translate((0, 0, out * 0.8))
    return (
        cylinder(radius, out) + (dome ^ block(1, 1, 1).translate((0, 0, 0.5)))
        if rng.random() < 0.5
        else cylinder(radius, out)
    )


def _triangle(reach: float, sign: int) -> CrossSection:
    points = [(-reach, -0.7 * reach * sign), (reach, -0.7 * reach * sign), (0, reach * sign)]
    return CrossSection([points if sign > 0 else points[::-1]])


def _sign(rng: np.random.Generator, reach: float, sign: int) -> CrossSection:
    """A triangle, a chevron, two of them, or an arrow with a shaft."""
    one = _triangle(reach, sign)
    kind = int(rng.integers(4))
    if kind == 1:
        return one - one.translate((0, -0.75 * reach * sign))
    if kind == 2:
        open_one = one - one.translate((0, -0.6 * reach * sign))
        return open_one + open_one.translate((0, -0.9 * reach * sign))
    if kind == 3:
        return one + CrossSection.square((reach * 0.5, reach * 1.2), True).translate((0, -0.8 * reach * sign))
    return one


def gauge(rng: np.random.Generator, style: str, width: float) -> tuple[list[Piece], float, float]:
    """A small panel with a battery outline or bars: framed, sunk, round, segmented, upright now and then."""
    label, kind = "control_box/charge_display", production(rng, "display", style)
    height = width * float(rng.uniform(0.3, 0.85))
    if kind == "round_window":
        height = width * float(rng.uniform(0.9, 1.0))
    rim, deep = float(rng.uniform(0.002, 0.008)), float(rng.uniform(0.001, 0.006))
    outer_w, outer_h = width + 2 * rim, height + 2 * rim
    frame = Material(any_colour(rng), float(rng.uniform(0.2, 0.6)))
    pieces: list[Piece] = []
    level = 0.0012
    if kind == "round_window":
        ring = CrossSection.circle(outer_w * 0.72, 56) - CrossSection.circle(width * 0.5, 56)
        pieces.append(Part(Manifold.extrude(ring, deep + 0.002), frame, label).moved(OUTWARD))
        outer_w = outer_h = outer_w * 1.44
    elif kind in ("framed", "sunk", "hooded"):
        soft = min(outer_w, outer_h) * float(rng.uniform(0.02, 0.4))
        ring = rounded_outline(outer_w, outer_h, soft) - rounded_outline(width * 0.99, height * 0.99, soft * 0.5)
        pieces.append(Part(Manifold.extrude(ring, deep + 0.002), frame, label).moved(OUTWARD))
        if kind == "hooded":
            hood = block(outer_w, 0.003, deep + 0.008).translate((0, outer_h / 2, (deep + 0.008) / 2))
            pieces.append(Part(hood, frame, label).moved(OUTWARD))
    elif kind in ("proud", "slanted"):
        level = deep + 0.003
        base = bevelled_prism(rounded_outline(outer_w, outer_h, rim), level, 0.001).translate((0, 0, level / 2))
        pieces.append(Part(base, frame, label).moved(OUTWARD))
    if kind == "segments":
        pieces += _segments(rng, width, height, label)
    else:
        face = Picture(width, height, gauge_face(rng, width / height), label, roughness=float(rng.uniform(0.1, 0.4)))
        pieces.append(face.moved(shift(y=-level - 0.0004)))
    if rng.random() < 0.2:
        return moved(pieces, turn((0, 1, 0), 90)), outer_h, outer_w
    return pieces, outer_w, outer_h


def _segments(rng: np.random.Generator, width: float, height: float, label: str) -> list[Piece]:
    """Bars of light side by side on a dark plate, rising or even, some of them lit: no round lamps."""
    count = int(rng.integers(3, 9))
    plate = Manifold.extrude(rounded_outline(width, height, height * 0.1), 0.001)
    dark = Material((0.015, 0.015, 0.02), 0.3)
    pieces: list[Piece] = [Part(plate, dark, label).moved(OUTWARD)]
    slot, lit = width * 0.84 / count, int(rng.integers(1, count + 1))
    colour, rising = _LAMP_COLOURS[int(rng.integers(len(_LAMP_COLOURS)))], rng.random() < 0.5
    for k in range(count):
        tall = height * 0.75 * ((k + 1) / count if rising else 1.0)
        bar = block(slot * 0.66, tall, 0.001).translate(
            ((k - (count - 1) / 2) * slot, (tall - height * 0.75) / 2, 0.0015)
        )
        shade = tuple(float(c) for c in (np.array(colour) if k < lit else 0.15 * np.array(colour) + 0.02))
        glow = tuple(2.5 * c for c in shade) if k < lit and rng.random() < 0.6 else None
        pieces.append(Part(bar, Material(shade, 0.3, emission=glow), label).moved(OUTWARD))
    return pieces


def lamps(rng: np.random.Generator, style: str, count: int, upright: bool) -> tuple[list[Piece], float, float]:
    """Small round lamps in a line; pieces, width and height in metres. Under three, it is no row."""
    label = "control_box/charge_display" if count >= 3 else "control_box/trim"
    kind = production(rng, "lamps", style)
    size = float(rng.uniform(0.005, 0.013))
    pitch = size * float(rng.uniform(1.35, 2.4))
    length, across = pitch * (count - 1) + size * 2, size * float(rng.uniform(1.7, 2.8))
    lit = int(rng.integers(0, count + 1))
    one, mixed = int(rng.integers(len(_LAMP_COLOURS))), rng.random() < 0.5
    colours = [np.array(_LAMP_COLOURS[int(rng.integers(len(_LAMP_COLOURS))) if mixed else one]) for _ in range(count)]
    shades: list[Vector] = [
        tuple(float(c) for c in (rgb if k < lit else 0.3 * rgb + 0.1)) for k, rgb in enumerate(colours)
    ]
    ground = Material(contrasting(rng, *shades), 0.4)
    pieces: list[Piece] = []
    if kind in ("strip", "groove", "tiles", "pills"):
        strip = rounded_outline(length, across, across * float(rng.uniform(0.1, 0.5)))
        pieces.append(Part(Manifold.extrude(strip, 0.0012), ground, label).moved(OUTWARD))
        if kind == "groove":
            rim = Manifold.extrude(strip.offset(0.0015) - strip, 0.004)
            pieces.append(Part(rim, Material(any_colour(rng), 0.5), label).moved(OUTWARD))
    for k, shade in enumerate(shades):
        at = shift(x=(k - (count - 1) / 2) * pitch)
        glow = tuple(float(c * rng.uniform(1.5, 5)) for c in shade) if k < lit else None
        lens = Manifold.sphere(size / 2, 20).scale((1, 1, float(rng.uniform(0.3, 1.0)))).translate((0, 0, 0.001))
        pieces.append(Part(lens, Material(shade, 0.2, emission=glow), label).moved(OUTWARD).moved(at))
        if kind in ("bezels", "bare", "tiles"):
            wide = 0.72 if kind != "bare" else 0.6
            pieces.append(Part(cylinder(size * wide, 0.0018), ground, label).moved(OUTWARD).moved(at))
    if upright:
        return moved(pieces, turn((0, 1, 0), 90)), across, length
    return pieces, length, across

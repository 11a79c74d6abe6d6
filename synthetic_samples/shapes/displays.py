"""What tells the charge: rows of lamps, and gauges. Each stands on a face whose outside is -y."""

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import Material, Part, Picture, Piece, cylinder, moved, rounded_outline, shift, turn
from synthetic_samples.materials.materials import any_colour, contrasting
from synthetic_samples.shapes.fittings import OUTWARD


def lamp_row(rng: np.random.Generator, count: int, upright: bool) -> tuple[list[Piece], float, float]:
    """Small round lamps in a line; returns pieces, width and height in metres. Under three, it is no row."""
    label = "control_box/charge_display" if count >= 3 else "control_box/trim"
    lamp_mm, pitch_mm = rng.uniform(6.5, 13), rng.uniform(1.4, 2.2)
    diameter, pitch = lamp_mm / 1000, lamp_mm * pitch_mm / 1000
    length, across = pitch * (count - 1) + diameter * 2, diameter * rng.uniform(1.7, 2.6)
    pieces: list[Piece] = []
    colours = _lamp_colours(rng, count)
    ground = contrasting(rng, *(colour for colour, _ in colours))  # whatever the housing's colour, lamps stand out
    on_strip = rng.random() < 0.6
    bezel = not on_strip or rng.random() < 0.3
    rim = Material(any_colour(rng) if on_strip else ground, 0.4, metallic=float(on_strip and rng.random() < 0.3))
    if on_strip:
        strip = Manifold.extrude(rounded_outline(length, across, across * rng.uniform(0.1, 0.5)), 0.0012)
        pieces.append(Part(strip, Material(ground, 0.4), label).moved(OUTWARD))
    for k, (colour, lit) in enumerate(colours):
        at = shift(x=(k - (count - 1) / 2) * pitch)
        glow = tuple(float(c) * rng.uniform(1.5, 6) for c in colour) if lit else None
        lens = Manifold.sphere(diameter / 2, 20).scale((1, 1, rng.uniform(0.5, 1.0))).translate((0, 0, 0.001))
        pieces.append(Part(lens, Material(colour, 0.2, emission=glow), label).moved(OUTWARD).moved(at))
        if bezel:
            pieces.append(Part(cylinder(diameter * 0.72, 0.0018), rim, label).moved(OUTWARD).moved(at))
    if upright:
        return moved(pieces, turn((0, 1, 0), 90)), across, length
    return pieces, length, across


def _lamp_colours(rng: np.random.Generator, count: int) -> list[tuple[tuple[float, float, float], bool]]:
    palette = [(0.05, 0.7, 0.1), (0.8, 0.5, 0.02), (0.8, 0.05, 0.03), (0.75, 0.75, 0.7), (0.05, 0.2, 0.8)]
    lit = int(rng.integers(0, count + 1)) if rng.random() < 0.7 else 0
    one = palette[int(rng.integers(len(palette)))]
    mixed = rng.random() < 0.5
    colours = []
    for k in range(count):
        colour = palette[int(rng.integers(len(palette)))] if mixed else one
        dim = tuple(0.25 * c + 0.1 for c in colour) if k >= lit else colour
        colours.append((dim, k < lit))
    return colours


def gauge(rng: np.random.Generator, width: float, height: float) -> list[Piece]:
    """A small panel with a battery outline or bars."""
    label = "control_box/charge_display"
    bezel_w = rng.uniform(0.002, 0.007)
    frame = Manifold.extrude(
        rounded_outline(width + 2 * bezel_w, height + 2 * bezel_w, rng.uniform(0.001, 0.006)), 0.002
    )
    pieces: list[Piece] = []
    if rng.random() < 0.75:
        pieces.append(Part(frame, Material(any_colour(rng), rng.uniform(0.2, 0.6)), label).moved(OUTWARD))
    face = Picture(width, height, gauge_face(rng, width / height), label, roughness=rng.uniform(0.1, 0.4))
    return [*pieces, face.moved(shift(y=-0.0024))]


def gauge_face(rng: np.random.Generator, aspect: float) -> np.ndarray:
    """The picture on a gauge: (H, W, 3) linear RGB, a battery outline, bars or both."""
    h = 96
    w = int(np.clip(h * aspect, 60, 320))
    dark_ground = rng.random() < 0.45
    ground = (
        np.array([0.02, 0.02, 0.03])
        if dark_ground
        else rng.choice([[0.35, 0.42, 0.3], [0.5, 0.5, 0.48], [0.2, 0.35, 0.5]])
    )
    ink = np.array(
        rng.choice([[0.1, 0.9, 0.2], [0.9, 0.9, 0.9], [0.9, 0.5, 0.05], [0.2, 0.5, 1.0]])
        if dark_ground
        else [0.03, 0.03, 0.03]
    )
    image = np.tile(ground, (h, w, 1)) * rng.uniform(0.8, 1.2)
    kind = rng.choice(["lying", "upright", "rising", "even"], p=[0.45, 0.25, 0.2, 0.1])
    high = h * rng.uniform(0.5, 0.8)
    wide = min(w * 0.85, high * (rng.uniform(0.4, 0.6) if kind == "upright" else rng.uniform(1.2, 3.0)))
    icon = image[int((h - high) / 2) : int((h + high) / 2)]
    left = int((w - wide) * rng.uniform(0.15, 0.85))
    icon = icon[:, left : left + int(wide)]
    if kind == "upright":
        icon = icon.transpose(1, 0, 2)[:, ::-1]  # along the battery to its pole, then across
    _charge(rng, icon, ground, ink, kind)
    return image.astype(np.float32)


def _charge(rng: np.random.Generator, icon: np.ndarray, ground: np.ndarray, ink: np.ndarray, kind: str) -> None:
    """Draw into `icon` (across, along, 3) a battery with its pole, filled by bars or at one level, or bars alone."""
    across, along = icon.shape[:2]
    left, right, top, bottom = 0, along, 0, across
    if kind in ("lying", "upright"):
        stroke = max(3, int(min(across, along) * rng.uniform(0.06, 0.12)))
        pole = max(4, along // 12)
        icon[:, : along - pole] = ink
        icon[stroke : across - stroke, stroke : along - pole - stroke] = ground
        icon[across // 2 - across // 6 : across // 2 + across // 6, along - pole :] = ink
        rim = stroke + max(2, stroke // 2)
        left, right, top, bottom = rim, along - pole - rim, rim, across - rim
        if rng.random() < 0.35:
            icon[top:bottom, left : left + int((right - left) * rng.uniform(0.15, 1.0))] = ink
            return
    bars = int(rng.integers(3, 7))
    full = int(rng.integers(1, bars + (kind != "even")))  # even bars that are all alike are the ridges of a key
    slot = (right - left) / bars
    for k in range(bars):
        x0, x1 = int(left + (k + 0.12) * slot), int(left + (k + 0.88) * slot)
        rise = int((bottom - top) * 0.75 * (1 - (k + 1) / bars)) if kind == "rising" else 0
        icon[top + rise : bottom, x0:x1] = ink if k < full else 0.75 * ground + 0.25 * ink

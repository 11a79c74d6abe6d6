"""What things carry: buttons, dials, lamps, switches, grilles, sockets, screens, labels, handles and leads."""

from collections.abc import Callable

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import Material, Part, Piece, block, cable, curve, cylinder, moved, shift
from synthetic_samples.grammar.grips import grip
from synthetic_samples.materials.materials import (
    any_colour,
    cable_material,
    metal,
    plain_material,
    red_or_any,
    sticker,
)
from synthetic_samples.shapes.faces import Face
from synthetic_samples.shapes.fittings import OUTWARD, vents


def covered(rng: np.random.Generator, style: str, solid: Manifold, sides: tuple[str, ...], count: int) -> list[Piece]:
    """Some of buttons, dials, lamps, switches, grilles, sockets and labels on the faces of a solid."""
    pieces: list[Piece] = []
    faces = [Face(solid, side) for side in sides]
    for _ in range(count):
        size = float(rng.uniform(0.008, 0.05))
        name = str(rng.choice(list(_FITTINGS)))
        own, wide, tall = _FITTINGS[name](rng, style, size)
        face = faces[int(rng.integers(len(faces)))]
        spot = face.place(rng, wide, tall, unevenness=0.004)
        if spot is not None:
            pieces += moved(own, spot)
    return pieces


def red_button(rng: np.random.Generator, style: str, size: float):
    """A flat, domed or collared button, red more often than not, without a yellow ground."""
    r = size / 2
    tall = float(rng.uniform(0.15, 0.7)) * r
    cap = cylinder(r, tall) + (
        Manifold.sphere(r, 32).scale((1, 1, 0.3)).translate((0, 0, tall)) ^ block(1, 1, 1).translate((0, 0, tall + 0.5))
    )
    pieces: list[Piece] = [Part(cap, red_or_any(rng, 0.6)).moved(OUTWARD)]
    if rng.random() < 0.5:
        ring = cylinder(r * 1.25, tall * 0.5)
        pieces.append(Part(ring, metal(rng) if rng.random() < 0.5 else plain_material(rng)).moved(OUTWARD))
    return pieces, size * 1.3, size * 1.3


def dial(rng: np.random.Generator, style: str, size: float):
    knob = Part(grip(rng, style, size / 2, size * float(rng.uniform(0.25, 0.7))), plain_material(rng), crease_deg=28)
    plate = Part(cylinder(size * 0.7, 0.001), plain_material(rng))
    return [knob.moved(OUTWARD), plate.moved(OUTWARD)], size * 1.4, size * 1.4


def lamp_dot(rng: np.random.Generator, style: str, size: float):
    r = size * 0.2
    colour = any_colour(rng)
    glow = tuple(3 * c for c in colour) if rng.random() < 0.5 else None
    dot = Part(Manifold.sphere(r, 20), Material(colour, 0.2, emission=glow))
    return [dot.moved(OUTWARD)], 2.4 * r, 2.4 * r


def switch(rng: np.random.Generator, style: str, size: float):
    frame = Part(block(size, size * 0.6, 0.003), plain_material(rng))
    key = Part(block(size * 0.8, size * 0.42, 0.006).rotate((0, float(rng.uniform(-12, 12)), 0)), red_or_any(rng, 0.3))
    return [frame.moved(OUTWARD), key.moved(OUTWARD)], size, size * 0.6


def _grille(rng: np.random.Generator, style: str, size: float):
    own, wide, tall = vents(rng)
    return [Part(piece.solid, piece.material) for piece in own if isinstance(piece, Part)], wide, tall


def _label(rng: np.random.Generator, style: str, size: float):
    note = sticker(rng)
    return [note.moved(shift(y=-0.0006))], note.width_m, note.height_m


def _socket(rng: np.random.Generator, style: str, size: float):
    hole = Part(cylinder(size * 0.35, 0.0008), Material((0.01, 0.01, 0.01), 0.6)).moved(OUTWARD)
    rim = Part(cylinder(size * 0.5, 0.003) - cylinder(size * 0.36, 1).translate((0, 0, -0.5)), plain_material(rng))
    return [hole, rim.moved(OUTWARD)], size, size


def _screen(rng: np.random.Generator, style: str, size: float):
    w, h = size * 1.6, size * float(rng.uniform(0.6, 1.2))
    frame = Part(block(w * 1.15, h * 1.2, 0.003), plain_material(rng)).moved(OUTWARD)
    glass = Part(block(w, h, 0.0045), Material((0.01, 0.012, 0.02), 0.08)).moved(OUTWARD)
    return [frame, glass], w * 1.15, h * 1.2


_FITTINGS: dict[str, Callable] = {
    "red_button": red_button, "dial": dial, "lamp": lamp_dot, "switch": switch, "grille": _grille,
    "label": _label, "socket": _socket, "screen": _screen,
}  # fmt: skip


def bow(rng: np.random.Generator, start: tuple, end: tuple, out: tuple, thick: float) -> Manifold:
    """A handle between two points that bows out."""
    a, b, o = (np.asarray(point, float) for point in (start, end, out))
    line = np.array([a, a * 0.95 + b * 0.05 + o, (a + b) / 2 + 1.1 * o, a * 0.05 + b * 0.95 + o, b])
    return cable(curve(line, 24), thick, 12)


def lead(rng: np.random.Generator, start: tuple) -> Piece:
    a = np.asarray(start, float)
    side = rng.normal(0, 0.1, 2)
    line = np.array(
        [a, a + (side[0] * 0.3, 0.03, 0), a + (side[0], 0.1, -0.02), a + (side[0] * 1.5, 0.16 + side[1], -0.03)]
    )
    return Part(cable(curve(line, 20), float(rng.uniform(0.002, 0.005))), cable_material(rng))

"""Hand controls and chargers, which are found but carry no concept of their own."""

from dataclasses import replace

import numpy as np
from manifold3d import CrossSection, Manifold

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    bevelled_prism,
    block,
    cable,
    curve,
    cylinder,
    moved,
    rounded_block,
    rounded_outline,
    shift,
    turn,
)
from synthetic_samples.materials.materials import any_colour, cable_material, housing_material, metal, rubber, sticker
from synthetic_samples.shapes import fittings

HAND_CONTROL_FAMILIES = {
    "train": ("slab", "tapered", "rounded_bar", "keyhole"),
    "calibration": ("pebble",),
    "heldout": ("waist",),
}
CHARGER_FAMILIES = {
    "train": ("plug_in", "desk_cradle", "wall_cradle", "in_line_adapter"),
    "calibration": ("plug_in", "desk_cradle", "wall_cradle", "in_line_adapter"),
    "heldout": ("plug_in", "desk_cradle", "wall_cradle", "in_line_adapter"),
}

_HAND_CONTROL = "hand_control/body"


def hand_control(rng: np.random.Generator, style: str) -> tuple[list[Piece], str]:
    """A wired handset with a raise and a lower button: upright, centre at the origin, keys towards -y."""
    family = str(rng.choice(HAND_CONTROL_FAMILIES[style]))
    width, depth, height = rng.uniform(0.042, 0.075), rng.uniform(0.018, 0.034), rng.uniform(0.11, 0.21)
    body = _handset_body(rng, family, width, depth, height)
    pieces: list[Piece] = [Part(body, housing_material(rng), _HAND_CONTROL)]
    pieces += _key_rows(rng, body, width, height)
    if rng.random() < 0.4:
        pieces.append(_belt_hook(rng, depth, height))
    if rng.random() < 0.35:
        small = _relabelled(sticker(rng), _HAND_CONTROL)
        pieces.append(small.moved(turn((0, 0, 1), 180) @ shift(y=-depth / 2 - 0.001)))
    return pieces + _handset_cable(rng, height), family


def _handset_body(rng: np.random.Generator, family: str, w: float, d: float, h: float) -> Manifold:
    if family == "slab":
        return rounded_block(w, d, h, d * rng.uniform(0.12, 0.45))
    if family == "tapered":
        narrow = rng.uniform(0.6, 0.85)
        ends = [
            rounded_block(w, d, w * 0.5, d * 0.3).translate((0, 0, h / 2 - w * 0.25)),
            rounded_block(w * narrow, d, w * 0.4, d * 0.3).translate((0, 0, -h / 2 + w * 0.2)),
        ]
        return Manifold.batch_hull(ends)
    if family == "rounded_bar":
        return bevelled_prism(rounded_outline(w, h, w * 0.49), d, d * 0.25).rotate((90, 0, 0))
    if family == "keyhole":
        head = bevelled_prism(rounded_outline(w, h * 0.55, w * 0.3), d, d * 0.2).translate((0, h * 0.22, 0))
        grip = bevelled_prism(rounded_outline(w * 0.62, h * 0.9, w * 0.25), d * 0.9, d * 0.25).translate(
            (0, -h * 0.05, 0)
        )
        return (head + grip).rotate((90, 0, 0))
    if family == "pebble":
        return Manifold.sphere(0.5, 40).scale((w * 1.1, d * 1.2, h)) ^ block(w, d, h)
    outline = rounded_outline(w, h, w * 0.3) - CrossSection.batch_hull(
        [CrossSection.circle(h * 0.2, 40).translate((w * 0.5 + h * 0.16, 0))]
    )
    outline = outline - CrossSection.circle(h * 0.2, 40).translate((-w * 0.5 - h * 0.16, 0))
    return Manifold.extrude(outline, d).translate((0, 0, -d / 2)).rotate((90, 0, 0))


def _key_rows(rng: np.random.Generator, body: Manifold, width: float, height: float) -> list[Piece]:
    """Pairs of keys one above the other, as many as find room on the front."""
    pieces: list[Piece] = []
    rows = int(rng.integers(1, 4))
    size = min(width * rng.uniform(0.35, 0.6), height / (rows * 2 + 1.5))
    z = height * rng.uniform(0.18, 0.32)
    for _ in range(rows):
        pair, pair_width, pair_height = fittings.button_pair(
            rng, size, upright=rows == 1 or pair_fits_upright(rng, size, width)
        )
        if pair_width > width * 0.92:
            pair, pair_width, pair_height = fittings.button_pair(rng, size * 0.4, upright=False)
        hits = body.ray_cast((0, -1, z), (0, 1, z))
        if not hits or z - pair_height < -height * 0.5:
            break
        on_front = shift(0, hits[0].position[1] + 0.0004, z - pair_height * 0.2)
        pieces += [_relabelled(piece, _HAND_CONTROL) for piece in moved(pair, on_front)]
        z -= pair_height + size * 0.35
    return pieces


def pair_fits_upright(rng: np.random.Generator, size: float, width: float) -> bool:
    return bool(rng.random() < 0.35) and size < width * 0.8


def _belt_hook(rng: np.random.Generator, depth: float, height: float) -> Part:
    """A wire behind the body to hang it up by."""
    bends = np.array([(0, depth * 0.4, height * 0.3), (0, depth * 1.4, height * 0.35), (0, depth * 1.3, height * 0.15)])
    return Part(cable(curve(bends, 12), 0.004), rubber(rng), _HAND_CONTROL)


def _handset_cable(rng: np.random.Generator, height: float) -> list[Piece]:
    """The cable with its relief: hanging from the lower end, or leaving upwards."""
    down = rng.random() < 0.8
    end = np.array([0, 0, -height / 2 if down else height / 2])
    outward = np.array([0, 0, -1.0 if down else 1.0])
    relief = Part(cylinder(0.007, 0.022, 0.005).translate((0, 0, -0.011)).translate(tuple(end)), rubber(rng))
    if down:
        return [relief, fittings.hanging_cable(rng, end + outward * 0.01, outward, rng.uniform(0.2, 0.6))]
    bends = np.array([end, end + (0, 0, 0.08), end + (rng.normal(0, 0.05), 0.02, 0.3), end + (0, 0.05, 0.6)])
    return [relief, Part(cable(curve(bends, 30), 0.0035), cable_material(rng))]


def _relabelled(piece: Piece, label: str) -> Piece:
    return replace(piece, label=label)


def charger(rng: np.random.Generator, style: str) -> tuple[list[Piece], str]:
    """A plug-in charger, a cradle, or a lead with an in-line adapter: standing on z = 0, front towards -y."""
    family = str(rng.choice(CHARGER_FAMILIES[style]))
    pieces = {
        "plug_in": _plug_in,
        "desk_cradle": _desk_cradle,
        "wall_cradle": _wall_cradle,
        "in_line_adapter": _in_line_adapter,
    }[family](rng)
    if rng.random() < 0.6:
        bounds = np.array(pieces[0].solid.bounding_box()).reshape(2, 3) if isinstance(pieces[0], Part) else None
        if bounds is not None:
            glow = ((0.1, 2.0, 0.2), (2.0, 0.7, 0.05))[int(rng.integers(2))] if rng.random() < 0.6 else None
            lamp = Manifold.sphere(0.003, 16).translate(
                (
                    bounds[0, 0] + (bounds[1] - bounds[0])[0] * rng.uniform(0.2, 0.8),
                    bounds[0, 1] + 0.0005,
                    bounds[0, 2] + (bounds[1] - bounds[0])[2] * 0.7,
                )
            )
            pieces.append(Part(lamp, Material((0.3, 0.8, 0.3), 0.3, emission=glow), "charger/body"))
    return pieces, family


def _lead(rng: np.random.Generator, start: np.ndarray, length: float, flat: bool = True) -> Piece:
    """A lead that wanders over the ground and ends in a plug."""
    steps = np.cumsum(rng.normal(0, length * 0.18, (5, 3)) + np.array([0, -0.03, 0]), axis=0)
    if flat:
        steps[:, 2] = -np.linspace(0, start[2] - 0.004, 5)
    return Part(cable(curve(np.vstack([start, start + steps]), 40), rng.uniform(0.0022, 0.004)), cable_material(rng))


def _plug_in(rng: np.random.Generator) -> list[Piece]:
    """A block with pins that sits in a wall socket, with its lead."""
    w, d, h = rng.uniform(0.04, 0.075), rng.uniform(0.035, 0.07), rng.uniform(0.06, 0.11)
    body = rounded_block(w, d, h, min(w, d) * rng.uniform(0.06, 0.3)).translate((0, 0, h / 2))
    pieces: list[Piece] = [Part(body, housing_material(rng), "charger/body")]
    pins = (
        cylinder(0.0024, 0.019, segments=16)
        if rng.random() < 0.5
        else block(0.006, 0.0015, 0.018).translate((0, 0, 0.009))
    )
    for x in (-0.0095, 0.0095):
        pieces.append(
            Part(pins.rotate((-90, 0, 0)).translate((x, d / 2 - 0.002, h * 0.65)), metal(rng), "charger/body")
        )
    pieces.append(_lead(rng, np.array([0, -d * 0.1, 0.004]), rng.uniform(0.15, 0.4)))
    if rng.random() < 0.7:
        pieces.append(_relabelled(sticker(rng), "charger/body").moved(shift(0, -d / 2 - 0.0006, h * 0.5)))
    return pieces


def _desk_cradle(rng: np.random.Generator) -> list[Piece]:
    """A base with a slot in which a pack stands to be charged, sometimes with the pack in it."""
    w, d, h = rng.uniform(0.12, 0.22), rng.uniform(0.08, 0.14), rng.uniform(0.035, 0.07)
    base = bevelled_prism(rounded_outline(w, d, d * rng.uniform(0.08, 0.4)), h, h * rng.uniform(0.05, 0.3)).translate(
        (0, 0, h / 2)
    )
    slot_w, slot_d = w * rng.uniform(0.6, 0.85), d * rng.uniform(0.4, 0.6)
    back = rounded_block(w * 0.9, d * 0.2, h * rng.uniform(1.2, 2.4), 0.005).translate((0, d * 0.4, h))
    body = (base + back) - block(slot_w, slot_d, h).translate((0, -d * 0.02, h))
    pieces: list[Piece] = [Part(body, housing_material(rng), "charger/body")]
    for x in (-0.012, 0.012):
        pieces.append(Part(block(0.005, 0.012, 0.008).translate((x, 0, h * 0.5 + 0.003)), metal(rng), "charger/body"))
    if rng.random() < 0.3:
        pack = rounded_block(slot_w * 0.95, slot_d * 0.9, h * 2.6, 0.006).translate((0, -d * 0.02, h * 0.55 + h * 1.3))
        pieces.append(Part(pack, housing_material(rng)))
    pieces.append(_lead(rng, np.array([w * 0.4, d * 0.45, 0.01]), rng.uniform(0.15, 0.4)))
    return pieces


def _wall_cradle(rng: np.random.Generator) -> list[Piece]:
    """A plate for the wall with a shelf and contacts that a pack hangs on."""
    w, h, d = rng.uniform(0.1, 0.2), rng.uniform(0.16, 0.28), rng.uniform(0.012, 0.025)
    plate = (
        bevelled_prism(rounded_outline(w, h, w * rng.uniform(0.05, 0.2)), d, d * 0.3)
        .rotate((90, 0, 0))
        .translate((0, 0, h / 2))
    )
    shelf_d = rng.uniform(0.04, 0.07)
    shelf = rounded_block(w * 0.95, shelf_d, h * rng.uniform(0.18, 0.3), 0.006).translate((0, -shelf_d / 2, h * 0.14))
    rails = [block(0.008, 0.018, h * 0.6).translate((sign * w * 0.4, -d / 2 - 0.006, h * 0.58)) for sign in (-1, 1)]
    body = plate + shelf + rails[0] + rails[1]
    pieces: list[Piece] = [Part(body, housing_material(rng), "charger/body")]
    for x in (-0.014, 0.014):
        pieces.append(
            Part(block(0.005, 0.006, 0.02).translate((x, -d / 2 - 0.002, h * 0.4)), metal(rng), "charger/body")
        )
    pieces.append(_lead(rng, np.array([0, -0.01, 0.006]), rng.uniform(0.2, 0.5), flat=False))
    return pieces


def _in_line_adapter(rng: np.random.Generator) -> list[Piece]:
    """A brick between two leads, a round plug at the end of one; the leads are part of this charger."""
    w, d, h = rng.uniform(0.09, 0.16), rng.uniform(0.045, 0.075), rng.uniform(0.028, 0.045)
    brick = rounded_block(w, d, h, h * rng.uniform(0.08, 0.4)).translate((0, 0, h / 2))
    pieces: list[Piece] = [Part(brick, housing_material(rng), "charger/body")]
    for sign in (-1, 1):
        relief = cylinder(0.006, 0.02, 0.004).rotate((0, 90 * sign, 0)).translate((sign * w / 2, 0, h / 2))
        pieces.append(Part(relief, rubber(rng), "charger/body"))
        control = np.array(
            [
                (sign * w * 0.55, 0, h / 2),
                (sign * (w * 0.55 + 0.05), rng.normal(0, 0.03), 0.005),
                (sign * (w * 0.6 + 0.12), rng.normal(0, 0.1), 0.004),
                (sign * rng.uniform(0.0, 0.2), -0.15 + rng.normal(0, 0.05), 0.004),
            ]
        )
        pieces.append(Part(cable(curve(control, 40), 0.0032), cable_material(rng), "charger/body"))
        if sign > 0:
            end = control[-1]
            plug = cylinder(0.008, 0.04).rotate((90, 0, 0)).translate(tuple(end + (0, 0, 0.005)))
            pieces.append(Part(plug, Material(any_colour(rng), 0.5), "charger/body"))
    if rng.random() < 0.7:
        pieces.append(_relabelled(sticker(rng), "charger/body").moved(turn((1, 0, 0), -90) @ shift(y=-h - 0.0006)))
    return pieces

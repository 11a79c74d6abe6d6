"""What sits on a control box: emergency stop, buttons, displays, sockets, screws.

Each builder returns pieces in the mount frame: origin on the surface, outward is -y, "up" along the face is z.
"""

from collections.abc import Sequence

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold, OpType

from synthetic_samples.geometry import (
    Material,
    Part,
    Piece,
    Vector,
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
    turned,
)
from synthetic_samples.materials.materials import any_colour, cable_material, contrasting, rubber, stop_red, stop_yellow

STOP_FAMILIES = {
    "train": ("dome", "flat_top", "tall_cap", "stepped_cap"),
    "calibration": ("bevelled_cap",),
    "heldout": ("scalloped_cap",),
}

OUTWARD = turn((1, 0, 0), 90)  # carries +z to -y: lathe-turned pieces stand out of the face


def emergency_stop(rng: np.random.Generator, family: str, diameter: float) -> list[Piece]:
    """A mushroom-head stop, mostly red with yellow behind (ISO 13850, IEC 60204-1; from memory)."""
    r = diameter / 2
    pieces = _stop_background(rng, r)
    lift = rng.uniform(0.15, 0.6) * r + 0.004
    pieces.append(Part(cylinder(r * rng.uniform(0.4, 0.7), lift), Material(any_colour(rng), 0.5), "control_box/stop"))
    head = _stop_head(rng, family, r, lift)
    pieces.append(Part(head, stop_red(rng), "control_box/stop", crease_deg=50))
    if rng.random() < 0.45:
        pieces += _turn_marks(rng, r, lift + head.bounding_box()[5] - lift)
    return moved(pieces, OUTWARD)


def _stop_background(rng: np.random.Generator, r: float) -> list[Piece]:
    kind = rng.choice(["disc", "square", "ring", "cone", "bare"], p=[0.4, 0.17, 0.2, 0.13, 0.1])
    thick = rng.uniform(0.001, 0.005)
    yellow = stop_yellow(rng) if rng.random() < 0.9 else Material(any_colour(rng), 0.5)
    if kind == "disc":
        solid = cylinder(r * rng.uniform(1.15, 1.7), thick)
    elif kind == "square":
        side = 2 * r * rng.uniform(1.15, 1.5)
        solid = Manifold.extrude(rounded_outline(side, side, side * rng.uniform(0.02, 0.3)), thick)
    elif kind == "ring":
        solid = cylinder(r * rng.uniform(1.1, 1.35), thick + 0.003)
    elif kind == "cone":
        solid = cylinder(r * rng.uniform(1.2, 1.5), r * rng.uniform(0.2, 0.45), r * rng.uniform(0.85, 1.05))
    else:
        solid, yellow = cylinder(r * 1.05, 0.002), Material(any_colour(rng), 0.5)
    return [Part(solid, yellow, "control_box/stop")]


def _stop_head(rng: np.random.Generator, family: str, r: float, z: float) -> Manifold:
    h = r * rng.uniform(0.35, 0.75)
    if family == "dome":
        arc = [(r * np.cos(t), z + h * 0.4 + h * 0.8 * np.sin(t)) for t in np.linspace(0, np.pi / 2, 10)]
        profile = [(0, z), (r * 0.8, z), (r, z + h * 0.25), *arc, (0, z + h * 1.2)]
    elif family == "flat_top":
        profile = [(0, z), (r * 0.85, z), (r, z + h * 0.2), (r, z + h * 0.7), (r * 0.85, z + h), (0, z + h)]
    elif family == "tall_cap":
        h *= 1.7
        profile = [
            (0, z),
            (r * 0.7, z),
            (r, z + h * 0.35),
            (r * 0.97, z + h * 0.8),
            (r * 0.8, z + h),
            (0, z + h * 1.03),
        ]
    elif family == "stepped_cap":
        profile = [(0, z), (r, z), (r, z + h * 0.5), (r * 0.72, z + h * 0.55), (r * 0.68, z + h), (0, z + h)]
    elif family == "bevelled_cap":
        profile = [(0, z), (r * 0.6, z), (r, z + h * 0.45), (r, z + h * 0.6), (r * 0.6, z + h), (0, z + h)]
    else:
        lobes = int(rng.integers(6, 13))
        outline = CrossSection.circle(r, 64)
        notch = [CrossSection.circle(r * 0.16, 20).translate((r * 1.04 * np.cos(a), r * 1.04 * np.sin(a)))
                 for a in np.linspace(0, 2 * np.pi, lobes, endpoint=False)]  # fmt: skip
        outline = outline - CrossSection.batch_boolean([*notch], OpType.Add)
        return Manifold.extrude(outline, h).translate((0, 0, z)) + cylinder(r * 0.6, h * 1.15).translate((0, 0, z))
    return turned(profile, 48)


def _turn_marks(rng: np.random.Generator, r: float, z: float) -> list[Piece]:
    """Pale arc marks on the cap, as caps that are turned to release often carry."""
    pale = Material((0.85, 0.85, 0.82) if rng.random() < 0.7 else (0.3, 0.02, 0.02), 0.6)
    count, radius = int(rng.integers(2, 4)), r * rng.uniform(0.4, 0.62)
    marks: list[Piece] = []
    for start in np.linspace(0, 360, count, endpoint=False):
        for step in np.linspace(0, 60, 5):
            angle = np.radians(start + step)
            spot = cylinder(r * 0.075, r * 0.5).translate(
                (radius * np.cos(angle), radius * np.sin(angle), z - r * 0.49)
            )
            marks.append(Part(spot, pale, "control_box/stop"))
    return marks


def button_pair(
    rng: np.random.Generator, size: float, upright: bool, grounds: Sequence[Vector | np.ndarray] = ()
) -> tuple[list[Piece], float, float]:
    """A raise and a lower button; returns pieces and the width and height of the pair in metres.

    `grounds`: colours on which it may stand; an arrow without a plate stands out from all of them.
    """
    if not upright and rng.random() < 0.2:  # as a whole on its side: the arrows point along the pair
        pieces, width, height = button_pair(rng, size, True, grounds)
        return moved(pieces, turn((0, 1, 0), 90)), height, width
    label = "control_box/service_buttons"
    pitch = size * rng.uniform(1.15, 1.8)
    pieces: list[Piece] = []
    kind = rng.choice(["round", "square", "arrow", "rocker", "membrane"], p=[0.3, 0.22, 0.2, 0.13, 0.15])
    cap = Material(any_colour(rng), rng.uniform(0.3, 0.7))
    caps = (cap, cap if rng.random() < 0.6 else Material(any_colour(rng), 0.5))
    width, height = (size, pitch + size) if upright else (pitch + size, size)
    if kind == "arrow" and grounds and rng.random() < 0.5:  # without a plate
        caps = (Material(contrasting(rng, *grounds), 0.5),) * 2
    elif kind in ("arrow", "rocker", "membrane") or rng.random() < 0.3:
        plate = rounded_outline(width * 1.25, height * 1.15, size * rng.uniform(0.1, 0.5))
        solid = Manifold.extrude(plate, 0.0015).transform(OUTWARD[:3])
        ground = contrasting(rng, *(each.base_color for each in caps))
        pieces.append(Part(solid, Material(ground, 0.5), label))
        width, height = width * 1.25, height * 1.15
    out = 0.0008 if kind == "membrane" else rng.uniform(0.0015, 0.007)
    sign_of = (_arrow, _chevron, _shaft)[int(rng.choice(3, p=[0.6, 0.22, 0.18]))]
    ink = Material((0.9, 0.9, 0.9) if np.mean(np.asarray(cap.base_color)) < 0.35 else (0.03, 0.03, 0.03), 0.6)
    for sign, material in zip((1, -1), caps, strict=True):
        place = shift(z=sign * pitch / 2) if upright else shift(x=-sign * pitch / 2)
        outline = _button_outline(kind, size, sign)
        button = Part(Manifold.extrude(outline, out + 0.0015), material, label).moved(OUTWARD)
        arrow = Part(Manifold.extrude(sign_of(size * 0.27, sign), 0.0004).translate((0, 0, out + 0.0015)), ink, label)
        pieces.append(button.moved(place))
        if kind != "arrow":
            pieces.append(arrow.moved(OUTWARD).moved(place))
    return pieces, width, height


def _button_outline(kind: str, size: float, sign: int) -> CrossSection:
    if kind == "round":
        return CrossSection.circle(size / 2, 32)
    if kind == "arrow":
        return _arrow(size * 0.55, sign).offset(size * 0.06, JoinType.Round, 2.0, 16)
    return rounded_outline(size, size * 0.9, size * (0.35 if kind == "membrane" else 0.12))


def _arrow(reach: float, sign: int) -> CrossSection:
    """A triangle that points up (sign 1) or down (-1) along the face."""
    points = [(-reach, -0.7 * reach * sign), (reach, -0.7 * reach * sign), (0, reach * sign)]
    return CrossSection([points if sign > 0 else points[::-1]])


def _chevron(reach: float, sign: int) -> CrossSection:
    """An open angle that points up or down."""
    return _arrow(reach, sign) - _arrow(reach, sign).translate((0, -0.75 * reach * sign))


def _shaft(reach: float, sign: int) -> CrossSection:
    """An arrow with a shaft."""
    shaft = CrossSection.square((reach * 0.5, reach * 1.2), True).translate((0, -0.5 * reach * sign))
    return _arrow(reach, sign).translate((0, 0.25 * reach * sign)) + shaft


def screw(rng: np.random.Generator, radius: float) -> list[Piece]:
    head = cylinder(radius, 0.0012, segments=20) - block(radius * 1.5, radius * 0.35, 0.002).translate((0, 0, 0.0012))
    colour = (0.5, 0.5, 0.52) if rng.random() < 0.6 else (0.05, 0.05, 0.05)
    return moved([Part(head, Material(colour, 0.35, metallic=0.9), "control_box/trim")], OUTWARD)


def fuse_cap(rng: np.random.Generator, radius: float) -> list[Piece]:
    """A single round cap with a slot: no button."""
    cap = cylinder(radius, radius * rng.uniform(0.3, 0.9)) - block(radius * 2, radius * 0.3, radius).translate(
        (0, 0, radius)
    )
    return moved([Part(cap, Material(any_colour(rng), 0.5), "control_box/trim")], OUTWARD)


def socket(rng: np.random.Generator, radius: float, plugged: bool) -> list[Piece]:
    """A round or rectangular socket; a plug and its hanging cable when plugged (they carry no label)."""
    collar = cylinder(radius * 1.35, rng.uniform(0.001, 0.006)) - cylinder(radius, 0.02)
    pieces: list[Piece] = [
        Part(collar, Material(any_colour(rng), 0.5), "control_box/trim"),
        Part(cylinder(radius, 0.0006), Material((0.01, 0.01, 0.01), 0.6), "control_box/trim"),
    ]
    if plugged:
        length = radius * rng.uniform(1.6, 4.0)
        body = Material(any_colour(rng) if rng.random() < 0.3 else tuple([float(rng.uniform(0.01, 0.3))] * 3), 0.5)
        if rng.random() < 0.6:
            plug = cylinder(radius * 0.98, length, radius * rng.uniform(0.55, 0.95))
        else:
            plug = rounded_block(radius * 1.9, radius * 1.5, length, radius * 0.3).translate((0, 0, length / 2))
        relief = cylinder(radius * 0.45, length * 0.5, radius * 0.28).translate((0, 0, length))
        pieces += [Part(plug, body), Part(relief, rubber(rng))]
    return moved(pieces, OUTWARD)


def hanging_cable(rng: np.random.Generator, start: np.ndarray, outward: np.ndarray, drop: float) -> Piece:
    """A cable that leaves `start` along `outward` and falls; one in three is curled."""
    side = rng.normal(0, 0.35 * drop, 2)
    control = np.array([
        start,
        start + outward * 0.03,
        start + outward * 0.05 + (side[0] * 0.3, side[1] * 0.3, -drop * 0.3),
        start + outward * 0.03 + (side[0] * 0.8, side[1] * 0.6, -drop * rng.uniform(0.5, 0.8)),
        start + (side[0], side[1], -drop * rng.uniform(0.7, 1.1)),
    ])  # fmt: skip
    radius = rng.uniform(0.0022, 0.0045)
    if rng.random() < 0.35:
        return Part(
            cable(_curl(curve(control, 160), rng.uniform(0.006, 0.012), int(rng.integers(14, 26))), radius * 0.8, 6),
            cable_material(rng),
        )
    return Part(cable(curve(control, 24), radius), cable_material(rng))


def _curl(line: np.ndarray, radius: float, turns: int) -> np.ndarray:
    """The same line wound into a helix, straight at its two ends."""
    tangent = np.gradient(line, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    side = np.cross(tangent, (0.31, 0.8, 0.5))
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    t = np.linspace(0, 1, len(line))[:, None]
    envelope = np.clip(np.minimum(t, 1 - t) * 8, 0, 1) * radius
    angle = 2 * np.pi * turns * t
    return line + envelope * (np.cos(angle) * side + np.sin(angle) * np.cross(tangent, side))


def carry_handle(rng: np.random.Generator, width: float) -> list[Piece]:
    """A bow to carry by, standing out of the face."""
    reach, radius = rng.uniform(0.025, 0.045), rng.uniform(0.005, 0.009)
    line = np.array(
        [
            (-width / 2, 0, 0),
            (-width / 2 * 0.92, 0, reach * 0.9),
            (0, 0, reach),
            (width / 2 * 0.92, 0, reach * 0.9),
            (width / 2, 0, 0),
        ]
    )
    return moved(
        [Part(cable(curve(line, 20), radius, 12), Material(any_colour(rng), 0.5), "control_box/trim")], OUTWARD
    )


def latch(rng: np.random.Generator, width: float, height: float) -> list[Piece]:
    """A clip that holds a pack, or a key that frees it: in a dish or a frame, plain or with ridges for the thumb."""
    material = Material(any_colour(rng), 0.5)
    if rng.random() < 0.4:
        clip = bevelled_prism(rounded_outline(width, height, height * 0.2), rng.uniform(0.004, 0.01), 0.0015)
        return moved([Part(clip, material, "control_box/trim"), *_ridges(rng, width, height, 0.005, material)], OUTWARD)
    outline = rounded_outline(width, height, height * rng.uniform(0.05, 0.48))
    across, along = width * rng.uniform(0.5, 0.9), height * rng.uniform(0.3, 0.85)
    ground = contrasting(rng, material.base_color) if rng.random() < 0.7 else any_colour(rng)
    around = Manifold.extrude(outline, 0.001)
    if rng.random() < 0.4:  # a rim round it
        around = Manifold.extrude(outline, 0.003) - Manifold.extrude(outline.offset(-height * 0.08), 0.01)
        across, along = min(across, width * 0.82), min(along, height * 0.8)
    key = bevelled_prism(rounded_outline(across, along, along * rng.uniform(0.05, 0.4)), 0.004, 0.001)
    parts = [Part(around, Material(ground, 0.6), "control_box/trim"), Part(key, material, "control_box/trim")]
    return moved([*parts, *_ridges(rng, across, along, 0.002, material)], OUTWARD)


def _ridges(rng: np.random.Generator, width: float, height: float, z: float, material: Material) -> list[Piece]:
    """Bars to push against; in a colour of their own two at most, since more would look like a gauge's."""
    count = int(rng.integers(0, 7))
    if count == 0:
        return []
    upright = rng.random() < 0.4
    span, length = (width, height) if upright else (height, width)
    pitch = span * 0.8 / count
    one = block(length * rng.uniform(0.5, 0.85), min(pitch * rng.uniform(0.3, 0.6), 0.003), 0.002)
    bars = Manifold.compose([one.translate((0, (k - (count - 1) / 2) * pitch, z)) for k in range(count)])
    own = Material(contrasting(rng, material.base_color), 0.5) if count <= 2 and rng.random() < 0.5 else material
    return [Part(bars.rotate((0, 0, 90)) if upright else bars, own, "control_box/trim")]


def vents(rng: np.random.Generator) -> tuple[list[Piece], float, float]:
    """Slots or holes for air in rows; returns pieces, width and height in metres."""
    rows, pitch = int(rng.integers(3, 9)), rng.uniform(0.0035, 0.007)
    if rng.random() < 0.7:
        width = rng.uniform(0.018, 0.06)
        one = block(width, pitch * rng.uniform(0.25, 0.5), 0.0008)
    else:
        columns = int(rng.integers(3, 9))
        width, hole = pitch * columns, cylinder(pitch * rng.uniform(0.2, 0.35), 0.0008, segments=10)
        one = Manifold.compose([hole.translate(((k - (columns - 1) / 2) * pitch, 0, 0)) for k in range(columns)])
    solid = Manifold.compose([one.translate((0, (k - (rows - 1) / 2) * pitch, 0)) for k in range(rows)])
    level = float(rng.uniform(0.005, 0.05))
    return moved([Part(solid, Material((level, level, level), 0.7), "control_box/trim")], OUTWARD), width, rows * pitch

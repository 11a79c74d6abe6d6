"""A control box from its concept values: any two with the same values look like two makers' products."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import Material, Part, Piece, block, rounded_block
from synthetic_samples.grammar import boxes
from synthetic_samples.materials.materials import housing_material
from synthetic_samples.shapes import displays, fittings
from synthetic_samples.shapes.bodies import BODY_FAMILIES, housing
from synthetic_samples.shapes.draft import Draft
from synthetic_samples.shapes.trimmings import trim

_TRIES = 40
_WELL_WITHIN = {"bounds": (0.1, 0.9, 0.12, 0.92), "unevenness": 0.002}


@dataclass(frozen=True, eq=False)
class ControlBox:
    """Pieces in the box's own frame (centre of the control unit at the origin, front towards -y).

    `values`: concept to value; `families`: what style it belongs to; `size`: outer width, depth, height in metres;
    `solids`: control unit and pack, for outlines; `mounts`: as `Draft` has them.
    """

    pieces: list[Piece]
    values: dict[str, str]
    families: dict[str, str]
    size: tuple[float, float, float]
    solids: list[Manifold]
    mounts: dict[str, np.ndarray]


def control_box(rng: np.random.Generator, values: dict[str, str], style: str, composed: bool = False) -> ControlBox:
    """Build a control box with the given concept values from a style's families or, `composed`, by its grammar."""
    display_sides = _display_sides(rng)
    for _ in range(_TRIES):
        draft, families = boxes.shell(rng, values, style) if composed else _shell(rng, values, style)
        placed = (
            boxes.essentials(draft, style, families["stop"], display_sides)
            if composed
            else _essentials(draft, families["stop"], display_sides)
        )
        if placed:
            trim(draft)
            solids = [draft.unit] + ([draft.pack] if draft.pack else [])
            bounds = np.array(Manifold.compose(solids).bounding_box()).reshape(2, 3)
            width, depth, height = bounds[1] - bounds[0]
            return ControlBox(draft.pieces, dict(values), families, (width, depth, height), solids, draft.mounts)
    raise RuntimeError(
        f"no control box with {values} found room for its parts in {_TRIES} tries; widen the sizes in _shell"
    )


# The housing and its pack -----------------------------------------------------------------------------------------


def _shell(rng: np.random.Generator, values: dict[str, str], style: str) -> tuple[Draft, dict[str, str]]:
    families = {
        "control_box": str(rng.choice(BODY_FAMILIES[style])),
        "stop": str(rng.choice(fittings.STOP_FAMILIES[style])),
    }
    width = rng.uniform(0.1, 0.21)
    height = width * np.exp(rng.uniform(np.log(0.75), np.log(2.3)))
    height = float(np.clip(height, 0.13, 0.42))
    depth = float(np.clip(min(width, height) * rng.uniform(0.45, 1.05), 0.065, 0.2))
    material = housing_material(rng)
    unit, pack = {"built_in": _built_in, "stacked_pack": _stacked, "hung_pack": _hung}[values["battery"]](
        rng, values, families["control_box"], width, depth, height
    )
    draft = Draft(rng, values, unit, pack)
    draft.pieces.append(Part(unit, material, "control_box/unit", split_faces=True))
    if pack is not None:
        same = rng.random() < 0.45
        draft.pieces.append(
            Part(pack, material if same else housing_material(rng), "control_box/pack", split_faces=True)
        )
    elif rng.random() < 0.22:
        _second_colour(draft, material)
    if len(draft.pieces) == (1 if pack is None else 2) and rng.random() < 0.25:
        _front_panel(draft)
    return draft, families


def _built_in(rng: np.random.Generator, values: dict[str, str], family: str, w: float, d: float, h: float):
    return housing(rng, family, w, d, h), None


def _stacked(rng: np.random.Generator, values: dict[str, str], family: str, w: float, d: float, h: float):
    """Pack on top of the unit with a parting line of 2 mm or more; a step is left free where the stop stands on it."""
    share = rng.uniform(0.35, 0.62)
    unit_h = max(h * share, 0.075)
    pack_h = max(h * (1 - share), 0.06)
    gap = rng.uniform(0.002, 0.005)
    pack_w, pack_d, x, y = w * rng.uniform(0.86, 1.03), d * rng.uniform(0.82, 1.06), 0.0, 0.0
    if values["stop_position"] == "top":
        step = rng.uniform(0.052, 0.085)
        if rng.random() < 0.5:
            w = max(w, step + 0.07)
            pack_w, x = w - step, float(rng.choice([-1, 1])) * step / 2
        else:
            d = max(d, step + 0.05)
            pack_d, y = d - step, step / 2
    unit = housing(rng, family, w, d, unit_h)
    other = family if rng.random() < 0.7 else "rounded"
    pack = housing(rng, other, pack_w, pack_d, pack_h)
    neck = block(pack_w * 0.9, pack_d * 0.9, 0.02).translate((0, 0, -pack_h / 2))
    pack = (pack + neck).translate((x, y, unit_h / 2 + gap + pack_h / 2)) - unit
    return unit, pack


def _hung(rng: np.random.Generator, values: dict[str, str], family: str, w: float, d: float, h: float):
    """A slab that hangs on the front or the back face and leaves the upward face free."""
    d = max(d * 0.85, 0.06)
    unit = housing(rng, family, w, d, h)
    front = rng.random() < (0.6 if values["stop_position"] == "top" else 0.4)
    slab_w, slab_d = w * rng.uniform(0.7, 1.08), rng.uniform(0.032, 0.07)
    slab_h = h * rng.uniform(0.55, 0.95)
    if values["stop_position"] == "front" and front:
        slab_h = min(slab_h, h - rng.uniform(0.06, 0.085))
    gap = rng.uniform(0.002, 0.005)
    shape = "rounded" if rng.random() < 0.5 else "slab_edges"
    slab = housing(rng, shape, slab_w, slab_d, slab_h)
    slab = slab + block(slab_w * 0.85, slab_d * 0.5 + gap + 0.012, slab_h * 0.85).translate(
        (0, slab_d * 0.25 + 0.006 + gap / 2, 0)
    )
    low = (
        -h / 2
        + slab_h / 2
        + (h - slab_h) * (rng.uniform(0, 0.25) if values["stop_position"] == "front" else rng.uniform(0, 0.8))
    )
    slab = slab.translate((0, -d / 2 - gap - slab_d / 2, low))
    if not front:
        slab = slab.rotate((0, 0, 180))
    return unit, slab - unit


def _second_colour(draft: Draft, material: Material) -> None:
    """A band or lid of another colour, flush with the housing: decoration, not a pack."""
    rng, unit = draft.rng, draft.unit
    low, high = np.array(unit.bounding_box()).reshape(2, 3)
    size = high - low
    axis = int(rng.choice([1, 2]))
    share = rng.uniform(0.08, 0.22)
    cutter_size, centre = size * 1.2, (low + high) / 2
    cutter_size[axis] = size[axis] * share
    centre[axis] = (
        (low[axis] + size[axis] * share / 2)
        if axis == 1 or rng.random() < 0.5
        else (high[axis] - size[axis] * share / 2)
    )
    cutter = block(*cutter_size).translate(tuple(centre))
    first = draft.pieces[0]
    draft.pieces[0] = replace(first, solid=unit - cutter)
    draft.pieces.append(Part(unit ^ cutter, housing_material(rng), "control_box/unit", split_faces=True))


def _front_panel(draft: Draft) -> None:
    """A front of another colour in a frame of the housing's, flush with it."""
    rng, unit = draft.rng, draft.unit
    low, high = np.array(unit.bounding_box()).reshape(2, 3)
    width, depth, height = high - low
    plate = rounded_block(width * rng.uniform(0.75, 0.94), depth * 0.3, height * rng.uniform(0.75, 0.94), depth * 0.06)
    plate = plate.translate(tuple((low + high) / 2 * (1, 0, 1) + (0, low[1], 0)))
    draft.pieces[0] = replace(draft.pieces[0], solid=unit - plate)
    draft.pieces.append(Part(unit ^ plate, housing_material(rng), "control_box/unit", split_faces=True))


# Stop, buttons, display: what the concepts speak of ------------------------------------------------------------------


def _essentials(draft: Draft, stop_family: str, display_sides: tuple[str, ...]) -> bool:
    """Place what the concepts name; False if the housing has no room."""
    return _place_stop(draft, stop_family) and _place_buttons(draft) and _place_display(draft, display_sides)


def _place_stop(draft: Draft, family: str) -> bool:
    rng, side = draft.rng, draft.values["stop_position"]
    face = draft.unit_faces[side]
    for diameter in (rng.uniform(0.028, 0.045), 0.03, 0.025):
        around = diameter * 1.3
        bounds = (0.12, 0.88, 0.45, 0.93) if side == "front" and rng.random() < 0.75 else (0.08, 0.92, 0.08, 0.92)
        draw = partial(fittings.emergency_stop, rng, family, diameter)
        if draft.put([face], around, around, draw, bounds=bounds, unevenness=0.004):
            return True
    return False


def _place_buttons(draft: Draft) -> bool:
    rng, where = draft.rng, draft.values["service_buttons"]
    if where == "none":
        return True
    sides = ("front",) if where == "front" else (("left", "right") if rng.random() < 0.5 else ("right", "left"))
    grounds = [p.material.base_color for p in draft.pieces if p.label in ("control_box/unit", "control_box/pack")]
    for size in (np.exp(rng.uniform(np.log(0.01), np.log(0.026))), rng.uniform(0.01, 0.015), 0.009):
        upright = rng.random() < 0.6
        pieces, width, height = fittings.button_pair(rng, size, upright, grounds)
        faces = draft.faces(*sides[:1]) + draft.faces(*sides[1:])
        if draft.put(faces, width, height, pieces.copy, "service_buttons", **_WELL_WITHIN):
            return True
    return False


def _display_sides(rng: np.random.Generator) -> tuple[str, ...]:
    """Displays stand on the front four times in five, else on the top or a side, of unit or pack.

    Drawn before the housing is: one without room there is drawn anew, or small fronts would have few.
    """
    if rng.random() < 0.8:
        return ("front",)
    return ("top",) if rng.random() < 0.6 else ("left", "right")


def _place_display(draft: Draft, sides: tuple[str, ...]) -> bool:
    rng, kind = draft.rng, draft.values["charge_display"]
    if kind == "none":
        if rng.random() < 0.3:
            _place_lamps(draft, int(rng.integers(1, 3)), sides)
        return True
    if kind == "lamp_row":
        return any(_place_lamps(draft, count, sides) for count in (int(rng.integers(3, 7)), 4, 3))
    for scale in (1.0, 0.8, 0.6):
        width = rng.uniform(0.032, 0.075) * scale
        height = width * rng.uniform(0.35, 0.75)
        draw, room = partial(displays.gauge, rng, width, height), (width * 1.25, height * 1.3)
        if draft.put(draft.faces(*sides), *room, draw, "charge_display", **_WELL_WITHIN):
            return True
    return False


def _place_lamps(draft: Draft, count: int, sides: tuple[str, ...]) -> bool:
    pieces, width, height = displays.lamp_row(draft.rng, count, upright=draft.rng.random() < 0.3)
    tells = "charge_display" if count >= 3 else None
    return draft.put(
        draft.faces(*sides), width, height, pieces.copy, tells, bounds=(0.1, 0.9, 0.1, 0.93), unevenness=0.002
    )

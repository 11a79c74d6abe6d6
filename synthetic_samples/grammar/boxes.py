"""A control box's housing and pack from operations, and what is mounted on them, by what the values say."""

from functools import partial

import numpy as np
from manifold3d import Manifold

from synthetic_samples.geometry import Part, block, rounded_block
from synthetic_samples.grammar import controls
from synthetic_samples.grammar.operations import body
from synthetic_samples.materials.materials import housing_material
from synthetic_samples.shapes import fittings
from synthetic_samples.shapes.draft import Draft
from synthetic_samples.splits import production

Size = tuple[float, float, float]
"""Three numbers along x, y, z (m)."""
_WELL_WITHIN = {"bounds": (0.08, 0.92, 0.1, 0.94), "unevenness": 0.0025}


def shell(rng: np.random.Generator, values: dict[str, str], style: str) -> tuple[Draft, dict[str, str]]:
    """Control unit and pack of any build that the values allow, nothing on them yet; and the families they are of."""
    w = float(rng.uniform(0.09, 0.24))
    h = float(np.clip(w * np.exp(rng.uniform(np.log(0.55), np.log(2.6))), 0.11, 0.44))
    d = float(np.clip(min(w, h) * rng.uniform(0.35, 1.15), 0.055, 0.21))
    unit, pack = {"built_in": _built_in, "stacked_pack": _stacked, "hung_pack": _hung}[values["battery"]](
        rng, values, style, w, d, h
    )
    draft = Draft(rng, values, unit, pack)
    material = housing_material(rng)
    draft.pieces.append(Part(unit, material, "control_box/unit", split_faces=True))
    if pack is not None:
        same = rng.random() < 0.4
        draft.pieces.append(
            Part(pack, material if same else housing_material(rng), "control_box/pack", split_faces=True)
        )
    families = {"control_box": "composed", "stop": str(rng.choice(fittings.STOP_FAMILIES[style]))}
    return draft, families


def _built_in(rng: np.random.Generator, values: dict[str, str], style: str, w: float, d: float, h: float):
    return body(rng, style, (w, d, h)), None


def _stacked(rng: np.random.Generator, values: dict[str, str], style: str, w: float, d: float, h: float):
    """The pack is the upper part of the column, with its own parting line; a stop on top has its step of the unit."""
    share, gap = rng.uniform(0.3, 0.65), float(rng.uniform(0.002, 0.006))
    unit_h, pack_h = max(h * share, 0.07), max(h * (1 - share), 0.055)
    pack_w, pack_d, x, y = w * float(rng.uniform(0.8, 1.06)), d * float(rng.uniform(0.8, 1.08)), 0.0, 0.0
    step = values["stop_position"] == "top"
    if step:
        free = float(rng.uniform(0.05, 0.09))
        if rng.random() < 0.5:
            w = max(w, free + 0.065)
            pack_w, x = w - free, float(rng.choice([-1, 1])) * free / 2
        else:
            d = max(d, free + 0.05)
            pack_d, y = d - free, free / 2
    unit = body(rng, style, (w, d, unit_h))
    pack = body(rng, style, (pack_w, pack_d, pack_h))
    kind = production(rng, "stacked_pack", style)
    foot = block(pack_w * 0.7, pack_d * 0.7, unit_h * 0.5).translate((0, 0, -(pack_h + unit_h * 0.5) / 2 + 0.01))
    at = (x, y, unit_h / 2 + gap + pack_h / 2)
    pack = (pack + foot).translate(at)
    if kind in ("cradled", "saddled") and not step:
        free = block(w * 0.6, 2 * d, h) if kind == "saddled" else Manifold()  # a saddle: at its two sides alone
        unit = unit + _rim(rng, (w, d, unit_h), (pack_w, pack_d, pack_h), gap, at, free)
    elif kind == "before_a_back" and not step:  # a spine of the unit rises behind it
        thick = d * float(rng.uniform(0.12, 0.25))
        spine = block(w * float(rng.uniform(0.4, 0.95)), thick, unit_h * 0.5 + pack_h * float(rng.uniform(0.5, 1.0)))
        low = spine.bounding_box()[2]
        unit = unit + spine.translate((0, (d - thick) / 2, -low))
        pack = pack - block(2 * w, thick + 2 * gap, 2 * h).translate((0, (d - thick) / 2, 0))
    elif kind == "slid_in":  # on two rails
        rails = block(pack_w * 0.12, pack_d, 0.012)
        for side in (-1, 1):
            unit = unit + rails.translate((x + side * pack_w * 0.35, y, unit_h / 2))
        pack = pack - unit
    return unit, pack - unit


def _rim(rng: np.random.Generator, unit: Size, pack: Size, gap: float, at: Size, free: Manifold) -> Manifold:
    """Low walls of the unit round the foot of the pack whose middle is at `at`, but not where `free` is."""
    (w, d, unit_h), (pack_w, pack_d, pack_h) = unit, pack
    tall = pack_h * float(rng.uniform(0.08, 0.25))
    rim = block(w, d, unit_h * 0.5 + tall).translate((0, 0, unit_h / 4 + tall / 2 - 0.001))
    hollow = rounded_block(pack_w + 2 * gap, pack_d + 2 * gap, pack_h * 2, 0.004)
    return rim - free - hollow.translate((at[0], at[1], at[2] + pack_h / 2))


def _hung(rng: np.random.Generator, values: dict[str, str], style: str, w: float, d: float, h: float):
    """A slab with its own parting line on the front or the back; the unit's upward face stays free."""
    d = max(d * 0.85, 0.055)
    unit = body(rng, style, (w, d, h))
    stop = values["stop_position"]
    front = rng.random() < (0.6 if stop == "top" else 0.4)
    slab_w, slab_d, slab_h = (
        w * float(rng.uniform(0.6, 1.12)),
        float(rng.uniform(0.028, 0.08)),
        h * float(rng.uniform(0.5, 0.97)),
    )
    if stop == "front" and front:
        slab_h = min(slab_h, h - float(rng.uniform(0.058, 0.085)))
    gap, kind = float(rng.uniform(0.002, 0.006)), production(rng, "hung_pack", style)
    slab = body(rng, style, (slab_w, slab_d, slab_h))
    tongue = block(slab_w * 0.8, slab_d * 0.5 + gap + d * 0.2, slab_h * 0.8)
    slab = slab + tongue.translate((0, slab_d * 0.25 + (gap + d * 0.2) / 2, 0))
    rest = h - slab_h
    low = -h / 2 + slab_h / 2 + rest * float(rng.uniform(0, 0.2) if stop == "front" else rng.uniform(0, 0.85))
    slab = slab.translate((0, -d / 2 - gap - slab_d / 2, low))
    unit, slab = _held(rng, kind, unit, slab, (w, d, h), (slab_w, slab_d, slab_h), gap, low)
    if not front:
        slab, unit = slab.rotate((0, 0, 180)), unit.rotate((0, 0, 180))
    return unit, slab - unit


def _held(
    rng: np.random.Generator,
    kind: str,
    unit: Manifold,
    slab: Manifold,
    unit_size: Size,
    slab_size: Size,
    gap: float,
    low: float,
) -> tuple[Manifold, Manifold]:
    """Unit and slab with what holds the slab; `low` is the height of its middle (m)."""
    (w, d, h), (slab_w, slab_d, slab_h) = unit_size, slab_size
    if kind == "framed":  # cheeks of the unit stand beside it
        for side in (-1, 1):
            cheek = block(w * 0.06, slab_d * float(rng.uniform(0.3, 0.8)) + d * 0.5, slab_h)
            x = max(slab_w / 2 + gap + w * 0.03, w * 0.47)
            unit = unit + cheek.translate((side * x, -d / 4 - slab_d * 0.25, low))
            unit = unit + block(2 * x, d * 0.3, slab_h * 0.6).translate((0, 0, low))
    elif kind == "stepped":  # a smaller step before it, as for the hand
        step = block(slab_w * float(rng.uniform(0.3, 0.8)), slab_d * 0.5, slab_h * float(rng.uniform(0.2, 0.5)))
        slab = slab + step.translate((0, -d / 2 - gap - slab_d, low - slab_h * float(rng.uniform(-0.2, 0.25))))
    elif kind == "hooked":  # by two straps over its upper corners
        strap = block(slab_w * 0.12, slab_d + d * 0.3, 0.006)
        for side in (-1, 1):
            where = side * min(slab_w, w) * 0.36, -d / 2 - slab_d / 2 + d * 0.15, low + slab_h / 2 + gap + 0.003
            if where[2] < h / 2 - 0.004:
                unit = unit + strap.translate(where)
    elif kind == "in_a_bay":  # half sunk into the face
        sunk = min(slab_d * float(rng.uniform(0.3, 0.6)), d * 0.3)
        bay = block(slab_w + 2 * gap, 2 * sunk, slab_h + 2 * gap).translate((0, -d / 2, low))
        if slab_w < w * 0.94:
            unit, slab = unit - bay, slab.translate((0, sunk, 0))
    return unit, slab


# What the values speak of ---------------------------------------------------------------------------------------------


def essentials(draft: Draft, style: str, stop_family: str, display_sides: tuple[str, ...]) -> bool:
    """Place stop, buttons and display; False if the housing has no room."""
    return (
        _place_stop(draft, stop_family) and _place_buttons(draft, style) and _place_display(draft, style, display_sides)
    )


def _place_stop(draft: Draft, family: str) -> bool:
    rng, side = draft.rng, draft.values["stop_position"]
    for diameter in (float(rng.uniform(0.024, 0.05)), 0.03, 0.025):
        bounds = (0.12, 0.88, 0.4, 0.94) if side == "front" and rng.random() < 0.6 else (0.06, 0.94, 0.06, 0.94)
        draw = partial(fittings.emergency_stop, rng, family, diameter)
        if draft.put([draft.unit_faces[side]], diameter * 1.2, diameter * 1.2, draw, bounds=bounds, unevenness=0.004):
            return True
    return False


def _place_buttons(draft: Draft, style: str) -> bool:
    rng, where = draft.rng, draft.values["service_buttons"]
    if where == "none":
        return True
    sides = ("front",) if where == "front" else (("left", "right") if rng.random() < 0.5 else ("right", "left"))
    grounds = [p.material.base_color for p in draft.pieces if p.label in ("control_box/unit", "control_box/pack")]
    for size in (float(np.exp(rng.uniform(np.log(0.01), np.log(0.03)))), float(rng.uniform(0.01, 0.015)), 0.009):
        pieces, width, height = controls.buttons(rng, style, size, rng.random() < 0.6, grounds)
        faces = draft.faces(*sides[:1]) + draft.faces(*sides[1:])
        if draft.put(faces, width, height, pieces.copy, "service_buttons", **_WELL_WITHIN):
            return True
    return False


def _place_display(draft: Draft, style: str, sides: tuple[str, ...]) -> bool:
    rng, kind = draft.rng, draft.values["charge_display"]
    if kind == "gauge":
        for scale in (1.0, 0.75, 0.55):
            pieces, width, height = controls.gauge(rng, style, float(rng.uniform(0.03, 0.08)) * scale)
            if draft.put(draft.faces(*sides), width, height, pieces.copy, "charge_display", **_WELL_WITHIN):
                return True
        return False
    if kind == "none" and rng.random() < 0.7:
        return True
    counts = (int(rng.integers(3, 9)), 4, 3) if kind == "lamp_row" else (int(rng.integers(1, 3)),)
    for count in counts:
        pieces, width, height = controls.lamps(rng, style, count, rng.random() < 0.35)
        tells = "charge_display" if count >= 3 else None
        if draft.put(draft.faces(*sides), width, height, pieces.copy, tells, **_WELL_WITHIN):
            return True
    return kind == "none"

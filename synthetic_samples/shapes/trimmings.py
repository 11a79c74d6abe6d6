"""What a control box carries beside the things that its values speak of."""

from dataclasses import replace
from functools import partial

import numpy as np

from synthetic_samples.geometry import Material, Part, moved, rounded_block, shift
from synthetic_samples.materials.materials import any_colour, sticker
from synthetic_samples.shapes import fittings
from synthetic_samples.shapes.draft import Draft


def trim(draft: Draft) -> None:
    """Everything that carries no meaning: sockets, labels, screws, vents, latches, handles, a bracket."""
    rng = draft.rng
    _sockets(draft)
    for _ in range(int(rng.integers(0, 4))):
        label = sticker(rng)
        scale = rng.uniform(0.4, 1.0)
        label = replace(label, width_m=label.width_m * scale, height_m=label.height_m * scale, label="control_box/trim")
        pieces, faces = [label.moved(shift(y=-0.0006))], draft.faces("front", "left", "right", "back")[:3]
        draft.put(faces, label.width_m, label.height_m, pieces.copy, unevenness=0.0008)
    _screws(draft)
    _vents_and_flap(draft)
    if rng.random() < 0.25:
        face = draft.unit_faces[str(rng.choice(["front", "left", "right"]))]
        radius = rng.uniform(0.005, 0.009)
        draft.put([face], radius * 2, radius * 2, partial(fittings.fuse_cap, rng, radius))
    if draft.pack is not None:
        _pack_fittings(draft)
    if rng.random() < 0.25:
        face = draft.pack_faces["top"] if draft.values["battery"] == "stacked_pack" else draft.unit_faces["top"]
        width = rng.uniform(0.06, 0.1)
        draft.put([face], width, 0.022, partial(fittings.carry_handle, rng, width), bounds=(0.3, 0.7, 0.2, 0.8))
    if rng.random() < 0.55:
        _bracket(draft)


def _sockets(draft: Draft) -> None:
    """Two to five sockets, most with a plug and a cable, along the bottom, the lower front or a side."""
    rng = draft.rng
    radius = rng.uniform(0.0055, 0.0105)
    side = str(rng.choice(["bottom", "front", "left", "right"], p=[0.55, 0.2, 0.125, 0.125]))
    face = draft.unit_faces[side]
    bounds = (0.06, 0.94, 0.1, 0.9) if side == "bottom" else (0.06, 0.94, 0.05, 0.35)
    for _ in range(int(rng.integers(2, 6))):
        spot = face.place(rng, radius * 2.8, radius * 2.8, bounds=bounds, unevenness=0.002)
        if spot is None:
            continue
        plugged = rng.random() < 0.7
        draft.pieces += moved(fittings.socket(rng, radius, plugged), spot)
        if plugged and rng.random() < 0.85:
            outward = -spot[:3, 1]
            start = spot[:3, 3] + outward * radius * 3.2
            draft.pieces.append(fittings.hanging_cable(rng, start, outward, rng.uniform(0.12, 0.5)))


def _screws(draft: Draft) -> None:
    rng = draft.rng
    if rng.random() < 0.5:
        return
    radius = rng.uniform(0.0025, 0.0045)
    face = draft.unit_faces[str(rng.choice(["front", "front", "left", "right"]))]
    inset = rng.uniform(0.05, 0.12)
    for u in (inset, 1 - inset):
        for v in (inset, 1 - inset):
            draw = partial(fittings.screw, rng, radius)
            draft.put([face], radius * 2, radius * 2, draw, bounds=(u, u, v, v), gap=0.001)


def _vents_and_flap(draft: Draft) -> None:
    """Slots for air in two boxes of five, and now and then a closed flap that looks like a pack's latch."""
    rng = draft.rng
    if rng.random() < 0.4:
        pieces, width, height = fittings.vents(rng)
        draft.put(draft.faces("front", "left", "right")[:3], width, height, pieces.copy, unevenness=0.0015)
    if rng.random() < 0.2:
        size = rng.uniform(0.02, 0.05), rng.uniform(0.012, 0.03)
        draw = partial(fittings.latch, rng, *size)
        draft.put(draft.faces("front", "left", "right")[:1], *size, draw, unevenness=0.002)


def _pack_fittings(draft: Draft) -> None:
    """A latch, a grip or both, on most packs."""
    rng = draft.rng
    if rng.random() < 0.6:
        size = rng.uniform(0.02, 0.06), rng.uniform(0.012, 0.032)
        sides = (
            ("front", "left", "right")
            if draft.values["battery"] == "stacked_pack"
            else ("left", "right", "front", "top")
        )
        faces = [draft.pack_faces[str(side)] for side in rng.permutation(sides)[:2]]
        draft.put(faces, *size, partial(fittings.latch, rng, *size), unevenness=0.003)
    if rng.random() < 0.35:
        width = rng.uniform(0.05, 0.09)
        draw = partial(fittings.carry_handle, rng, width)
        draft.put([draft.pack_faces["top"]], width, 0.016, draw, bounds=(0.3, 0.7, 0.2, 0.8), unevenness=0.003)


def _bracket(draft: Draft) -> None:
    """A plate behind the unit, as fixed to a mast or wall; it carries no label."""
    rng = draft.rng
    low, high = np.array(draft.unit.bounding_box()).reshape(2, 3)
    if draft.pack is not None and draft.pack.bounding_box()[4] > high[1] + 0.01:
        return
    width, height = (high - low)[0] * rng.uniform(0.4, 1.15), (high - low)[2] * rng.uniform(0.5, 1.15)
    plate = rounded_block(width, 0.004, height, 0.0019).translate((0, high[1] + 0.002, 0))
    draft.pieces.append(Part(plate, Material(any_colour(rng), 0.4, metallic=0.6)))

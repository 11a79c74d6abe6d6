"""What each spot of a picture belongs to, at a quarter of its resolution: a teacher that points.

A part map is an 8-bit picture of the upright photo's size over four, rounded up; a pixel is an index into `PARTS`.
"""

import io
from collections.abc import Mapping

import numpy as np
from PIL import Image

from synthetic_samples.annotate.labels import without_number

PARTS = (
    "background",
    "control_box",
    "unit_front",
    "unit_side",
    "unit_top",
    "pack_front",
    "pack_side",
    "pack_top",
    "stop",
    "service_buttons",
    "lamp_row",
    "gauge",
    "actuator_housing",
    "fork",
    "collar",
    "tabs",
    "knob",
    "neck",
    "tube_root",
    "hand_control",
    "charger",
    "look_alike",
)
"""Names of the parts; what is no part of anything is background, and cables and plugs are too."""

SMALL_PARTS = ("stop", "service_buttons", "lamp_row", "gauge", "tabs", "knob", "neck")
"""Parts that win a spot of the map from `_ENOUGH_PX` of its sixteen pixels on, so that shrinking does not lose them."""

REDUCTION = 4
_ENOUGH_PX = 4
_FACES = {"front": "front", "left": "side", "right": "side", "top": "top"}


def part_map(label_ids: np.ndarray, labels: list[str], values: Mapping[int | None, dict[str, str]]) -> np.ndarray:
    """Part map (ceil(H / 4), ceil(W / 4)) uint8 of label ids (H, W); `values` are concept values by thing's number."""
    parts = part_numbers(labels, values)[label_ids]
    height, width = (-(-size // REDUCTION) * REDUCTION for size in parts.shape)
    padded = np.zeros((height, width), np.uint8)
    padded[: parts.shape[0], : parts.shape[1]] = parts
    spots = padded.reshape(height // REDUCTION, REDUCTION, width // REDUCTION, REDUCTION).transpose(0, 2, 1, 3)
    spots = spots.reshape(height // REDUCTION, width // REDUCTION, REDUCTION**2)
    counts = (spots[..., None] == np.arange(len(PARTS), dtype=np.uint8)).sum(axis=2)  # (h, w, parts)
    small = np.array([PARTS.index(part) for part in SMALL_PARTS])
    counts[..., small] += np.where(counts[..., small] >= _ENOUGH_PX, REDUCTION**2, 0)
    return counts.argmax(axis=2).astype(np.uint8)


def part_numbers(labels: list[str], values: Mapping[int | None, dict[str, str]]) -> np.ndarray:
    """(L,) uint8 index into `PARTS` of each label; `values` are concept values by thing's number."""
    return np.array([PARTS.index(_part_of_its_thing(label, values)) for label in labels], np.uint8)


def _part_of_its_thing(label: str, values: Mapping[int | None, dict[str, str]]) -> str:
    plain, number = without_number(label)
    return part_of(plain, values.get(number, {}))


def part_of(label: str, values: dict[str, str]) -> str:
    """Name of the part that a mask label (without number) belongs to; `values` are its thing's concept values."""
    subject, _, piece = label.partition("/")
    if subject in ("hand_control", "charger", "look_alike"):
        return subject
    if label == "actuator_tube/root":
        return "tube_root"
    if subject == "actuator_head":
        if piece.partition("/")[0] == "mechanism":
            return "tabs" if values.get("lowering") == "squeeze_tabs" else "knob"
        return {"fork": "fork", "plain_end": "fork", "collar": "collar", "neck": "neck"}.get(piece, "actuator_housing")
    if subject == "control_box":
        name, _, side = piece.partition("/")
        if name in ("unit", "pack") and side in _FACES:
            return f"{name}_{_FACES[side]}"
        if name == "charge_display":
            return "gauge" if values.get("charge_display") == "gauge" else "lamp_row"
        return name if name in ("stop", "service_buttons") else "control_box"
    return "background"


def encode(parts: np.ndarray) -> bytes:
    """PNG bytes of a part map."""
    buffer = io.BytesIO()
    Image.fromarray(parts).save(buffer, "PNG", compress_level=3)
    return buffer.getvalue()

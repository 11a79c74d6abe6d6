"""A folder of plain drawings in the manifest's format: quick to make, easy to learn, like no real part."""

import json
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from classifier.taxonomy import CONCEPTS_OF, SUBJECTS
from synthetic_samples.render.part_maps import PARTS, REDUCTION

PART_OF_KIND = dict(zip(SUBJECTS, ("unit_front", "actuator_housing", "hand_control", "charger"), strict=True))
PART_OF_CONCEPT = {"stop_position": "stop", "battery": "pack_front", "service_buttons": "service_buttons",
                   "charge_display": "gauge", "lowering": "knob"}  # fmt: skip


def draw_folder(folder: Path, count: int, style: str, seed: int, empty_share: float = 0.15) -> Path:
    """`count` drawings with their manifest; boxes, concept readings and part maps are true of what is drawn."""
    rng = np.random.default_rng(seed)
    for name in ("images", "parts"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    lines = [json.dumps(_draw_one(folder, index, style, rng, empty_share)) for index in range(count)]
    (folder / "manifest.jsonl").write_text("\n".join(lines) + "\n")
    return folder


def _draw_one(folder: Path, index: int, style: str, rng: np.random.Generator, empty_share: float) -> dict:
    width, height = (320, 240) if rng.random() < 0.7 else (240, 320)
    noise = rng.normal(rng.uniform(90, 180), 12, (height, width, 3)).clip(0, 255).astype(np.uint8)
    picture = Image.fromarray(noise)
    parts = Image.new("L", (width // REDUCTION, height // REDUCTION))
    canvas, spots = ImageDraw.Draw(picture), ImageDraw.Draw(parts)
    empty = rng.random() < empty_share
    subjects, look_alikes = [], []
    for slot, kind in enumerate([] if empty else rng.permutation(SUBJECTS)[: rng.integers(1, 3)]):
        left, top = rng.uniform(0.04, 0.1) + 0.48 * slot, rng.uniform(0.1, 0.5)
        box = [left, top, left + rng.uniform(0.25, 0.38), top + rng.uniform(0.25, 0.38)]
        readings = _draw_subject(canvas, spots, str(kind), np.array(box) * (width, height, width, height), rng)
        subjects.append({"kind": str(kind), "box": box, "visible_px": 4000, "visible_fraction": 1.0,
                         "cut_off": False, "concepts": readings})  # fmt: skip
    if empty:
        box = [0.4, 0.4, 0.7, 0.7]
        canvas.ellipse([int(v * s) for v, s in zip(box, (width, height) * 2, strict=True)], fill=(90, 60, 130))
        spots.ellipse([v * s for v, s in zip(box, parts.size * 2, strict=True)], fill=PARTS.index("look_alike"))
        look_alikes.append({"kind": "valve_wheel", "box": box})
    name = f"images/{index:06d}.jpg"
    picture.save(folder / name, quality=90)
    parts.save(folder / f"parts/{index:06d}.png")
    return {"schema": "1", "index": index, "seed": index, "file": name, "parts_file": f"parts/{index:06d}.png",
            "width": width, "height": height, "style": style, "families": {}, "framing": "none" if empty else "close",
            "conditions": ["dark"] if index % 5 == 0 else [], "fair": not empty and index % 5 != 0,
            "camera": {"distance_m": 0.5}, "look_alikes": look_alikes, "subjects": subjects,
            "code_version": "drawn"}  # fmt: skip


def _draw_subject(
    canvas: ImageDraw.ImageDraw, spots: ImageDraw.ImageDraw, kind: str, box_px: np.ndarray, rng: np.random.Generator
) -> dict:
    left, top, right, bottom = box_px
    fills = dict(zip(SUBJECTS, [(60, 60, 60), (230, 230, 220), (40, 90, 160), (30, 30, 90)], strict=True))
    canvas.rectangle([left, top, right, bottom], fill=fills[kind])
    spots.rectangle((box_px / REDUCTION).tolist(), fill=PARTS.index(PART_OF_KIND[kind]))
    readings = {}
    for row, (concept, values) in enumerate(CONCEPTS_OF[kind].items()):
        value, visible = values[rng.integers(len(values))], bool(rng.random() < 0.8)
        readings[concept] = {"value": value, "visible": visible, "evidence_px": 300 if visible else 0}
        if visible:  # one coloured square, its place and colour telling the value
            side, place = (right - left) / 5, values.index(value)
            x, y = left + side * (0.2 + place * 1.2), top + (bottom - top) * (0.04 + 0.24 * row)
            colours = [(220, 40, 40), (240, 220, 60), (60, 200, 80), (240, 240, 240)]
            square = [x, y, x + side, y + (bottom - top) * 0.2]
            canvas.rectangle(square, fill=colours[place])
            spots.rectangle([v / REDUCTION for v in square], fill=PARTS.index(PART_OF_CONCEPT[concept]))
        if concept == "lowering" and visible and value.endswith("twist_knob") and rng.random() < 0.3:
            readings[concept]["possible"] = ["twist_knob", "pull_twist_knob"]
    return readings

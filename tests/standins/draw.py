"""Draws the stand-in pictures: `python -m tests.standins.draw --count 400 --seed 5 --out DIR --maps DIR`.

Each picture depends on the seed and its index alone. A run that was stopped goes on where the manifest ends.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from pathlib import Path

import numpy as np

from classifier.taxonomy import CONTROL_BOX_CONCEPTS

from .cycles import Stage
from .everyday import EVERYDAY
from .labels import measured, smallest_evidence_px
from .look_alikes import LOOK_ALIKES
from .phone_camera import develop, jpeg, shot
from .places import Wish, compose
from .scene import Camera, Scene, look

DEMO_GENERATIONS = (
    ("top", "built_in", "none", "lamp_row"),
    ("front", "stacked_pack", "side", "gauge"),
    ("top", "hung_pack", "front", "gauge"),
    ("front", "built_in", "side", "lamp_row"),
)
"""The four rows of the demo catalogue, in the order of the taxonomy's concepts."""

LOWERINGS = ("none", "squeeze_tabs", "twist_knob", "pull_twist_knob")
CODE_VERSION = "standins-1"
CAMERA_TRIES = 16
"""Views tried for a better one; four times as many where none shows the part at all."""


FAIR_EVIDENCE = {
    ("lowering", "none"): 4.0,
    ("lowering", "squeeze_tabs"): 7.0,
    ("lowering", "twist_knob"): 18.0,
    ("lowering", "pull_twist_knob"): 18.0,
    ("battery", "stacked_pack"): 25.0,
    ("battery", "hung_pack"): 25.0,
    ("battery", "built_in"): 1.3,
    ("stop_position", "top"): 4.0,
    ("stop_position", "front"): 4.0,
    ("service_buttons", "side"): 5.0,
    ("service_buttons", "front"): 4.0,
    ("service_buttons", "none"): 1.3,
    ("charge_display", "gauge"): 3.5,
    ("charge_display", "none"): 1.3,
}
"""How many times the smallest evidence a fair photo must show of a value, 2.5 where none is named."""

PACK_SHARE = 0.12
"""Share of a box's pixels that pack and unit must each cover in a fair photo: less of a slab looks like a bracket."""


def main() -> None:
    """Draws what the manifest lacks, one picture after the other."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--maps", type=Path, required=True, help="folder of the packed environment maps (*.exr.js)")
    parser.add_argument("--samples", type=int, default=6)
    parser.add_argument("--threads", type=int, default=1)
    options = parser.parse_args()
    (options.out / "images").mkdir(parents=True, exist_ok=True)
    manifest = options.out / "manifest.jsonl"
    done = {json.loads(line)["index"] for line in manifest.read_text().splitlines()} if manifest.exists() else set()
    for index in (index for index in range(options.count) if index not in done):
        start = time.monotonic()
        entry = draw(index, options.seed, options.out, options.maps, options.samples, options.threads)
        with manifest.open("a") as stream:
            stream.write(json.dumps(entry) + "\n")
        print(f"{index} {entry['framing']} fair={entry['fair']} {time.monotonic() - start:.1f} s", flush=True)


def draw(index: int, seed: int, out: Path, maps: Path, samples: int, threads: int) -> dict:
    """One picture into out/images, and its manifest entry."""
    rng = np.random.default_rng([seed, index])
    wanted, conditions = wish(rng)
    scene = compose(rng, wanted)
    stage = Stage(scene, maps, threads)
    camera, subjects, strangers = sighted(rng, stage, scene, wanted, conditions)
    flash_w = float(rng.uniform(3, 9)) * (camera.distance_mm / 1000) ** 2 * 6 if "flash" in conditions else 0.0
    linear = stage.render(camera, samples, index, flash_w)
    settings = shot(rng, conditions)
    name = f"images/{index:06d}.jpg"
    data = jpeg(develop(linear, settings, rng), settings.quality)
    temporary = out / f"{name}.part"
    temporary.write_bytes(data)
    os.replace(temporary, out / name)
    return {
        "schema": "1",
        "index": index,
        "seed": seed,
        "file": name,
        "width": camera.width,
        "height": camera.height,
        "style": "standin",
        "families": {"environment": scene.world.name or scene.lighting, "place": scene.place, "phone": settings.name},
        "framing": wanted.framing,
        "conditions": sorted(conditions),
        "fair": is_fair(wanted, conditions, subjects, camera),
        "camera": {
            "focal_mm": round(camera.focal_mm, 1),
            "distance_m": round(camera.distance_mm / 1000, 3),
            "roll_deg": round(camera.roll_deg, 1),
            "exposure_ev": round(settings.exposure_ev, 2),
        },
        "look_alikes": strangers,
        "subjects": subjects,
        "code_version": CODE_VERSION,
    }


def wish(rng: np.random.Generator) -> tuple[Wish, set[str]]:
    """What a picture shall show, and the hard conditions that it is taken under."""
    framing = str(rng.choice(["close", "mid", "wide", "none"], p=[0.62, 0.14, 0.08, 0.16]))
    fair = framing == "close" and rng.random() < 0.72
    conditions: set[str] = set()
    if not fair:
        conditions |= {
            name
            for name, odds in (("dark", 0.15), ("blurred", 0.14), ("overexposed", 0.1), ("covered", 0.15))
            if rng.random() < odds
        }
    if "dark" in conditions:
        conditions.discard("overexposed")
    lighting = str(
        rng.choice(["map", "room", "studio", "sky", "night", "flash"], p=[0.36, 0.3, 0.12, 0.08, 0.07, 0.07])
    )
    if fair and lighting in ("night", "flash"):
        lighting = "room"
    if lighting == "flash":
        conditions.add("flash")
    focus = str(rng.choice(["control_box", "actuator_head", "hand_control", "charger"], p=[0.52, 0.36, 0.06, 0.06]))
    places = {
        "close": (["table", "floor", "wall", "lift"], [0.34, 0.18, 0.24, 0.24]),
        "mid": (["table", "floor", "wall", "lift"], [0.1, 0.15, 0.25, 0.5]),
        "wide": (["floor", "wall", "lift"], [0.05, 0.05, 0.9]),
        "none": (["table", "floor"], [0.6, 0.4]),
    }
    place = str(rng.choice(places[framing][0], p=places[framing][1]))
    if place == "lift" and focus not in ("control_box", "actuator_head"):
        place = "wall"
    if framing == "none":
        focus = ""
        conditions.discard("covered")
    strange, common = list(LOOK_ALIKES), list(EVERYDAY)
    only_common = framing == "none" and rng.random() < 0.35
    alike = 0 if only_common else int(rng.integers(1, 4)) if framing == "none" else int(rng.choice([0, 0, 1, 2]))
    usual = int(rng.integers(2, 6)) if framing == "none" else int(rng.choice([0, 1, 2, 3]))
    return Wish(
        framing,
        fair,
        place,
        lighting,
        focus,
        _box_values(rng),
        str(rng.choice(LOWERINGS)),
        "covered" in conditions,
        tuple(rng.choice(strange, alike, replace=False).tolist()),
        tuple(rng.choice(common, usual, replace=False).tolist()),
    ), conditions


def is_fair(wanted: Wish, conditions: set[str], subjects: list[dict], camera: Camera) -> bool:
    """Close, well lit, nothing cut off; the part in focus readable at a glance, every value of the others shown."""
    if not (wanted.fair and subjects) or conditions or wanted.lighting in ("night", "flash"):
        return False
    if any(subject["cut_off"] for subject in subjects) or not any(subject["in_focus"] for subject in subjects):
        return False
    return all(_readable(s, camera) if s["in_focus"] else _shown(s) for s in subjects)


def _box_values(rng: np.random.Generator) -> dict[str, str]:
    """Six boxes in ten are of a demo generation, the others any other combination."""
    if rng.random() < 0.6:
        row = DEMO_GENERATIONS[int(rng.integers(0, len(DEMO_GENERATIONS)))]
        return dict(zip(CONTROL_BOX_CONCEPTS, row, strict=True))
    while True:
        row = tuple(str(rng.choice(values)) for values in CONTROL_BOX_CONCEPTS.values())
        if row not in DEMO_GENERATIONS:
            return dict(zip(CONTROL_BOX_CONCEPTS, row, strict=True))


def sighted(
    rng: np.random.Generator,
    stage: Stage,
    scene: Scene,
    wanted: Wish,
    conditions: set[str],
    tries: int = CAMERA_TRIES,
) -> tuple[Camera, list[dict], list[dict]]:
    """A camera that sees the focus, whole and readable where the picture shall be fair; and the labels from there."""
    best = None
    for attempt in range(4 * tries):
        drawn = [look(rng, scene, wanted.framing, wanted.fair) for _ in range(40 if wanted.fair else 1)]
        camera = next((camera for camera in drawn if _whole(scene, camera)), drawn[0])
        subjects, strangers = measured(scene, camera, stage.measure(camera))
        good = _worth(wanted, subjects, strangers, camera)
        if best is None or good > best[0]:
            best = (good, camera, subjects, strangers)
        if good == 1.0 or (attempt + 1 >= tries and best[0] > 0):
            break
    _, camera, subjects, strangers = best
    if abs(camera.roll_deg) > 20:
        conditions.add("tilted")
    if wanted.framing == "wide":
        conditions.add("far")
    return camera, subjects, strangers


def _worth(wanted: Wish, subjects: list[dict], strangers: list[dict], camera: Camera) -> float:
    """How well a view shows what was wished for: 1 is good enough."""
    if not wanted.focus:
        return 1.0 if strangers or not wanted.look_alikes else 0.5
    focus = [subject for subject in subjects if subject["in_focus"]]
    if not focus:
        return 0.0
    if not wanted.fair or is_fair(wanted, set(), subjects, camera):
        return 1.0
    return 0.4 + 0.2 * _readable(focus[0], camera) + 0.2 * (not any(subject["cut_off"] for subject in subjects))


def _whole(scene: Scene, camera: Camera) -> bool:
    """Whether each part lies inside the photo or outside it, and the one in focus inside."""
    for index in range(len(scene.subjects)):
        flat = camera.project(scene.corners(index))
        inside = (
            (flat[:, 2] > 0)
            & (abs(flat[:, 0] / camera.width - 0.5) < 0.49)
            & (abs(flat[:, 1] / camera.height - 0.5) < 0.49)
        )
        if not inside.all() and (index == scene.focus or inside.any()):
            return False
    return True


def _shown(subject: dict) -> bool:
    return all(concept["visible"] and "possible" not in concept for concept in subject["concepts"].values())


def _readable(subject: dict, camera: Camera) -> bool:
    """Whether a person would name every value at a glance: the evidence exceeds the smallest by the factors below."""
    least = smallest_evidence_px(camera.width, camera.height)
    battery = subject["concepts"].get("battery", {"value": "", "evidence_px": 0})
    if (
        battery["value"] in ("stacked_pack", "hung_pack")
        and battery["evidence_px"] < PACK_SHARE * subject["visible_px"]
    ):
        return False
    return (subject["visible_fraction"] > 0.85 and _shown(subject)) and all(
        concept["evidence_px"] >= FAIR_EVIDENCE.get((name, concept["value"]), 2.5) * least
        for name, concept in subject["concepts"].items()
    )


if __name__ == "__main__":
    main()

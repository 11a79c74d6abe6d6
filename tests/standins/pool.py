"""Draws a pool of lifts, several photos of each: `python -m tests.standins.pool --lifts 300 --seed 5 --out DIR …`.

The lifts of part `learn` are built of some families of bodies and shells, those of part `held` of the others alone: who
learns from the one and is judged by the other has seen neither these lifts nor anything built like them. A photo costs
a fifth of one of `draw`: fewer tries for a view, fewer samples, fewer pixels.
"""

from __future__ import annotations

import argparse
import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np

from . import actuators, housings
from .cycles import Stage
from .draw import CODE_VERSION, is_fair, sighted, wish
from .phone_camera import develop, jpeg, shot
from .places import Wish, compose

HELD_BODIES = ("_wedge", "_bow", "_finned", "_rimmed")
HELD_SHELLS = ("_tee", "_skewed")
PARTS = ("learn", "held")
VIEWS, TRIES = 3, 3
NOTHING_SHARE = 0.08  # of the lifts: photos of other things


def main() -> None:
    """Draws the lifts that the manifest lacks, one after the other."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lifts", type=int, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--part", choices=PARTS, required=True)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--samples", type=int, default=3, help="light paths a pixel")
    parser.add_argument("--scale", type=float, default=0.8, help="of a side, against a photo of `draw`")
    parser.add_argument("--maps", type=Path, required=True, help="folder of the packed environment maps (*.exr.js)")
    options = parser.parse_args()
    only_families_of(options.part)
    (options.out / "images").mkdir(parents=True, exist_ok=True)
    manifest = options.out / "manifest.jsonl"
    done = {json.loads(line)["lift"] for line in manifest.read_text().splitlines()} if manifest.exists() else set()
    for lift in range(options.first, options.lifts):
        name = f"{options.part}-{lift:04d}"
        if name in done:
            continue
        entries = photos_of(name, lift, options)
        with manifest.open("a") as stream:
            stream.writelines(json.dumps(entry) + "\n" for entry in entries)


def only_families_of(part: str) -> None:
    """From now on this process builds of the families of one part alone."""
    held = part == "held"
    housings.DESIGNS = tuple(d for d in housings.DESIGNS if (d.__name__ in HELD_BODIES) is held)
    actuators.SHELLS = tuple(s for s in actuators.SHELLS if (s.__name__ in HELD_SHELLS) is held)


def wish_of_a_pool(rng: np.random.Generator) -> tuple[Wish, set[str]]:
    """What `draw.wish` wishes, but seldom nothing, never a whole lift from afar, and motor ends as often as boxes."""
    nothing = rng.random() < NOTHING_SHARE
    while True:
        wanted, conditions = wish(rng)
        if wanted.framing != "wide" and (wanted.framing == "none") is nothing:
            break
    if wanted.focus == "control_box" and rng.random() < 0.2:
        wanted = replace(wanted, focus="actuator_head")
    return wanted, conditions


def photos_of(name: str, lift: int, options: argparse.Namespace) -> list[dict]:
    """Every photo of one lift into OUT/images, and their manifest entries; they depend on seed, part and lift alone."""
    rng = np.random.default_rng([options.seed, PARTS.index(options.part), lift])
    wanted, conditions = wish_of_a_pool(rng)
    scene = compose(rng, wanted)
    stage = Stage(scene, options.maps, 1)
    entries = []
    for view in range(VIEWS):
        met = set(conditions)
        camera, subjects, strangers = sighted(rng, stage, scene, wanted, met, TRIES)
        flash_w = float(rng.uniform(3, 9)) * (camera.distance_mm / 1000) ** 2 * 6 if view == 0 and "flash" in met else 0
        small = replace(camera, width=round(camera.width * options.scale), height=round(camera.height * options.scale))
        settings = shot(rng, met)
        linear = stage.render(small, options.samples, lift * VIEWS + view, flash_w)
        file = f"images/{name}-{view}.jpg"
        temporary = options.out / f"{name}.part"
        temporary.write_bytes(jpeg(develop(linear, settings, rng), settings.quality))
        os.replace(temporary, options.out / file)
        entries.append({
            "schema": "1", "index": lift * VIEWS + view, "seed": options.seed, "file": file, "lift": name,
            "width": small.width, "height": small.height, "style": f"pool-{options.part}",
            "families": {"place": scene.place, "phone": settings.name}, "framing": wanted.framing,
            "conditions": sorted(met), "fair": is_fair(wanted, met, subjects, camera), "camera": {},
            "look_alikes": strangers, "subjects": subjects, "code_version": CODE_VERSION,
        })  # fmt: skip
    return entries


if __name__ == "__main__":
    main()

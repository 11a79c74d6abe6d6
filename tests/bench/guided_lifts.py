"""Lifts rendered from two sides, as somebody would photograph them whom the camera guides: clips to walk with.

Run: `python -m tests.bench.guided_lifts --count 40 --seed 31001 --style heldout --out DIR`. A lift is drawn when its
box is of a listed generation and alone, and both views, from either front corner, show all of it, near and under no
hard condition: a person follows the hints until a picture is like that, and a clip cannot. What stands before the box
and what the networks make of it is not looked at.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import replace
from itertools import count
from pathlib import Path

import cv2
import numpy as np

from classifier.taxonomy import CONTROL_BOX, CONTROL_BOX_CONCEPTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from synthetic_samples.picture import draw_picture
from synthetic_samples.render.render import render, use_variant
from synthetic_samples.scene.people import halves_of, seen_box
from synthetic_samples.scene.scene import STYLES, Scene, draw_scene

CORNER_DEG = (8, 75)
"""From how far to either side of a box's front a photo is of that corner."""

EDGE = 0.02
"""Of the picture, that is left round the box."""

LEAST_SHARE = 0.08
"""Of the picture, that the box takes: near enough not to be sent closer."""

SIZE_WH = (528, 704)
"""A telephone held upright, for both views."""


def main() -> None:
    """Draw until there are so many, and write which generation each is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--style", choices=STYLES, default="heldout")
    parser.add_argument("--variant", default="scalar_rgb", help="renderer back end")
    parser.add_argument("--out", type=Path, required=True)
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    cv2.setNumThreads(1)
    use_variant(arguments.variant)
    lifts = _lifts(arguments.seed, arguments.style)
    with (arguments.out / "lifts.jsonl").open("w", encoding="utf-8", buffering=1) as told:
        for number in range(arguments.count):
            generation, scenes = next(lifts)
            records = [
                draw_picture(replace(scene, index=2 * number + view), False, render).keep(arguments.out)
                for view, scene in enumerate(scenes)
            ]
            files = [record["file"] for record in records]
            told.write(json.dumps({"generation": generation, "files": files, "lift": scenes[0].lift}) + "\n")


def _lifts(seed: int, style: str) -> Iterator[tuple[str, list[Scene]]]:
    """The generation and both views of each lift that is fit."""
    rows = {row.id: {c: getattr(row, c) for c in CONTROL_BOX_CONCEPTS} for row in load(DEMO_CATALOGUE).generations}
    for lift in count():
        scenes = []
        for view in (0, 1):
            scene = draw_scene(seed, 2 * lift + view, style, tuple(rows.values()), views=2)
            scene = replace(scene, width=SIZE_WH[0], height=SIZE_WH[1])
            scenes += [scene] if _fit(scene) else []
            if len(scenes) <= view:
                break
        else:
            (box,) = (truth for truth in scenes[0].truths if truth.kind == CONTROL_BOX)
            named = [id_ for id_, values in rows.items() if box.values == values]
            one, other = (scene.camera.azimuth_deg for scene in scenes)
            if named and one * other < 0:
                yield named[0], scenes


def _fit(scene: Scene) -> bool:
    """Whether one box is near, whole, seen from a front corner, and in good light."""
    boxes = [truth for truth in scene.truths if truth.kind == CONTROL_BOX]
    if scene.framing != "close" or scene.conditions or len(boxes) != 1 or boxes[0].number is not None:
        return False
    if not CORNER_DEG[0] < abs(scene.camera.azimuth_deg) < CORNER_DEG[1]:
        return False
    halves = halves_of(scene.camera, np.array(SIZE_WH, float))
    seen = seen_box(scene.camera, boxes[0].outline, halves)
    if seen is None:
        return False
    left, top, right, bottom = (seen / np.tile(halves, 2) + 1) / 2  # of the picture
    whole = min(left, top) >= EDGE and max(right, bottom) <= 1 - EDGE
    return bool(whole and (right - left) * (bottom - top) >= LEAST_SHARE)


if __name__ == "__main__":
    main()

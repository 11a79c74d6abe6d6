"""Scenes that tests look at."""

from synthetic_samples.scene.scene import Scene, draw_scene

SMALL = {"samples": 1, "width": 96, "height": 72}


def first_scene(framing: str, kind: str, style: str = "train") -> Scene:
    for index in range(200):
        scene = draw_scene(11, index, style)
        if scene.framing == framing and not scene.conditions and [truth.kind for truth in scene.truths] == [kind]:
            return scene
    raise AssertionError(f"no {framing} picture of a {kind} among 200")

"""The stand-in pictures are what their manifest says, and the labelling rules give what hand-made masks ask for."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from classifier.taxonomy import CONCEPTS_OF, CONTROL_BOX_CONCEPTS, SUBJECTS
from tests.standins.actuators import actuator
from tests.standins.control_boxes import control_box
from tests.standins.cycles import Passes
from tests.standins.draw import LOWERINGS, wish
from tests.standins.kit import Finish, block, frame
from tests.standins.labels import axis_angle_deg, box_of, measured, silhouette_px, smallest_evidence_px
from tests.standins.places import compose
from tests.standins.scene import Camera, Scene, Subject, look

PICTURES = Path(__file__).parent / "pictures"
GREY = Finish((0.5, 0.5, 0.5))


def manifest() -> list[dict]:
    return [json.loads(line) for line in (PICTURES / "manifest.jsonl").read_text().splitlines()]


def test_committed_pictures_match_their_manifest():
    entries = manifest()
    assert len(entries) == len({entry["file"] for entry in entries}) == 48
    assert sum((PICTURES / entry["file"]).stat().st_size for entry in entries) <= 2_500_000
    for entry in entries:
        with Image.open(PICTURES / entry["file"]) as picture:
            assert picture.size == (entry["width"], entry["height"])
        assert entry["style"] == "standin"


def test_committed_labels_use_the_taxonomy():
    assert {subject["kind"] for entry in manifest() for subject in entry["subjects"]} == set(SUBJECTS)
    for entry in manifest():
        assert entry["framing"] != "none" or not entry["subjects"]
        for subject in entry["subjects"]:
            left, top, right, bottom = subject["box"]
            assert subject["kind"] in SUBJECTS and 0 <= left < right <= 1 and 0 <= top < bottom <= 1
            assert set(subject["concepts"]) == set(CONCEPTS_OF[subject["kind"]])
            for name, concept in subject["concepts"].items():
                assert concept["value"] in CONCEPTS_OF[subject["kind"]][name]
                assert concept["value"] in concept.get("possible", [concept["value"]])


def test_a_fair_picture_shows_everything():
    fair = [entry for entry in manifest() if entry["fair"]]
    assert len(fair) >= 5 and {"control_box", "actuator_head"} <= {
        s["kind"] for entry in fair for s in entry["subjects"]
    }
    for entry in fair:
        assert entry["framing"] == "close" and not entry["conditions"]
        assert not any(subject["cut_off"] for subject in entry["subjects"])


@pytest.mark.parametrize("value", CONTROL_BOX_CONCEPTS["battery"])
def test_every_box_has_what_its_values_name(value: str):
    rng = np.random.default_rng(11)
    for stop in CONTROL_BOX_CONCEPTS["stop_position"]:
        values = {"stop_position": stop, "battery": value, "service_buttons": "front", "charge_display": "gauge"}
        evidence = {piece.evidence for piece in control_box(rng, values, standing=True).pieces}
        assert {"stop", "unit", "button", "gauge"} <= evidence and ("pack" in evidence) == (value != "built_in")


def test_a_stop_on_top_stands_higher_than_the_unit_and_a_front_stop_before_it():
    rng = np.random.default_rng(12)
    for stop, axis, sign in (("top", 2, 1), ("front", 1, -1)):
        values = {"stop_position": stop, "battery": "built_in", "service_buttons": "none", "charge_display": "none"}
        pieces = control_box(rng, values, standing=True).pieces
        reach = {
            name: max((sign * piece.vertices[:, axis]).max() for piece in pieces if piece.evidence == name)
            for name in ("stop", "unit")
        }
        assert reach["stop"] > reach["unit"] + 5


def test_the_bare_neck_belongs_to_pulling_alone():
    for lowering in LOWERINGS:
        for seed in range(12):
            pieces = actuator(np.random.default_rng(seed), lowering, 200.0, 50.0).pieces
            necks = [np.ptp(piece.vertices[:, 2]) for piece in pieces if piece.evidence == "neck"]
            assert (lowering == "pull_twist_knob") == bool(necks)
            assert all(length - 2 >= 13 for length in necks)  # 1 mm at each end lies inside its neighbours


def test_the_same_seed_wishes_and_composes_the_same_scene():
    scenes = []
    for _ in range(2):
        rng = np.random.default_rng([5, 17])
        wanted, _ = wish(rng)
        scenes.append(compose(rng, wanted))
    assert len(scenes[0].pieces) == len(scenes[1].pieces)
    for one, other in zip(scenes[0].pieces, scenes[1].pieces, strict=True):
        np.testing.assert_array_equal(one.vertices, other.vertices)


def test_projection_and_silhouette_of_a_square_ahead():
    """A 100 mm cube's face 1 m ahead at 36 mm focal length covers a tenth of a 500 px photo's long side."""
    scene, camera = _cube_scene()
    side = 500 / 36 * 36 * 100 / 1000
    assert silhouette_px(scene, camera, 0) == pytest.approx(side**2, rel=0.1)


def test_evidence_under_the_limit_is_not_visible():
    scene, camera = _cube_scene()
    least = smallest_evidence_px(camera.width, camera.height)
    for stop_px, visible in ((int(least) - 2, False), (int(least) + 2, True)):
        numbers = np.full((camera.height, camera.width), -1)
        numbers[100:200, 100:250] = 0
        numbers[120, 100 : 100 + stop_px] = 1
        normals = np.zeros((*numbers.shape, 3))
        normals[..., 1] = -1.0
        subjects, _ = measured(scene, camera, Passes(numbers, normals))
        assert subjects[0]["concepts"]["stop_position"]["visible"] is visible
        assert subjects[0]["concepts"]["battery"]["visible"] is False  # the front alone hides a pack behind
        assert subjects[0]["box"] == box_of(numbers >= 0)


def test_a_view_along_the_axis_leaves_the_knob_open():
    rng = np.random.default_rng(3)
    camera = look(rng, _cube_scene()[0], "close", fair=True)
    along = frame(camera.matrix[:3, 3] - 500 * camera.matrix[:3, 2], camera.matrix[:3, 0], camera.matrix[:3, 1])
    assert axis_angle_deg(along, camera) > 170


def _cube_scene() -> tuple[Scene, Camera]:
    """A cube whose front lies 1 m ahead of a level camera, and a small piece that stands for its stop."""
    cube = replace(block(100, 100, 100, GREY), subject=0, evidence="unit")
    knob = replace(block(5, 5, 5, GREY), subject=0, evidence="stop")
    values = {name: options[0] for name, options in CONTROL_BOX_CONCEPTS.items()}
    scene = Scene("table", [cube, knob], [Subject("control_box", np.eye(4), values)], focus=0)
    matrix = frame(np.array([0.0, -1050.0, 50.0]), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]))
    return scene, Camera(matrix, 36.0, 500, 375, 0.0, 1000.0)

"""What a picture is said to show is what its masks hold: boxes, evidence, fairness."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX
from synthetic_samples.annotate.annotate import _hull, _hull_area, _lowering, annotate, is_fair
from synthetic_samples.geometry import Material, Part, block, cylinder, point_z_to, shift
from synthetic_samples.render.flatten import flatten
from synthetic_samples.render.render import Rendered, render, use_variant
from synthetic_samples.scene.scene import Scene
from synthetic_samples.scene.truths import outline_of
from synthetic_samples.shapes.mechanisms import knob_place
from tests.support.scenes import SMALL, first_scene


@pytest.fixture(scope="module", autouse=True)
def _renderer() -> None:
    use_variant("scalar_rgb")


def test_the_convex_hull_is_that_of_scipy_and_points_in_a_line_have_none() -> None:
    rng = np.random.default_rng(3)
    for far in (1.0, 1e6):  # a corner behind the camera lies that far off
        points = rng.normal(0, 300, (80, 2)) * rng.choice([1.0, far], (80, 1))
        theirs = ConvexHull(points)
        assert {*map(tuple, _hull(points))} == {*map(tuple, points[theirs.vertices])}
        assert _hull_area(points) == pytest.approx(theirs.volume, rel=1e-9)
    assert _hull_area(np.outer(np.arange(5), (2.0, 1.0))) == pytest.approx(0)


def test_what_stands_behind_a_wall_is_not_listed() -> None:
    scene = replace(first_scene("close", CONTROL_BOX), **SMALL)
    assert [subject["kind"] for subject in annotate(scene, render(flatten(scene)))[0]] == [CONTROL_BOX]
    ahead = np.subtract(scene.camera.target, scene.camera.position)
    place = shift(*(np.asarray(scene.camera.position) + ahead * 0.2)) @ point_z_to(ahead)
    board = Part(block(3, 3, 0.001), Material((0.5, 0.5, 0.5))).moved(place)
    hidden = replace(scene, pieces=[*scene.pieces, board])
    assert annotate(hidden, render(flatten(hidden)))[0] == []


def test_a_fair_picture_cuts_nothing_off_not_even_a_hand_control() -> None:
    scene = first_scene("close", CONTROL_BOX)
    clear = {"value": "top", "visible": True, "evidence_px": 300}
    box = {"kind": CONTROL_BOX, "box": (0.2, 0.2, 0.7, 0.8), "cut_off": False, "visible_fraction": 0.9}
    box["concepts"] = {"stop_position": clear}
    hand = {
        "kind": "hand_control",
        "box": (0.9, 0.4, 1, 0.5),
        "cut_off": False,
        "visible_fraction": 0.9,
        "concepts": {},
    }
    assert is_fair(scene, [box, hand])
    assert not is_fair(scene, [box, hand | {"cut_off": True}])
    assert not is_fair(scene, [box, hand | {"visible_fraction": 0.5}])
    assert not is_fair(scene, [box | {"concepts": {"stop_position": clear | {"evidence_px": 90}}}])
    sliver, slab = ({"value": "hung_pack", "visible": True, "evidence_px": px} for px in (300, 700))
    assert is_fair(scene, [box | {"concepts": {"battery": slab}}])
    assert not is_fair(scene, [box | {"concepts": {"battery": sliver}}])
    for concept in ("service_buttons", "charge_display"):  # their absence too
        thin, plain = ({"value": "none", "visible": True, "evidence_px": px} for px in (150, 170))
        assert is_fair(scene, [box | {"concepts": {concept: plain}}])
        assert not is_fair(scene, [box | {"concepts": {concept: thin}}])
    collar, knob = ({"value": "twist_knob", "visible": True, "evidence_px": px} for px in (390, 410))
    head = box | {"kind": ACTUATOR_HEAD}
    assert is_fair(scene, [head | {"concepts": {"lowering": knob}}])
    assert not is_fair(scene, [head | {"concepts": {"lowering": collar}}])
    behind = {"kind": ACTUATOR_HEAD, "box": (0, 0, 0.2, 0.2), "cut_off": False, "visible_fraction": 0.9}
    assert is_fair(scene, [box, behind | {"concepts": {"lowering": collar}}])
    assert not is_fair(replace(scene, conditions=("dark",)), [box])


def test_squeeze_tabs_are_fair_only_where_both_are_seen() -> None:
    """Counts of pixels are made up: a picture whose every tab pixel is known."""
    scene = replace(first_scene("close", ACTUATOR_HEAD), width=500, height=400)
    outline = np.add(scene.camera.target, [(0, 0, 0), (0.02, 0, 0), (0, 0, 0.02), (0, 0.02, 0)])
    truth = replace(scene.truths[0], values={"lowering": "squeeze_tabs"}, outline=outline)
    scene = replace(scene, truths=[truth])
    labels = ["", "actuator_head/housing", "actuator_head/mechanism/0", "actuator_head/mechanism/1"]
    nothing = np.zeros((400, 500, 3), np.float32)
    for tabs, fair in (((400, 400), True), ((760, 40), True), ((30, 770), False), ((800, 0), False)):
        ids = np.zeros((400, 500), np.int32)
        ids[100:300, 100:400] = 1
        for number, count in enumerate(tabs, 2):
            ids[50 * number : 50 * number + 4, 150:350].flat[:count] = number
        subjects, _ = annotate(scene, Rendered(nothing, nothing, nothing, nothing, ids, labels))
        lowering = subjects[0]["concepts"]["lowering"]
        assert lowering["evidence_px"] == sum(tabs) and lowering["weaker_px"] == min(tabs)
        assert is_fair(scene, subjects) == fair


@pytest.mark.parametrize("concept, face_px", [("service_buttons", 1143), ("charge_display", 1000)])
def test_an_absence_needs_a_face_on_which_the_thing_would_show(concept: str, face_px: int) -> None:
    """Forty pixels at 3.5 % and 4 % of a face: about the medians of 162 pairs of buttons and 99 displays on fronts."""
    scene = replace(first_scene("close", CONTROL_BOX), width=500, height=400)
    values = {"stop_position": "top", "battery": "built_in", "service_buttons": "none", "charge_display": "none"}
    outline = np.add(scene.camera.target, [(0, 0, 0), (0.02, 0, 0), (0, 0, 0.02), (0, 0.02, 0)])
    frame = _seen_at(scene, (-1, -1, 0))  # front and left alike
    scene = replace(scene, truths=[replace(scene.truths[0], values=values, outline=outline, frame=frame, mounts={})])
    labels = ["", "control_box/unit/front", "control_box/unit/left"]
    nothing = np.zeros((400, 500, 3), np.float32)
    for count, shown in ((face_px, True), (face_px - 20, False)):
        ids = np.zeros((400, 500), np.int32)
        ids[100:150].flat[:count], ids[150:200].flat[:count] = 1, 2
        subjects, _ = annotate(scene, Rendered(nothing, nothing, nothing, nothing, ids, labels))
        assert subjects[0]["concepts"][concept]["visible"] == shown


@pytest.mark.parametrize("concept, value", [("service_buttons", "front"), ("charge_display", "gauge")])
def test_what_is_seen_edge_on_tells_less_than_its_pixels_would(concept: str, value: str) -> None:
    scene = replace(first_scene("close", CONTROL_BOX), width=500, height=400)
    values = {"stop_position": "top", "battery": "built_in", "service_buttons": "none", "charge_display": "none"}
    outline = np.add(scene.camera.target, [(0, 0, 0), (0.02, 0, 0), (0, 0, 0.02), (0, 0.02, 0)])
    nothing, ids = np.zeros((400, 500, 3), np.float32), np.zeros((400, 500), np.int32)
    ids[100:110, 100:140] = 1
    for facing, told in ((1.0, 400), (0.31, 400), (0.15, 100), (0.06, 16), (0.0, 0), (-0.7, 0)):
        mount = _seen_at(scene, (np.sqrt(1 - facing**2), -facing, 0))
        truth = replace(scene.truths[0], values=values | {concept: value}, outline=outline, mounts={concept: mount})
        rendered = Rendered(nothing, nothing, nothing, nothing, ids, ["", f"control_box/{concept}"])
        entry = annotate(replace(scene, truths=[truth]), rendered)[0][0]["concepts"][concept]
        assert entry["evidence_px"] == pytest.approx(told, abs=1) and entry["visible"] == (told >= 40)


def _seen_at(scene: Scene, direction: tuple[float, float, float]) -> np.ndarray:
    """A frame at the camera's target to which the camera lies in this direction, all in the frame's xy plane."""
    away = np.subtract(scene.camera.position, scene.camera.target)
    away /= np.linalg.norm(away)
    upward = np.cross(away, (0.3, 0.5, 0.8))
    upward /= np.linalg.norm(upward)
    x, y = np.array(direction[:2]) / np.linalg.norm(direction[:2])
    seen = np.column_stack([away, np.cross(upward, away), upward])  # the camera lies along its first axis
    frame = np.eye(4)
    frame[:3, :3] = seen @ np.array([[x, y, 0], [-y, x, 0], [0, 0, 1]])
    frame[:3, 3] = scene.camera.target
    return frame


@pytest.mark.parametrize("value", ["twist_knob", "pull_twist_knob"])
@pytest.mark.parametrize(("degrees", "neck_px", "open_values"), [
    (90, 400, {"twist_knob": False, "pull_twist_knob": False}),  # from the side, all of the neck in view
    (90, 60, {"twist_knob": False, "pull_twist_knob": True}),  # a sliver of it, the rest covered
    (15, 0, {"twist_knob": True, "pull_twist_knob": True}),  # along the axis
])  # fmt: skip
def test_a_knob_is_tight_or_pulled_only_where_its_neck_would_show(value, degrees, neck_px, open_values) -> None:
    """At 0.2 m a camera of 90 degrees has 1,250 pixels a metre: the shortest neck is 19 by 34 of them from the side."""
    scene = first_scene("close", ACTUATOR_HEAD)
    camera = replace(scene.camera, position=(0.0, 0.0, 0.0), view_deg=90.0)
    scene = replace(scene, camera=camera, width=500, height=400)
    angle = np.radians(degrees)
    axis, middle = np.array([np.sin(angle), np.cos(angle), 0.0]), np.array([0.0, 0.2, 0.0])
    truth = replace(scene.truths[0], values={"lowering": value}, knob_radius_m=0.025, end_point=middle, axis=axis)
    read = _lowering(scene, truth, {"actuator_head/mechanism": 900, "actuator_head/neck": neck_px})
    assert read["visible"] and ("possible" in read) == open_values[value]


@pytest.mark.parametrize(("degrees", "least", "most"), [
    (90, 450, 790),  # from the side, both ends free but for the rim of the head, which is nearer
    (60, 0, 0),  # the far end is behind the head but for slivers: a knob there could not be ruled out
    (0, 0, 0),
])  # fmt: skip
def test_there_is_no_mechanism_at_an_end_where_the_head_would_hide_none(degrees: float, least: int, most: int) -> None:
    """The smallest knob at either end is 36 by 14 mm: 788 pixels of a photo 500 wide, at 1,250 a metre."""
    scene = first_scene("close", ACTUATOR_HEAD)
    camera = replace(scene.camera, position=(0.0, 0.0, 0.0), target=(0.0, 1.0, 0.0), view_deg=90.0)
    scene = replace(scene, camera=camera, width=1000, height=800)
    half, gear_radius, angle = 0.03, 0.02, np.radians(degrees)
    ends = {"fork": -half, "tube": half}
    places = {end: knob_place(end, face_z, gear_radius, 0.01) for end, face_z in ends.items()}
    housing = (outline_of([cylinder(0.04, 2 * half).translate((0, 0, -half))]),)
    turned = np.eye(4)
    turned[:3, 2], turned[:3, 0] = (np.sin(angle), np.cos(angle), 0), (0, 0, 1)
    turned[:3, 1] = np.cross(turned[:3, 2], turned[:3, 0])
    turned[:3, 3] = (0, 0.2, 0)
    truth = replace(scene.truths[0], values={"lowering": "none"}, housing=housing, knob_places=places)
    seen = {"actuator_head/fork": 9000, "actuator_tube/root": 9000, "actuator_head/housing": 9000}
    read = _lowering(scene, truth.moved(turned), seen)
    assert least <= read["weaker_px"] <= most
    assert read["evidence_px"] >= 300 and read["visible"]  # one end shows: none is said of what the photo shows
    unseen = _lowering(scene, truth.moved(turned), seen | {"actuator_head/fork": 0, "actuator_tube/root": 0})
    assert unseen["evidence_px"] == 0 and not unseen["visible"]


def test_evidence_counts_at_the_size_of_a_photo_five_hundred_pixels_wide() -> None:
    scene = first_scene("close", CONTROL_BOX)
    amounts = []
    for width, height in ((scene.width // 2, scene.height // 2), (scene.width, scene.height)):
        sized = replace(scene, samples=1, width=width, height=height)
        subject = annotate(sized, render(flatten(sized)))[0][0]
        amounts.append(subject["concepts"]["stop_position"]["evidence_px"])
    assert amounts[0] == pytest.approx(amounts[1], rel=0.25, abs=30)

"""Crowds: many things in one picture, each labelled with what is its own, and only in pictures to learn from."""

from collections import Counter
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from classifier.taxonomy import ACTUATOR_HEAD, CHARGER, CONTROL_BOX
from synthetic_samples.annotate.annotate import annotate, is_fair, project
from synthetic_samples.annotate.labels import numbered, without_number
from synthetic_samples.render.flatten import flatten
from synthetic_samples.render.part_maps import PARTS, REDUCTION, part_map
from synthetic_samples.render.render import Rendered, render, use_variant
from synthetic_samples.scene.camera import Camera
from synthetic_samples.scene.composition import close_kind
from synthetic_samples.scene.crowd import crowd
from synthetic_samples.scene.layout import Brief, Composition, bounds
from synthetic_samples.scene.scene import Scene, draw_scene
from synthetic_samples.scene.truths import Truth, values_by_number

BRIEF = Brief("train")


@pytest.fixture(scope="module")
def pictured() -> tuple[Scene, Rendered]:
    """A crowd with one gauge and one lamp row on two boxes, both in view, seen from straight ahead."""
    use_variant("scalar_rgb")
    crowds = (crowd(np.random.default_rng(seed), BRIEF) for seed in range(400))
    views = (_from_ahead(made) for made in crowds if _has_one_of_each(made))
    return next(view for view in views if _shows_two_displays(*view))


def _from_ahead(made: Composition) -> tuple[Scene, Rendered]:
    scene = draw_scene(2, 0, "train")
    away = (made.focus[0], made.focus[1] - 2.2 * made.extent_m, made.focus[2])
    camera = Camera(away, made.focus, (0.0, 0.0, 1.0), 50.0, 38.0, 0.0, 2.2 * made.extent_m, 0.0)
    scene = replace(
        scene, pieces=made.pieces, truths=made.truths, camera=camera, framing="close", conditions=(),
        width=464, height=464, samples=1,
    )  # fmt: skip
    return scene, render(flatten(scene))


def _shows_two_displays(scene: Scene, rendered: Rendered) -> bool:
    subjects, _ = annotate(scene, rendered)
    return sum(s["concepts"].get("charge_display", {}).get("visible", False) for s in subjects) == 2


def _has_one_of_each(made: Composition) -> bool:
    displays = sorted(truth.values["charge_display"] for truth in made.truths if truth.kind == CONTROL_BOX)
    return displays == ["gauge", "lamp_row"]


def test_every_thing_of_a_crowd_has_its_own_values_and_its_own_box(pictured: tuple[Scene, Rendered]) -> None:
    scene, rendered = pictured
    subjects, _ = annotate(scene, rendered)
    assert [subject["kind"] for subject in subjects] == [truth.kind for truth in scene.truths]
    for subject, truth in zip(subjects, scene.truths, strict=True):
        assert {concept: entry["value"] for concept, entry in subject["concepts"].items()} == truth.values
        left, top, right, bottom = np.array(subject["box"]) * np.tile((scene.width, scene.height), 2)
        points = project(scene, truth.outline)
        slack = 0.25 * np.ptp(points, axis=0).max()  # a stop stands out of the outline, a neighbour may cover an edge
        assert (left, top, right, bottom) == pytest.approx((*points.min(axis=0), *points.max(axis=0)), abs=slack)
        least = 0.2 if subject["kind"] == CHARGER else 0.5  # the leads of an in-line one fill little of its outline
        assert subject["visible_fraction"] > least and not subject["cut_off"]
    for one, other in combinations([subject["box"] for subject in subjects], 2):
        assert _common_area(one, other) < 0.15 * min(_common_area(one, one), _common_area(other, other))


def _common_area(one: list[float], other: list[float]) -> float:
    low, high = np.maximum(one[:2], other[:2]), np.minimum(one[2:], other[2:])
    return float(np.prod(np.clip(high - low, 0, None)))


def test_evidence_is_counted_of_the_thing_alone(pictured: tuple[Scene, Rendered]) -> None:
    scene, rendered = pictured
    truth = next(truth for truth in scene.truths if truth.kind == CONTROL_BOX)
    own = [piece for piece in scene.pieces if piece.label.startswith(f"{truth.name}/")]
    by_itself = replace(scene, pieces=own, truths=[truth])
    alone = annotate(by_itself, render(flatten(by_itself)))[0][0]
    among = annotate(scene, rendered)[0][scene.truths.index(truth)]
    for concept, entry in alone["concepts"].items():
        assert among["concepts"][concept]["evidence_px"] == pytest.approx(entry["evidence_px"], rel=0.15, abs=8)


def test_a_part_map_shows_a_gauge_on_the_box_that_has_one(pictured: tuple[Scene, Rendered]) -> None:
    scene, rendered = pictured
    parts = part_map(rendered.label_ids, rendered.labels, values_by_number(scene.truths))
    subjects, _ = annotate(scene, rendered)
    for part in ("gauge", "lamp_row"):
        (box,) = [s["box"] for s in subjects if s["concepts"].get("charge_display", {}).get("value") == part]
        rows, columns = np.nonzero(parts == PARTS.index(part))
        assert len(rows)
        spots = np.column_stack([columns, rows]) * REDUCTION / (scene.width, scene.height)
        edge = REDUCTION / scene.width
        assert (spots >= np.array(box[:2]) - edge).all() and (spots <= box[2:]).all()


def test_a_crowd_is_no_fair_picture(pictured: tuple[Scene, Rendered]) -> None:
    scene, _ = pictured
    clear = {"stop_position": {"value": "top", "visible": True, "evidence_px": 300}}
    box = {"kind": CONTROL_BOX, "box": (0.2, 0.2, 0.7, 0.8), "cut_off": False, "visible_fraction": 0.9}
    box["concepts"] = clear
    alone = replace(scene, truths=[replace(scene.truths[0], number=None)])
    assert is_fair(alone, [box])
    assert not is_fair(alone, [box, box])
    assert not is_fair(scene, [box])


def test_a_crowd_holds_a_box_and_a_head_and_is_drawn_from_its_numbers_alone() -> None:
    for seed in range(4):
        made, again = (crowd(np.random.default_rng(seed), BRIEF) for _ in range(2))
        assert 4 <= len(made.truths) <= 6
        assert {CONTROL_BOX, ACTUATOR_HEAD} <= {truth.kind for truth in made.truths}
        assert [truth.number for truth in made.truths] == list(range(1, len(made.truths) + 1))
        for one, other in zip(made.truths, again.truths, strict=True):
            assert one.values == other.values and np.array_equal(one.outline, other.outline)
        assert all(truth.outline[:, 1].max() < 0 for truth in made.truths)  # nothing is in the wall


def test_some_crowds_hold_one_thing_that_is_no_lift_part_in_a_place_of_its_own() -> None:
    found = 0
    for seed in range(12):
        made = crowd(np.random.default_rng(seed), BRIEF)
        strange = [piece for piece in made.pieces if piece.label.startswith("look_alike/")]
        found += bool(strange)
        if strange:
            low, high = bounds(strange)
            assert len({piece.label for piece in strange}) == 1 and (high - low).max() < 0.46
            for truth in made.truths:
                one, other = truth.outline.min(axis=0)[[0, 2]], truth.outline.max(axis=0)[[0, 2]]
                assert (np.minimum(high[[0, 2]], other) - np.maximum(low[[0, 2]], one)).min() < 0.02
    assert 2 <= found <= 10


def test_only_pictures_to_learn_from_show_crowds() -> None:
    for style in ("calibration", "heldout"):
        for dense in (False, True):
            asked = Brief(style, dense=dense)
            assert "crowd" not in {close_kind(np.random.default_rng(seed), asked) for seed in range(400)}
    for asked, share in ((BRIEF, 0.4), (Brief("train", dense=True), 0.75)):
        rng = np.random.default_rng(0)
        assert Counter(close_kind(rng, asked) for _ in range(4000))["crowd"] / 4000 == pytest.approx(share, abs=0.03)


def test_dense_pictures_hold_more_readable_parts() -> None:
    plain, dense = ([draw_scene(8, index, "train", dense=d) for index in range(24)] for d in (False, True))
    parts = [sum(len(scene.truths) for scene in scenes if scene.framing != "wide") for scenes in (plain, dense)]
    assert parts[1] > 1.3 * parts[0]
    assert {scene.framing for scene in dense} <= {"close", "mid", "none"}
    assert {scene.style for scene in dense} == {"train"} and len({scene.environment for scene in dense}) > 3


def test_a_label_tells_whose_it_is() -> None:
    assert numbered("control_box/unit/front", 2) == "control_box#2/unit/front"
    assert without_number("control_box#2/unit/front") == ("control_box/unit/front", 2)
    assert without_number("actuator_tube/root") == ("actuator_tube/root", None)
    assert numbered("", 2) == "" and without_number("") == ("", None)
    truth = Truth(CONTROL_BOX, {}, np.zeros((1, 3)), np.eye(4))
    assert truth.name == CONTROL_BOX and replace(truth, number=11).name == "control_box#11"

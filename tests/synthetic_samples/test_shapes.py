"""Concept values become solids: every combination can be built, and what it says is where it says it is."""

from itertools import product

import numpy as np
import pytest
from manifold3d import Error, Manifold
from scipy.stats import binomtest

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS
from synthetic_samples.geometry import Material, Part, block, cable, curve, rounded_block, surface_of, turn
from synthetic_samples.grammar.mechanisms import mechanism as grammar_mechanism
from synthetic_samples.scene.scene import STYLES
from synthetic_samples.shapes.accessories import HAND_CONTROL_FAMILIES
from synthetic_samples.shapes.actuator import actuator
from synthetic_samples.shapes.bodies import BODY_FAMILIES, housing
from synthetic_samples.shapes.control_box import control_box
from synthetic_samples.shapes.faces import Face
from synthetic_samples.shapes.fittings import STOP_FAMILIES
from synthetic_samples.shapes.grips import KNOB_FAMILIES, fluted
from synthetic_samples.shapes.heads import ACTUATOR_FAMILIES
from synthetic_samples.shapes.mechanisms import SHORTEST_NECK_M, SMALLEST_KNOB_M
from synthetic_samples.shapes.mechanisms import mechanism as shapes_mechanism
from synthetic_samples.shapes.tabs import TAB_FAMILIES

COMBINATIONS = list(product(*CONTROL_BOX_CONCEPTS.values()))
ALL_FAMILIES = (BODY_FAMILIES, STOP_FAMILIES, ACTUATOR_FAMILIES, KNOB_FAMILIES, TAB_FAMILIES, HAND_CONTROL_FAMILIES)


def _bounds(parts: list[Part]) -> tuple[np.ndarray, np.ndarray]:
    boxes = np.array([part.solid.bounding_box() for part in parts])
    return boxes[:, :3].min(axis=0), boxes[:, 3:].max(axis=0)


def _labelled(pieces, prefix: str) -> list[Part]:
    return [piece for piece in pieces if isinstance(piece, Part) and piece.label.startswith(prefix)]


@pytest.mark.parametrize("families", ALL_FAMILIES)
def test_no_geometry_family_stands_in_two_styles(families: dict[str, tuple[str, ...]]) -> None:
    assert set(families) == set(STYLES)
    names = [name for style in STYLES for name in families[style]]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("family", [name for names in BODY_FAMILIES.values() for name in names])
def test_a_housing_is_one_sound_solid_of_the_size_asked_for(family: str) -> None:
    solid = housing(np.random.default_rng(3), family, 0.15, 0.1, 0.24)
    assert solid.status() == Error.NoError
    assert len(solid.decompose()) == 1
    low, high = np.array(solid.bounding_box()).reshape(2, 3)
    assert high - low == pytest.approx((0.15, 0.1, 0.24), abs=1e-4)


@pytest.mark.parametrize("combination", COMBINATIONS)
def test_every_combination_can_be_built_and_shows_what_it_names(combination: tuple[str, ...]) -> None:
    values = dict(zip(CONTROL_BOX_CONCEPTS, combination, strict=True))
    box = control_box(np.random.default_rng(COMBINATIONS.index(combination)), values, "train")
    assert box.values == values
    assert bool(_labelled(box.pieces, "control_box/pack")) == (values["battery"] != "built_in")
    assert bool(_labelled(box.pieces, "control_box/service_buttons")) == (values["service_buttons"] != "none")
    shown = [piece for piece in box.pieces if piece.label == "control_box/charge_display"]
    assert bool(shown) == (values["charge_display"] != "none")


@pytest.mark.parametrize("style", STYLES)
def test_four_displays_in_five_stand_on_the_front_whatever_else_stands_there(style: str) -> None:
    crowded = {"stop_position": "front", "battery": "built_in", "service_buttons": "front", "charge_display": "gauge"}
    boxes = [control_box(np.random.default_rng([17, seed]), crowded, style) for seed in range(120)]
    outward = np.array([-box.mounts["charge_display"][:3, 1] for box in boxes])
    on_front = np.count_nonzero(outward[:, 1] < -0.7)
    assert binomtest(on_front, len(boxes), 0.8).pvalue > 1e-3


@pytest.mark.parametrize("battery", CONTROL_BOX_CONCEPTS["battery"])
def test_the_stop_stands_out_of_the_face_that_is_named(battery: str) -> None:
    for seed in range(6):
        for position in ("top", "front"):
            values = {
                "stop_position": position,
                "battery": battery,
                "service_buttons": "none",
                "charge_display": "none",
            }
            box = control_box(np.random.default_rng(seed), values, "train")
            unit_low, unit_high = _bounds(_labelled(box.pieces, "control_box/unit"))
            stop_low, stop_high = _bounds(_labelled(box.pieces, "control_box/stop"))
            if position == "top":
                assert stop_high[2] > unit_high[2]
            else:
                assert stop_low[1] < (unit_low[1] + unit_high[1]) / 2
                assert stop_high[2] < unit_high[2] + 0.02


def test_a_hung_pack_leaves_the_upward_face_free() -> None:
    values = {"stop_position": "top", "battery": "hung_pack", "service_buttons": "none", "charge_display": "none"}
    for seed in range(8):
        box = control_box(np.random.default_rng(seed), values, "train")
        _, unit_high = _bounds(_labelled(box.pieces, "control_box/unit"))
        _, pack_high = _bounds(_labelled(box.pieces, "control_box/pack"))
        assert pack_high[2] <= unit_high[2] + 1e-6


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("lowering", CONCEPTS["lowering"])
def test_an_actuator_has_a_neck_only_where_the_knob_is_pulled(lowering: str, style: str) -> None:
    for seed in range(4):
        built = actuator(np.random.default_rng(seed), lowering, style)
        assert bool(_labelled(built.pieces, "actuator_head/mechanism")) == (lowering != "none")
        assert bool(_labelled(built.pieces, "actuator_head/neck")) == (lowering == "pull_twist_knob")
        assert built.neck_m >= SHORTEST_NECK_M if lowering == "pull_twist_knob" else built.neck_m == 0


@pytest.mark.parametrize("style", STYLES)
def test_a_knob_has_room_for_fingers_and_leaves_its_neck_in_view(style: str) -> None:
    for seed in range(12):
        built = actuator(np.random.default_rng(seed), "pull_twist_knob", style)
        assert built.knob_radius_m >= SMALLEST_KNOB_M
        knob = max(_reach(part) for part in _labelled(built.pieces, "actuator_head/mechanism"))
        for part in _labelled(built.pieces, "actuator_head/neck") + _labelled(built.pieces, "actuator_head/collar"):
            assert _reach(part) < 0.9 * knob


@pytest.mark.parametrize("family", [name for names in KNOB_FAMILIES.values() for name in names])
def test_a_grip_begins_where_it_stands(family: str) -> None:
    """A rim off the housing would leave a smooth, slimmer piece below it, which looks like a bare neck."""
    for seed in range(6):
        grip = fluted(np.random.default_rng(seed), family, 0.03, 0.03)
        widest = np.abs(np.array(grip.bounding_box())[[0, 1, 3, 4]]).max()
        lowest = np.hypot(*np.vstack(grip.slice(0.003).to_polygons()).T).max()
        assert lowest > 0.7 * widest


def _reach(part: Part) -> float:
    """How far a piece reaches from the actuator's axis."""
    return float(np.hypot(*part.solid.to_mesh().vert_properties[:, :2].T).max())


def test_a_plain_end_is_evidence_of_its_own_end_alone() -> None:
    """A mechanism may sit at either end, so a smooth ring round the tube says nothing of the fork's end."""
    for seed in range(40):
        built = actuator(np.random.default_rng(seed), "none", "train")
        for label, towards in (("plain_end", -1), ("collar", 1)):
            for part in _labelled(built.pieces, f"actuator_head/{label}"):
                assert min(towards * part.solid.bounding_box()[k] for k in (2, 5)) > 0


def test_a_place_on_a_face_is_on_the_surface_and_taken_only_once() -> None:
    face = Face(rounded_block(0.2, 0.1, 0.3, 0.01), "front")
    rng = np.random.default_rng(1)
    spots = [face.place(rng, 0.04, 0.04) for _ in range(60)]
    centres = np.array([spot[:3, 3] for spot in spots if spot is not None])
    assert 4 <= len(centres) < 60  # the face fills up
    assert centres[:, 1] == pytest.approx(-0.05)
    apart = np.abs(centres[:, None] - centres[None]).max(axis=2)[~np.eye(len(centres), dtype=bool)]
    assert apart.min() >= 0.04


def test_triangles_know_the_side_they_look_to_however_the_part_is_turned() -> None:
    grey = Material((0.5, 0.5, 0.5))
    part = Part(block(0.2, 0.1, 0.3), grey, "x", split_faces=True).moved(turn((1, 2, 3), 70))
    assert sorted(np.bincount(surface_of(part).sides, minlength=6)) == [2] * 6


def test_a_cable_is_a_closed_solid_of_the_expected_volume() -> None:
    line = curve(np.array([[0, 0, 0], [0.1, 0, 0], [0.1, 0.1, 0.1]]), 60)
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    solid: Manifold = cable(line, 0.004, 32)
    assert solid.status() == Error.NoError
    assert solid.volume() == pytest.approx(np.pi * 0.004**2 * length, rel=0.05)


@pytest.mark.parametrize("draw", [shapes_mechanism, grammar_mechanism])
def test_a_mechanism_that_the_taxonomy_lacks_is_not_drawn_as_another(draw) -> None:
    with pytest.raises(ValueError, match="no way to draw the lowering mechanism 'lever'"):
        draw(np.random.default_rng(1), "lever", "train", "fork", 0.03, 0.02, Material((0.5, 0.5, 0.5), 0.5))

"""The grammar of shapes: what it builds is sound and is what its value says; what is held out, nobody else draws."""

from itertools import product

import numpy as np
import pytest
from manifold3d import Error

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS
from synthetic_samples.geometry import Part
from synthetic_samples.grammar.grips import grip
from synthetic_samples.grammar.heads import _bellows, _rims, head
from synthetic_samples.grammar.nameless.additions import ADDITIONS
from synthetic_samples.grammar.nameless.builds import BUILDS
from synthetic_samples.grammar.nameless.mixture import CLOSED, mixture
from synthetic_samples.grammar.operations import body
from synthetic_samples.grammar.tabs import _TABS
from synthetic_samples.grammar.things import _THINGS, thing
from synthetic_samples.scene.layout import Brief
from synthetic_samples.scene.scene import STYLES, draw_scene
from synthetic_samples.shapes.control_box import control_box
from synthetic_samples.shapes.mechanisms import SHORTEST_NECK_M, SMALLEST_KNOB_M
from synthetic_samples.splits import PRODUCTIONS, production

BOXES = list(product(*CONTROL_BOX_CONCEPTS.values()))
LOWERING = CONCEPTS["lowering"]


def _labelled(pieces, prefix: str) -> list[Part]:
    return [piece for piece in pieces if isinstance(piece, Part) and piece.label.startswith(prefix)]


def _along_the_axis(parts: list[Part]) -> tuple[float, float]:
    bounds = np.array([part.solid.bounding_box() for part in parts])
    return bounds[:, 2].min(), bounds[:, 5].max()


def _reach(part: Part) -> float:
    return float(np.hypot(*part.solid.to_mesh().vert_properties[:, :2].T).max())


@pytest.mark.parametrize("category", PRODUCTIONS)
def test_no_production_stands_in_two_styles(category: str) -> None:
    styles = PRODUCTIONS[category]
    assert set(styles) == set(STYLES)
    names = [name for style in STYLES for name in styles[style]]
    assert len(names) == len(set(names)) and all(styles.values())


def test_a_style_draws_all_of_its_own_productions_and_no_other() -> None:
    rng = np.random.default_rng(1)
    for category, styles in PRODUCTIONS.items():
        for style, names in styles.items():
            assert {production(rng, category, style) for _ in range(30 * len(names))} == set(names)


def test_an_unknown_style_is_refused_with_what_is_wanted() -> None:
    with pytest.raises(ValueError, match="wanted one of .*outline"):
        production(np.random.default_rng(1), "outline", "fresh")


def test_every_production_of_tabs_and_things_has_its_builder() -> None:
    for category, builders in (("tab", _TABS), ("thing", _THINGS), ("build", BUILDS), ("addition", ADDITIONS)):
        assert {name for names in PRODUCTIONS[category].values() for name in names} == set(builders)


@pytest.mark.parametrize("style", STYLES)
def test_a_body_is_one_sound_solid_of_the_size_asked_for(style: str) -> None:
    size = (0.15, 0.1, 0.24)
    for seed in range(25):
        solid = body(np.random.default_rng([2, seed]), style, size)
        assert solid.status() == Error.NoError
        assert len(solid.decompose()) == 1
        low, high = np.array(solid.bounding_box()).reshape(2, 3)
        assert high - low == pytest.approx(size, abs=1e-4)
        assert low == pytest.approx(-high, abs=1e-4)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("lowering", LOWERING)
def test_a_head_is_what_its_value_says(lowering: str, style: str) -> None:
    """By its solids, not its name: a neck only where one is pulled, two tabs only to pinch, nothing on a plain one."""
    for seed in range(6):
        built = head(np.random.default_rng([3, seed]), lowering, style)
        grips = _labelled(built.pieces, "actuator_head/mechanism")
        necks = _labelled(built.pieces, "actuator_head/neck")
        assert not any(piece.solid.is_empty() for piece in built.pieces if isinstance(piece, Part))
        assert bool(grips) == (lowering != "none")
        assert bool(necks) == (lowering == "pull_twist_knob")
        if lowering == "pull_twist_knob":
            low, high = _along_the_axis(necks)
            bare = (low, high) if built.mechanism_end == "fork" else (-high, -low)
            foot = _along_the_axis(grips)
            far = foot[1] if built.mechanism_end == "fork" else -foot[0]
            assert bare[1] - far >= SHORTEST_NECK_M - 1e-4  # from the grip's near face to where the neck ends
            assert max(map(_reach, necks)) < 0.9 * max(map(_reach, grips))
        if lowering == "twist_knob":
            rest = _labelled(built.pieces, "actuator_head/housing") + _labelled(built.pieces, "actuator_head/collar")
            assert min(grip.solid.min_gap(part.solid, 0.01) for grip in grips for part in rest) < 0.0015
            assert built.knob_radius_m >= SMALLEST_KNOB_M


def test_bellows_hug_the_tube_and_bulge_nowhere_beyond_what_they_may() -> None:
    """Every fold lies between tube and widest; a bellows wider than what it stands on would be a knob."""
    for seed in range(12):
        solid = _bellows(np.random.default_rng([9, seed]), 0.02, 0.028, 0.3)
        low, high = solid.bounding_box()[2], solid.bounding_box()[5]
        radii = np.hypot(*solid.to_mesh().vert_properties[:, :2].T)
        radii = radii[radii > 0.001]  # without the middles of its ends
        assert low == 0 and 0.075 <= high <= 0.285
        assert 0.02 < radii.min() < 0.93 * radii.max() and radii.max() <= 0.028 + 1e-6


def test_rims_of_another_colour_shorten_no_neck() -> None:
    """They are let into the ends of the case: what stands beyond is half a millimetre."""
    for seed in range(12):
        low, high = _along_the_axis(_rims(np.random.default_rng([10, seed]), 0.04, 0.03))
        assert high == pytest.approx(0.0405) and low == pytest.approx(-0.0405)


@pytest.mark.parametrize("style", STYLES)
def test_two_tabs_are_alike_and_face_each_other(style: str) -> None:
    for seed in range(8):
        built = head(np.random.default_rng([4, seed]), "squeeze_tabs", style)
        first, second = (_labelled(built.pieces, f"actuator_head/mechanism/{number}") for number in (0, 1))
        assert len(first) == len(second) == 1
        volumes = [part[0].solid.volume() for part in (first, second)]
        assert volumes[0] == pytest.approx(volumes[1], rel=1e-3)
        turned = first[0].solid.rotate((0, 0, 180))
        assert (turned ^ second[0].solid).volume() == pytest.approx(volumes[1], rel=2e-2)
        seats = _labelled(built.pieces, "actuator_head/collar")
        assert min(_reach(part) for part in first + second) > min(map(_reach, seats))


@pytest.mark.parametrize("style", STYLES)
def test_a_grip_is_held_all_round_and_begins_where_it_stands(style: str) -> None:
    """Cut across, it is no circle; and it is as wide near the housing as nearly anywhere, for a slim foot is a neck."""
    for seed in range(12):
        solid = grip(np.random.default_rng([5, seed]), style, 0.03, 0.03)
        radii = [np.hypot(*np.vstack(solid.slice(z).to_polygons()).T) for z in (0.003, 0.015, 0.027)]
        assert max(r.max() - r.min() for r in radii) > 0.002
        assert radii[0].max() > 0.75 * max(r.max() for r in radii)


@pytest.mark.parametrize("style", STYLES)
def test_a_composed_box_shows_what_it_names(style: str) -> None:
    for number, combination in enumerate(BOXES[STYLES.index(style) :: 3]):
        values = dict(zip(CONTROL_BOX_CONCEPTS, combination, strict=True))
        box = control_box(np.random.default_rng([6, number]), values, style, composed=True)
        packs, units = (_labelled(box.pieces, f"control_box/{name}") for name in ("pack", "unit"))
        assert bool(packs) == (values["battery"] != "built_in")
        assert bool(_labelled(box.pieces, "control_box/service_buttons")) == (values["service_buttons"] != "none")
        shown = [piece for piece in box.pieces if piece.label == "control_box/charge_display"]
        assert bool(shown) == (values["charge_display"] != "none")
        if packs:  # a parting line: the two never touch
            assert (packs[0].solid ^ units[0].solid).volume() == pytest.approx(0, abs=1e-9)
        tops = [_along_the_axis(pieces)[1] for pieces in (packs, units) if pieces]
        if values["battery"] == "stacked_pack":
            assert tops[0] > tops[1] - 0.5 * (tops[0] - _along_the_axis(packs)[0])
        if values["battery"] == "hung_pack":
            assert tops[0] <= tops[1] + 1e-6


def test_things_are_sound_and_carry_no_label_of_a_lift_part() -> None:
    for style in STYLES:
        kinds = set()
        for seed in range(24):
            kind, pieces = thing(np.random.default_rng([7, seed]), style)
            kinds.add(kind)
            solids = [piece.solid for piece in pieces if isinstance(piece, Part)]
            assert all(solid.status() == Error.NoError and solid.volume() > 0 for solid in solids)
            assert {piece.label for piece in pieces} <= {""}
        assert {kind for kind in kinds if "_with_" not in kind} <= set(PRODUCTIONS["thing"][style])


def test_mixtures_are_hundreds_of_kinds_and_sound_and_none_has_all_that_makes_a_box() -> None:
    names = [mixture(np.random.default_rng([11, seed]), "train") for seed in range(120)]
    assert len({name for name, _ in names}) > 100
    for name, pieces in names:
        build, _, added = name.partition("_with_")
        assert not (build in CLOSED and "mushroom" in added)
        solids = [piece.solid for piece in pieces if isinstance(piece, Part)]
        assert all(solid.status() == Error.NoError and solid.volume() > 0 for solid in solids), name
        low, high = np.array([solid.bounding_box() for solid in solids]).reshape(-1, 2, 3).transpose(1, 0, 2)
        assert 0.03 < (high.max(axis=0) - low.min(axis=0)).max() < 1.2, name


@pytest.mark.parametrize("style", STYLES)
def test_every_addition_of_a_style_stands_on_every_build_of_it(style: str) -> None:
    rng = np.random.default_rng(12)
    for plan in PRODUCTIONS["build"][style]:
        build = BUILDS[plan](rng, style)
        for name in PRODUCTIONS["addition"][style]:
            assert all(isinstance(piece, Part) or name == "keys" for piece in ADDITIONS[name](rng, style, build)), name


def test_without_the_grammar_a_seed_gives_the_scene_that_it_always_gave() -> None:
    rng = np.random.default_rng(8)
    before = rng.bit_generator.state
    Brief("train")._composed(rng)
    assert rng.bit_generator.state == before
    families = [draw_scene(9, index, "heldout", grammar=1.0).families for index in range(6)]
    assert {name.get("control_box", "composed") for name in families} == {"composed"}
    assert {name.get("actuator", "composed") for name in families} == {"composed"}

"""Parts: named only when confirmed, with substitutes, supersessions, what to order together and what not to mix."""

import csv
import io
import json

import pytest

from classifier.errors import CaseError
from classifier.taxonomy import CONCEPTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.parts.parts import as_csv, as_json, as_sheet, parts_for, parts_for_fault


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def _one(catalogue, fault, generation=None, lowering=None, role="technician"):
    (found,) = parts_for_fault(catalogue, fault, generation, lowering, role)
    return found


def test_a_missing_confirmation_is_asked_for_and_no_number_is_shown(catalogue):
    battery = _one(catalogue, "pack_worn")
    assert battery.part is None and "which control box" in battery.ask[0]
    actuator = _one(catalogue, "actuator_faulty", "hung-top")
    assert actuator.part is None and len(actuator.ask) == 1 and "lowered by hand" in actuator.ask[0]
    assert len(_one(catalogue, "actuator_faulty").ask) == 2
    assert not any("DEMO-" in as_sheet([row], "") for row in (battery, actuator))


@pytest.mark.parametrize("generation", ["sealed-top", "stacked-front", "hung-top", "sealed-front"])
@pytest.mark.parametrize("lowering", CONCEPTS["lowering"])
def test_every_part_fits_what_was_confirmed(catalogue, generation, lowering):
    for component in catalogue.components_by_id:
        for row in parts_for_fault(catalogue, component, generation, lowering, "technician"):
            assert row.part is not None
            assert generation in row.part.generations
            assert not row.part.mechanisms or lowering in row.part.mechanisms
            assert catalogue.parts_by_id[row.part.id].superseded_by is None
            assert row.confirm_before_order


def test_a_superseded_part_is_never_ordered(catalogue):
    pack = _one(catalogue, "pack_worn", "stacked-front")
    assert (pack.part.number, pack.supersedes) == ("DEMO-1202", ("DEMO-1201",))


def test_order_together_and_do_not_mix(catalogue):
    blocks = _one(catalogue, "blocks_worn", "sealed-top")
    assert [p.number for p in blocks.order_together] == ["DEMO-4901"]
    assert [p.number for p in blocks.substitutes] == ["DEMO-1102"]
    mixed = " ".join(blocks.do_not_mix)
    assert "stacked battery pack" in mixed and "charger for the hung pack" in mixed
    assert "charger for sealed boxes" not in mixed


def test_an_accessory_comes_after_what_the_lift_needs_and_stands_in_for_nothing(catalogue):
    charger, cradle = parts_for_fault(catalogue, "charger", "hung-top", None, "agent")
    assert (charger.part.number, cradle.part.number) == ("DEMO-2301", "DEMO-2311")
    assert cradle.part.accessory and not charger.part.accessory
    assert not charger.substitutes and not cradle.substitutes
    assert [part.number for part in cradle.order_together] == ["DEMO-2431"], "a wall charger wants the lead"


@pytest.mark.parametrize("lowering", CONCEPTS["lowering"])
def test_actuators_are_compared_by_stroke_length_force_and_plug(catalogue, lowering):
    actuator = _one(catalogue, "actuator", "hung-top", lowering)
    assert set(actuator.part.specification) == {"stroke", "closed length", "force", "plug"}
    for substitute in actuator.substitutes:
        assert substitute.specification == actuator.part.specification
    asked = " ".join(sentence.text for sentence in actuator.confirm_before_order)
    assert "Stroke, closed length, force and plug" in asked
    assert actuator.part.specification["stroke"] in as_sheet([actuator], "")


@pytest.mark.parametrize("generation", ["sealed-top", "sealed-front"])
def test_blocks_are_named_by_rating_size_and_terminals_and_sold_locally(catalogue, generation):
    blocks = _one(catalogue, "blocks_worn", generation)
    assert set(blocks.part.specification) == {"two blocks of", "size", "terminals"}
    assert "sold locally" in blocks.part.note


def test_caregivers_are_shown_no_parts_and_others_only_confirmed_ones(catalogue):
    assert parts_for(catalogue, "hung-top", "twist_knob", "caregiver") == ()
    assert parts_for(catalogue, None, None, "agent") == ()
    without_mechanism = parts_for(catalogue, "hung-top", None, "agent")
    assert without_mechanism and "actuator" not in {row.component for row in without_mechanism}


def test_exports_say_the_same(catalogue):
    rows = parts_for_fault(catalogue, "actuator_faulty", "hung-top", "twist_knob", "technician")
    table = list(csv.DictReader(io.StringIO(as_csv(rows))))
    document = json.loads(as_json(rows))
    sheet = as_sheet(rows, "Parts")
    assert [row["number"] for row in table] == ["DEMO-6301", "DEMO-6901"]
    assert document[0]["part"]["number"] == "DEMO-6301"
    assert all(row["number"] in sheet for row in table) and "[ ]" in sheet


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("pack_wornn", None, None), "did you mean 'pack_worn'"),
        (("pack_worn", "hung-topp", None), "did you mean 'hung-top'"),
        (("actuator", "hung-top", "twist"), "unknown lowering mechanism 'twist'"),
    ],
)
def test_unknown_names_are_refused(catalogue, given, says):
    with pytest.raises(CaseError, match=says):
        parts_for_fault(catalogue, *given, "technician")

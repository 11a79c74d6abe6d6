"""What the trade knows, as rankings that the demo catalogue must give. Common practice, no source."""

import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.rows import ROLES
from guidance.diagnose.diagnosis import component_probabilities
from guidance.diagnose.troubleshoot import troubleshoot
from tests.guidance.cases import case_of, done

GENERATIONS = ("sealed-top", "stacked-front", "hung-top", "sealed-front")
PACKS = ("stacked-front", "hung-top")
SEALED = ("sealed-top", "sealed-front")
ADAPTER = ("stacked-front", "sealed-front")


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def _ranked(catalogue, generation: str, **evidence: str) -> list[str]:
    return list(_probabilities(catalogue, generation, **evidence))


def _probabilities(catalogue, generation: str, **evidence: str) -> dict[str, float]:
    belief = catalogue.fault_space.believe({"generation": generation, **evidence})
    return component_probabilities(catalogue, belief.over_causes)


@pytest.mark.parametrize("generation", GENERATIONS)
def test_in_service_and_dead_battery_then_hand_control(catalogue, generation):
    assert _ranked(catalogue, generation, setting="in_service", moves="dead")[:2] == ["battery", "hand_control"]


@pytest.mark.parametrize("generation", GENERATIONS)
def test_newly_installed_and_dead_plug_of_the_actuator_leads(catalogue, generation):
    belief = catalogue.fault_space.believe({"generation": generation, "setting": "newly_installed", "moves": "dead"})
    faults = {row.id: float(belief.marginal(row.id)[1]) for row in catalogue.faults}
    ranked = sorted(faults, key=lambda fault: -faults[fault])
    assert ranked[0] == "actuator_plug_loose"
    if generation in PACKS:
        assert ranked[1] == "pack_not_seated"


@pytest.mark.parametrize("generation", [g for g in GENERATIONS if g != "sealed-top"])
def test_own_buttons_move_it_and_the_hand_control_does_not(catalogue, generation):
    probabilities = _probabilities(catalogue, generation, moves="dead", moves_by_box="moves")
    assert next(iter(probabilities)) == "hand_control"
    assert probabilities["hand_control"] > 0.5


@pytest.mark.parametrize("generation", GENERATIONS)
def test_no_charge_lamps_lead_charger_stop_board(catalogue, generation):
    ranked = _ranked(catalogue, generation, setting="in_service", charge_lamps="none")
    assert ranked[:4] == ["charging_lead", "charger", "emergency_stop", "board"]


@pytest.mark.parametrize("generation", ADAPTER)
def test_no_lamps_with_the_adapter_bypassed_is_the_board(catalogue, generation):
    """Our reading: bypassed means a good charger straight in the box, with the stop released."""
    assert _ranked(catalogue, generation, charge_lamps="none", lamps_bypassed="none")[0] == "board"


@pytest.mark.parametrize("generation", GENERATIONS)
def test_a_new_hand_control_and_still_no_lamps_is_the_board(catalogue, generation):
    """Our reading: tried after the charger and its lead were ruled out."""
    assert _ranked(catalogue, generation, charge_lamps="none", lamps_new_hand="none")[0] == "board"


@pytest.mark.parametrize("generation", GENERATIONS)
def test_beeps_without_movement_is_the_battery_and_the_load_test_says_so(catalogue, generation):
    beeping = {"moves": "dead", "beeps": "yes"}
    assert _ranked(catalogue, generation, **beeping)[0] == "battery"
    full = _probabilities(catalogue, generation, **beeping, gauge="high")
    assert next(iter(full)) == "battery", "bars do not prove that it holds its voltage"
    sags = _probabilities(catalogue, generation, **beeping, gauge="high", load_test="sags")
    holds = _probabilities(catalogue, generation, **beeping, gauge="high", load_test="holds")
    assert sags["battery"] > 0.8 > 0.5 > holds["battery"]
    without_gauge = _probabilities(catalogue, generation, **beeping)["battery"]
    assert abs(full["battery"] - without_gauge) < abs(holds["battery"] - without_gauge)


@pytest.mark.parametrize("generation", SEALED)
def test_a_sealed_battery_not_kept_on_charge_dies(catalogue, generation):
    def worn(last_charge):
        belief = catalogue.fault_space.believe(
            {"generation": generation, "setting": "in_service", "moves": "weak", "last_charge": last_charge}
        )
        return float(belief.marginal("blocks_worn")[1])

    assert worn("weeks_ago") > 2 * worn("last_night")
    ranked = _ranked(catalogue, generation, setting="in_service", moves="dead", last_charge="weeks_ago")
    assert ranked[0] == "battery"


@pytest.mark.parametrize("generation", GENERATIONS)
def test_a_pressed_stop_can_prevent_charging(catalogue, generation):
    space = catalogue.fault_space
    before = space.believe({"generation": generation}).marginal("stop_pressed")[1]
    after = space.believe({"generation": generation, "charge_lamps": "none"}).marginal("stop_pressed")[1]
    assert after > 5 * before


def _along(catalogue, generation: str, symptom: str, *steps, role: str = "agent", **known):
    """The answer after some steps on a confirmed box."""
    box = {"decision": "confirmed", "probabilities": {generation: 0.997, "unlisted": 0.003}, "set": [generation]}
    return troubleshoot(case_of(symptom=symptom, control_box=box, done=done(*steps), role=role, **known), catalogue)


def _found(answer) -> dict[str, float]:
    return {component.id: component.probability for component in answer.components}


NEW = {"setting": "newly_installed"}
FACTS = [
    # One row a fact: on which boxes, the complaint, what is found and done in this order, what leads then.
    # Every one is common practice, no source.
    (SEALED, "dead", [("ask_display", "dark")], "hand_control"),
    (SEALED, "dead", [("ask_display", "dark"), ("replace_hand_control", "still")], "board"),
    (SEALED, "dead", [("look_stop", "released"), ("ask_display", "dark"), ("replace_hand_control", "still")], "board"),
    (SEALED, "dead", [("replace_hand_control", "still"), ("ask_display", "dark")], "board"),
    (SEALED, "dead", [("display_with_new_hand", "dark")], "board"),
    (SEALED, "dead", [("ask_display", "dark"), ("display_with_new_hand", "dark")], "board"),
    (GENERATIONS, "dead", [("try_spare_hand", "moves")], "hand_control"),
    (GENERATIONS, "dead", [("replace_hand_control", "still")], "battery"),
    (GENERATIONS, "beeps_no_move", [], "battery"),
    (GENERATIONS, "beeps_no_move", [("do_load_test", "sags")], "battery"),
    (GENERATIONS, "beeps_no_move", [("look_charge_lamps", "lit")], "battery"),
    (PACKS, "beeps_no_move", [("look_gauge", "high")], "battery"),
    (PACKS, "beeps_no_move", [("take_pack_for_load_test", "sags")], "battery"),
    (PACKS, "dead", [("look_pack_contacts", "burnt")], "pack_contacts"),
    (PACKS, "dead", [("look_pack_seat", "loose")], "pack_contacts"),
    (PACKS, "dead", [("hear_pack_click", "none")], "pack_contacts"),
    (PACKS, "dead", [("look_pack_sign", "none"), ("hear_pack_click", "none")], "pack_contacts"),
    (GENERATIONS, "dead", [("look_actuator_plug", "loose")], "actuator_cable"),
    (GENERATIONS, "dead", [("look_stop", "pressed")], "emergency_stop"),
    (GENERATIONS, "no_charge_lamps", [("look_stop", "pressed")], "emergency_stop"),
    (ADAPTER, "no_charge_lamps", [("bypass_adapter", "lit")], "charging_lead"),
    (ADAPTER, "no_charge_lamps", [("bypass_adapter", "none")], "board"),
    (GENERATIONS, "no_charge_lamps", [("lamps_with_new_hand", "none")], "board"),
    (GENERATIONS, "loaded_only", [], "battery"),
    (PACKS, "loaded_only", [("look_gauge", "high")], "battery"),
    (GENERATIONS, "loaded_only", [("do_load_test", "sags")], "battery"),
    (GENERATIONS, "loaded_only", [("compare_weight", "over")], "use"),
    (GENERATIONS, "waits", [], "use"),
    (GENERATIONS, "waits", [("feel_warmth", "hot")], "use"),
    (GENERATIONS, "waits", [("feel_warmth", "cool"), ("do_load_test", "sags")], "battery"),
    (GENERATIONS, "end_of_travel", [], "use"),
    (GENERATIONS, "end_of_travel", [("look_arm_position", "end")], "use"),
    (GENERATIONS, "end_of_travel", [("look_arm_position", "between")], "hand_control"),
    (GENERATIONS, "keeps_moving", [], "hand_control"),
    (GENERATIONS, "keeps_moving", [("look_hand_buttons", "stick")], "hand_control"),
    (GENERATIONS, "keeps_moving", [("replace_hand_control", "still")], "board"),
    (GENERATIONS, "keeps_moving", [("unplug_hand_control", "moves_on")], "board"),
    (GENERATIONS, "sinks", [], "actuator"),
    (GENERATIONS, "grinds", [("hear_where_it_grinds", "motor")], "actuator"),
    (GENERATIONS, "grinds", [("hear_where_it_grinds", "joints")], "arm"),
    (GENERATIONS, "grinds", [("look_joints", "dry")], "arm"),
    (GENERATIONS, "stop_unlatched", [], "emergency_stop"),
    (GENERATIONS, "legs", [], "legs"),
]


@pytest.mark.parametrize(("generations", "symptom", "steps", "leads"), FACTS)
def test_what_practice_concludes_from_what_is_found(catalogue, generations, symptom, steps, leads):
    for generation in generations:
        assert next(iter(_found(_along(catalogue, generation, symptom, *steps)))) == leads, generation


FAULTS_OF_ONE_COMPONENT = [
    # The fault that leads among all. Common practice, no source.
    ("legs", [("look_under_legs", "blocked")], "legs_blocked"),
    ("legs", [("look_under_legs", "clear"), ("look_legs_linkage", "bent")], "legs_linkage_worn"),
    ("keeps_moving", [("look_hand_buttons", "stick")], "hand_button_sticks"),
    ("keeps_moving", [("unplug_hand_control", "moves_on")], "relay_sticks"),
    ("waits", [("feel_warmth", "hot")], "needs_rest"),
    ("loaded_only", [("compare_weight", "over")], "overloaded"),
]


@pytest.mark.parametrize(("symptom", "steps", "leads"), FAULTS_OF_ONE_COMPONENT)
def test_which_fault_practice_concludes(catalogue, symptom, steps, leads):
    for generation in GENERATIONS:
        assert _along(catalogue, generation, symptom, *steps).faults[0].id == leads, generation


PROOFS = [
    # What rules a component out: it was possible before, and is hardly so after. Common practice, no source.
    (PACKS, "dead", NEW, ("look_pack_sign", "shown"), "pack_contacts"),
    (PACKS, "dead", NEW, ("hear_pack_click", "clicks"), "pack_contacts"),
    (GENERATIONS, "dead", NEW, ("look_actuator_plug", "home"), "actuator_cable"),
    (GENERATIONS, "loaded_only", {}, ("compare_weight", "under"), "use"),
    (GENERATIONS, "waits", {}, ("feel_warmth", "cool"), "use"),
    (GENERATIONS, "end_of_travel", {}, ("look_arm_position", "between"), "use"),
]


@pytest.mark.parametrize(("generations", "symptom", "context", "step", "component"), PROOFS)
def test_what_proves_a_component_sound(catalogue, generations, symptom, context, step, component):
    for generation in generations:
        before = _found(_along(catalogue, generation, symptom, context=context))[component]
        after = _found(_along(catalogue, generation, symptom, step, context=context))[component]
        assert after < before / 3, generation


@pytest.mark.parametrize("generation", SEALED)
def test_a_dark_display_raises_the_hand_control_and_a_lit_one_lowers_it(catalogue, generation):
    before = _found(_along(catalogue, generation, "dead"))["hand_control"]
    dark = _found(_along(catalogue, generation, "dead", ("ask_display", "dark")))["hand_control"]
    lit = _found(_along(catalogue, generation, "dead", ("ask_display", "lit")))["hand_control"]
    assert lit < before < 0.5 < dark


@pytest.mark.parametrize("generation", PACKS)
def test_with_a_pack_the_display_has_a_button_of_its_own_and_does_not_speak_for_the_hand_control(catalogue, generation):
    before = _found(_along(catalogue, generation, "dead"))["hand_control"]
    assert _found(_along(catalogue, generation, "dead", ("ask_display", "dark")))["hand_control"] < before


FIRST_STEPS = [
    (GENERATIONS, "beeps_no_move", "technician", "do_load_test"),
    (GENERATIONS, "loaded_only", "technician", "do_load_test"),
    (GENERATIONS, "waits", "caregiver", "feel_warmth"),
    (GENERATIONS, "end_of_travel", "caregiver", "drive_back"),
    (GENERATIONS, "end_of_travel", "agent", "drive_back"),
    *((GENERATIONS, "legs", role, "free_legs") for role in ROLES),
]
"""The step that practice takes first. Common practice, no source."""


@pytest.mark.parametrize(("generations", "symptom", "role", "first"), FIRST_STEPS)
def test_what_practice_does_first(catalogue, generations, symptom, role, first):
    for generation in generations:
        assert _along(catalogue, generation, symptom, role=role).next.id == first
        after = _along(catalogue, generation, symptom, (first, "skipped"), role=role)
        assert after.next.id != first

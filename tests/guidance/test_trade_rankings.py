"""What the trade knows, as rankings that the demo catalogue must give. Common practice, no source."""

import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.diagnosis import component_probabilities

GENERATIONS = ("sealed-top", "stacked-front", "hung-top", "sealed-front")
PACKS = ("stacked-front", "hung-top")
SEALED = ("sealed-top", "sealed-front")


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


@pytest.mark.parametrize("generation", ["hung-top", "sealed-front"])
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

"""Meter readings in a case: what they do to the diagnosis, and when they stop to judge anything."""

import numpy as np
import pytest

from classifier.errors import CaseError, ReadingError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.diagnosis import diagnose
from guidance.diagnose.measurements import electric_findings, measured
from guidance.diagnose.troubleshoot import troubleshoot
from tests.guidance.cases import case_of, done

FULL = {"rest_hours": 12, "meter_error_percent": 0.5}
GOOD = {"blocks_v": (12.85, 12.83), "loaded_v": 24.4, "load_current_a": 8, **FULL}
ONE_FAILED = {"blocks_v": (12.65, 10.2), "loaded_v": 21.5, "load_current_a": 3, **FULL}
FLAT = {"blocks_v": (11.5, 11.5), "loaded_v": 18.5, "load_current_a": 5, **FULL}
ELECTRIC = ("weak", "beeps_no_move", "runs_down", "dead")


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def answered(catalogue, **known):
    return troubleshoot(case_of(role="technician", **{"symptom": "weak", **known}), catalogue)


def battery(answer) -> float:
    return next(row.probability for row in answer.components if row.id == "battery")


@pytest.mark.parametrize("symptom", ELECTRIC)
def test_one_failed_block_raises_the_battery(catalogue, symptom):
    """12.65 V and 10.2 V, 21.5 V at 3 A: that the pack does not quite sag must not outweigh its dead block."""
    before = battery(answered(catalogue, symptom=symptom))
    after = answered(catalogue, symptom=symptom, readings=ONE_FAILED)
    assert battery(after) > max(before, 0.8)
    assert after.faults[0].id == "block_failed" and after.electricity.state == "failed"
    assert [block.state for block in after.electricity.blocks] == ["cannot_say", "failed"]


def test_a_flat_pack_is_charged_not_replaced(catalogue):
    answer = answered(catalogue, readings=FLAT)
    failed = sum(row.probability for row in answer.faults if row.id in ("block_failed", "pack_worn"))
    before = sum(row.probability for row in answered(catalogue).faults if row.id in ("block_failed", "pack_worn"))
    assert answer.electricity.state == "low" and failed < before
    assert answer.next.id not in ("replace_pack", "replace_blocks")


@pytest.mark.parametrize("load", [{"loaded_v": 19.0, "load_current_a": 60}, {"loaded_v": 19.0}])
def test_a_load_that_is_none_leaves_the_diagnosis_as_it_is(catalogue, load):
    plain, with_load = answered(catalogue), answered(catalogue, readings=load)
    assert with_load.electricity.state == "cannot_say"
    assert [row.probability for row in with_load.faults] == [row.probability for row in plain.faults]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"pack_v": 22.0}, "add up to"),
        ({"blocks_v": (14.2, 14.2)}, "14.20 V cannot be"),
        ({"loaded_v": 27.5}, "more than"),
    ],
)
def test_contradictory_readings_leave_the_diagnosis_and_are_named(catalogue, change, says):
    plain, doubtful = answered(catalogue), answered(catalogue, readings={**GOOD, **change})
    assert [row.probability for row in doubtful.faults] == [row.probability for row in plain.faults]
    assert doubtful.electricity.state == "cannot_say" and doubtful.electricity.lifts_left is None
    assert says in doubtful.contradictions[0]
    assert battery(answered(catalogue, readings=GOOD)) < battery(plain), "without the contradiction they count"


def test_what_no_contradiction_touches_still_counts(catalogue):
    """Blocks under load that do not add up to their pack say nothing; the same blocks at rest do."""
    rest_only = answered(catalogue, readings={"blocks_v": GOOD["blocks_v"], **FULL})
    doubtful = answered(catalogue, readings={**GOOD, "loaded_blocks_v": (9.0, 9.0)})
    assert [row.probability for row in doubtful.faults] == [row.probability for row in rest_only.faults]
    assert doubtful.electricity.state == "cannot_say" and "under load the blocks" in doubtful.contradictions[0]


def test_readings_before_a_repair_of_the_pack_do_not_judge_what_came_after(catalogue):
    replaced = done(("replace_pack", "still"))
    old = answered(catalogue, readings={**ONE_FAILED, "after_steps": 0}, done=replaced)
    assert (old.electricity.state, old.electricity.outdated, old.electricity.after_steps) == ("cannot_say", True, 0)
    assert old.electricity.wants == ("new readings",) and old.electricity.blocks == ()
    assert old.electricity.lifts_left is None
    fresh = answered(catalogue, readings=[{**ONE_FAILED, "after_steps": 0}, GOOD], done=replaced)
    assert fresh.electricity.state == "good" and not fresh.electricity.outdated
    assert battery(fresh) < battery(old) < battery(answered(catalogue, readings=ONE_FAILED, done=replaced))
    assert not fresh.contradictions, "the new pack does not contradict the old one"


def test_what_was_read_before_a_repair_counts_before_it(catalogue):
    """A failed block that was read and then replaced: the same as the check of the blocks, done before the repair."""
    repair = done(("replace_pack", "still"))
    as_readings = answered(catalogue, readings={"blocks_v": (12.65, 10.2), **FULL, "after_steps": 0}, done=repair)
    as_check = answered(catalogue, done=[*done(("measure_blocks", "one_low")), *repair])
    assert {row.id: row.probability for row in as_readings.faults} == pytest.approx(
        {row.id: row.probability for row in as_check.faults}
    )


def test_a_repair_that_does_not_touch_the_pack_leaves_its_readings(catalogue):
    steps = done(("look_stop", "released"), ("replace_hand_control", "still"))
    answer = answered(catalogue, readings={**GOOD, "after_steps": 1}, done=steps)
    assert answer.electricity.state == "good" and not answer.electricity.outdated
    skipped = answered(catalogue, readings={**GOOD, "after_steps": 0}, done=done(("replace_pack", "skipped")))
    assert skipped.electricity.state == "good", "what was skipped changed nothing"


def test_readings_that_follow_each_other_join(catalogue):
    rest = {"blocks_v": (12.85, 12.83), **FULL}
    load_ = {"loaded_v": 24.4, "load_current_a": 8}
    joined = answered(catalogue, readings=[rest, load_])
    assert joined.electricity.state == "good" and joined.electricity.read.blocks_v == (12.85, 12.83)
    again = answered(catalogue, readings=[rest, load_, {"blocks_v": (12.8, 12.8)}])
    assert again.electricity.read.rest_hours is None, "an old rest says nothing of a new voltage"
    assert again.electricity.state == "cannot_say"


def test_readings_in_the_wrong_place_are_refused(catalogue):
    with pytest.raises(CaseError, match="the case has 0"):
        answered(catalogue, readings={**GOOD, "after_steps": 1})
    steps = done(("look_stop", "released"))
    with pytest.raises(CaseError, match="order of taking"):
        answered(catalogue, readings=[{**GOOD, "after_steps": 1}, {**GOOD, "after_steps": 0}], done=steps)
    with pytest.raises(ReadingError, match="300"):
        answered(catalogue, readings=[{"pack_v": 300}, GOOD])
    with pytest.raises(ValueError, match="after_steps"):
        case_of(readings={**GOOD, "after_steps": -1})


def test_lifts_left_follow_resistance_and_age(catalogue):
    charged = {"blocks_v": (12.65, 12.65), "rest_hours": 8, "meter_error_percent": 0.1, "load_current_a": 8}
    sound, tired = (
        answered(catalogue, readings={**charged, "loaded_v": v}).electricity.lifts_left for v in (24.1, 21.5)
    )
    assert 0 < sound[0] < sound[1] and tired[1] < sound[1] and tired[0] <= sound[0]
    young, old = (
        answered(catalogue, readings={**charged, "loaded_v": 24.1}, context={"battery_age": age})
        .electricity.lifts_left for age in ("under_1", "over_3")
    )  # fmt: skip
    assert young[0] > old[0] and young[1] > old[1]
    cold = answered(catalogue, readings={**charged, "loaded_v": 24.1, "temperature_c": 0}).electricity.lifts_left
    assert cold[1] < sound[1]


def test_the_load_test_is_offered_for_a_lift_that_does_not_move(catalogue):
    """Common practice, no source: lamps or a resistor load the pack where the arm cannot."""
    row = next(check for check in catalogue.checks if check.access == "load_test")
    assert {"dead", "beeps_no_move"} <= set(row.symptoms)
    assert "lamps" in row.text and any("lamps" in need for need in row.needs)


def test_a_catalogue_s_findings_say_what_a_meter_proves(catalogue):
    """Without `by_meter` the readings are judged, but nothing of the fault model moves."""
    case = case_of(role="technician", symptom="weak", readings=ONE_FAILED)
    silent = catalogue.model_copy(
        update={"findings": tuple(row.model_copy(update={"by_meter": {}}) for row in catalogue.findings)}
    )
    assert electric_findings(measured(case, silent), silent) == {0: {}}
    found = electric_findings(measured(case, catalogue), catalogue)
    assert found == {0: {"block_voltages": "one_low"}}
    ones = np.ones(len(catalogue.fault_space.network.node("generation").states))
    moved, unmoved = (diagnose(case, catalogue, ones, findings).weights for findings in (found, {}))
    assert not np.allclose(moved, unmoved)

"""Troubleshooting a case: what follows from what was found and done, and steps that make sense."""

import gc
import weakref

import numpy as np
import pytest

from classifier.errors import ReadingError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.diagnosis import UNEXPLAINED, diagnose, tried
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case, Done
from tests.guidance.cases import SAFE, case_of, done


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def test_tried_repair_equals_the_story_told_one_fault_at_a_time(catalogue):
    """Two faults; mending one ends the trouble only as often as the other, by itself, would not have caused it."""
    space = catalogue.fault_space
    names = [node.id for node in space.cause_nodes]

    def place(*faults):
        wanted = np.isin(names, faults).astype(int)
        return int(np.flatnonzero((space.hypotheses == wanted).all(axis=1))[0])

    both, other = place("stop_pressed", "charger_faulty"), place("charger_faulty")
    rows = np.zeros(len(space.hypotheses))
    rows[both] = 1.0
    repair = catalogue.repairs_by_id["release_stop"]
    works, still = tried(space, rows, repair, "moves")
    background = catalogue.findings_by_id["moves"].background[0]
    stop, charger = (catalogue.findings_by_id["moves"].effects[f][0] for f in ("stop_pressed", "charger_faulty"))
    mends = repair.mends["stop_pressed"]
    fine_now = background * charger
    trouble = 1 - fine_now * stop
    assert works[other] == pytest.approx(mends * (fine_now - fine_now * stop) / trouble, abs=1e-12)
    assert still[both] == pytest.approx(1 - mends, abs=1e-12)
    assert works.sum() + still.sum() == pytest.approx(1.0, abs=1e-12)


def test_a_repair_that_mends_nothing_present_changes_nothing(catalogue):
    space = catalogue.fault_space
    names = [node.id for node in space.cause_nodes]
    rows = np.where(space.hypotheses[:, names.index("stop_pressed")] == 1, 0.0, 1.0)
    works, still = tried(space, rows, catalogue.repairs_by_id["release_stop"], "moves")
    assert works.max() <= 1e-12
    assert still == pytest.approx(rows, abs=1e-12)


def test_the_order_of_findings_does_not_matter_and_of_repairs_it_does(catalogue):
    one, two = ("look_stop", "released"), ("ask_display", "dark")
    first = troubleshoot(case_of(done=done(one, two)), catalogue)
    second = troubleshoot(case_of(done=done(two, one)), catalogue)
    assert {f.id: f.probability for f in first.faults} == pytest.approx({f.id: f.probability for f in second.faults})
    before = troubleshoot(case_of(done=done(("release_stop", "still"), ("look_stop", "released"))), catalogue)
    after = troubleshoot(case_of(done=done(("look_stop", "released"), ("release_stop", "still"))), catalogue)
    assert before.faults != after.faults


def test_a_failed_repair_lowers_its_fault_and_never_comes_again(catalogue):
    before = {f.id: f.probability for f in troubleshoot(case_of(), catalogue).faults}
    answer = troubleshoot(case_of(done=done(("release_stop", "still"))), catalogue)
    after = {f.id: f.probability for f in answer.faults}
    assert after["stop_pressed"] < 0.2 * before["stop_pressed"]
    assert answer.next.id != "release_stop"


def test_nothing_wrong_is_said_when_everything_looks_sound(catalogue):
    plain = troubleshoot(case_of(symptom="no_charge_lamps"), catalogue)
    sound = done(("try_spare_charger", "lit"), ("look_stop", "released"), ("replace_charging_lead", "still"))
    after = troubleshoot(case_of(symptom="no_charge_lamps", done=sound), catalogue)
    assert plain.nothing_wrong < 0.15 < after.nothing_wrong < 1


def test_dont_know_and_skip_change_no_probability(catalogue):
    plain = troubleshoot(case_of(), catalogue)
    for outcome in ("unsure", "skipped"):
        answer = troubleshoot(case_of(done=done((plain.next.id, outcome))), catalogue)
        assert [f.probability for f in answer.faults] == pytest.approx([f.probability for f in plain.faults])
        assert answer.next.id != plain.next.id
    unsure = troubleshoot(case_of(context={"setting": "unsure"}), catalogue)
    assert [f.probability for f in unsure.faults] == pytest.approx([f.probability for f in plain.faults])


def test_every_step_explains_itself(catalogue):
    for symptom in catalogue.symptoms_by_id:
        step = troubleshoot(case_of(symptom=symptom), catalogue).next
        assert step.source and step.why and step.minutes > 0
        assert sum(o.probability for o in step.outcomes) == pytest.approx(1.0, abs=1e-9)
        assert step.expected_minutes <= step.otherwise_minutes
        for outcome in step.outcomes:
            for shift in outcome.shifts:
                assert abs(shift.after - shift.before) >= 0.02


def test_the_shifts_shown_are_the_posterior_that_follows(catalogue):
    first = troubleshoot(case_of(), catalogue)
    outcome = first.next.outcomes[-1]
    assert first.next.id in catalogue.checks_by_id
    then = troubleshoot(case_of(done=done((first.next.id, outcome.id))), catalogue)
    probabilities = {c.id: c.probability for c in then.components}
    for shift in outcome.shifts:
        assert probabilities[shift.component] == pytest.approx(shift.after, abs=1e-9)
    assert {c.id: c.before for c in then.components} == pytest.approx({c.id: c.probability for c in first.components})


@pytest.mark.parametrize("role", ["caregiver", "agent", "technician"])
@pytest.mark.parametrize("symptom", ["dead", "no_charge_lamps"])
def test_every_conversation_ends(catalogue, role, symptom):
    case = case_of(role=role, symptom=symptom)
    for _ in range(60):
        answer = troubleshoot(case, catalogue)
        if answer.state == "hand_over":
            return
        case = _answered(case, answer.next, answer.next.outcomes[-1].id)
    pytest.fail("no end after 60 steps")


def _answered(case: Case, step, outcome: str) -> Case:
    if step.kind == "context":
        return case.model_copy(update={"context": {**case.context, step.id: outcome}})
    return case.model_copy(update={"done": (*case.done, Done(id=step.id, outcome=outcome))})


def test_meter_readings_enter_as_what_they_prove(catalogue):
    proven = {"blocks_v": (12.65, 10.2), "rest_hours": 8, "meter_error_percent": 0.5}
    answer = troubleshoot(case_of(role="technician", symptom="weak", readings=proven), catalogue)
    assert answer.electricity.state == "failed"
    assert answer.faults[0].id == "block_failed" and answer.faults[0].probability > 0.5
    assert answer.electricity.lifts_left is None, "nobody counts on a failed pack"
    vague = troubleshoot(case_of(role="technician", symptom="weak", readings={"pack_v": 25.6}), catalogue)
    plain = troubleshoot(case_of(role="technician", symptom="weak"), catalogue)
    assert vague.electricity.state == "cannot_say"
    assert [f.probability for f in vague.faults] == pytest.approx([f.probability for f in plain.faults])
    with pytest.raises(ReadingError, match="300"):
        troubleshoot(case_of(readings={"pack_v": 300}), catalogue)


def test_lifts_left_are_an_interval_that_an_unknown_rest_makes_wide(catalogue):
    rested = {"blocks_v": (12.6, 12.6), "rest_hours": 8, "meter_error_percent": 0.5}
    known = troubleshoot(case_of(role="technician", readings=rested), catalogue).electricity.lifts_left
    unknown = troubleshoot(case_of(role="technician", readings={"blocks_v": (12.6, 12.6)}), catalogue).electricity
    assert 0 < known[0] < known[1]
    assert unknown.lifts_left[0] == 0 and unknown.lifts_left[1] >= known[1]


def test_an_undecided_box_gets_only_steps_that_fit_all_it_may_be(catalogue):
    share = {"hung-top": 0.5, "sealed-top": 0.5}
    both = {"decision": "undecided", "probabilities": share, "set": list(share)}
    case, seen = case_of(control_box=both), set()
    for _ in range(25):
        answer = troubleshoot(case, catalogue)
        if answer.state == "hand_over":
            break
        seen.add(answer.next.id)
        case = _answered(case, answer.next, "unsure")
    assert not seen & {"look_pack_seat", "reseat_pack", "look_gauge", "bypass_adapter", "try_box_buttons"}


def test_mixed_generations_are_weighted_by_what_the_photo_says(catalogue):
    """The posterior of an undecided box is the mixture of the posteriors of what it may be."""
    share = {"hung-top": 0.7, "sealed-top": 0.3}
    box = {"decision": "undecided", "probabilities": share, "set": list(share)}
    mixed = troubleshoot(case_of(control_box=box), catalogue)
    found = {f.id: f.probability for f in mixed.faults}
    weights, alone = {}, {}
    for generation, probability in share.items():
        belief = catalogue.fault_space.believe({"generation": generation})
        shown = belief.marginal("moves")[3]
        weights[generation] = probability * shown
        given = catalogue.fault_space.believe({"generation": generation, "moves": "dead"})
        alone[generation] = {row.id: given.marginal(row.id)[1] for row in catalogue.faults}
    total = sum(weights.values())
    for fault, probability in found.items():
        want = sum(weights[g] / total * alone[g][fault] for g in share)
        assert probability == pytest.approx(want, abs=1e-6)  # the limit on faults shifts the fleet's shares by 1e-8


def test_after_battery_work_the_old_one_is_collected(catalogue):
    case, seen = case_of(role="technician", symptom="runs_down", done=done(("do_load_test", "sags"))), []
    for _ in range(20):
        answer = troubleshoot(case, catalogue)
        seen.append(answer.next.id)
        if answer.next.id == "replace_pack":
            assert "disposal-1" in {s.id for s in answer.safety}
            return
        case = _answered(case, answer.next, "unsure")
    pytest.fail(f"the pack was never replaced: {seen}")


def test_diagnosis_needs_no_photo(catalogue):
    answer = troubleshoot(Case.model_validate({**SAFE, "role": "caregiver", "symptom": "dead"}), catalogue)
    assert answer.state == "next_step" and answer.components[0].id == "battery"


def test_observations_stand_in_for_an_identification(catalogue):
    seen = [
        {"id": "where_is_stop", "answer": "top"},
        {"id": "how_battery_sits", "answer": "hung_pack"},
        {"id": "how_charge_shows", "answer": "gauge"},
    ]
    answer = troubleshoot(
        Case.model_validate({**SAFE, "role": "agent", "symptom": "dead", "observations": seen}), catalogue
    )
    worn = {f.id for f in answer.faults if f.probability > 0.02}
    assert "pack_worn" in worn and "blocks_worn" not in worn


def test_a_set_without_probabilities_is_taken_evenly(catalogue):
    bare = {"decision": "confirmed", "set": ["hung-top"]}
    found = {f.id: f.probability for f in troubleshoot(case_of(control_box=bare), catalogue).faults}
    assert "pack_worn" in found and "blocks_worn" not in found


def test_diagnose_keeps_contexts_open_until_answered(catalogue):
    known = diagnose(case_of(context={"battery_age": "over_3"}), catalogue, np.ones(5), {})
    assert "battery_age" not in known.by_context and "wet" in known.by_context
    for joint in known.by_context.values():
        assert joint.sum(axis=0) == pytest.approx(known.weights, abs=1e-12)


@pytest.mark.parametrize("later", ["dead", "weak", "one_way"])
def test_trouble_found_after_a_repair_that_worked_takes_the_release_back(catalogue, later):
    repaired = [("push_hand_plug", "works")]
    assert troubleshoot(case_of(done=done(*repaired)), catalogue).state == "release"
    again = troubleshoot(case_of(done=done(*repaired, ("try_hand_control", later))), catalogue)
    assert again.state == "next_step" and again.next is not None
    assert catalogue.findings_by_id["moves"].name in again.taken_back
    assert again.safety[0].id == "taken-back-1", "it is said first that the release is taken back"
    fine = troubleshoot(case_of(done=done(*repaired, ("try_hand_control", "moves"))), catalogue)
    assert fine.state == "release"


@pytest.mark.parametrize(
    ("said", "observed", "state"),
    [
        ("no", "yes", "bring_down"),
        ("no", "unsure", "bring_down"),
        ("yes", "no", "bring_down"),
        ("unsure", "no", "bring_down"),
        ("no", "no", "next_step"),
    ],
)
def test_of_two_who_say_whether_somebody_is_up_the_cautious_one_counts(catalogue, said, observed, state):
    seen = [{"id": "person_in_sling", "answer": observed}]
    assert troubleshoot(case_of(person_in_sling=said, observations=seen), catalogue).state == state


def _proposed(catalogue, **known) -> set[str]:
    """Every act of the steps that are proposed one after the other, each answered with "don't know"."""
    case, acts = case_of(**known), set()
    for _ in range(40):
        answer = troubleshoot(case, catalogue)
        if answer.state != "next_step":
            return acts
        acts |= set(answer.next.acts)
        case = _answered(case, answer.next, "unsure")
    return acts


@pytest.mark.parametrize("role", ["caregiver", "agent", "technician"])
@pytest.mark.parametrize(
    "known",
    [
        {"context": {"wet": "yes"}},
        {"done": done(("look_hand_cord", "damaged"))},
        {"done": done(("look_charging_socket", "damaged"))},
    ],
)
def test_wet_burnt_or_cut_stops_charging_and_pressing_at_once(catalogue, role, known):
    """Common practice, no source."""
    assert _proposed(catalogue, role=role) & {"press:raise", "plug:charger"}
    assert not _proposed(catalogue, role=role, **known) & {"press:raise", "press:lower", "plug:charger"}
    told = troubleshoot(case_of(role=role, **known), catalogue).safety[0]
    assert "unplug:charger" in told.acts and "Press no button" in told.text


def test_a_cut_cord_that_was_replaced_is_no_longer_in_the_way(catalogue):
    cut, new = ("look_hand_cord", "damaged"), ("replace_hand_control", "still")
    assert _proposed(catalogue, role="technician", done=done(cut, new)) & {"press:raise"}


def test_a_lift_with_a_cut_cord_is_not_released_when_it_moves_again(catalogue):
    steps = done(("look_hand_cord", "damaged"), ("push_hand_plug", "works"))
    answer = troubleshoot(case_of(done=steps), catalogue)
    assert answer.state != "release" and "cord" in answer.taken_back


@pytest.mark.parametrize(("place", "released"), [(0, True), (1, False), (None, False)])
def test_readings_after_a_repair_that_worked_count_as_found_later(catalogue, place, released):
    flat = {"blocks_v": (12.65, 10.2), "rest_hours": 8, "meter_error_percent": 0.5, "after_steps": place}
    steps = done(("push_hand_plug", "works"))
    answer = troubleshoot(case_of(role="technician", readings=flat, done=steps), catalogue)
    assert (answer.state == "release") == released
    assert (answer.taken_back is None) == released


def test_a_repair_that_explains_nothing_moves_nothing_and_is_told(catalogue):
    """A hand control's plug has no part in charge lamps that stay dark: what rounding leaves of that tells no fault."""
    dark = {"role": "technician", "person_in_sling": "no", "danger_signs": (), "symptom": "no_charge_lamps"}
    before = troubleshoot(Case(**dark), catalogue)
    after = troubleshoot(Case(done=(Done(id="push_hand_plug", outcome="works"),), **dark), catalogue)
    assert after.state == "release" and {f.id: f.probability for f in after.faults} == pytest.approx(
        {f.id: f.probability for f in before.faults}
    )
    assert [line.split(":")[0] for line in after.contradictions] == [UNEXPLAINED.split(":")[0]]
    plug = Done(id="push_hand_plug", outcome="works")
    explained = troubleshoot(Case(done=(plug,), **dark | {"symptom": "dead"}), catalogue)
    assert not explained.contradictions


def test_what_a_network_remembers_goes_with_it():
    """A server that learns makes a network anew with each closed case, and must not keep the old ones."""
    own = load(DEMO_CATALOGUE)
    troubleshoot(Case(symptom="dead", **SAFE), own)
    space = weakref.ref(own.fault_space)
    assert space().rows_given.cache_info().currsize == 1
    del own
    gc.collect()
    assert space() is None

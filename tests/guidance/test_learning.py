"""Learning from closed cases: by generation and exposure, by proof, each once, reversible, unbiased on its model."""

import json
from dataclasses import replace

import numpy as np
import pytest

from classifier.errors import CaseError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.fault_network import GENERATION
from guidance.learning.closed_cases import ClosedCase, check_cases, each_once, load_cases
from guidance.learning.expected_labels import ExpectedLabels
from guidance.learning.learning import learn, learned
from tests.guidance.closed_cases import (
    draw_closed_cases,
    labelled_by_habit,
    other_rates,
    outside,
    rates_of,
    simultaneous,
)

BOARD = ClosedCase("in_service", "board_faulty", "hung-top", "dead", "measured")
CASES = 4000


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


@pytest.fixture(scope="module")
def own_cases(catalogue):
    return draw_closed_cases(catalogue, CASES, np.random.default_rng(11))


def share(found, setting, fault):
    return next(row for row in found.by_setting if (row.setting, row.fault) == (setting, fault))


def test_no_cases_leave_everything_as_it_was(catalogue):
    assert learned(catalogue, []) is catalogue
    found = learn([], catalogue)
    assert all(row.share_now == pytest.approx(row.share_before, rel=1e-12) for row in found.by_setting)
    assert all(row.times == 1.0 for row in found.by_generation)


def test_expected_labels_are_those_of_the_compiled_network(catalogue):
    """Summed from the network's own joint, which learning does not use."""
    model, space = ExpectedLabels(catalogue), catalogue.fault_space
    expected = model.shares_of_labels(model.printed)
    for setting, generation, symptom in (("in_service", "hung-top", "dead"), ("newly_installed", "sealed-top", "")):
        findings = catalogue.symptoms_by_id[symptom].findings if symptom else {}
        belief = space.believe({"setting": setting, GENERATION: generation, **findings}).over_causes
        faults = space.hypotheses.sum(axis=1)
        wanted = (belief * (faults > 0) / np.maximum(faults, 1)) @ space.hypotheses
        at = (model.settings.index(setting), model.generations.index(generation), model.complaints.index(symptom))
        assert expected[at] == pytest.approx(wanted / wanted.sum(), abs=1e-12)


@pytest.mark.thorough
def test_own_cases_move_no_rate_beyond_sampling_error(catalogue, own_cases):
    """All rates at once, each within the simultaneous 95 % band of what so many cases can tell."""
    found = learn(own_cases, catalogue)
    assert not outside(found, catalogue, simultaneous(len(rates_of(found))))
    assert len(outside(found, catalogue, 1.96)) <= 0.15 * len(rates_of(found)), "pointwise, most of them"


@pytest.mark.thorough
def test_other_rates_are_found_from_their_own_cases(catalogue):
    """A pool with other rates, its own by generation: what is printed here is only where learning starts."""
    other = other_rates(catalogue, np.random.default_rng(5))
    found = learn(draw_closed_cases(other, CASES, np.random.default_rng(6)), catalogue)
    assert not outside(found, other, simultaneous(len(rates_of(found))))
    assert len(outside(found, catalogue, 1.96)) > 10, "the rates must have moved to be found"


@pytest.mark.thorough
def test_a_pool_of_one_kind_teaches_nothing_of_faults_that_it_cannot_have(catalogue, own_cases):
    sealed = [case for case in own_cases if case.generation == "sealed-top"]
    found = learn(sealed, catalogue)
    before = learn([], catalogue)
    for a, b in (("pack_worn", "pack_contacts_worn"), ("pack_worn", "adapter_faulty")):
        ratio, printed = (
            share(f, "in_service", a).share_now / share(f, "in_service", b).share_now for f in (found, before)
        )
        assert ratio == pytest.approx(printed, rel=0.01), "their share to one another stays as printed"
    assert not outside(found, catalogue, simultaneous(len(rates_of(found))))


@pytest.mark.thorough
def test_what_one_generation_has_oftener_is_learned_for_it_alone(catalogue, own_cases):
    extra = [replace(BOARD, symptom=symptom) for symptom in ("dead", "one_way")] * 100
    times = {
        row.generation: row.times
        for row in learn([*own_cases, *extra], catalogue).by_generation
        if row.fault == "board_faulty"
    }
    assert times["hung-top"] > 1.3 and all(times[g] < 1.0 for g in times if g != "hung-top")


def test_learned_cases_move_the_posterior_and_taking_them_out_moves_it_back(catalogue):
    def board(of):
        known = {"setting": "in_service", GENERATION: "hung-top", "moves": "dead"}
        return of.fault_space.believe(known).marginal("board_faulty")[1]

    after = learned(catalogue, [BOARD] * 60)
    assert board(after) > 2 * board(catalogue)
    assert "60 closed cases" in after.fault_settings.rates_note
    assert learned(catalogue, []).faults == catalogue.faults
    assert "Invented" in catalogue.fault_settings.rates_note


@pytest.mark.thorough
def test_a_learned_catalogue_expects_what_was_learned(catalogue, own_cases):
    found, after = learn(own_cases, catalogue), learned(catalogue, own_cases)
    again = ExpectedLabels(after)
    assert again.printed.shares == pytest.approx(found.rates.shares)
    assert again.shares_of_labels(again.printed) == pytest.approx(
        ExpectedLabels(catalogue).shares_of_labels(found.rates), abs=1e-9
    )


@pytest.mark.thorough
def test_proof_counts(catalogue):
    def moved(proof):
        return share(learn([replace(BOARD, proof=proof)] * 30, catalogue), "in_service", "board_faulty").share_now

    assert (
        moved("measured")
        > moved("exchanged")
        > moved("mended")
        > share(learn([], catalogue), "in_service", "board_faulty").share_now
    )


def test_more_cases_make_a_share_more_certain(catalogue):
    few, many = (share(learn([BOARD] * n, catalogue), "in_service", "fuse_blown") for n in (2, 200))
    assert many.deviation < few.deviation


@pytest.mark.thorough
@pytest.mark.parametrize("part", [0.1, 0.3])
def test_habit_in_labels_without_proof_moves_nothing_where_there_are_proven_ones(catalogue, part):
    """As many of the unproven labels as are said to be unreliable may be the habitual one."""
    rng = np.random.default_rng(3)
    cases = draw_closed_cases(catalogue, CASES, rng, {"measured": 0.3, "exchanged": 0.2, "mended": 0.5})
    found = learn(labelled_by_habit(cases, "hand_control_faulty", part, rng, proof="mended"), catalogue)
    assert not outside(found, catalogue, simultaneous(len(rates_of(found))))


@pytest.mark.thorough
@pytest.mark.parametrize("part", [0.1, 0.3])
def test_habit_in_proven_labels_moves_what_is_expected_by_no_more_than_its_part(catalogue, own_cases, part):
    """A made-up proof cannot be seen through: in a hundred calls its fault gains no more than was made up."""

    def share_of_calls(rates):
        expected, model = ExpectedLabels(catalogue).shares_of_labels(rates), ExpectedLabels(catalogue)
        fault = model.faults.index("hand_control_faulty")
        places = [
            (model.settings.index(c.setting), model.generations.index(c.generation), model.complaints.index(c.symptom))
            for c in own_cases
        ]
        return np.mean([expected[place][fault] for place in places])

    habitual = labelled_by_habit(own_cases, "hand_control_faulty", part, np.random.default_rng(4))
    moved = share_of_calls(learn(habitual, catalogue).rates) - share_of_calls(learn(own_cases, catalogue).rates)
    assert 0 < moved < part


def test_a_fault_that_the_generation_cannot_have_is_set_aside(catalogue):
    impossible = ClosedCase("in_service", "pack_worn", "sealed-top", "dead", "measured")
    found = learn([impossible] * 5, catalogue)
    assert found.set_aside == 5
    assert share(found, "in_service", "pack_worn").share_now == pytest.approx(
        share(learn([], catalogue), "in_service", "pack_worn").share_now
    )


def test_cases_are_read_line_by_line_and_counted_once(tmp_path, catalogue):
    path = tmp_path / "cases.jsonl"
    path.write_text(json.dumps({"setting": "in_service", "fault": "battery_flat"}) + "\n\n")
    assert load_cases(path) == [ClosedCase("in_service", "battery_flat")]
    twice = [{"setting": "in_service", "fault": fault, "case": "a"} for fault in ("battery_flat", "fuse_blown")]
    path.write_text("\n".join(json.dumps(row) for row in twice))
    assert load_cases(path) == [ClosedCase("in_service", "fuse_blown")]
    assert len(each_once([BOARD, BOARD])) == 2, "cases without a mark are cases of their own"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('{"setting": "in_service"}', "line 1"),
        ('{"setting": "in_service", "fault": "x", "note": "y"}', "line 1: want"),
        ('{"setting": "in_service", "fault": 3}', "want text"),
        ("[" * 30_000, "line 1"),
    ],
)
def test_a_line_that_is_no_case_is_refused(tmp_path, line, said):
    path = tmp_path / "cases.jsonl"
    path.write_text(line + "\n")
    with pytest.raises(CaseError, match=said):
        load_cases(path)
    with pytest.raises(CaseError, match="cannot be read"):
        load_cases(tmp_path / "missing.jsonl")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"fault": "batery_flat"}, "did you mean 'battery_flat'"),
        ({"setting": "in_storage"}, "unknown setting"),
        ({"generation": "hung-topp"}, "did you mean 'hung-top'"),
        ({"symptom": "deaf"}, "unknown symptom"),
        ({"proof": "guessed"}, "unknown proof"),
    ],
)
def test_a_case_that_the_catalogue_does_not_know_is_refused(catalogue, changed, said):
    with pytest.raises(CaseError, match=said):
        check_cases([replace(BOARD, **changed)], catalogue)

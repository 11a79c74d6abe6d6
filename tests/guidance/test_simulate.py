"""Repairs played through: the same seed gives the same lifts, and the computed order costs fewer minutes."""

import numpy as np
import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.one_core import one_core
from guidance.diagnose.simulate import Lift, compare, play
from tests.guidance.cases import case_of


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


@pytest.mark.thorough
@pytest.mark.parametrize("symptom", ["dead", "hand_only_dead"])
def test_the_computed_order_costs_fewer_minutes_than_both_others(catalogue, symptom):
    """The whole table: `python -m guidance.diagnose.simulate --cases 400 --seed 4`."""
    with one_core():
        minutes = compare(catalogue, symptom, "technician", "hung-top", 40, np.random.default_rng(5)).minutes
    assert minutes["computed"].mean() < minutes["printed"].mean()
    assert minutes["computed"].mean() < minutes["probable"].mean()


@pytest.mark.thorough
def test_a_seed_names_its_lifts(catalogue):
    first, again, other = (
        compare(catalogue, "one_way", "agent", "sealed-front", 6, np.random.default_rng(seed)).minutes["printed"]
        for seed in (1, 1, 2)
    )
    assert (first == again).all() and (first != other).any()


def test_a_pressed_stop_is_played_minute_by_minute(catalogue):
    """Look at the stop, find it pressed, release it: the sum of both, and the trouble is gone."""
    space = catalogue.fault_space
    wanted = np.array([node.id == "stop_pressed" for node in space.cause_nodes]).astype(int)
    truth = int(np.flatnonzero((space.hypotheses == wanted).all(axis=1))[0])
    look, release = catalogue.checks_by_id["look_stop"], catalogue.repairs_by_id["release_stop"]
    steps = iter([look, release, *[catalogue.repairs_by_id["send_technician"]] * 5])
    lift = Lift(truth, 0, np.random.default_rng(3), seen={"stop": "pressed"})
    total = play(catalogue, case_of(), lift, lambda case, diagnosis: next(steps))
    assert total == pytest.approx(look.minutes["agent"] + release.minutes["agent"])
    assert space.hypotheses[lift.truth].sum() == 0


def test_opening_the_housing_is_paid_once(catalogue):
    space = catalogue.fault_space
    healthy = int(np.flatnonzero(space.hypotheses.sum(axis=1) == 0)[0])
    inside = [catalogue.checks_by_id[check] for check in ("measure_fuse", "measure_board_supply")]
    steps = iter([*inside, catalogue.repairs_by_id["exchange_lift"]])
    lift = Lift(healthy, 0, np.random.default_rng(1))
    total = play(catalogue, case_of(role="technician"), lift, lambda case, diagnosis: next(steps))
    minutes = [step.minutes["technician"] for step in (*inside, catalogue.repairs_by_id["exchange_lift"])]
    assert total == pytest.approx(sum(minutes) + catalogue.fault_settings.opening_min["housing"])

"""Looks and recall lists: against sums over all that can be, all choices in small pools, and pools that are known."""

from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.errors import PoolError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.pool.counts import drawn_pools
from guidance.pool.lifts import PoolLift, Told
from guidance.pool.questions import Question, probabilities_of, question, recall_list
from guidance.pool.readings import measured_readings, readings_of
from guidance.pool.visits import looks_for
from tests.support.simulated_pools import World


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(Path(DEMO_CATALOGUE))


def variance_after(probabilities: np.ndarray, looked_at: tuple[int, ...]) -> float:
    """Expected variance of the number after these looks, over everything that can be (computed apart)."""
    draws, lifts = probabilities.shape
    left: dict[tuple[int, ...], list[tuple[float, int]]] = {}
    for z in product((0, 1), repeat=lifts):
        mass = np.where(np.array(z) == 1, probabilities, 1 - probabilities).prod(axis=1).sum() / draws
        left.setdefault(tuple(z[i] for i in looked_at), []).append((float(mass), sum(z)))
    total = 0.0
    for rows in left.values():
        mass = sum(m for m, _ in rows)
        mean = sum(m * n for m, n in rows) / mass
        total += sum(m * (n - mean) ** 2 for m, n in rows)
    return total


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_the_first_look_takes_off_what_the_whole_sum_says(seed: int) -> None:
    probabilities = np.random.default_rng(seed).uniform(0.02, 0.98, (3, 5))
    plan = looks_for(probabilities, [1.0] * 5, 1)
    assert plan.deviation**2 == pytest.approx(variance_after(probabilities, ()))
    assert plan.visits[0].deviation_after ** 2 == pytest.approx(variance_after(probabilities, (plan.visits[0].lift,)))
    assert plan.visits[0].deviation_after ** 2 == pytest.approx(
        min(variance_after(probabilities, (i,)) for i in range(5))
    )


def test_without_a_common_part_the_order_is_by_variance_a_minute_and_the_last_look_leaves_none() -> None:
    each, minutes = np.array([0.5, 0.9, 0.2, 1.0, 0.01]), [10.0, 1.0, 2.0, 1.0, 1.0]
    plan = looks_for(each[None, :], minutes, 9)
    by_minute = sorted((0, 1, 2, 4), key=lambda i: -each[i] * (1 - each[i]) / minutes[i])
    assert [look.lift for look in plan.visits] == by_minute  # the lift that is sure is not looked at
    assert plan.visits[-1].deviation_after == pytest.approx(0.0, abs=1e-6)


def test_greedy_looks_are_near_the_best_of_all_choices() -> None:
    for seed in range(10):
        probabilities = np.random.default_rng(seed).beta(0.5, 0.8, (4, 7))
        before = variance_after(probabilities, ())
        chosen = tuple(look.lift for look in looks_for(probabilities, [1.0] * 7, 3).visits)
        best = min(variance_after(probabilities, three) for three in combinations(range(7), 3))
        assert before - variance_after(probabilities, chosen) >= 0.9 * (before - best)


def pool(values: list[tuple[str, ...]]) -> list[PoolLift]:
    return [PoolLift(f"lift {i}", Told({}, v), Told({})) for i, v in enumerate(values)]


ASKED = Question({"generation": frozenset({"hung-top"})})


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30), st.floats(0.001, 0.4), st.floats(0.001, 0.4))
def test_what_is_left_out_is_less_probable_than_the_risk_and_less_risk_names_more(each, one, other) -> None:
    lifts, probabilities = pool([("sealed-top",)] * len(each)), np.array([each])
    lists = [set(recall_list(ASKED, lifts, probabilities, risk)) for risk in sorted((one, other))]
    assert lists[0] >= lists[1]
    for risk, named in zip(sorted((one, other)), lists, strict=True):
        assert sum(p for i, p in enumerate(each) if i not in named) <= risk + 1e-12


def test_the_risk_of_each_lift_is_a_part_of_those_expected() -> None:
    lifts, each = pool([("sealed-top",)] * 5), np.array([[0.9, 0.8, 0.2, 0.05, 0.04]])
    assert recall_list(ASKED, lifts, each, 0.1) == [0, 1, 2]
    assert recall_list(ASKED, lifts, each, 0.15, each_lift=True) == [0, 1]  # 0.29 of 1.99 expected


def test_lifts_are_judged_alike_however_many_are_held_at_once(catalogue: Catalogue, monkeypatch) -> None:
    world, rng = World(catalogue), np.random.default_rng(8)
    lifts = [*world.lifts(rng.choice(5, 20), rng), PoolLift("unseen", Told({}), Told({}))]
    drawn = drawn_pools(
        readings_of(lifts, "generation", catalogue), measured_readings([], "generation", catalogue), rng, kept=50
    )
    whole = probabilities_of(ASKED, {"generation": drawn}, draws=10)
    monkeypatch.setattr("guidance.pool.questions.AT_ONCE", 6)
    assert probabilities_of(ASKED, {"generation": drawn}, draws=10) == pytest.approx(whole)
    assert whole[:, -1] == pytest.approx(drawn.shares[np.linspace(0, 49, 10).astype(int), 2])


def test_a_lift_whose_set_allows_it_is_named_whatever_its_probability() -> None:
    lifts = pool([("hung-top", "sealed-top"), ("sealed-top",), ()])
    assert recall_list(ASKED, lifts, np.array([[1e-9, 1e-9, 1e-9]]), 0.05) == [0]


def test_recall_lists_miss_one_no_oftener_than_was_risked(catalogue: Catalogue) -> None:
    world, rng, missed = World(catalogue), np.random.default_rng(7), 0
    for _ in range(25):
        truths = rng.choice(5, 150, p=rng.dirichlet(np.ones(5)))
        lifts = world.lifts(truths, rng)
        measured = measured_readings(world.calibration(200, rng), "generation", catalogue)
        drawn = drawn_pools(readings_of(lifts, "generation", catalogue), measured, rng, kept=400)
        probabilities = probabilities_of(ASKED, {"generation": drawn})
        named = recall_list(ASKED, lifts, probabilities, 0.1)
        missed += bool(set(np.flatnonzero(truths == world.classes.index("hung-top"))) - set(named))
        assert len(named) < 150
    assert missed <= 6  # of 25 at a risk of 0.1 more come once in 200 times (binomial)


def test_questions_are_read_and_refused(catalogue: Catalogue) -> None:
    assert question(["part=charger-hung"], catalogue) == ASKED
    assert question(["generation=hung-top,sealed-top", "part=charger-hung"], catalogue) == ASKED
    for asked, wanted in (
        ([], "Nothing was asked"),
        (["part=socket"], "did you mean 'socket-any'"),
        (["colour=red"], "generation=ID, lowering=ID or part=ID is wanted"),
        (["lowering="], "is wanted"),
        (["lowering=twist"], "unknown lowering 'twist'; did you mean 'twist_knob'"),
        (["part=charger-hung", "generation=sealed-top"], "No generation is all of what was asked"),
        (["part=charger-hung,fuse-any"], "one part at a time"),
    ):
        with pytest.raises(PoolError, match=wanted):
            question(asked, catalogue)
    with pytest.raises(PoolError, match="between 0 and 1"):
        recall_list(ASKED, pool([()]), np.array([[0.5]]), 1.0)

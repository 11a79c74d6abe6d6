"""Counts corrected for misreading: shares under another mix, drawn pools against an exact sum, intervals that hold."""

import math
from pathlib import Path

import numpy as np
import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.pool.counts import by_lift, counts_of, drawn_pools, shortest_interval
from guidance.pool.readings import Readings, measured_readings, readings_of
from guidance.pool.shift import likeliest_shares
from tests.bench.pool_intervals import simulate
from tests.support.simulated_pools import Reader, World

pytestmark = pytest.mark.walk

TWO = ("one", "other")
CONFUSION = np.array([[0.6, 0.2, 0.15, 0.05], [0.1, 0.2, 0.3, 0.4]])


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(Path(DEMO_CATALOGUE))


def readings(outcomes: np.ndarray, known: np.ndarray | None = None) -> Readings:
    """Two classes whose outcomes have the probabilities of CONFUSION, and say just that of the classes."""
    return Readings(TWO, CONFUSION[:, outcomes].T, outcomes, np.full(len(outcomes), -1) if known is None else known)


def measured(times: int) -> Readings:
    """Measured cases in the proportions of CONFUSION, without a remainder for each hundred."""
    cases = np.round(times * 100 * CONFUSION).astype(int)
    known, outcomes = (np.repeat(index, cases.ravel()) for index in np.indices(cases.shape).reshape(2, -1))
    return readings(outcomes, known)


NOTHING = readings(np.zeros(0, dtype=int))


def test_what_no_mix_explains_gives_shares_all_the_same() -> None:
    """The inverse of the confusion would be negative: more of an outcome than even the class alone brings."""
    confusion = np.array([[0.9, 0.1], [0.2, 0.8]])
    found = likeliest_shares(confusion.T, np.array([95.0, 5.0]))
    assert np.linalg.solve(confusion.T, [0.95, 0.05]).min() < 0
    assert found == pytest.approx([1.0, 0.0], abs=1e-4)


def exact_mean_and_deviation(counts: np.ndarray, known_one: int) -> tuple[float, float]:
    """Of the number of class one, by adding up over its share: computed apart from the code under test."""
    shares = (np.arange(20_000) + 0.5) / 20_000
    mixed = shares[:, None] * CONFUSION[0] + (1 - shares[:, None]) * CONFUSION[1]
    log_weight = np.log(mixed) @ counts + known_one * np.log(shares)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    is_one = shares[:, None] * CONFUSION[0] / mixed
    means, variances = is_one @ counts + known_one, (is_one * (1 - is_one)) @ counts
    mean = float(weight @ means)
    return mean, math.sqrt(float(weight @ (variances + (means - mean) ** 2)))


@pytest.mark.parametrize("known_one", [0, 20])
def test_drawn_counts_are_those_of_the_exact_sum(known_one: int) -> None:
    rng = np.random.default_rng(2)
    truths = np.repeat([0, 1], [60, 40])
    outcomes = np.array([rng.choice(4, p=CONFUSION[truth]) for truth in truths])
    known = np.where(np.arange(100) < known_one, 0, -1)
    drawn = drawn_pools(readings(outcomes, known), measured(2_000), rng, kept=20_000)
    open_ = np.bincount(outcomes[known < 0], minlength=4)
    mean, deviation = exact_mean_and_deviation(open_, known_one)
    assert drawn.counts[:, 0].mean() == pytest.approx(mean, abs=0.15)
    assert drawn.counts[:, 0].std() == pytest.approx(deviation, rel=0.05)
    assert (drawn.counts.sum(axis=1) == 100).all()


def test_what_is_confirmed_is_known() -> None:
    rng = np.random.default_rng(3)
    outcomes = rng.choice(4, 50, p=CONFUSION[1])
    all_known = drawn_pools(readings(outcomes, np.repeat([0, 1], [13, 37])), NOTHING, rng)
    assert [(row.low, row.high) for row in counts_of(all_known, "generation")] == [(13, 13), (37, 37)]
    assert set(by_lift(all_known, 5).ravel()) == {0.0, 1.0}
    some = drawn_pools(readings(outcomes, np.where(np.arange(50) < 13, 0, -1)), NOTHING, rng)
    assert some.counts[:, 0].min() >= 13


def test_lifts_without_a_photo_are_like_the_others_and_widen_the_interval(catalogue: Catalogue) -> None:
    world, rng = World(catalogue), np.random.default_rng(4)
    lifts = world.lifts(np.repeat(np.arange(5), 20), rng)
    read = readings_of(lifts, "generation", catalogue)
    elsewhere = measured_readings(world.calibration(100, rng), "generation", catalogue)
    small = counts_of(drawn_pools(read, elsewhere, np.random.default_rng(0)), "generation")
    large = counts_of(drawn_pools(read, elsewhere, np.random.default_rng(0), pool_size=1000), "generation")
    for one, other in zip(small, large, strict=True):
        assert other.expected == pytest.approx(10 * one.expected, rel=0.2)
        assert other.high - other.low > 5 * (one.high - one.low)


def test_intervals_hold_over_pools_of_other_mixes(catalogue: Catalogue) -> None:
    """A small part of tests/bench/pool_intervals.py; the bounds are what 200 intervals can show."""
    found = simulate(World(catalogue), 40, 200, np.random.default_rng(5))
    held, classes, naive = (sum(row[i] for row in found) for i in (1, 2, 3))
    assert 0.90 < held / classes < 0.995
    assert naive / classes < 0.75


def test_a_reader_that_is_too_sure_is_corrected_by_what_was_measured(catalogue: Catalogue) -> None:
    world = World(catalogue, reader=Reader(apart=2.0, sharpness=3.0))
    held = {}
    for of_each in (0, 200):
        found = simulate(world, 20, of_each, np.random.default_rng(6))
        held[of_each] = sum(row[1] for row in found) / sum(row[2] for row in found)
    assert held[200] > 0.85  # of 100 intervals
    assert held[0] < held[200]


def test_the_shortest_interval_reaches_nothing_where_nothing_is_likeliest() -> None:
    assert shortest_interval(np.array([0] * 60 + [1] * 30 + [2] * 8 + [9] * 2)) == (0, 2)
    assert shortest_interval(np.arange(100)) in {(k, k + 94) for k in range(6)}

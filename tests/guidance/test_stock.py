"""Demand in a lead time and levels: against SciPy, printed tables, closed forms, simulation and search."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from classifier.errors import InputError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.learning.expected_labels import ExpectedLabels
from guidance.stock.demand import Calls, Job, jobs_of, used
from guidance.stock.lead_time import Demand
from guidance.stock.levels import Costs, Shelf, levels_for
from guidance.stock.plan import plan_of, shared_out, standing_in
from guidance.stock.terms import Terms
from tests.bench.stock_service import simulate

COSTS = Costs(holding=0.25, day_without=0.5)
USUAL = Terms(price=100.0, lead_days=10.0)


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(Path(DEMO_CATALOGUE))


def sure(mean: float, sizes: tuple[float, ...] = (1.0,)) -> Demand:
    return Demand(np.array([mean]), np.ones(1), sizes)


def unsure(mean: float, doubt: float, sizes: tuple[float, ...] = (1.0,)) -> Demand:
    """A Gamma distributed rate whose variance is `doubt` times the square of its mean, by its quantiles."""
    if not doubt:
        return sure(mean, sizes)
    places = (np.arange(20_000) + 0.5) / 20_000
    return Demand.of(stats.gamma.ppf(places, 1 / doubt, scale=mean * doubt), 1.0, sizes)


@pytest.mark.parametrize("mean", [0.01, 1.0, 17.0, 60.0, 900.0])
def test_a_sure_rate_gives_the_poisson_distribution_of_scipy(mean: float) -> None:
    demand = sure(mean)
    top = demand.top()
    assert demand.pmf(top) == pytest.approx(stats.poisson.pmf(np.arange(top + 1), mean), abs=1e-12)


@pytest.mark.parametrize(("mean", "doubt"), [(0.3, 0.2), (5.0, 1.5), (200.0, 0.05)])
def test_an_unsure_rate_gives_the_negative_binomial_distribution_of_scipy(mean: float, doubt: float) -> None:
    demand, shape = unsure(mean, doubt), 1 / doubt
    n = np.arange(demand.top() + 1)
    assert demand.pmf(n[-1]) == pytest.approx(stats.nbinom.pmf(n, shape, shape / (shape + mean)), abs=2e-4)
    weighted = stats.nbinom.pmf(n, shape + 1, shape / (shape + mean))  # a Gamma distribution weighted by its variable
    assert demand.as_jobs_see_it().pmf(n[-1]) == pytest.approx(weighted, abs=4e-4)


def test_printed_tables_of_the_poisson_distribution() -> None:
    """P(X <= n) to four places as handbooks print it (from memory): mean 2, 5 and 10."""
    for mean, n, printed in ((2, 3, 0.8571), (2, 5, 0.9834), (5, 5, 0.6160), (5, 8, 0.9319), (10, 10, 0.5830),
                             (10, 15, 0.9513)):  # fmt: skip
        assert sure(float(mean)).pmf(60)[: n + 1].sum() == pytest.approx(printed, abs=5e-5)


@given(st.floats(0.1, 20.0), st.floats(0.0, 2.0), st.lists(st.floats(0.05, 1.0), min_size=1, max_size=4))
@settings(max_examples=30, deadline=None)
def test_pieces_have_the_mean_and_variance_of_a_compound_sum(mean: float, doubt: float, weights: list[float]) -> None:
    sizes = np.array(weights) / sum(weights)
    demand = Demand(np.array([mean, mean * doubt]), np.array([0.7, 0.3]), tuple(sizes))
    pmf, k = demand.pmf(demand.top()), np.arange(1, len(sizes) + 1)
    n = np.arange(len(pmf))
    found = pmf @ n, pmf @ n**2 - (pmf @ n) ** 2
    jobs = 0.7 * mean + 0.3 * mean * doubt
    of_jobs = jobs + 0.7 * mean**2 + 0.3 * (mean * doubt) ** 2 - jobs**2  # variance of their number
    wanted = jobs * (sizes @ k), jobs * (sizes @ k**2 - (sizes @ k) ** 2) + of_jobs * (sizes @ k) ** 2
    assert found == pytest.approx(wanted, rel=1e-5)


def shelf(mean: float, doubt: float = 0.0, sizes: tuple[float, ...] = (1.0,), price: float = 100.0,
          costs: Costs = COSTS) -> Shelf:  # fmt: skip
    return Shelf(("a",), price, unsure(mean, doubt, sizes), costs)


def test_backorders_of_one_for_one_orders() -> None:
    """Sherbrooke's METRIC: EBO(0) = m, EBO(1) = m - 1 + P(0), EBO(s) = EBO(s - 1) - P(more than s - 1): computed."""
    m = 1.0
    wanted = [m, m - 1 + np.exp(-m), m - 2 + 2 * np.exp(-m) + m * np.exp(-m)]
    assert shelf(m).waiting[:3] == pytest.approx(wanted)
    n = np.arange(200)
    for level in (0, 3, 9):
        pmf = stats.poisson.pmf(n, 6.0)
        assert shelf(6.0).waiting[level] == pytest.approx(pmf @ np.maximum(n - level, 0))
        assert shelf(6.0).on_shelf[level] == pytest.approx(pmf @ np.maximum(level - n, 0))


@given(st.floats(0.05, 30.0), st.floats(1.0, 500.0), st.floats(0.05, 20.0))
@settings(max_examples=40, deadline=None)
def test_without_a_promise_the_level_is_the_newsvendor_s(mean: float, price: float, day_without: float) -> None:
    """The smallest level with P(asked for <= level) >= idle / (idle + holding): SciPy's quantile."""
    found = shelf(mean, price=price, costs=Costs(0.25, day_without)).best()
    idle, holding = 365 * day_without, 0.25 * price
    assert found == max(0, int(stats.poisson.ppf(idle / (idle + holding), mean)))


def test_palm_s_theorem_pieces_on_order_are_poisson_whatever_the_lead_time_s_distribution() -> None:
    """Simulated with exponential lead times of mean 10 days: the distribution is that of a constant one."""
    rng, rate, horizon = np.random.default_rng(1), 0.3, 400_000.0
    asked = np.sort(rng.uniform(0, horizon, rng.poisson(rate * horizon)))
    back = asked + rng.exponential(10.0, len(asked))
    moments = rng.uniform(200, horizon, 20_000)
    on_order = np.searchsorted(asked, moments) - np.searchsorted(np.sort(back), moments)
    found = np.bincount(on_order, minlength=30)[:12] / len(moments)
    assert found == pytest.approx(sure(3.0).pmf(60)[:12], abs=0.012)


@pytest.mark.parametrize(("doubt", "sizes"), [(0.0, (1.0,)), (0.8, (1.0,)), (0.4, (0.6, 0.3, 0.1))])
def test_jobs_that_come_one_by_one_are_served_as_often_as_stated(doubt: float, sizes: tuple[float, ...]) -> None:
    """Job by job, each with its own drawn rate: asked for in the lead time before it, and then itself."""
    rng, one = np.random.default_rng(2), shelf(4.0, doubt, sizes)
    draws = 400_000
    rates = rng.gamma(1 / doubt, 4.0 * doubt, draws) if doubt else np.full(draws, 4.0)
    before = rng.poisson(rates)
    pieces = before.copy()
    for k in range(1, len(sizes)):  # pieces beyond the first: thinned step by step
        before = rng.binomial(before, sum(sizes[k:]) / sum(sizes[k - 1 :]))
        pieces += before
    own = 1 + rng.choice(len(sizes), draws, p=sizes)
    for level in (2, 6, 12):
        served = float((rates * (pieces + own <= level)).mean() / rates.mean())
        assert one.served[level] == pytest.approx(served, abs=0.005)


def test_levels_of_parts_that_share_jobs_cost_no_more_than_the_best_of_all() -> None:
    rng, ratios = np.random.default_rng(3), []
    for _ in range(15):
        shelves = [shelf(rng.uniform(0.2, 3.0), rng.uniform(0, 1), price=rng.uniform(5, 300)) for _ in range(3)]
        jobs = [(0, 2), (1, 2), (2,)]
        found = levels_for(shelves, jobs, 0.95)
        a, b, both = (one.served[:40] for one in shelves)
        kept = (a[:, None, None] * both >= 0.95) & (b[:, None] * both >= 0.95)
        cost = shelves[0].cost[:40, None, None] + shelves[1].cost[:40, None] + shelves[2].cost[:40]
        least = float(cost[kept].min())
        ratios.append(sum(s.cost[n] for s, n in zip(shelves, found, strict=True)) / least)
        assert all(np.prod([shelves[i].served[found[i]] for i in job]) >= 0.95 - 1e-9 for job in jobs)
    assert max(ratios) <= 1.05


def test_more_is_promised_with_no_fewer_pieces() -> None:
    one = shelf(3.0, 0.5)
    levels = [one.best(service) for service in (0.5, 0.9, 0.95, 0.99, 0.999)]
    assert levels == sorted(levels)
    assert all(one.served[n] >= service for n, service in zip(levels, (0.5, 0.9, 0.95, 0.99, 0.999), strict=True))
    assert one.served[levels[2] - 1] < 0.95


def test_repairs_take_what_is_left_of_a_fault(catalogue: Catalogue) -> None:
    """By hand from the demo pool's repairs: an adjustment first, then the component itself, then others."""
    model, components = ExpectedLabels(catalogue), list(catalogue.components_by_id)
    found = used(model, "hung-top")[model.faults.index("pack_contacts_worn")]
    named = {components[c]: pieces for c, pieces in enumerate(found) if pieces}
    assert named == pytest.approx({"pack_contacts": 0.9, "battery": 0.09})
    assert used(model, "hung-top")[model.faults.index("charger_faulty")].sum() == pytest.approx(1.0)


def test_jobs_follow_the_lifts_and_order_together(catalogue: Catalogue) -> None:
    generations = np.tile([0, 0, 100, 0, 0], (50, 1))  # hung-top alone
    mechanisms = np.tile([100, 0, 0, 0], (50, 1))  # none to work by hand
    counts = {"generation": generations, "lowering": mechanisms}
    jobs = jobs_of(catalogue, [], counts, Calls(1.0, 50), np.random.default_rng(1))
    taken = {job.parts for job in jobs}
    assert ("board-hung", "fuse-any") in taken and ("charger-hung", "adapter-hung") in taken
    assert ("actuator-plain",) in taken
    assert not {part for job in jobs for part in job.parts} & {"pack-stacked", "cradle-hung", "actuator-twist"}
    twice = jobs_of(catalogue, [], {**counts, "generation": 2 * generations}, Calls(1.0, 50), np.random.default_rng(1))
    for one, other in zip(jobs, twice, strict=True):
        assert other.rates == pytest.approx(2 * one.rates)
    a_year = 365 * sum(float(job.rates.mean()) for job in jobs)
    assert 30 < a_year < 150  # of 100 calls most end with a part, some with none


def test_superseded_parts_are_not_kept_and_those_that_stand_in_for_each_other_are_kept_as_one(catalogue) -> None:
    parts, agreed = ["blocks-sealed-front", "blocks-sealed-top", "actuator-plain", "actuator-twist"], {}
    agreed = dict.fromkeys(parts, USUAL)
    assert standing_in(parts, agreed, catalogue) == [tuple(parts[:2]), (parts[2],), (parts[3],)]
    slow = agreed | {parts[0]: Terms(100.0, 30.0)}
    assert len(standing_in(parts, slow, catalogue)) == 4
    jobs = [Job((part,), np.full(10, rate)) for part, rate in zip(parts, (0.2, 0.1, 0.1, 0.1), strict=True)]
    plan = plan_of(jobs, catalogue, {}, USUAL, COSTS, 0.95)
    rows = {row.part: row for row in plan.rows}
    alone = plan_of(jobs, catalogue, {parts[0]: Terms(100.0, 10.001)}, USUAL, COSTS, 0.95)
    assert rows[parts[0]].level + rows[parts[1]].level < sum(r.level for r in alone.rows if r.part in parts[:2])
    assert rows[parts[0]].served == rows[parts[1]].served >= 0.95
    assert rows[parts[0]].kept_with == (parts[1],)


def test_a_level_is_shared_out_by_what_is_asked() -> None:
    assert shared_out(5, np.array([2.0, 1.0])) == [3, 2]
    assert shared_out(0, np.array([1.0])) == [0]


def test_one_more_spare_says_what_the_curves_say(catalogue: Catalogue) -> None:
    jobs = [Job(("fuse-any",), np.full(10, 0.4))]
    (row,) = plan_of(jobs, catalogue, {}, USUAL, COSTS, 0.9).rows
    pmf = stats.poisson.pmf(np.arange(100), 4.0)
    saved = 365 * pmf[row.level + 1 :].sum()
    assert row.one_more.days_saved == pytest.approx(saved)
    assert row.one_more.cost_more == pytest.approx(25 * pmf[: row.level + 1].sum() - 0.5 * saved)


@pytest.mark.parametrize("service", [0.0, 1.0, -1.0])
def test_a_promise_that_cannot_be_kept_is_refused(service: float, catalogue: Catalogue) -> None:
    with pytest.raises(InputError, match="the service level is"):
        plan_of([Job(("fuse-any",), np.ones(3))], catalogue, {}, USUAL, COSTS, service)


def test_more_than_can_be_reckoned_is_refused(catalogue: Catalogue) -> None:
    with pytest.raises(InputError, match="Give a shorter lead time, a smaller pool"):
        plan_of([Job(("fuse-any",), np.full(3, 1e5))], catalogue, {}, USUAL, COSTS, 0.95)


def test_events_one_by_one_find_the_promise_kept(catalogue: Catalogue) -> None:
    """A small part of tests/bench/stock_service.py: jobs of two parts, parts kept as one; rates are sure."""
    rates = {("blocks-sealed-top", "fuse-any"): 0.1, ("blocks-sealed-front", "fuse-any"): 0.05, ("fuse-any",): 0.2,
             ("actuator-twist", "cable-any"): 0.1}  # fmt: skip
    jobs = [Job(parts, np.full(10, rate)) for parts, rate in rates.items()]
    plan = plan_of(jobs, catalogue, {}, USUAL, Costs(0.25, 0.05), 0.9)
    seen = simulate(plan, jobs, 10.0, 60, np.random.default_rng(9))
    found = seen.served.sum(axis=0) / seen.asked.sum(axis=0)
    stated = [np.prod([plan.shelves[i].served[plan.levels[i]] for i in takes]) for takes in plan.jobs]
    for job, kept in zip(found, stated, strict=True):  # of 11,000 jobs and more: a standard deviation is about 0.003
        assert job > 0.9 - 0.01 and kept - 0.01 < job < kept + 0.03

"""Whether the levels keep what they promise, and at what cost against the best: events simulated one by one.

Run: `python -m tests.bench.stock_service --seed 101`. The demo pool's 1000 lifts, for several promises and lead times.
`served`: jobs that found all their parts on the shelf, of all jobs, in worlds each of which has its own drawn rates
(orders one for one, constant lead time, first come first served); the interval is over worlds. `least`: the kind of job
that is served least often, give or take its standard deviation; being the least of some thirty it lies rather too low.
`cost`: against the least cost found by a search that moves two levels at a time and takes the
simulated distribution of what is on order, jobs together, instead of the product over parts.
"""

import argparse
import heapq
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from pathlib import Path

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.pool.readings import printed_shares
from guidance.stock.demand import Calls, Job, jobs_of
from guidance.stock.levels import Costs
from guidance.stock.plan import Plan, plan_of
from guidance.stock.terms import Terms

DRAWS, LIFTS = 2000, 1000
CASES = ((0.9, 10.0), (0.95, 10.0), (0.95, 30.0), (0.99, 5.0))


def main() -> None:
    """Print one line a promise."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=3000)
    parser.add_argument("--day-without", type=float, default=0.2, help="low, so that the promise binds")
    parser.add_argument("--seed", type=int, required=True)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    catalogue = load(Path(DEMO_CATALOGUE))
    counts = {c: rng.multinomial(LIFTS, printed_shares(c, catalogue), DRAWS) for c in ("generation", "lowering")}
    jobs = jobs_of(catalogue, [], counts, Calls(1.0, 50), rng)
    for service, lead in CASES:
        plan = plan_of(jobs, catalogue, {}, Terms(100.0, lead), Costs(0.25, given.day_without), service)
        seen = simulate(plan, jobs, lead, given.worlds, rng)
        best = search(plan, jobs, lead, service, rng)
        low, high = seen.interval()
        print(
            f"asked {service:.2f}, lead {lead:>2.0f} d: served {seen.share:.4f} ({low:.4f}–{high:.4f}, "
            f"{seen.jobs:.0f} jobs), least {seen.least[0]:.4f} ± {seen.least[1]:.4f}, stated {plan.service:.4f}; "
            f"cost {plan.cost:.0f} against {best:.0f}: {plan.cost / best:.3f}",
            flush=True,
        )


@dataclass(frozen=True)
class Seen:
    """Jobs and those served at once, by world and kind of job, (W, J)."""

    asked: np.ndarray
    served: np.ndarray

    @property
    def jobs(self) -> float:
        return float(self.asked.sum())

    @property
    def share(self) -> float:
        return float(self.served.sum() / self.asked.sum())

    @property
    def least(self) -> tuple[float, float]:
        """The kind of job that is served least often, and the standard deviation of its share (over worlds)."""
        asked, served = self.asked.sum(axis=0), self.served.sum(axis=0)
        shares = served / asked
        spread = np.sqrt(((self.served - shares * self.asked) ** 2).sum(axis=0)) / asked
        return float(shares.min()), float(spread[shares.argmin()])

    def interval(self) -> tuple[float, float]:
        """95 %, from the spread between worlds (a ratio's variance to first order)."""
        asked, served = self.asked.sum(axis=1), self.served.sum(axis=1)
        deviation = (served - self.share * asked).std(ddof=1) / asked.mean() / len(asked) ** 0.5
        return self.share - 1.96 * deviation, self.share + 1.96 * deviation


def simulate(plan: Plan, jobs: Sequence[Job], lead: float, worlds: int, rng: np.random.Generator) -> Seen:
    """A year in each world, the first lead times aside."""
    found = [
        _world(plan, np.array([job.rates[draw] for job in jobs]), lead, rng)
        for draw in rng.integers(len(jobs[0].rates), size=worlds)
    ]
    return Seen(np.array([asked for asked, _ in found]), np.array([served for _, served in found]))


def _world(plan: Plan, rates: np.ndarray, lead: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Events in their order: a job comes, or a piece that was ordered. Jobs wait part by part, first come first."""
    end, start = 365.0 + 2 * lead, 2 * lead
    times = [np.sort(rng.uniform(0, end, rng.poisson(rate * end))) for rate in rates]
    coming = heapq.merge(*([(float(t), j) for t in row] for j, row in enumerate(times)))
    shelf, waiting = list(plan.levels), [0] * len(plan.levels)
    ordered: deque[tuple[float, int]] = deque()  # one constant lead time: orders arrive as they were placed
    asked, served = np.zeros(len(rates)), np.zeros(len(rates))
    for now, job in coming:
        while ordered and ordered[0][0] <= now:
            _, part = ordered.popleft()
            if waiting[part]:
                waiting[part] -= 1
            else:
                shelf[part] += 1
        takes = plan.jobs[job]
        if now > start:
            asked[job] += 1
            served[job] += all(shelf[part] for part in takes)
        for part in takes:
            ordered.append((now + lead, part))
            if shelf[part]:
                shelf[part] -= 1
            else:
                waiting[part] += 1
    return asked, served


def search(plan: Plan, jobs: Sequence[Job], lead: float, service: float, rng: np.random.Generator) -> float:
    """The least cost found: all pairs of levels are moved by up to two, as long as that saves and every job is kept."""
    draws = np.tile(np.arange(len(jobs[0].rates)), 40)
    came = [rng.poisson(job.rates[draws] * lead) for job in jobs]
    on_order = [sum(n for n, takes in zip(came, plan.jobs, strict=True) if i in takes) for i in range(len(plan.levels))]
    levels = list(plan.levels)
    groups = _groups(plan)

    def kept(tried: Sequence[int], about: set[int]) -> bool:
        for job, takes in zip(jobs, plan.jobs, strict=True):
            if about & set(takes):
                found = np.all([on_order[i] < tried[i] for i in takes], axis=0)
                if np.average(found, weights=job.rates[draws]) < service:
                    return False
        return True

    def cost(tried: Sequence[int]) -> float:
        return float(sum(shelf.cost[n] for shelf, n in zip(plan.shelves, tried, strict=True)))

    moved = True
    while moved:
        moved = False
        for pair in [pair for group in groups for pair in ([(i, i) for i in group] + list(combinations(group, 2)))]:
            for one, other in product(range(-2, 3), repeat=2):
                tried = list(levels)
                tried[pair[0]] += one
                tried[pair[1]] += other
                if min(tried) >= 0 and cost(tried) < cost(levels) - 1e-9 and kept(tried, set(pair)):
                    levels, moved = tried, True
    return cost(levels)


def _groups(plan: Plan) -> list[list[int]]:
    """Shelves that are linked by jobs."""
    of = list(range(len(plan.levels)))
    for takes in plan.jobs:
        for part in takes:
            of = [of[takes[0]] if group == of[part] else group for group in of]
    return [[i for i, group in enumerate(of) if group == one] for one in sorted(set(of))]


if __name__ == "__main__":
    main()

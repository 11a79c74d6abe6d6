"""How many of each part to keep: the levels of least cost at which enough jobs find all their parts on the shelf.

Each piece that is taken is ordered again at once (a base-stock level). By the demand of a lead time (`lead_time.py`):

    served at once   a job of k pieces finds them:  P(asked for in a lead time <= level - k)
    on the shelf     E max(level - asked for, 0)
    waiting          E max(asked for - level, 0), pieces for which a lift stands still
    cost a year      price * holding share * on the shelf + 365 * cost of a day without a lift * waiting

Cost is convex in the level, so that the best level without a promise is the first at which one more piece costs more
than it saves (the newsvendor's ratio). A job that takes several parts finds all of them at least as often as the
product of the parts says, since their demands rise together (Harris' inequality): the promise is kept by the product.
Parts that share jobs are settled together: raised one by one, whichever buys most of what is missing for its cost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from classifier.errors import InputError
from guidance.stock.demand import DAYS_A_YEAR
from guidance.stock.lead_time import Demand

MOST_PIECES = 8_000
FEW = 1e-12


@dataclass(frozen=True)
class Costs:
    """`holding`: share of the price that a year on the shelf costs. `day_without`: what a lift's idle day costs."""

    holding: float
    day_without: float


@dataclass(frozen=True, eq=False)
class Shelf:
    """One part, or parts that stand in for each other: demand in a lead time, costs; curves over levels from 0 on."""

    parts: tuple[str, ...]
    price: float
    demand: Demand
    costs: Costs

    @cached_property
    def _cumulative(self) -> tuple[np.ndarray, np.ndarray]:
        """P(asked for <= n): over time, and as jobs see it."""
        seen = self.demand.as_jobs_see_it()
        top = self.demand.top() + len(self.demand.sizes) + 1
        if top > MOST_PIECES:
            raise InputError(
                f"{self.parts[0]}: up to {top} pieces may be asked for in one lead time; {MOST_PIECES} at most can. "
                "Give a shorter lead time, a smaller pool, or calls that were counted from more."
            )
        return np.cumsum(self.demand.pmf(top)), np.cumsum(seen.pmf(top))

    @cached_property
    def served(self) -> np.ndarray:
        """The share of jobs that find their pieces at each level."""
        seen = self._cumulative[1]
        found = np.zeros(len(seen))
        for k, share in enumerate(self.demand.sizes, 1):
            found[k:] += share * seen[: len(seen) - k]
        return found

    @cached_property
    def on_shelf(self) -> np.ndarray:
        """Expected pieces on the shelf at each level."""
        return np.concatenate([[0.0], np.cumsum(self._cumulative[0])[:-1]])

    @cached_property
    def waiting(self) -> np.ndarray:
        """Expected pieces waited for at each level."""
        return np.maximum(self.on_shelf - np.arange(len(self.on_shelf)) + self.demand.pieces, 0.0)

    @cached_property
    def cost(self) -> np.ndarray:
        """Cost a year at each level."""
        held = self.price * self.costs.holding * self.on_shelf
        return held + DAYS_A_YEAR * self.costs.day_without * self.waiting

    def best(self, service: float = 0.0) -> int:
        """The level of least cost at which jobs are served so often."""
        enough = int(np.argmax(self.served >= service - FEW))
        return enough + int(np.argmin(self.cost[enough:]))


def levels_for(shelves: Sequence[Shelf], jobs: Sequence[Sequence[int]], service: float) -> list[int]:
    """A level for each shelf, so that each job (the shelves that it takes from) is served so often."""
    levels = [shelf.best(service) for shelf in shelves]
    wanted = [job for job in jobs if len(job) > 1]
    while missing := [job for job in wanted if _served(shelves, job, levels) < service - FEW]:
        raised = {i for job in missing for i in job}
        levels[max(raised, key=lambda i: _worth(i, shelves, missing, levels, service))] += 1
    _lower(shelves, wanted, levels, service)
    return levels


def _served(shelves: Sequence[Shelf], job: Sequence[int], levels: Sequence[int]) -> float:
    return float(np.prod([shelves[i].served[min(levels[i], len(shelves[i].served) - 1)] for i in job]))


def _missing(shelves: Sequence[Shelf], jobs: Sequence[Sequence[int]], levels: Sequence[int], service: float) -> float:
    return sum(max(0.0, np.log(service) - np.log(_served(shelves, job, levels))) for job in jobs)


def _worth(i: int, shelves: Sequence[Shelf], jobs: Sequence[Sequence[int]], levels: list[int], service: float) -> float:
    """What one more piece takes off what is missing, for what it costs more."""
    more = [*levels[:i], levels[i] + 1, *levels[i + 1 :]]
    gained = _missing(shelves, jobs, levels, service) - _missing(shelves, jobs, more, service)
    return gained / max(float(shelves[i].cost[more[i]] - shelves[i].cost[levels[i]]), FEW)


def _lower(shelves: Sequence[Shelf], jobs: Sequence[Sequence[int]], levels: list[int], service: float) -> None:
    """Take back pieces that turned out not to be needed, where that saves most."""
    while True:
        saved = {}
        for i, shelf in enumerate(shelves):
            if levels[i] and shelf.served[levels[i] - 1] >= service - FEW:
                fewer = [*levels[:i], levels[i] - 1, *levels[i + 1 :]]
                if _missing(shelves, jobs, fewer, service) <= FEW:
                    saved[i] = float(shelf.cost[levels[i]] - shelf.cost[levels[i] - 1])
        if not saved or max(saved.values()) <= 0:
            return
        levels[max(saved, key=saved.__getitem__)] -= 1

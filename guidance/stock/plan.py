"""The plan of a stock: for each part its demand, level, what that serves and costs, and what one more spare buys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from classifier.errors import InputError
from guidance.catalogue.catalogue import Catalogue
from guidance.stock.demand import DAYS_A_YEAR, Job
from guidance.stock.lead_time import Demand
from guidance.stock.levels import Costs, Shelf, levels_for
from guidance.stock.terms import Terms

LEAST_SERVICE, MOST_SERVICE = 0.01, 0.9999


@dataclass(frozen=True)
class OneMore:
    """What one more piece than the level changes in a year: served at once, days of waiting saved, cost."""

    served: float
    days_saved: float
    cost_more: float


@dataclass(frozen=True)
class Row:
    """One part of the plan. `served`: share of its jobs that find it on the shelf; days and costs are a year's.

    `asked_a_year` and its interval: pieces. `ordered_with`: parts that its jobs take, too. `kept_with`: parts that
    stand in for it and it for them, so that they are kept as one; `served` and `one_more` are then those of all.
    """

    part: str
    number: str
    name: str
    price: float
    lead_days: float
    asked_a_year: float
    asked_low: float
    asked_high: float
    asked_in_lead_time: float
    level: int
    served: float
    on_shelf: float
    days_waited: float
    cost: float
    one_more: OneMore
    ordered_with: tuple[str, ...]
    kept_with: tuple[str, ...]
    substitutes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Plan:
    """All rows, dearest stock first; the least service of any job; shelves, what each job takes, and levels."""

    rows: tuple[Row, ...]
    service: float
    shelves: tuple[Shelf, ...]
    jobs: tuple[tuple[int, ...], ...]
    levels: tuple[int, ...]

    @property
    def cost(self) -> float:
        return sum(row.cost for row in self.rows)

    @property
    def days_waited(self) -> float:
        return sum(row.days_waited for row in self.rows)


def plan_of(
    jobs: Sequence[Job], catalogue: Catalogue, terms: Mapping[str, Terms], usual: Terms, costs: Costs, service: float
) -> Plan:
    """Settle the level of every part that some job takes."""
    if not LEAST_SERVICE <= service <= MOST_SERVICE:
        raise InputError(f"the service level is {service:g}. From {LEAST_SERVICE:g} to {MOST_SERVICE:g} is wanted.")
    if not jobs:
        raise InputError("No part is asked for by these lifts. Give a pool with lifts of listed generations.")
    parts = sorted({part for job in jobs for part in job.parts})
    rates = {part: np.sum([job.rates for job in jobs if part in job.parts], axis=0) for part in parts}
    agreed = {part: terms.get(part, usual) for part in parts}
    shelves = tuple(_shelf(group, rates, agreed, costs) for group in standing_in(parts, agreed, catalogue))
    shelf_of = {part: i for i, shelf in enumerate(shelves) for part in shelf.parts}
    takes = tuple(tuple(dict.fromkeys(shelf_of[part] for part in job.parts)) for job in jobs)
    levels = levels_for(shelves, takes, service)
    rows: list[Row] = []
    for shelf, level in zip(shelves, levels, strict=True):
        asked = np.array([rates[part].mean() for part in shelf.parts])
        shared = shared_out(level, asked)
        for part, own, portion in zip(shelf.parts, shared, asked / asked.sum(), strict=True):
            rows.append(_row(_Of(part, own, float(portion), shelf, level), rates[part], agreed[part], jobs, catalogue))
    served = [float(np.prod([shelves[i].served[levels[i]] for i in job])) for job in takes]
    return Plan(tuple(sorted(rows, key=lambda row: (-row.cost, row.part))), min(served), shelves, takes, tuple(levels))


def standing_in(parts: Sequence[str], agreed: Mapping[str, Terms], catalogue: Catalogue) -> list[tuple[str, ...]]:
    """The parts in groups that are kept as one: each stands in for each other, on the same terms but for the price.

    A substitute that goes one way only is not counted on: the levels hold without it.
    """
    groups: list[list[str]] = []
    for part in parts:
        for group in groups:
            if all(_either(part, other, catalogue) and _alike(agreed[part], agreed[other]) for other in group):
                group.append(part)
                break
        else:
            groups.append([part])
    return [tuple(group) for group in groups]


def _either(one: str, other: str, catalogue: Catalogue) -> bool:
    return other in catalogue.parts_by_id[one].substitutes and one in catalogue.parts_by_id[other].substitutes


def _alike(one: Terms, other: Terms) -> bool:
    return (one.lead_days, one.pieces) == (other.lead_days, other.pieces)


def _shelf(group: tuple[str, ...], rates: Mapping[str, np.ndarray], agreed: Mapping[str, Terms], costs: Costs) -> Shelf:
    """Of parts that stand in for each other what is on order together decides, whichever of them was taken."""
    asked = np.sum([rates[part] for part in group], axis=0)
    price = sum(agreed[part].price * rates[part].mean() for part in group) / max(asked.mean(), 1e-300)
    terms = agreed[group[0]]
    return Shelf(group, float(price), Demand.of(asked, terms.lead_days, terms.pieces), costs)


def shared_out(level: int, asked: np.ndarray) -> list[int]:
    """A level of several parts divided by what is asked of each; the largest remainders get what is over."""
    exact = level * asked / asked.sum()
    whole = np.floor(exact).astype(int)
    for i in np.argsort(whole - exact, kind="stable")[: level - int(whole.sum())]:
        whole[i] += 1
    return [int(n) for n in whole]


@dataclass(frozen=True)
class _Of:
    """A part's own part of a shelf: pieces, and the portion of the shelf's demand."""

    part: str
    own: int
    portion: float
    shelf: Shelf
    level: int


def _row(of: _Of, rates: np.ndarray, terms: Terms, jobs: Sequence[Job], catalogue: Catalogue) -> Row:
    row, shelf, level = catalogue.parts_by_id[of.part], of.shelf, of.level
    pieces = DAYS_A_YEAR * sum(k * share for k, share in enumerate(terms.pieces, 1))
    low, high = np.quantile(rates, (0.025, 0.975)) * pieces
    waited = DAYS_A_YEAR * shelf.waiting
    more = OneMore(
        float(shelf.served[level + 1]),
        float(waited[level] - waited[level + 1]),
        float(shelf.cost[level + 1] - shelf.cost[level]),
    )
    return Row(
        part=row.id, number=row.number, name=row.name, price=terms.price, lead_days=terms.lead_days,
        asked_a_year=float(rates.mean() * pieces), asked_low=float(low), asked_high=float(high),
        asked_in_lead_time=float(rates.mean() * pieces / DAYS_A_YEAR * terms.lead_days),
        level=of.own, served=float(shelf.served[level]), on_shelf=float(of.portion * shelf.on_shelf[level]),
        days_waited=float(of.portion * waited[level]), cost=float(of.portion * shelf.cost[level]), one_more=more,
        ordered_with=tuple(sorted({p for job in jobs if of.part == job.parts[0] for p in job.parts[1:]})),
        kept_with=tuple(p for p in shelf.parts if p != of.part), substitutes=row.substitutes,
    )  # fmt: skip

"""`hoistlore stock`: which spares to keep, for a service level and a lead time, as a table, CSV, JSON or a picture."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from api.commands.pool import FORMATS, MOST_OWNED, add_pool_options, catalogue_of, counted, show
from classifier.errors import InputError

ASSUMED = {"calls_per_year": 1.0, "calls_counted": 50.0, "price": 100.0, "holding_percent": 25.0, "day_without": 50.0}
"""What is assumed until it is given; each is named in the output as long as it is."""


def add_stock_command(commands: argparse._SubParsersAction) -> None:
    """Add `stock` to the command line."""
    stock = commands.add_parser(
        "stock",
        help="which spares to keep",
        description="How many of each part to keep, so that most repairs find their parts on the shelf at least cost.",
    )
    stock.add_argument("--service-level", type=float, default=0.95, metavar="P", help="share of repairs served at once")
    stock.add_argument("--lead-days", type=float, default=10.0, metavar="DAYS", help="from order to shelf")
    stock.add_argument("--pool", type=Path, metavar="FILE", help="the lifts, as `hoistlore pool` reads them")
    stock.add_argument("--lifts", type=int, metavar="N", help="lifts owned; without --pool in the catalogue's shares")
    stock.add_argument("--cases", type=Path, metavar="FILE", help="closed cases that move the rates, one JSON a line")
    stock.add_argument("--terms", type=Path, metavar="FILE", help=".csv: part, price, lead_days, pieces")
    for name, what in (
        ("calls-per-year", "calls for help a lift a year"),
        ("calls-counted", "from how many calls that was counted: fewer make it less sure"),
        ("price", "of a part that --terms does not name"),
        ("holding-percent", "of the price that a year on the shelf costs"),
        ("day-without", "what a day without the lift costs"),
    ):
        stock.add_argument(f"--{name}", type=float, metavar="X", help=what)
    add_pool_options(stock)
    stock.add_argument("--format", default="table", choices=(*FORMATS, "svg"), help="default: a table to read")
    stock.set_defaults(run=_stock)


def _stock(arguments: argparse.Namespace) -> int:
    import numpy as np

    from guidance.learning.closed_cases import check_cases, load_cases
    from guidance.stock.demand import Calls, jobs_of
    from guidance.stock.drawing import stock_svg
    from guidance.stock.levels import Costs
    from guidance.stock.plan import plan_of
    from guidance.stock.terms import Terms, load_terms

    given = {name: _positive(arguments, name) for name in ASSUMED}
    usual = Terms(given["price"], arguments.lead_days)
    catalogue = catalogue_of(arguments)
    terms = load_terms(arguments.terms, usual, catalogue) if arguments.terms else {}
    cases = load_cases(arguments.cases) if arguments.cases else []
    check_cases(cases, catalogue)
    counts, whose = _counts(arguments, catalogue)
    calls = Calls(given["calls_per_year"], given["calls_counted"])
    jobs = jobs_of(catalogue, cases, counts, calls, np.random.default_rng(arguments.seed))
    costs = Costs(given["holding_percent"] / 100, given["day_without"])
    plan = plan_of(jobs, catalogue, terms, usual, costs, arguments.service_level)
    notes = [whose, *_notes(arguments, catalogue, len(cases))]
    if arguments.format == "svg":
        print(stock_svg(plan, f"Spares for {catalogue.pool.title}"), end="")
        return 0
    rows = [_flat(row) for row in plan.rows]
    document = {"service": plan.service, "cost": plan.cost, "days_waited": plan.days_waited, "notes": notes}
    show(arguments.format, document | {"parts": rows}, rows, _lines(plan, notes))
    return 0


def _positive(arguments: argparse.Namespace, name: str) -> float:
    given = getattr(arguments, name)
    if given is not None and not 0 < given < float("inf"):
        raise InputError(f"--{name.replace('_', '-')} is {given:g}. A number above 0 is wanted.")
    return ASSUMED[name] if given is None else given


def _counts(arguments: argparse.Namespace, catalogue: Any) -> tuple[dict[str, Any], str]:
    """Counts of both components in drawn pools, (S, K), and a sentence on whose lifts they are."""
    import numpy as np

    from guidance.pool.counts import KEPT
    from guidance.pool.readings import printed_shares

    if arguments.pool:
        pool = counted(arguments, arguments.pool, arguments.lifts or 0)
        return {c: drawn.counts for c, drawn in pool.drawn.items()}, f"{pool.drawn['lowering'].lifts} lifts, counted."
    if arguments.calibration:
        raise InputError("--calibration goes with --pool, and no --pool came. Give the lifts, or leave it out.")
    lifts = 1000 if arguments.lifts is None else arguments.lifts
    if not 1 <= lifts <= MOST_OWNED:
        raise InputError(f"--lifts is {lifts}. From 1 to {MOST_OWNED} is wanted.")
    rng = np.random.default_rng(arguments.seed)
    counts = {c: rng.multinomial(lifts, printed_shares(c, catalogue), KEPT) for c in ("generation", "lowering")}
    return counts, f"{lifts} lifts in the shares that the catalogue prints; none was counted (--pool)."


def _notes(arguments: argparse.Namespace, catalogue: Any, cases: int) -> Iterator[str]:
    assumed = [
        f"{name.replace('_', ' ')} {value:g}" for name, value in ASSUMED.items() if getattr(arguments, name) is None
    ]
    if assumed:
        yield f"Assumed, since nobody gave it: {', '.join(assumed)}."
    yield f"{catalogue.fault_model.rates_note} {cases} closed cases moved them."


def _flat(row: Any) -> dict[str, Any]:
    """A row as it stands in a table: lists with spaces between, one spare more beside the rest."""
    flat = asdict(row)
    more = flat.pop("one_more")
    flat |= {name: " ".join(flat[name]) for name in ("ordered_with", "kept_with", "substitutes")}
    return flat | {f"one_more_{name}": value for name, value in more.items()}


def _lines(plan: Any, notes: list[str]) -> Iterator[str]:
    head = f"{'asked/year':>11}{'95 %':>14}{'keep':>6}{'at once':>9}{'days waited':>12}{'cost':>9}"
    yield f"{'part':<22}{head}{'one more saves':>16}"
    for row in plan.rows:
        span = f"{row.asked_low:.1f}–{row.asked_high:.1f}"
        told = f"{row.asked_a_year:>11.1f}{span:>14}{row.level:>6}{row.served:>9.1%}{row.days_waited:>12.2f}"
        more = f"{row.one_more.days_saved:.2f} d, {row.one_more.cost_more:+.2f}"
        yield f"{row.part:<22}{told}{row.cost:>9.2f}{more:>16}"
    yield f"\nEvery repair finds all its parts at once {plan.service:.1%} of the time or more."
    yield f"A year costs {plan.cost:.0f}; lifts wait {plan.days_waited:.1f} days for parts in all."
    yield from notes

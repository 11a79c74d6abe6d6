"""`hoistlore pool count|look|recall`: how many of what, which lifts to look at next, which a recall may concern."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from api.settings import Settings
from api.spreadsheet import as_csv
from classifier.errors import InputError

FORMATS = ("table", "csv", "json")
MOST_OWNED = 1_000_000


def add_pool_commands(commands: argparse._SubParsersAction) -> None:
    """Add `pool` to the command line."""
    pool = commands.add_parser("pool", help="count the lifts of a pool, plan looks at them, list them for a recall")
    actions = pool.add_subparsers(required=True, metavar="ACTION")
    count = actions.add_parser("count", help="how many of each generation and mechanism, corrected for misreading")
    count.add_argument("--pool-size", type=int, default=0, metavar="N", help="lifts owned, when not all are in FILE")
    count.set_defaults(run=_count)
    look = actions.add_parser("look", help="which lifts to look at next, until the answer to a question is sure")
    look.add_argument("--most", type=int, default=20, metavar="N", help="looks planned at most (default: 20)")
    look.set_defaults(run=_look)
    recall = actions.add_parser("recall", help="every lift that something may concern, at a risk of missing one")
    recall.add_argument("--risk", type=float, default=0.05, help="the most that may be risked (default: 0.05)")
    recall.add_argument("--each-lift", action="store_true", help="the risk is that of each lift concerned, not of all")
    recall.set_defaults(run=_recall)
    for action in (count, look, recall):
        action.add_argument(
            "file",
            type=Path,
            metavar="FILE",
            help="answers of `identify --each`, a .csv file, or lifts.parquet of an audit",
        )
        if action is not count:
            wanted = "generation=ID,… or lowering=ID,… or part=ID; several must all hold"
            action.add_argument("--of", action="append", default=[], metavar="KEY=ID", help=wanted)
        add_pool_options(action)
        action.add_argument("--format", default="table", choices=FORMATS, help="default: a table to read")


def add_pool_options(command: argparse.ArgumentParser) -> None:
    """What every command that counts a pool takes."""
    measured = "lifts that photos read and a person confirmed, as in FILE: they measure what is misread"
    command.add_argument("--calibration", type=Path, metavar="FILE", help=measured)
    command.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    command.add_argument("--seed", type=int, default=1, help="of the drawn pools; the same one gives the same figures")


@dataclass(frozen=True)
class Counted:
    """A pool as it was read and drawn; `measured`: confirmed cases of each component in the calibration file."""

    catalogue: Any
    lifts: list
    drawn: dict[str, Any]
    measured: dict[str, int]


def catalogue_of(arguments: argparse.Namespace) -> Any:
    """The catalogue that the command names, else that of the settings, else the demo pool's."""
    from guidance.catalogue.catalogue import DEMO_CATALOGUE, load

    settings = Settings.from_environment(os.environ, catalogue=arguments.catalogue)
    return load(Path(settings.catalogue) if settings.catalogue else DEMO_CATALOGUE)


def counted(arguments: argparse.Namespace, file: Path, pool_size: int = 0) -> Counted:
    """Read the pool and draw it, component by component."""
    import numpy as np

    from guidance.pool.counts import drawn_pools
    from guidance.pool.lifts import COMPONENTS, load_lifts
    from guidance.pool.readings import measured_readings, readings_of

    if arguments.seed < 0:
        raise InputError(f"--seed is {arguments.seed}. A whole number from 0 on is wanted.")
    catalogue = catalogue_of(arguments)
    lifts = load_lifts(file, catalogue)
    if pool_size and not len(lifts) <= pool_size <= MOST_OWNED:
        raise InputError(f"--pool-size is {pool_size}, and {len(lifts)} lifts came. Give how many are owned in all.")
    calibration = load_lifts(arguments.calibration, catalogue) if arguments.calibration else []
    drawn, measured = {}, {}
    for component in COMPONENTS:
        elsewhere = measured_readings(calibration, component, catalogue)
        readings = readings_of(lifts, component, catalogue)
        drawn[component] = drawn_pools(readings, elsewhere, np.random.default_rng(arguments.seed), pool_size)
        measured[component] = int((elsewhere.confusion() + readings.confusion()).sum())
    if calibration and not any(measured_readings(calibration, c, catalogue).known.size for c in COMPONENTS):
        raise InputError(
            f"--calibration {arguments.calibration}: no lift there was both read and confirmed. "
            "Give lifts that photos read and that were then confirmed by a person."
        )
    return Counted(catalogue, lifts, drawn, measured)


def _count(arguments: argparse.Namespace) -> int:
    from guidance.pool.counts import counts_of

    pool = counted(arguments, arguments.file, arguments.pool_size)
    rows = [row for component, drawn in pool.drawn.items() for row in counts_of(drawn, component)]
    document = {"lifts": len(pool.lifts), "measured": pool.measured, "counts": [asdict(row) for row in rows]}
    show(arguments.format, document, document["counts"], _count_lines(pool, rows))
    return 0


def _count_lines(pool: Counted, rows: Sequence) -> Iterator[str]:
    yield f"{len(pool.lifts)} lifts, catalogue {pool.catalogue.pool.id} {pool.catalogue.pool.version}"
    component = ""
    for row in rows:
        if row.component != component:
            component = row.component
            head = f"{'confirmed':>10}{'favourite':>10}{'expected':>10}{'95 % interval':>16}{'share':>8}"
            yield f"\n{component:<18}{head}"
        span = f"{row.low} to {row.high}"
        told = f"{row.confirmed:>10}{row.favourites:>10}{row.expected:>10.1f}{span:>16}{row.share[0]:>8.1%}"
        yield f"{row.value:<18}{told}"
    yield ""
    yield from _assumed(pool)


def _assumed(pool: Counted) -> Iterator[str]:
    from guidance.pool.counts import BELIEVED

    for component, cases in pool.measured.items():
        yield f"Misreading of {component}: measured on {cases} confirmed lifts."
    yield f"Where fewer than {BELIEVED:.0f} of a class were measured, its probabilities are believed for the rest."
    yield "Holds as far as these lifts are read like the measured ones, whatever their mix."


def _asked(arguments: argparse.Namespace) -> tuple[Counted, Any, Any]:
    from guidance.pool.questions import probabilities_of, question

    asked = question(arguments.of, catalogue_of(arguments))
    pool = counted(arguments, arguments.file)
    return pool, asked, probabilities_of(asked, pool.drawn)


def _look(arguments: argparse.Namespace) -> int:
    from guidance.pool.visits import looks_for

    if arguments.most < 1:
        raise InputError(f"--most is {arguments.most}. At least one look has to be planned.")
    pool, _, probabilities = _asked(arguments)
    plan = looks_for(probabilities, [lift.minutes for lift in pool.lifts], arguments.most)
    rows = [asdict(look) | {"lift": pool.lifts[look.lift].lift} for look in plan.visits]
    document = {"expected": plan.expected, "deviation": plan.deviation, "looks": rows}
    show(arguments.format, document, rows, _look_lines(plan.expected, plan.deviation, rows))
    return 0


def _look_lines(expected: float, deviation: float, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    yield f"Now: {expected:.1f} lifts, give or take {deviation:.1f} (one standard deviation)."
    if not rows:
        yield "No lift is in doubt; no look would change that."
        return
    yield f"\n{'':>3} {'look at':<30}{'is one':>8}{'minutes':>9}{'then ±':>9}"
    for number, row in enumerate(rows, 1):
        told = f"{row['probability']:>8.1%}{row['minutes']:>9.1f}{row['deviation_after']:>9.2f}"
        yield f"{number:>3} {row['lift']:<30}{told}"
    yield f"\n{sum(row['minutes'] for row in rows):.0f} minutes in all. In this order a minute takes off most doubt."


def _recall(arguments: argparse.Namespace) -> int:
    from guidance.pool.questions import recall_list

    pool, asked, probabilities = _asked(arguments)
    each = probabilities.mean(axis=0)
    named = recall_list(asked, pool.lifts, probabilities, arguments.risk, arguments.each_lift)
    rows = [{"lift": pool.lifts[i].lift, "probability": float(each[i])} for i in named]
    left = float(each.sum() - each[named].sum())
    expected = float(each.sum())
    document = {
        "risk": arguments.risk,
        "expected": expected,
        "left_out": len(each) - len(rows),
        "missed_expected": left,
        "lifts": rows,
    }
    show(arguments.format, document, rows, _recall_lines(document))
    return 0


def _recall_lines(document: dict[str, Any]) -> Iterator[str]:
    for row in document["lifts"]:
        yield f"{row['lift']:<40}{row['probability']:>9.2%}"
    missed = document["missed_expected"]
    yield f"{len(document['lifts'])} lifts named, {document['left_out']} left out."
    yield f"Concerned are {document['expected']:.1f} to be expected, {missed:.2g} of them among those left out:"
    yield f"one or more with a probability of {missed:.2g} at most, if the probabilities are right."
    yield "Confirmed lifts are what proves them (--calibration)."


def show(form: str, document: dict[str, Any], rows: Sequence[dict[str, Any]], lines: Iterator[str]) -> None:
    """Print a result as JSON, as CSV or as lines to read."""
    if form == "json":
        print(json.dumps(document, ensure_ascii=False, indent=2))
    elif form == "csv":
        print(as_csv(rows), end="")
    else:
        print("\n".join(lines))

"""`hoistlore monitor`: how right answers were here, and the way back after an alarm, for who keeps the server."""

import argparse
import json
import os
import sys

from api.settings import Settings


def add_monitor_command(commands: argparse._SubParsersAction) -> None:
    """Add it to the command line."""
    monitor = commands.add_parser(
        "monitor",
        help="how right answers were here, by what technicians found",
        description="Answers and readings of closed cases against what technicians found, with 95 % intervals.",
    )
    monitor.add_argument("--json", action="store_true", help="print the whole report as one JSON document")
    monitor.add_argument(
        "--confirm-again", choices=("control_box", "actuator"), help="after an alarm: let this be confirmed again"
    )
    monitor.add_argument("--reason", default="", metavar="TEXT", help="why; it goes into the audit log")
    monitor.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    monitor.set_defaults(run=_monitor)


def _monitor(arguments: argparse.Namespace) -> int:
    from pathlib import Path

    from api.cases.store import CaseStore, Who
    from api.monitor.held_back import confirm_again
    from api.monitor.report import report
    from api.monitor.watching import look
    from guidance.catalogue.catalogue import DEMO_CATALOGUE, load

    settings = Settings.from_environment(os.environ, catalogue=arguments.catalogue)
    store = CaseStore.open(settings.database)
    if arguments.confirm_again:
        confirm_again(store, arguments.confirm_again, arguments.reason, Who("administrator", "command line"))
        print(f"confirmed again: {arguments.confirm_again}", file=sys.stderr)
        return 0
    look(store, load(Path(settings.catalogue) if settings.catalogue else DEMO_CATALOGUE))
    found = report(store)
    print(json.dumps(found.as_dict(), indent=2) if arguments.json else "\n".join(told(found)))
    return 0


def told(found) -> list[str]:
    """The report as lines for a terminal."""
    all_ = found.figures
    lines = [
        f"{all_.cases} closed cases; a technician checked what was shown in {all_.checked_cases}. Only these count."
    ]
    for name, held in found.held_back.items():
        lines += [f"NOTHING IS CONFIRMED of the {name}: {held.wrong} of {held.answers} checked answers were wrong."]
    for name in found.watch:
        lines.append(f"{name}: confirmed and wrong, since the alarm was last set back: {found.proven(name)}")
    lines += [
        "",
        f"{'about':<16} {'shown as':<12} {'how often':>9}  {'right of those checked':<30} all unchecked wrong/right",
    ]
    for line in all_.verdicts:
        bounds = f"{line.least:.1%} / {line.most:.1%}" if line.right.n else ""
        lines.append(f"{line.about:<16} {line.verdict:<12} {line.shown:>9}  {line.right!s:<30} {bounds}")
    lines += ["", "month    about            confirmed  wrong of those checked"]
    lines += [f"{row.month}  {row.about:<16} {row.shown:>9}  {row.wrong}" for row in all_.months]
    lines += ["", "month    about            sure       wrong of those checked"] if all_.reading_months else []
    lines += [f"{row.month}  {row.about:<16} {row.shown:>9}  {row.wrong}" for row in all_.reading_months]
    for name, bins in (("answers", all_.answers_as_stated), ("readings", all_.readings_as_stated)):
        lines += ["", f"{name} stated as  in the mean  right of those checked"] if bins else []
        lines += [f"{row.low:.2f} to {row.high:.2f}  {row.stated:>10.3f}  {row.right}" for row in bins]
    lines += [
        "",
        f"confirmed answers corrected: {all_.confirmed_corrected}",
        f"cases with a part that came back: {all_.came_back}",
        f"cases with a technician on more than one day: {all_.second_visit}",
        f"cases whose photos showed nothing of a lift: {all_.nothing_found}",
    ]
    lines += [
        f"{row.about}: {row.truth or 'something else'} taken for {row.value}: {row.times}" for row in all_.confusions
    ]
    for lift in found.confusing:
        wrong = ", ".join(f"{one.about} {one.value} ({one.truth or 'something else'})" for one in lift.mistakes)
        lines.append(f"{lift.month} {f'case {lift.code}' if lift.code else 'a deleted case'}: {wrong}")
    return lines

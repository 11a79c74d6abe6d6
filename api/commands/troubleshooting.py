"""The command line's words for troubleshooting; what a command needs is loaded when it runs."""

import argparse
from pathlib import Path

ROLES = ("caregiver", "agent", "technician")


def add_commands(commands: argparse._SubParsersAction) -> None:
    """Add `triage`, `parts` and `catalogue` to the command line."""
    _add_triage(commands)
    _add_parts(commands)
    _add_catalogue(commands)


def _add_triage(commands: argparse._SubParsersAction) -> None:
    triage = commands.add_parser(
        "triage",
        help="find the fault of a lift, one question at a time",
        description="One question at a time. b goes back, s skips, ? means that you don't know, q quits.",
    )
    triage.add_argument("--role", default="caregiver", choices=ROLES, help="who is at the lift or on the telephone")
    triage.add_argument("--record", type=Path, metavar="FILE", help="keep what is said there; resumes when it exists")
    triage.add_argument("--identification", type=Path, metavar="FILE", help="answer of `hoistlore identify --json`")
    triage.add_argument("--cases", type=Path, metavar="FILE", help="closed cases that move the rates, one JSON a line")
    triage.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    triage.set_defaults(run=_triage)


def _add_parts(commands: argparse._SubParsersAction) -> None:
    parts = commands.add_parser(
        "parts",
        help="which spare part fits",
        description="Names the part for a fault or a component, or says what must be confirmed first (status 3).",
    )
    parts.add_argument("--fault", required=True, metavar="ID", help="a fault or a component of the catalogue")
    parts.add_argument("--generation", metavar="ID", help="the confirmed control box")
    parts.add_argument("--lowering", metavar="ID", help="the actuator's confirmed lowering mechanism")
    parts.add_argument("--role", default="technician", choices=ROLES[1:], help="who orders")
    parts.add_argument("--format", default="sheet", choices=("sheet", "json", "csv"), help="default: a sheet to print")
    parts.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    parts.set_defaults(run=_parts)


def _add_catalogue(commands: argparse._SubParsersAction) -> None:
    catalogue = commands.add_parser("catalogue", help="begin, prove, draw or teach a catalogue")
    actions = catalogue.add_subparsers(required=True, metavar="ACTION")
    new = actions.add_parser("new", help="begin a catalogue of your own: files with comments that pass the check")
    new.add_argument("folder", type=Path, metavar="DIR", help="a new or an empty folder")
    new.set_defaults(run=_new)
    schema = actions.add_parser("schema", help="print the JSON Schema by which an editor checks while you type")
    schema.set_defaults(run=_schema)
    check = actions.add_parser("check", help="prove that a catalogue holds together, or name what is wrong")
    check.add_argument("file", metavar="FILE", help="a .toml file or a directory of them")
    check.set_defaults(run=_check)
    show = actions.add_parser("show", help="draw the fault network as SVG")
    show.add_argument("--generation", metavar="ID", help="only the faults that this one can have")
    show.add_argument("--out", type=Path, metavar="FILE", help="write there instead of to standard output")
    show.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    show.set_defaults(run=_show)
    learn = actions.add_parser("learn", help="show what closed cases make of the rates")
    wanted = "confirmed faults, one JSON a line, as `hoistlore cases closed` prints them"
    learn.add_argument("cases", type=Path, metavar="CASES", help=wanted)
    learn.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    learn.set_defaults(run=_learn)


def _triage(arguments: argparse.Namespace) -> int:
    from api.commands.triage import run

    return run(arguments)


def _parts(arguments: argparse.Namespace) -> int:
    from api.commands.parts import run

    return run(arguments)


def _new(arguments: argparse.Namespace) -> int:
    from api.commands.catalogue import new

    return new(arguments)


def _schema(arguments: argparse.Namespace) -> int:
    from api.commands.catalogue import schema

    return schema(arguments)


def _check(arguments: argparse.Namespace) -> int:
    from api.commands.catalogue import check

    return check(arguments)


def _show(arguments: argparse.Namespace) -> int:
    from api.commands.catalogue import show

    return show(arguments)


def _learn(arguments: argparse.Namespace) -> int:
    from api.commands.catalogue import learn

    return learn(arguments)

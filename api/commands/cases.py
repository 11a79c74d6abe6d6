"""`hoistlore cases` and `hoistlore messages`: the words of the command line, and what they do."""

import argparse
import json
import os
import sys
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from api.settings import Settings
from classifier.errors import InputError

MOST_LISTED = 200


def add_case_commands(commands: argparse._SubParsersAction) -> None:
    """Add both to the command line."""
    cases = commands.add_parser("cases", help="list, export or delete cases; delete what is over")
    does = cases.add_subparsers(required=True, metavar="WHAT")
    listed = does.add_parser("list", help=f"everyone who is up, then the {MOST_LISTED} cases that changed last")
    listed.set_defaults(run=_list)
    closed = does.add_parser("closed", help="confirmed faults, one JSON a line, for `catalogue learn` and `triage`")
    closed.set_defaults(run=_closed)
    for name, run, help_ in (
        ("export", _export, "print everything that is kept of one case as JSON"),
        ("delete", _delete, "delete one case with its photos; a line in the audit log stays"),
    ):
        one = does.add_parser(name, help=help_)
        one.add_argument("case", metavar="CODE", help="the code or the id of the case")
        one.set_defaults(run=run)
    expired = does.add_parser(
        "expire", help="delete the pictures and cases whose time is over; the server does it hourly"
    )
    expired.set_defaults(run=_expire)
    messages = commands.add_parser(
        "messages",
        help="add to a language's file what it lacks; a new file is a new language",
        description="Writes every message of the pages into FILE.po, keeping the translations it has.",
    )
    messages.add_argument("file", type=Path, metavar="FILE", help="for example api/pages/locales/fr.po")
    messages.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    messages.set_defaults(run=_messages)


def _list(arguments: argparse.Namespace) -> int:
    for row in _cases().listed(MOST_LISTED):
        changed = datetime.fromtimestamp(row["changed_ms"] / 1000, UTC)
        up = "  SOMEBODY IS UP" if row["up_since_ms"] else ""
        words = f"{changed:%Y-%m-%d %H:%M} UTC  {row['version']} events  {row['language']}{up}"
        print(f"{row['code']}  {row['id']}  {words}")
    return 0


def _closed(arguments: argparse.Namespace) -> int:
    from api.cases.learning import closed_cases

    for case in closed_cases(_cases()):
        print(json.dumps(asdict(case)))
    return 0


def _export(arguments: argparse.Namespace) -> int:
    from api.cases.export import export_case

    store = _cases()
    print(json.dumps(export_case(store, _case_id(store, arguments.case), operator()), ensure_ascii=False, indent=2))
    return 0


def _delete(arguments: argparse.Namespace) -> int:
    from api.cases.learned.consent import delete_case
    from api.servers.shelf import shelf_of

    store, settings = case_store()
    case_id = _case_id(store, arguments.case)
    gone = delete_case(store, shelf_of(store.engine), case_id, operator(), Path(settings.weights))
    print(f"deleted: {arguments.case}", file=sys.stderr)
    for version, origins in gone.models.items():
        print(f"the model {version} learned from {len(origins)} of its photos: teach it anew without them")
    return 0


def _expire(arguments: argparse.Namespace) -> int:
    from api.cases.expiry import delete_expired

    deleted = delete_expired(_cases(), Settings.from_environment(os.environ).case_days)
    print(f"deleted: {deleted.pictures} pictures, {deleted.cases} cases")
    return 0


def _messages(arguments: argparse.Namespace) -> int:
    from api.commands.messages import update_language
    from guidance.catalogue.catalogue import DEMO_CATALOGUE, load

    settings = Settings.from_environment(os.environ, catalogue=arguments.catalogue)
    catalogue = load(Path(settings.catalogue) if settings.catalogue else DEMO_CATALOGUE)
    try:
        count, empty = update_language(arguments.file, catalogue)
    except (OSError, ValueError) as error:
        raise InputError(f"{arguments.file}: {error}. Name a file such as fr.po in a folder to write to.") from error
    print(f"{arguments.file}: {count} messages, {empty} without a translation")
    return 0


def case_store():
    """The store of this installation, and its settings."""
    from api.cases.store import CaseStore  # the database is loaded by the command that needs it alone

    settings = Settings.from_environment(os.environ)
    return CaseStore.open(settings.database), settings


def _cases():
    return case_store()[0]


def _case_id(store, came: str) -> str:
    from api.cases.store import NoSuchCase

    for find in (store.by_code, store.by_id):
        try:
            return find(came).id
        except NoSuchCase:
            continue
    raise InputError(f"No case has the code or id {came!r}. `hoistlore cases list` shows those there are.")


def operator():
    """Who works with the command line."""
    from api.cases.store import Who

    return Who("administrator", "command line")

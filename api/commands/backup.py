"""`hoistlore backup`, `restore` and `upgrade`: the words of the command line, and what they do."""

import argparse
import os
import sys
from pathlib import Path

from api.settings import Settings


def add_backup_commands(commands: argparse._SubParsersAction) -> None:
    """Add them to the command line."""
    backup = commands.add_parser("backup", help="write the SQLite database to one file, while the server runs")
    backup.add_argument("file", type=Path, metavar="FILE", help="a new file; it is never overwritten")
    backup.set_defaults(run=_backup)
    restore = commands.add_parser("restore", help="put a backup in the place of the SQLite database")
    restore.add_argument("file", type=Path, metavar="FILE", help="as `hoistlore backup` wrote it")
    restore.add_argument("--replace", action="store_true", help="also where there is a database already")
    restore.set_defaults(run=_restore)
    upgrade = commands.add_parser("upgrade", help="bring the database up to date; SQLite is backed up before")
    upgrade.add_argument("--backup", type=Path, metavar="FILE", help="where to; else beside the database")
    upgrade.set_defaults(run=_upgrade)


def _backup(arguments: argparse.Namespace) -> int:
    from api.cases.backup import back_up  # the database is loaded by the command that needs it alone

    size = back_up(_database(), arguments.file)
    print(f"written: {arguments.file}, {size / 2**20:.1f} MiB", file=sys.stderr)
    return 0


def _restore(arguments: argparse.Namespace) -> int:
    from api.cases.backup import restore

    version, photos = restore(_database(), arguments.file, arguments.replace)
    print(f"restored: {arguments.file}, version {version}", file=sys.stderr)
    if photos:
        print(f"without {photos} photos: that they are learned from was taken back since", file=sys.stderr)
    return 0


def _upgrade(arguments: argparse.Namespace) -> int:
    from api.cases.backup import back_up
    from api.cases.database import open_database, versions

    before, newest = versions(_database())
    if before == newest:
        print(f"The database is at version {newest}, which is the newest. Nothing was changed.", file=sys.stderr)
        return 0
    if before is not None and _database().startswith("sqlite"):
        target = arguments.backup or Path(f"{_database().removeprefix('sqlite:///')}.before-{newest}")
        back_up(_database(), target)
        print(f"written: {target}", file=sys.stderr)
    open_database(_database()).dispose()
    print(f"upgraded: from version {before or 'none'} to {newest}", file=sys.stderr)
    return 0


def _database() -> str:
    return Settings.from_environment(os.environ).database

"""`hoistlore audit SOURCE --out DIR`: many photos of many lifts, read on this machine or on a cluster."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from api.settings import Settings
from classifier.errors import InputError, SettingsError

STOPPED = 130
"""Exit status after Ctrl-C, as shells give it (128 and the signal's number)."""


def add_audit_command(commands: argparse._SubParsersAction) -> None:
    """Add `audit` to the command line."""
    audit = commands.add_parser(
        "audit",
        help="what each lift of a pool is, from a heap of photos",
        description="Reads photos of many lifts, writes tables and a page. Interrupted, the same command goes on.",
    )
    audit.add_argument(
        "source",
        metavar="SOURCE",
        help="folder, .csv or .parquet with a column photo (and lift), or s3://BUCKET/FOLDER",
    )
    audit.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the result")
    audit.add_argument(
        "--group-by",
        default="folder",
        metavar="WAYS",
        help="which photos are of one lift, in this order: folder, label (a code in the picture), time (allows reading "
        "time and place in the files); default: folder",
    )
    audit.add_argument("--workers", type=int, metavar="N", help="processes; default: one a processor core")
    audit.add_argument("--ray", metavar="ADDRESS", help="on a Ray cluster: its address, auto, or local")
    audit.add_argument("--language", default="en", metavar="TAG", help="of the page (default: en)")
    audit.add_argument("--catalogue", metavar="FILE", help="the catalogue of your own pool")
    audit.set_defaults(run=_audit)


def _audit(arguments: argparse.Namespace) -> int:
    try:
        from api.audit.run import Asked, audit
    except ModuleNotFoundError as missing:
        raise SettingsError(
            f"`hoistlore audit` wants the extra `audit` installed ({missing.name} is missing)."
        ) from None

    if arguments.workers is not None and arguments.workers < 1:
        raise InputError(f"--workers is {arguments.workers}. A whole number from 1 on is wanted.")
    settings = Settings.from_environment(os.environ, catalogue=arguments.catalogue)
    asked = Asked(
        arguments.source, arguments.out, arguments.group_by, arguments.workers, arguments.ray, arguments.language
    )
    try:
        counts = audit(asked, settings, sys.stderr)
    except KeyboardInterrupt:
        print("hoistlore: stopped. The same command goes on from here.", file=sys.stderr)
        return STOPPED
    print(f"{counts['lifts']} lifts, {counts['photos']} photos, {counts['bad']} of them cannot be used: {asked.out}")
    return 0

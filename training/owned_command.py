"""The commands of who has photos of their own: add them, learn from them, go back, and measure anybody's set."""

import argparse
import sys
from pathlib import Path

from classifier.errors import ModelError
from classifier.identify import WEIGHTS_DIR
from classifier.model import Model
from guidance.catalogue import DEMO_CATALOGUE, load
from training.manifest import DatasetError
from training.owned_photos import add_photos
from training.owned_photos_labels import OwnedPhotoError, read_labels
from training.owned_photos_proposals import proposals_of

STORE = Path("owned_photos")


def main(arguments: list[str]) -> None:
    """Run one of `OWNER_COMMANDS`; exit status 2 with every problem on a line of its own."""
    options = _parser().parse_args(arguments)
    try:
        options.run(options)
    except (OwnedPhotoError, DatasetError, ModelError) as problem:
        for line in str(problem).splitlines():
            print(f"python -m training {options.command}: {line}", file=sys.stderr)
        raise SystemExit(2) from None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m training", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    add = commands.add_parser("add-photos", help="keep photos to learn from, on this machine only")
    add.set_defaults(run=_add_photos)
    add.add_argument("folder", type=Path, metavar="DIR", help="LABEL/photo, LABEL/LIFT/photo, or photos with labels")
    add.add_argument("--labels", type=Path, help="a CSV or a COCO JSON file (default: the one in DIR, else folders)")
    add.add_argument("--store", type=Path, default=STORE, help="where they are kept (default: %(default)s)")
    add.add_argument("--consent", default="", help="who agreed to this use; for rows that do not say")
    add.add_argument("--source", default="", help="who took the photos; for rows that do not say")
    for command in (add,):
        command.add_argument("--catalogue", type=Path, default=DEMO_CATALOGUE, help="whose generations are labels")
        command.add_argument("--weights", type=Path, default=WEIGHTS_DIR, help="the model in use (default: installed)")
    return parser


def _add_photos(options: argparse.Namespace) -> None:
    catalogue, model = load(options.catalogue), Model.load(options.weights)
    photos, remarks = read_labels(options.folder, options.labels, catalogue, options.consent, options.source)
    added = add_photos(photos, options.store, proposals_of(model))
    for line in added.refused:
        print(f"left out: {line}", file=sys.stderr)
    for line in [*remarks, *added.remarks]:
        print(f"note: {line}")
    splits = [entry["style"] for entry in added.stored]
    counts = ", ".join(f"{splits.count(split)} {split}" for split in ("train", "calibration", "heldout"))
    print(f"{len(added.stored)} photos added to {options.store} ({counts}), {len(added.refused)} left out")


OWNER_COMMANDS = ("add-photos",)

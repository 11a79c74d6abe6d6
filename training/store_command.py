"""The commands that keep an owner's photos and go back to a model before; none of them needs torch."""

import argparse
import sys
from pathlib import Path

from classifier.errors import CatalogueError, ModelError
from classifier.identify import WEIGHTS_DIR
from classifier.model import Model
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from training.data.manifest import DatasetError
from training.owned.forget import WITHDRAWN_FILE, Forgotten, drop_lost, forget, origins_named
from training.owned.labels import OwnedPhotoError, read_labels
from training.owned.photos import STORE, add_photos
from training.owned.promote import PromotionError, roll_back
from training.owned.proposals import proposals_of
from training.refusals import run_command

STORE_COMMANDS = ("add-photos", "forget", "roll-back")
REFUSALS = (OwnedPhotoError, DatasetError, ModelError, CatalogueError, PromotionError, OSError)


def main(arguments: list[str]) -> None:
    """Run one of `STORE_COMMANDS`; exit status 2 with every problem on a line of its own."""
    run_command(parser(), arguments, REFUSALS)


def parser() -> argparse.ArgumentParser:
    """The commands, each with its own options."""
    whole = argparse.ArgumentParser(prog="python -m training", description=__doc__)
    commands = whole.add_subparsers(dest="command", required=True)
    add = commands.add_parser("add-photos", help="keep photos to learn from, on this machine only")
    add.set_defaults(run=_add_photos)
    add.add_argument("folder", type=Path, metavar="DIR", help="LABEL/photo, LABEL/LIFT/photo, or photos with labels")
    add.add_argument("--labels", type=Path, help="a CSV or a COCO JSON file (default: the one in DIR, else folders)")
    add.add_argument("--store", type=Path, default=STORE, help="where they are kept (default: %(default)s)")
    add.add_argument("--consent", default="", help="who agreed to this use; for rows that do not say")
    add.add_argument("--source", default="", help="who took the photos; for rows that do not say")
    _forget_options(commands)
    back = commands.add_parser("roll-back", help="use the model before the present one again")
    back.set_defaults(run=_roll_back)
    back.add_argument("--by", default="", help="who decides; stands in the list of `models`")
    for command in commands.choices.values():
        command.add_argument("--catalogue", type=Path, default=DEMO_CATALOGUE, help="whose generations are labels")
        command.add_argument("--weights", type=Path, default=WEIGHTS_DIR, help="the model in use (default: installed)")
    return whole


def _forget_options(commands: argparse._SubParsersAction) -> None:
    gone = commands.add_parser("forget", help="take withdrawn photos out of the store; name the models they taught")
    gone.set_defaults(run=_forget)
    gone.add_argument("withdrawn", nargs="*", metavar="WITHDRAWN", help=f"origins, a {WITHDRAWN_FILE}, or its folder")
    gone.add_argument("--lost", action="store_true", help="instead, the lines whose picture is gone from the store")
    gone.add_argument("--store", type=Path, default=STORE, help="where they are kept (default: %(default)s)")


def _forget(options: argparse.Namespace) -> None:
    if options.lost == bool(options.withdrawn):
        raise OwnedPhotoError(["name what was withdrawn, or --lost, and not both"])
    if options.lost:
        print(f"{drop_lost(options.store)} lines without a picture taken out of {options.store}")
        return
    _tell_forgotten(forget(origins_named(options.withdrawn), options.store, options.weights), options.store)


def _tell_forgotten(gone: Forgotten, store: Path) -> None:
    print(f"{len(gone.photos)} withdrawn photos deleted from {store}")
    for version, photos in gone.models.items():
        print(f"the model {version} learned from {len(photos)} withdrawn photos: teach it anew without them")


def _add_photos(options: argparse.Namespace) -> None:
    if (options.folder / WITHDRAWN_FILE).is_file():
        gone = forget(origins_named([str(options.folder)]), options.store, options.weights)
        _tell_forgotten(gone, options.store)
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
    if added.known or added.changed:
        print(f"{len(added.changed)} photos that were there have a new label or lift, {added.known} are as they were")


def _roll_back(options: argparse.Namespace) -> None:
    version = roll_back(options.weights, options.by)
    print(f"the model {version} is in use again in {options.weights}; servers take it within seconds")

"""The commands of who has photos of their own: add them, learn from them, go back, and measure anybody's set."""

import argparse
import sys
import tempfile
from pathlib import Path

import torch

from classifier.errors import CatalogueError, ModelError
from classifier.identify import WEIGHTS_DIR
from classifier.model import Model
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from training.data.manifest import DatasetError
from training.loop.train import TrainingError
from training.nets.checkpoint import CheckpointError
from training.nets.export import ExportError
from training.owned.finetune import SCHEDULES, Sources, finetune
from training.owned.labels import OwnedPhotoError, read_labels
from training.owned.photos import add_photos
from training.owned.promote import PromotionError, roll_back
from training.owned.proposals import proposals_of
from training.report.report import write_report
from training.report.sets import own_set, sets_of

STORE = Path("owned_photos")


def main(arguments: list[str]) -> None:
    """Run one of `OWNER_COMMANDS`; exit status 2 with every problem on a line of its own."""
    options = _parser().parse_args(arguments)
    try:
        options.run(options)
    except (
        OwnedPhotoError,
        DatasetError,
        ModelError,
        CatalogueError,
        CheckpointError,
        ExportError,
        TrainingError,
        PromotionError,
        OSError,  # a disk that is full or may not be written to
    ) as problem:
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
    tune = commands.add_parser("finetune", help="learn from the kept photos; a worse model is not used")
    tune.set_defaults(run=_finetune)
    tune.add_argument("--store", type=Path, default=STORE, help="the kept photos (default: %(default)s)")
    tune.add_argument("--data", type=Path, action="append", required=True, help="renders of style train; repeatable")
    tune.add_argument(
        "--calibration", type=Path, action="append", help="renders of style calibration (default: --data)"
    )
    tune.add_argument("--heldout", type=Path, action="append", help="renders of style heldout, compared as well")
    tune.add_argument("--out", type=Path, required=True, help="the run; a stopped one goes on from here")
    tune.add_argument("--preset", choices=tuple(SCHEDULES), default="full")
    tune.add_argument("--seed", type=int, default=1)
    tune.add_argument("--device", default="cuda:0" if torch.cuda.is_available() else "cpu")
    tune.add_argument("--workers", type=int, default=2, help="processes that measure (default: %(default)s)")
    back = commands.add_parser("roll-back", help="use the model before the present one again")
    back.set_defaults(run=_roll_back)
    told = commands.add_parser("report", help="measure a model and write one HTML page")
    told.set_defaults(run=_report)
    told.add_argument("--data", type=Path, action="append", default=[], help="renders or stand-ins; repeatable")
    told.add_argument("--photos", type=Path, help="photos of one's own; nothing of them is kept but the page")
    told.add_argument("--labels", type=Path, help="their labels, CSV or COCO JSON (default: the one there, or folders)")
    told.add_argument("--out", type=Path, required=True, help="the page; its figures go beside it as .json")
    told.add_argument("--workers", type=int, default=2, help="processes that measure (default: %(default)s)")
    for command in (add, tune, back, told):
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


def _finetune(options: argparse.Namespace) -> None:
    sources = Sources(
        store=options.store,
        renders=tuple(options.data),
        calibration=tuple(options.calibration or options.data),
        heldout=tuple(options.heldout or ()),
        served=options.weights,
        out=options.out,
    )
    comparison = finetune(
        sources, options.preset, options.seed, options.device, options.workers, load(options.catalogue)
    )
    print(comparison.as_text())
    if comparison.reasons_against:
        print(f"kept the old model {comparison.old_version}, because:")
        print("\n".join(f"  {reason}" for reason in comparison.reasons_against))
    else:
        print(f"the new model {comparison.new_version} is in use in {options.weights}; start servers again")
        print(f"to go back: python -m training roll-back --weights {options.weights}")


def _roll_back(options: argparse.Namespace) -> None:
    print(f"the model {roll_back(options.weights)} is in use again in {options.weights}; start servers again")


def _report(options: argparse.Namespace) -> None:
    catalogue = load(options.catalogue)
    with tempfile.TemporaryDirectory(prefix="hoistlore-") as passing:
        sets = sets_of(options.data)
        if options.photos:
            sets.append(own_set(options.photos, options.labels, catalogue, options.weights, Path(passing)))
        if not sets:
            raise DatasetError("nothing to measure: name renders with --data, or photos with --photos")
        given = [f"--data {folder}" for folder in options.data] + ["--photos …"] * bool(options.photos)
        command = f"python -m training report {' '.join(given)}"
        write_report(options.out, options.weights, sets, catalogue, options.workers, command)
    print(f"{options.out}: {', '.join(f'{s.name} (n = {len(s.records)})' for s in sets)}")


OWNER_COMMANDS = ("add-photos", "finetune", "roll-back", "report")

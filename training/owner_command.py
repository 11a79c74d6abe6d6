"""The commands of who has photos of their own: add them, learn from them, go back, and measure anybody's set."""

import argparse
import sys
import tempfile
from pathlib import Path

import torch

from classifier.errors import CatalogueError, ModelError
from classifier.identify import WEIGHTS_DIR
from classifier.model import Model
from experiments.runs import RUNS_FILE, RunsError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from training.card.entry import EntryError
from training.data.manifest import DatasetError
from training.loop.train import TrainingError
from training.nets.checkpoint import CheckpointError
from training.nets.export import ExportError, git_revision
from training.owned.finetune import SCHEDULES, Sources, finetune
from training.owned.forget import WITHDRAWN_FILE, Forgotten, drop_lost, forget, origins_named
from training.owned.labels import OwnedPhotoError, read_labels
from training.owned.photos import add_photos
from training.owned.promote import SHADOW, PromotionError, roll_back
from training.owned.proposals import proposals_of
from training.report.report import write_report
from training.report.sets import own_set, sets_of
from training.rounds.entry import Measured, record_round
from training.rounds.measured import LABELS, measure_round, read_round, round_metrics
from workers.dispatch import WorkersError

STORE = Path("owned_photos")


def main(arguments: list[str]) -> None:
    """Run one of `OWNER_COMMANDS`; exit status 2 with every problem on a line of its own."""
    options = parser().parse_args(arguments)
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
        EntryError,
        RunsError,
        WorkersError,
        OSError,  # a disk that is full or may not be written to
    ) as problem:
        for line in str(problem).splitlines():
            print(f"python -m training {options.command}: {line}", file=sys.stderr)
        raise SystemExit(2) from None


def parser() -> argparse.ArgumentParser:
    """The commands for owners of photos, each with its own options."""
    whole = argparse.ArgumentParser(prog="python -m training", description=__doc__)
    commands = whole.add_subparsers(dest="command", required=True)
    add = commands.add_parser("add-photos", help="keep photos to learn from, on this machine only")
    add.set_defaults(run=_add_photos)
    add.add_argument("folder", type=Path, metavar="DIR", help="LABEL/photo, LABEL/LIFT/photo, or photos with labels")
    add.add_argument("--labels", type=Path, help="a CSV or a COCO JSON file (default: the one in DIR, else folders)")
    add.add_argument("--store", type=Path, default=STORE, help="where they are kept (default: %(default)s)")
    add.add_argument("--consent", default="", help="who agreed to this use; for rows that do not say")
    add.add_argument("--source", default="", help="who took the photos; for rows that do not say")
    _add_forget(commands)
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
    back.add_argument("--by", default="", help="who decides; stands in the list of `models`")
    told = commands.add_parser("report", help="measure a model and write one HTML page")
    told.set_defaults(run=_report)
    told.add_argument("--data", type=Path, action="append", default=[], help="renders or stand-ins; repeatable")
    told.add_argument("--photos", type=Path, help="photos of one's own; nothing of them is kept but the page")
    told.add_argument("--labels", type=Path, help="their labels, CSV or COCO JSON (default: the one there, or folders)")
    told.add_argument("--out", type=Path, required=True, help="the page; its figures go beside it as .json")
    told.add_argument("--workers", type=int, default=2, help="processes that measure (default: %(default)s)")
    turn = _round_options(commands)
    for command in (add, tune, back, told, turn, commands.choices["forget"]):
        command.add_argument("--catalogue", type=Path, default=DEMO_CATALOGUE, help="whose generations are labels")
        command.add_argument("--weights", type=Path, default=WEIGHTS_DIR, help="the model in use (default: installed)")
    return whole


def _add_forget(commands: argparse._SubParsersAction) -> None:
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


def _round_options(commands: argparse._SubParsersAction) -> argparse.ArgumentParser:
    turn = commands.add_parser("round", help="measure a round: pictures by somebody who knows none of our shapes")
    turn.set_defaults(run=_round)
    turn.add_argument("folder", type=Path, metavar="DIR", help="pictures and a labels.csv with view and named")
    turn.add_argument("--name", help="of the round (default: the folder's name)")
    turn.add_argument("--of", default="", metavar="RUN", help="id of the weights' run; with it a row is recorded")
    turn.add_argument("--runs", type=Path, default=RUNS_FILE, help="where it is recorded (default: %(default)s)")
    turn.add_argument("--workers", type=int, default=2, help="processes that measure (default: %(default)s)")
    return turn


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
        print(f"the new model {comparison.new_version} waits in {options.weights / SHADOW}")
        print(f"to use it: python -m training promote --by NAME --weights {options.weights}")


def _roll_back(options: argparse.Namespace) -> None:
    version = roll_back(options.weights, options.by)
    print(f"the model {version} is in use again in {options.weights}; servers take it within seconds")


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


def _round(options: argparse.Namespace) -> None:
    catalogue, name = load(options.catalogue), options.name or options.folder.resolve().name
    with tempfile.TemporaryDirectory(prefix="hoistlore-") as passing:
        shown = read_round(options.folder, catalogue, Path(passing))
    photos = measure_round(options.weights, shown, catalogue, options.workers)
    metrics = round_metrics(f"round {name}", photos, catalogue, Model.load(options.weights))
    print("\n".join(f"{metric.name:<78}{metric}" for metric in metrics))
    if options.of:
        files = [photo.photo.path for photo in shown]
        told = Measured(name, options.of, git_revision(), options.folder / LABELS, files)
        row = record_round(told, metrics, options.runs)
        print(f"{row.id}: {row.decision}, {len(metrics)} figures in {options.runs}; now `python -m experiments`")


OWNER_COMMANDS = ("add-photos", "forget", "finetune", "roll-back", "report", "round")

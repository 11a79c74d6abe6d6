"""The commands that need torch, of who has photos of their own: teach everything, and measure anybody's set."""

import argparse
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
from training.owned.labels import OwnedPhotoError
from training.owned.photos import STORE
from training.owned.promote import SHADOW, PromotionError
from training.refusals import run_command
from training.report.report import write_report
from training.report.sets import own_set, sets_of
from training.rounds.entry import Measured, record_round
from training.rounds.measured import LABELS, measure_round, read_round, round_metrics
from workers.dispatch import WorkersError

REFUSALS = (OwnedPhotoError, DatasetError, ModelError, CatalogueError, CheckpointError, ExportError, TrainingError,
            PromotionError, EntryError, RunsError, WorkersError, OSError)  # fmt: skip
"""The last one: a disk that is full or may not be written to."""


def main(arguments: list[str]) -> None:
    """Run one of `OWNER_COMMANDS`; exit status 2 with every problem on a line of its own."""
    run_command(parser(), arguments, REFUSALS)


def parser() -> argparse.ArgumentParser:
    """The commands for owners of photos, each with its own options."""
    whole = argparse.ArgumentParser(prog="python -m training", description=__doc__)
    commands = whole.add_subparsers(dest="command", required=True)
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
    told = commands.add_parser("report", help="measure a model and write one HTML page")
    told.set_defaults(run=_report)
    told.add_argument("--data", type=Path, action="append", default=[], help="renders or stand-ins; repeatable")
    told.add_argument("--photos", type=Path, help="photos of one's own; nothing of them is kept but the page")
    told.add_argument("--labels", type=Path, help="their labels, CSV or COCO JSON (default: the one there, or folders)")
    told.add_argument("--out", type=Path, required=True, help="the page; its figures go beside it as .json")
    told.add_argument("--workers", type=int, default=2, help="processes that measure (default: %(default)s)")
    turn = _round_options(commands)
    for command in (tune, told, turn):
        command.add_argument("--catalogue", type=Path, default=DEMO_CATALOGUE, help="whose generations are labels")
        command.add_argument("--weights", type=Path, default=WEIGHTS_DIR, help="the model in use (default: installed)")
    return whole


def _round_options(commands: argparse._SubParsersAction) -> argparse.ArgumentParser:
    turn = commands.add_parser("round", help="measure a round: pictures by somebody who knows none of our shapes")
    turn.set_defaults(run=_round)
    turn.add_argument("folder", type=Path, metavar="DIR", help="pictures and a labels.csv with view and named")
    turn.add_argument("--name", help="of the round (default: the folder's name)")
    turn.add_argument("--of", default="", metavar="RUN", help="id of the weights' run; with it a row is recorded")
    turn.add_argument("--runs", type=Path, default=RUNS_FILE, help="where it is recorded (default: %(default)s)")
    turn.add_argument("--workers", type=int, default=2, help="processes that measure (default: %(default)s)")
    return turn


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


OWNER_COMMANDS = ("finetune", "report", "round")

"""The command line: train, average, export, calibrate, evaluate, or all of it in one go; and what came of it."""

import argparse
import json
import shlex
import sys
import time
from pathlib import Path

import torch

from classifier.errors import ModelError
from classifier.identify import WEIGHTS_DIR
from classifier.recipe import METADATA_FILE, Pictures
from experiments.runs import RUNS_FILE, RunsError
from training.calibrate.averaging import average_checkpoints
from training.calibrate.calibrate import calibrate
from training.card.card import CARD, CardError, write_card
from training.card.entry import EntryError, record
from training.config import PRESETS
from training.data.manifest import DatasetError, Record, manifest_sha256, read_manifests
from training.evaluate.evaluate import as_text, evaluate, record_metrics
from training.loop.parallel import train_networks
from training.loop.streaming import stream
from training.loop.tasks import TASKS
from training.loop.train import RunConfig, TrainingError
from training.loop.unfuse import begun_from
from training.nets.checkpoint import CheckpointError
from training.nets.export import ExportError, export, git_revision
from training.options import add_commands
from training.owner_command import OWNER_COMMANDS
from training.owner_command import main as owner_main
from training.refusals import refusing
from training.step_command import STEP_COMMANDS
from training.step_command import main as step_main
from training.store_command import STORE_COMMANDS
from training.store_command import main as store_main
from workers.dispatch import WorkersError

REFUSALS = (DatasetError, TrainingError, ExportError, CheckpointError, CardError, EntryError, RunsError, ModelError,
            WorkersError, FileNotFoundError)  # fmt: skip


def main(arguments: list[str] | None = None) -> None:
    """Run one command; exit status 2 with one sentence for data or settings that cannot be used."""
    arguments = sys.argv[1:] if arguments is None else arguments
    if arguments[:1] and arguments[0] in OWNER_COMMANDS:
        return owner_main(arguments)
    if arguments[:1] and arguments[0] in STEP_COMMANDS:
        return step_main(arguments)
    if arguments[:1] and arguments[0] in STORE_COMMANDS:
        return store_main(arguments)
    options = parser().parse_args(arguments)
    options.line = shlex.join(["python", "-m", "training", *arguments])
    started = time.monotonic()
    with refusing(options.command, REFUSALS):
        COMMANDS[options.command](options)
    print(f"{options.command}: done in {time.monotonic() - started:.0f} s", flush=True)


def parser() -> argparse.ArgumentParser:
    """Every command with its own options."""
    further = ", ".join((*STORE_COMMANDS, *STEP_COMMANDS, *OWNER_COMMANDS))
    whole = argparse.ArgumentParser(
        prog="python -m training",
        description=__doc__,
        epilog=f"Further commands, each with its own --help: {further}.",
    )
    add_commands(whole.add_subparsers(dest="command", required=True, metavar="COMMAND"))
    return whole


def _train(options: argparse.Namespace) -> None:
    devices = _devices(options)
    config = RunConfig(
        preset=PRESETS[options.preset].with_minutes(options.minutes_finder, options.minutes_reader),
        seed=options.seed,
        folder=options.out,
        start=_start(options, devices[0]),
        compiled=options.compile,
        command=options.line,
    )
    train_networks(options.data, config, devices, (options.only,) if options.only else tuple(TASKS))


def _start(options: argparse.Namespace, device: str) -> Path | None:
    """The folder of checkpoints to go on from; made of the served networks where those are given."""
    if not options.start or not (options.start / METADATA_FILE).is_file():
        return options.start
    renders = read_manifests(options.data, "train")
    return begun_from(options.start, renders, options.out, torch.device(device), _workers(options))


def _average(options: argparse.Namespace) -> None:
    device, renders = torch.device(_devices(options)[0]), _records(options, "calibration")
    average_checkpoints(options.start, options.run, renders, options.out, device, _workers(options))


def _export(options: argparse.Namespace) -> None:
    pictures = Pictures(manifest_sha256=manifest_sha256(options.data))
    recipe = export(options.out, _weights(options), pictures, options.line, options.revision or git_revision())
    named = ", ".join(f"{name} {value:.1e}" for name, value in recipe.provenance.parity_max_abs.items())
    print(f"export: largest difference from torch: {named}; to {_weights(options)}", flush=True)


def _calibrate(options: argparse.Namespace) -> None:
    training, calibration = read_manifests(options.data, "train"), _records(options, "calibration")
    told = (_pictures(options, "calibration", calibration), options.line)
    calibrate(_weights(options), calibration, training, _workers(options), options.combinations, told)


def _evaluate(options: argparse.Namespace) -> None:
    records = _records(options, options.style)
    ray = getattr(options, "ray", None)
    workers = options.workers if ray else _workers(options)
    result = evaluate(_weights(options), records, options.out / "evaluation", workers, ray)
    if options.style == "heldout":  # the figures of any other pictures belong to those pictures, not to the model
        record_metrics(_weights(options), result, _pictures(options, "heldout", records), options.line)
    print(as_text(result), flush=True)


def _all(options: argparse.Namespace) -> None:
    for style in ("train", "calibration", "heldout"):  # an absent split is said now, not after the training
        print(f"{style}: {len(_records(options, style))} pictures", flush=True)
    for step in (_train, _export, _calibrate, _evaluate):
        started = time.monotonic()
        step(options)
        print(f"{step.__name__[1:]}: {time.monotonic() - started:.0f} s", flush=True)


def _record(options: argparse.Namespace) -> None:
    report = json.loads((options.out / "evaluation" / "evaluation.json").read_text(encoding="utf-8"))
    row = record(report, _records(options, options.style), options.entry, RUNS_FILE)
    print(f"record: {len(row.metrics)} figures as {row.id} in {RUNS_FILE}; now `python -m experiments`", flush=True)


def _card(options: argparse.Namespace) -> None:
    write_card(CARD, options.weights or WEIGHTS_DIR, RUNS_FILE)
    print(f"card: {CARD}", flush=True)


COMMANDS = {
    "all": _all,
    "train": _train,
    "stream": stream,
    "average": _average,
    "export": _export,
    "calibrate": _calibrate,
    "evaluate": _evaluate,
    "record": _record,
    "card": _card,
}


def _folders(options: argparse.Namespace, style: str) -> list[Path]:
    named = {"train": "data", "calibration": "calibration"}.get(style, "heldout")
    return getattr(options, named, None) or options.data


def _records(options: argparse.Namespace, style: str) -> list[Record]:
    return read_manifests(_folders(options, style), style)


def _pictures(options: argparse.Namespace, style: str, records: list[Record]) -> Pictures:
    return Pictures(manifest_sha256=manifest_sha256(_folders(options, style)), pictures=len(records))


def _weights(options: argparse.Namespace) -> Path:
    return options.weights or options.out / "weights"


def _workers(options: argparse.Namespace) -> int:
    return options.workers or PRESETS[options.preset].workers


def _devices(options: argparse.Namespace) -> list[str]:
    if options.devices:
        return options.devices.split(",")
    return [f"cuda:{number}" for number in range(torch.cuda.device_count())] or ["cpu"]

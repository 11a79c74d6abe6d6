"""The command line: train, export, calibrate, evaluate, or all of it in one go; and the ablations."""

import argparse
import sys
import time
from pathlib import Path

import torch

from classifier.errors import ModelError
from classifier.model import METADATA_FILE
from synthetic_samples.scene.combinations import read_combinations
from training.calibrate.calibrate import calibrate
from training.config import PRESETS, Preset
from training.data.manifest import DatasetError, Record, manifest_sha256, read_manifests
from training.evaluate.evaluate import as_text, evaluate, record_metrics
from training.loop.ablate import ablate
from training.loop.blending import blend
from training.loop.parallel import TASKS, train_both
from training.loop.train import TrainingError
from training.nets.checkpoint import CheckpointError
from training.nets.export import ExportError, export, git_revision
from training.nets.unfold import begun_from
from training.owned.command import OWNER_COMMANDS
from training.owned.command import main as owner_main
from training.report.card import CARD, CardError, write_card


def main(arguments: list[str] | None = None) -> None:
    """Run one command; exit status 2 with one sentence for data or settings that cannot be used."""
    arguments = sys.argv[1:] if arguments is None else arguments
    if arguments[:1] and arguments[0] in OWNER_COMMANDS:
        return owner_main(arguments)
    options = _parser().parse_args(arguments)
    started = time.monotonic()
    try:
        _COMMANDS[options.command](options)
    except (
        DatasetError,
        TrainingError,
        ExportError,
        CheckpointError,
        CardError,
        ModelError,
        FileNotFoundError,
    ) as problem:
        print(f"python -m training {options.command}: {problem}", file=sys.stderr)
        raise SystemExit(2) from None
    print(f"{options.command}: done in {time.monotonic() - started:.0f} s", flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m training",
        description=__doc__,
        epilog=f"Further commands, each with its own --help: {', '.join(OWNER_COMMANDS)}.",
    )
    parser.add_argument("command", choices=tuple(_COMMANDS))
    data = parser.add_argument_group(
        "data", "folders that `python -m synthetic_samples` wrote; may be given repeatedly"
    )
    data.add_argument(
        "--data", type=Path, action="append", required=True, help="pictures; those of style train are learned"
    )
    data.add_argument(
        "--calibration", type=Path, action="append", help="pictures of style calibration (default: --data)"
    )
    data.add_argument("--heldout", type=Path, action="append", help="pictures of style heldout (default: --data)")
    data.add_argument(
        "--combinations",
        type=read_combinations,
        default=(),
        metavar="FILE",
        help="JSON list of control box values: calibrate as if half of the boxes were of these (default: as they are)",
    )
    parser.add_argument("--out", type=Path, required=True, help="checkpoints, reports; a stopped run resumes from here")
    parser.add_argument("--weights", type=Path, help="where the served files go (default: OUT/weights)")
    parser.add_argument("--preset", choices=tuple(PRESETS), default="full")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--start",
        type=Path,
        help="folder of checkpoints or of served weights to go on from with other pictures (default: ImageNet weights)",
    )
    parser.add_argument("--only", choices=TASKS, help="train this network alone (default: both)")
    parser.add_argument(
        "--run", type=Path, action="append", help="folder of a run that began in --start, to blend; repeatedly"
    )
    parser.add_argument("--minutes-finder", type=float, help="train the finder this long instead of the preset's steps")
    parser.add_argument("--minutes-reader", type=float, help="the same for the reader")
    parser.add_argument(
        "--devices",
        help="such as cuda:0,cuda:1 (default: all GPUs, else cpu); one for the finder, all others for the reader",
    )
    parser.add_argument(
        "--compile", action="store_true", help="fuse the networks' operations first: minutes at the start, faster steps"
    )
    parser.add_argument("--workers", type=int, help="processes that decode and measure (default: the preset's)")
    parser.add_argument(
        "--style", default="heldout", help="style of the pictures in --heldout (evaluate; default: heldout)"
    )
    parser.add_argument("--revision", help="commit to note where this is no checkout (default: what git says)")
    return parser


def _train(options: argparse.Namespace) -> None:
    preset = _preset(options)
    devices = _devices(options)
    tasks = (options.only,) if options.only else TASKS
    start = _start(options, devices[0])
    train_both(options.data, preset, options.seed, options.out, devices, start, options.compile, tasks)


def _start(options: argparse.Namespace, device: str) -> Path | None:
    """The folder of checkpoints to go on from; made of the served networks where those are given."""
    if not options.start or not (options.start / METADATA_FILE).is_file():
        return options.start
    renders = read_manifests(options.data, "train")
    return begun_from(options.start, renders, options.out, torch.device(device), _workers(options))


def _blend(options: argparse.Namespace) -> None:
    if not options.start or not options.run:
        raise TrainingError("blend needs --start, the folder where the runs began, and --run for each of them")
    device = torch.device(_devices(options)[0])
    blend(options.start, options.run, _records(options, "calibration"), options.out, device, _workers(options))


def _export(options: argparse.Namespace) -> None:
    metadata = export(options.out, _weights(options), manifest_sha256(options.data), options.revision or git_revision())
    differences = metadata["provenance"]["parity_max_abs"]
    named = ", ".join(f"{name} {value:.1e}" for name, value in differences.items())
    print(f"export: largest difference from torch: {named}; to {_weights(options)}", flush=True)


def _calibrate(options: argparse.Namespace) -> None:
    training, calibration = read_manifests(options.data, "train"), _records(options, "calibration")
    calibrate(_weights(options), calibration, training, _workers(options), options.combinations)


def _evaluate(options: argparse.Namespace) -> None:
    result = evaluate(
        _weights(options), _records(options, options.style), options.out / "evaluation", _workers(options)
    )
    if options.style == "heldout":  # the figures of any other pictures belong to those pictures, not to the model
        record_metrics(_weights(options), result)
    print(as_text(result), flush=True)


def _all(options: argparse.Namespace) -> None:
    for style in ("train", "calibration", "heldout"):  # an absent split is said now, not after the training
        print(f"{style}: {len(_records(options, style))} pictures", flush=True)
    for step in (_train, _export, _calibrate, _evaluate):
        started = time.monotonic()
        step(options)
        print(f"{step.__name__[1:]}: {time.monotonic() - started:.0f} s", flush=True)


def _ablate(options: argparse.Namespace) -> None:
    preset = _preset(options)
    splits = {style: _records(options, style) for style in ("train", "calibration", "heldout")}
    devices, workers = _devices(options), _workers(options)
    print(ablate(splits, preset, options.seed, options.out, devices, workers, options.combinations), flush=True)


def _card(options: argparse.Namespace) -> None:
    write_card(CARD, _weights(options), options.out)
    print(f"card: {CARD}", flush=True)


_COMMANDS = {
    "all": _all,
    "train": _train,
    "blend": _blend,
    "export": _export,
    "calibrate": _calibrate,
    "evaluate": _evaluate,
    "ablate": _ablate,
    "card": _card,
}


def _records(options: argparse.Namespace, style: str) -> list[Record]:
    folders = {"train": options.data, "calibration": options.calibration}.get(style, options.heldout)
    return read_manifests(folders or options.data, style)


def _preset(options: argparse.Namespace) -> Preset:
    return PRESETS[options.preset].with_minutes(options.minutes_finder, options.minutes_reader)


def _weights(options: argparse.Namespace) -> Path:
    return options.weights or options.out / "weights"


def _workers(options: argparse.Namespace) -> int:
    return options.workers or PRESETS[options.preset].workers


def _devices(options: argparse.Namespace) -> list[str]:
    if options.devices:
        return options.devices.split(",")
    return [f"cuda:{number}" for number in range(torch.cuda.device_count())] or ["cpu"]

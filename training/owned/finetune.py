"""Learn from owned photos: from the model in use to one that replaces it only if nothing got worse.

A stopped run goes on where it was when it is started again with the same photos; the served model is touched by
`training.owned.promote` alone, at the very end.
"""

import hashlib
import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import torch

from classifier.recipe import Pictures, Recipe
from guidance.catalogue.catalogue import Catalogue
from training.calibrate.calibrate import calibrate
from training.config import Preset, Schedule
from training.data.dataset import load_bank
from training.data.manifest import DatasetError, Record, manifest_sha256, read_manifests
from training.loop.tasks import TASKS
from training.loop.train import RunConfig, train_task
from training.loop.unfuse import begun_from
from training.nets.checkpoint import read_whole
from training.nets.export import export, git_revision
from training.owned.compare import Comparison, compare_models
from training.owned.photos import check_still_there, photo_id, read_entries
from training.owned.promote import SHADOW, check_lineage, check_writable, leave_shadow
from training.owned.versions import signed

FINETUNE = "python -m training finetune"
"""The command, for the metadata: folders and seed are noted beside it by their hashes."""

OWNED_SHARE = 0.3  # of the pictures that a batch draws from; the renders keep what the photos do not show
MOST_RENDERS = 2000  # held in memory beside the owned photos
SCHEDULES = {
    "full": Schedule(400, 32, learning_rate=2e-4, going_on_rate=1.0, head_only_share=0.0, average_decay=0.99),
    "small": Schedule(6, 8, learning_rate=2e-4, going_on_rate=1.0, head_only_share=0.0, average_decay=0.9),
}


@dataclass(frozen=True)
class Sources:
    """Where everything lies: owned photos, renders by style, the served model."""

    store: Path
    renders: tuple[Path, ...]
    calibration: tuple[Path, ...]
    heldout: tuple[Path, ...]
    served: Path
    out: Path


def finetune(
    sources: Sources, preset_name: str, seed: int, device: str, workers: int, catalogue: Catalogue
) -> Comparison:
    """Train, calibrate, compare with the served model on held-out photos, and leave a shadow unless it got worse."""
    owned = {style: _owned(sources.store, style) for style in ("train", "calibration", "heldout")}
    if not owned["train"] or not owned["heldout"]:
        raise DatasetError(
            f"{sources.store}: {len(owned['train'])} photos to train on and {len(owned['heldout'])} held out; both are "
            "needed, and photos of one lift never lie in two splits. Add photos of more lifts with add-photos"
        )
    check_lineage(Recipe.read(sources.served)[0], sources.served)
    check_writable(sources.served / SHADOW)
    learned = [photo_id(entry) for entry in read_entries(sources.store) if entry["style"] != "heldout"]
    renders, to_calibrate = read_manifests(sources.renders, "train"), read_manifests(sources.calibration, "calibration")
    held = {"owned photos": owned["heldout"]}
    if sources.heldout:
        held["renders"] = read_manifests(sources.heldout, "heldout")
    run = sources.out / _run_name(sources, preset_name, seed)
    candidate = run / "weights"
    begun = begun_from(sources.served, renders, run, torch.device(device), workers)
    _train(sources, begun, owned["train"], SCHEDULES[preset_name], seed, device, run)
    folders = [*sources.renders, sources.store]
    pictures = Pictures(manifest_sha256=manifest_sha256(folders))
    recipe = export(run, candidate, pictures, FINETUNE, git_revision())
    signed(recipe, Recipe.read(sources.served)[0], "finetune", learned).write(candidate)
    pool = [*to_calibrate, *owned["calibration"]]
    print(f"calibrates on {len(pool)} pictures, {len(owned['calibration'])} of them owned photos", flush=True)
    calibrate(candidate, pool, renders[:: max(1, len(renders) // 200)], workers)
    boxed = _boxed_by_owner(sources.store)
    comparison = compare_models(sources.served, candidate, held, boxed, catalogue, workers)
    (run / "comparison.json").write_text(json.dumps(comparison.as_dict(), indent=1) + "\n")
    if not comparison.reasons_against:
        check_still_there(sources.store, learned)
        shutil.copy(run / "comparison.json", candidate)
        leave_shadow(candidate, sources.served / SHADOW)
    return comparison


def _owned(store: Path, style: str) -> list[Record]:
    if not any(entry["style"] == style for entry in read_entries(store)):
        return []
    return read_manifests([store], style)


def _boxed_by_owner(store: Path) -> set[Path]:
    """The photos all of whose boxes a person drew (none counts as all): only they may teach and judge the finder."""
    return {
        store / entry["file"]
        for entry in read_entries(store)
        if all(subject["box_from"] == "owner" for subject in entry["subjects"])
    }


def _run_name(sources: Sources, preset_name: str, seed: int) -> str:
    """Other photos, renders or a model are another run; with the same ones a stopped run goes on."""
    digest = hashlib.sha256(f"{preset_name} {seed} {manifest_sha256([sources.store, *sources.renders])}".encode())
    for task in ("finder", "reader"):
        digest.update((sources.served / f"{task}.onnx").read_bytes())
    return f"finetune-{digest.hexdigest()[:12]}"


def _train(
    sources: Sources, begun: Path, owned: list[Record], schedule: Schedule, seed: int, device: str, run: Path
) -> None:
    renders = read_manifests(sources.renders, "train")
    renders = renders[:: -(-len(renders) // MOST_RENDERS)]
    boxed = _boxed_by_owner(sources.store)
    for task in ("finder", "reader"):
        usable = [record for record in owned if task == "reader" or record.path in boxed]
        if task == "reader":
            usable = [record for record in usable if record.subjects]
        if not usable:
            print(f"{task}: no owned photo teaches it, so it stays as it is", flush=True)
            run.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(begun / f"{task}.pt", run / f"{task}.pt")
            continue
        preset = replace(_preset_of(begun / f"{task}.pt"), finder=schedule, reader=schedule)
        records = mixed(renders, usable)
        bank = load_bank(records, preset.canvas_px, torch.device(device), preset.workers)
        train_task(TASKS[task], records, bank, RunConfig(preset, seed, run, begun, command=FINETUNE))


def mixed(renders: Sequence[Record], owned: Sequence[Record]) -> list[Record]:
    """Renders and owned photos, the photos repeated until they are `OWNED_SHARE` of all, or once if that is more."""
    wanted = OWNED_SHARE / (1 - OWNED_SHARE) * len(renders)
    return [*renders, *list(owned) * max(1, round(wanted / len(owned)))]


def _preset_of(checkpoint: Path) -> Preset:
    """The sizes that a checkpoint's network was trained with."""
    stored = dict(read_whole(checkpoint)["about"]["preset"])
    return Preset(**(stored | {task: Schedule(**stored[task]) for task in ("finder", "reader")}))

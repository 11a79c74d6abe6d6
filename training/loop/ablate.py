"""What each decision is worth: the same short training with one thing changed, on the same seed and pictures."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from training.calibrate.calibrate import calibrate
from training.config import Preset, Schedule
from training.data.manifest import Record
from training.evaluate.evaluate import ALL, FAIR, evaluate
from training.evaluate.measures import Share
from training.loop.parallel import TASKS, TrainingJob, run_jobs
from training.nets.export import export, git_revision

FIGURES = {
    "generation, listed": ("generation", "right_when_listed"),
    "lowering": ("lowering", "right"),
    "recall": ("finder", "all", "recall"),
    "precision": ("finder", "all", "precision"),
    "no lift, nothing seen": ("not_seen_without_a_lift",),
}


def ablate(
    splits: dict[str, list[Record]],
    preset: Preset,
    seed: int,
    out: Path,
    devices: Sequence[str],
    workers: int,
    combinations: Sequence[dict[str, str]],
) -> str:
    """Train, calibrate and measure every variant; writes ablations.json under `out` and returns a table.

    All variants learn from the same pictures: those with a clean twin where there are any, else all. `combinations` as
    for `calibrate`.
    """
    twins = [record for record in splits["train"] if record.clean_path]
    records = twins or splits["train"]
    variants = _variants(preset, bool(twins))
    jobs = [TrainingJob(task, changed, seed, out / name) for name, changed in variants.items() for task in TASKS]
    results: dict[str, dict] = {}
    finished: dict[Path, int] = {}
    for job in run_jobs(jobs, records, devices):
        finished[job.folder] = finished.get(job.folder, 0) + 1
        if finished[job.folder] == len(TASKS):
            results[job.folder.name] = _measure(job.folder, splits, workers, combinations)
            results = {name: results[name] for name in variants if name in results}
            told = {"pictures": len(records), "seed": seed, **results}
            (out / "ablations.json").write_text(json.dumps(told, indent=1) + "\n")  # what is known, if it is stopped
            print(_table(results, len(records)), flush=True)
    return _table(results, len(records))


def _variants(preset: Preset, with_clean: bool) -> dict[str, Preset]:
    variants = {
        "as_shipped": preset,
        "from_scratch": replace(
            preset, pretrained=False, finder=_from_scratch(preset.finder), reader=_from_scratch(preset.reader)
        ),
        "no_look_alikes": replace(preset, look_alikes=False),
        "no_part_maps": replace(preset, part_maps=False),
    }
    return variants | ({"no_phone_pipeline": replace(preset, clean=1.0)} if with_clean else {})


def _from_scratch(schedule: Schedule) -> Schedule:
    """No phase of heads alone, and the full learning rate everywhere: a fair chance for random weights."""
    return replace(schedule, head_only_share=0.0, backbone_rate=1.0)


def _measure(
    folder: Path, splits: dict[str, list[Record]], workers: int, combinations: Sequence[dict[str, str]]
) -> dict:
    weights = folder / "weights"
    export(folder, weights, manifest_hash="not kept for ablations", revision=git_revision())
    calibrate(weights, splits["calibration"], [], workers, combinations)
    result = evaluate(weights, splits["heldout"], folder / "evaluation", workers)
    return {group: result[group] for group in (FAIR, ALL)}


def _table(results: dict[str, dict], pictures: int) -> str:
    lines = [f"ablations, {pictures} training pictures, short schedule, style heldout: share (95 % interval, n)"]
    for group in (FAIR, ALL):
        for name, path in FIGURES.items():
            lines.append(f"{group}: {name}")
            for variant, result in results.items():
                row = result[group]
                for key in path:
                    row = row[key]
                lines.append(f"  {variant:<20}{Share(row['hits'], row['n'])}")
    return "\n".join(lines)

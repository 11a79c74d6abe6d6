"""An evaluation as one row of the experiments: every figure with its split, its interval and its number of cases."""

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ConfigDict, ValidationError

from classifier.taxonomy import CONCEPTS, SUBJECTS
from experiments.runs import Metric, Parent, Pictures, Run, read_runs
from training.data.manifest import Record
from training.evaluate.two_photos import FIGURES

FAIR_PHOTOS, ALL_PHOTOS, LIFTS = "heldout, fair close photos", "heldout, all photos", "heldout lifts"
GROUPS: Final = {FAIR_PHOTOS: "fair close photos", ALL_PHOTOS: "all photos"}
SHARES: Final = {
    "generation": ("generation", "right"),
    "generation, listed ones only": ("generation", "right_when_listed"),
    "generation, every concept visible": ("generation", "right_when_all_is_visible"),
    "unlisted box answered unlisted, undecided or not seen": ("generation", "unlisted_answered_with_care"),
    "lowering mechanism": ("lowering", "right"),
    "twist or pull-twist left open where the photo leaves it open": ("lowering", "open_ones_left_open"),
    "confirmed answers that are wrong": ("confirmed", "wrong"),
    "listed boxes that are confirmed": ("confirmed", "listed_boxes_confirmed"),
    "actuators that are confirmed": ("confirmed", "actuators_confirmed"),
    "no lift in the photo, nothing seen": ("not_seen_without_a_lift",),
    **{
        f"finder {figure}, {kind}": ("finder", kind, figure)
        for kind in ("all", *SUBJECTS)
        for figure in ("recall", "precision")
    },
}
"""Names of the figures of each group of photos, and where each stands in the evaluation."""

SEPARATIONS: Final = {
    "alone": "crops, alone",
    "joined": "proposed boxes, joined with the finder",
    "whole_photos": "whole photos, joined",
}


class EntryError(ValueError):
    """What a person has to say of a run is missing or malformed; the message says what."""


class Entry(BaseModel):
    """What only a person knows of an evaluation: its name, the weights measured, what was decided and why."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    title: str
    weights: str
    decision: str
    commit: str | None = None
    seeds: tuple[int, ...] | None = None
    seen_before_deciding: str = ""
    learned: str = ""


def record(report: dict, records: Sequence[Record], entry: Path, runs: Path) -> Run:
    """Append the evaluation to the file of runs, and read them all again; returns the new row."""
    try:
        told = Entry.model_validate_json(entry.read_text(encoding="utf-8"))
    except ValidationError as problem:
        raise EntryError(f"{entry}: {problem}") from None
    known = {run.id for run in read_runs(runs)}
    if told.id in known or told.weights not in known:
        raise EntryError(
            f"{entry}: id {told.id!r} has to be new, and weights {told.weights!r} the id of a run in {runs}"
        )
    row = Run(
        id=told.id,
        kind="evaluation",
        date=date.today(),
        title=told.title,
        commit=told.commit,
        parents=(Parent(run=told.weights, network="both", share=1.0),),
        data=(Pictures(role="heldout", pictures=len(records), seeds=told.seeds),),
        metrics=tuple(metrics_of(report)),
        decision=told.decision,
        seen_before_deciding=told.seen_before_deciding,
        learned=told.learned,
    )
    with runs.open("a", encoding="utf-8") as file:
        file.write(row.model_dump_json(exclude_defaults=True) + "\n")
    read_runs(runs)
    return row


def metrics_of(report: dict) -> Iterator[Metric]:
    """Every figure of `evaluation.json`; shares without any case are left out."""
    for split, group in GROUPS.items():
        for name, path in SHARES.items():
            yield from _share(split, name, _at(report[group], path))
    for concept in CONCEPTS:
        yield from _concept(concept, report["all photos"]["concepts"][concept])
    for task, row in report["out_of_distribution"].items():
        yield from _separation(f"out-of-distribution, relative_distance, {SEPARATIONS[task]}", row)
    pairs = report["two_photos"]
    for part in ("generation", "lowering"):
        for photos in ("one", "two"):
            for figure in FIGURES:
                name = f"{part}, {figure.replace('_', ' and ')}, {photos} photo{'s' if photos == 'two' else ''}"
                yield from _share(LIFTS, name, pairs[part][photos][figure])


def _concept(concept: str, found: dict) -> Iterator[Metric]:
    yield from _share(ALL_PHOTOS, f"{concept}: right", found["accuracy"])
    yield from _share(ALL_PHOTOS, f"{concept}: right where visible", found["accuracy_when_visible"])
    for key, name in (("calibration_error", "calibration error"),
                      ("calibration_error_by_chance", "calibration error by chance")):  # fmt: skip
        if found[key] is not None:
            yield Metric(split=ALL_PHOTOS, name=f"{concept}: {name}", value=round(100 * found[key], 1), unit="%")
    if found["mean_set_size"] is not None:
        yield Metric(split=ALL_PHOTOS, name=f"{concept}: mean set size", value=round(found["mean_set_size"], 2))
    value, worst = min(
        found["coverage"].items(), key=lambda item: 1.0 if item[1]["share"] is None else item[1]["share"]
    )
    yield from _share(ALL_PHOTOS, f"{concept}: covered, worst class ({value})", worst)


def _share(split: str, name: str, row: dict) -> Iterator[Metric]:
    if row["n"]:
        low, high = (round(100 * end, 1) for end in row["interval_95"])
        value = round(100 * row["share"], 1)
        yield Metric(split=split, name=name, value=value, unit="%", interval_95=(low, high), n=row["n"])


def _separation(name: str, row: dict) -> Iterator[Metric]:
    cases = {"n": row["inside"] + row["outside"], "of_them": (row["inside"], row["outside"])}
    if row["auroc"] is not None:
        wrong = round(100 * row["false_positives_at_95_recall"], 1)
        yield Metric(split=ALL_PHOTOS, name=f"{name}: area under ROC", value=round(row["auroc"], 4), **cases)
        yield Metric(split=ALL_PHOTOS, name=f"{name}: false positives at 95 % recall", value=wrong, unit="%", **cases)


def _at(figures: dict, path: tuple[str, ...]) -> dict:
    for key in path:
        figures = figures[key]
    return figures

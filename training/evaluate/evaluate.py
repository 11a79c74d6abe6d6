"""Measure the shipped files on a held-out style, through the same code as a user's photo."""

import json
import math
from collections.abc import Sequence
from pathlib import Path

from classifier.identify import PhotoReading
from classifier.model import Model
from classifier.recipe import Pictures, Recipe
from classifier.taxonomy import CONCEPTS, SUBJECTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from training.calibrate.merging import readings_of
from training.data.manifest import Record
from training.evaluate.perfect_reader import perfect_figures
from training.evaluate.scores import Judged, fair_ones, figures, generation_figures, judged, lowering_figures
from training.evaluate.sheets import write_sheets
from training.evaluate.thresholds import chosen_thresholds, threshold_figures
from training.evaluate.two_photos import FIGURES, answered, lifts_of, two_photo_figures
from training.measure.collect import collect_raw, collect_readings
from training.measure.measures import Share
from training.ood.gate import Gate, separations

FAIR = "fair close photos"
ALL = "all photos"


def evaluate(weights: Path, records: Sequence[Record], out: Path, workers: int | None, ray: str | None = None) -> dict:
    """Every figure on these pictures; writes evaluation.json, evaluation.txt and sheets of mistakes under `out`.

    On so many processes, or on the Ray cluster at `ray`. Raises `WorkersError`.
    """
    out.mkdir(parents=True, exist_ok=True)
    model, catalogue = Model.load(weights), load(DEMO_CATALOGUE)
    raw = collect_raw(
        weights, records, workers, ray
    )  # the networks run once: for what they serve from, and for all else
    photos = judge_readings(records, readings_of(raw, records, model), catalogue, model)
    groups = {ALL: photos, FAIR: fair_ones(photos)}
    thresholds = threshold_figures(photos, catalogue, model)
    result = {
        "model": {"version": model.info.version}
        | {f"{part}_sha256": getattr(model.recipe, part).sha256 for part in ("finder", "reader")},
        "styles": sorted({record.style for record in records}),
        **{name: figures(group, catalogue) for name, group in groups.items()},
        "conditions": _by_condition(photos, catalogue),
        "two_photos": two_photo_figures(lifts_of(photos, catalogue, model), catalogue),
        "perfect_reader": perfect_figures(records, catalogue, model),
        "ordering_thresholds": thresholds,
        "chosen_thresholds": chosen_thresholds(thresholds) if _may_be_chosen_on(records) else None,
        "out_of_distribution": separations(raw, [bool(record.subjects) for record in records], Gate.of(model)),
    }
    (out / "evaluation.json").write_text(json.dumps(_without_nan(result), indent=1) + "\n")
    (out / "evaluation.txt").write_text(as_text(result))
    write_sheets(out / "mistakes", photos, catalogue)
    return result


def _may_be_chosen_on(records: Sequence[Record]) -> bool:
    """A threshold is chosen on calibration renders alone, never on what is reported on."""
    return {record.style for record in records} == {"calibration"}


def judge_photos(weights: Path, records: Sequence[Record], catalogue: Catalogue, workers: int) -> list[Judged]:
    """Each picture read and answered as a lift of its own, with what is true of it."""
    return judge_readings(records, collect_readings(weights, records, workers), catalogue, Model.load(weights))


def judge_readings(
    records: Sequence[Record], readings: Sequence[PhotoReading], catalogue: Catalogue, model: Model
) -> list[Judged]:
    """Each reading answered as a lift of its own, with what is true of its picture."""
    return [
        judged(record, reading, answered([reading], catalogue, model))
        for record, reading in zip(records, readings, strict=True)
    ]


def record_metrics(weights: Path, result: dict, pictures: Pictures, command: str) -> None:
    """Note the main figures in model.json, beside the recipe that they belong to, and how they were had."""
    recipe, _ = Recipe.read(weights)
    noted = {
        group: {
            "generation": result[group]["generation"]["right"],
            "generation_listed": result[group]["generation"]["right_when_listed"],
            "lowering": result[group]["lowering"]["right"],
            "recall": result[group]["finder"]["all"]["recall"],
            "precision": result[group]["finder"]["all"]["precision"],
            "confirmed_wrong": result[group]["confirmed"]["wrong"],
            "not_seen_without_a_lift": result[group]["not_seen_without_a_lift"],
        }
        for group in (FAIR, ALL)
    }
    provenance = recipe.provenance.with_(
        pictures=recipe.provenance.pictures | {"evaluation": pictures},
        commands=(recipe.provenance.commands or {}) | {"evaluate": command},
    )
    metrics = recipe.metrics | {"evaluation": {"styles": result["styles"], **noted}}
    recipe.with_(metrics=metrics, provenance=provenance).write(weights)


def as_text(result: dict) -> str:
    """The figures as a table for a terminal."""
    model = result["model"]
    lines = [f"model {model['version']}, reader {model['reader_sha256'][:12]}, style {', '.join(result['styles'])}"]
    for group in (FAIR, ALL):
        found = result[group]
        lines += ["", f"{group}: {found['photos']}, share right (95 % interval, n)"]
        rows = [
            ("generation", found["generation"]["right"]),
            ("generation, listed ones", found["generation"]["right_when_listed"]),
            ("generation, all concepts visible", found["generation"]["right_when_all_is_visible"]),
            ("unlisted answered with care", found["generation"]["unlisted_answered_with_care"]),
            ("lowering", found["lowering"]["right"]),
            ("open lowering left open", found["lowering"]["open_ones_left_open"]),
            *((f"recall {kind}", found["finder"][kind]["recall"]) for kind in ("all", *SUBJECTS)),
            *((f"precision {kind}", found["finder"][kind]["precision"]) for kind in ("all", *SUBJECTS)),
            ("no lift, nothing seen", found["not_seen_without_a_lift"]),
            ("confirmed but wrong", found["confirmed"]["wrong"]),
            ("listed boxes confirmed", found["confirmed"]["listed_boxes_confirmed"]),
            ("actuators confirmed", found["confirmed"]["actuators_confirmed"]),
        ]
        lines += [f"  {name:<34}{_share(row)}" for name, row in rows]
        lines += [line for concept in CONCEPTS for line in _concept_lines(concept, found["concepts"][concept])]
    lines += ["", "by condition: generation, lowering, recall"]
    for name, row in result["conditions"].items():
        lines.append(f"  {name:<14}{_share(row['generation'])}  {_share(row['lowering'])}  {_share(row['recall'])}")
    lines += ["", *_two_photo_lines(result["two_photos"])]
    lines += [line for certainty, row in result["perfect_reader"].items() for line in _perfect_lines(certainty, row)]
    lines += [
        "",
        "were the ordering threshold another: confirmed ones wrong (expected), fair ones confirmed (listed boxes)",
    ]
    lines += [line for least, row in result["ordering_thresholds"].items() for line in _threshold_lines(least, row)]
    for part, row in (result.get("chosen_thresholds") or {}).items():
        lines.append(f"  chosen for {part}: {row['threshold']}, fair ones confirmed {_share(row['fair_confirmed'])}")
    lines += ["", "out of distribution: area under ROC, false positives at 95 % recall"]
    for task, s in result["out_of_distribution"].items():
        wrong = f"{100 * s['false_positives_at_95_recall']:5.1f} %"
        lines.append(f"  {task:<14}{s['auroc']:.4f}  {wrong}  n={s['inside']} and {s['outside']}")
    return "\n".join(lines) + "\n"


def _two_photo_lines(found: dict) -> list[str]:
    if not found["lifts"]:
        return ["no lift has two photos (python -m synthetic_samples --views 2 draws some)"]
    return [f"one photo against two of the same lift, {found['lifts']} lifts", *_by_one_and_two(found, FIGURES)]


def _by_one_and_two(found: dict, names: Sequence[str]) -> list[str]:
    lines = []
    for part in ("generation", "lowering"):
        for name in names:
            one, two = (_share(found[part][photos][name]) for photos in ("one", "two"))
            lines.append(f"  {part + ', ' + name:<34}{one}  ->  {two}")
    return lines


def _perfect_lines(certainty: str, found: dict) -> list[str]:
    lines = ["", f"were everything read rightly, and {100 * float(certainty):.1f} % surely"]
    named = {
        "listed_boxes_confirmed": "listed boxes confirmed, fair",
        "actuators_confirmed": "actuators confirmed, fair",
    }
    lines += [f"  {part + ' right, fair':<34}{_share(row)}" for part, row in found["fair_right"].items()]
    lines += [f"  {name:<34}{_share(found['fair_confirmed'][key])}" for key, name in named.items()]
    return lines + _by_one_and_two(found["two_photos"], ("undecided",))


def _threshold_lines(least: str, found: dict) -> list[str]:
    lines = []
    for name, part, wrong, confirmed in (
        ("boxes", "control_box", "boxes_wrong", "listed_boxes_confirmed"),
        ("actuators", "actuator", "actuators_wrong", "actuators_confirmed"),
    ):
        expected = found["expected_wrong"][part]
        told = "" if expected is None else f" ({100 * expected:.1f} %)"
        lines.append(
            f"  {least:<7}{name:<14}{_share(found['all'][wrong])}{told}  fair {_share(found['fair'][confirmed])}"
        )
    return lines


def _concept_lines(concept: str, found: dict) -> list[str]:
    size = found["mean_set_size"]
    lines = [
        f"  {concept:<34}{_share(found['accuracy'])}  visible {_share(found['accuracy_when_visible'])}"
        f"  calibration error {100 * found['calibration_error']:.1f} %"
        f" (by chance {100 * found['calibration_error_by_chance']:.1f} %)  mean set {size or 0:.2f}"
    ]
    for value, row, counts in zip(found["classes"], found["coverage"].values(), found["confusion"], strict=True):
        lines.append(f"    {value:<18}{' '.join(f'{count:5d}' for count in counts)}   covered {_share(row)}")
    return lines


def _by_condition(photos: Sequence[Judged], catalogue: object) -> dict:
    names = sorted({name for photo in photos for name in (*photo.record.conditions, photo.record.framing)})
    rows = {}
    for name in names:
        group = [photo for photo in photos if name in (*photo.record.conditions, photo.record.framing)]
        rows[name] = {
            "generation": generation_figures(group, catalogue)["right"],
            "lowering": lowering_figures(group)["right"],
            "recall": figures(group, catalogue)["finder"]["all"]["recall"],
        }
    return rows


def _share(row: dict) -> str:
    return str(Share(row["hits"], row["n"]))


def _without_nan(value: object) -> object:
    """The same plain values with null for a figure of no cases: JSON knows no NaN."""
    if isinstance(value, dict):
        return {key: _without_nan(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_without_nan(inner) for inner in value]
    return None if isinstance(value, float) and math.isnan(value) else value

"""Put measured figures into the model card, so that none of them is typed by hand."""

import json
from pathlib import Path

from classifier.model import METADATA_FILE
from classifier.taxonomy import CONCEPTS, SUBJECTS
from training.evaluate.measures import Share
from training.evaluate.two_photos import FIGURES

CARD = Path(__file__).parents[1] / "MODEL_CARD.md"
BEGIN, END = "<!-- figures: written by `python -m training card` -->", "<!-- end of figures -->"


class CardError(ValueError):
    """A card or a report that does not fit; the message says which."""


def write_card(card: Path, weights: Path, run: Path) -> None:
    """Replace the card's figures by those of this model and of the reports that lie in `run`."""
    before, found, rest = card.read_text().partition(BEGIN)
    _, closed, after = rest.partition(END)
    if not (found and closed):
        raise CardError(f"{card}: the marks {BEGIN!r} and {END!r} are not there; put them round the figures")
    metadata = json.loads((weights / METADATA_FILE).read_text())
    report = json.loads((run / "evaluation" / "evaluation.json").read_text())
    sections = [_provenance(metadata), _main_table(report), _concepts(report), _foreign(report), _two_photos(report)]
    ablations = run / "ablations.json"
    if ablations.is_file():
        sections.append(_ablations(json.loads(ablations.read_text())))
    card.write_text(f"{before}{BEGIN}\n\n" + "\n\n".join(sections) + f"\n\n{END}{after}")


def _provenance(metadata: dict) -> str:
    made = metadata["provenance"]
    split = metadata["metrics"]["calibration_split"]
    differences = ", ".join(f"{name} {value:.1e}" for name, value in made["parity_max_abs"].items())
    trained = metadata["trained_on"]
    return (
        f"Version {metadata['version']}, made {made['created']} from commit `{made['git_revision']}`, "
        f"seed {made['seed']}, {trained['synthetic']} renders (manifest `{made['manifest_sha256'][:16]}…`) and "
        f"{trained['owned_photos']} owned photos; calibrated on {split['pictures']} renders of other styles. "
        f"Largest difference of a logit between ONNX Runtime and torch: {differences}."
    )


def _main_table(report: dict) -> str:
    rows = ["| renders of held-out styles | fair close photos | all photos |", "| --- | --- | --- |"]
    paths = {
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
    }
    for kind in ("all", *SUBJECTS):
        paths[f"finder recall, {kind}"] = ("finder", kind, "recall")
        paths[f"finder precision, {kind}"] = ("finder", kind, "precision")
    rows += [
        f"| {name} | {_at(report['fair close photos'], path)} | {_at(report['all photos'], path)} |"
        for name, path in paths.items()
    ]
    return "\n".join(rows)


def _concepts(report: dict) -> str:
    rows = [
        "| concept, all photos | right | right where visible | calibration error, and by chance alone "
        "| mean set | covered, worst class |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for concept in CONCEPTS:
        found = report["all photos"]["concepts"][concept]
        value, worst = min(found["coverage"].items(), key=lambda item: item[1]["share"] or 1.0)
        error, chance = found["calibration_error"], found["calibration_error_by_chance"]
        rows.append(
            f"| {concept} | {_share(found['accuracy'])} | {_share(found['accuracy_when_visible'])} "
            f"| {'–' if error is None else f'{100 * error:.1f} %, {100 * chance:.1f} %'} "
            f"| {found['mean_set_size'] or 0:.2f} | {value} {_share(worst)} |"
        )
    return "\n".join(rows)


def _foreign(report: dict) -> str:
    found = report["not_one_of_ours"]
    rows = [
        f"Not one of ours, all photos: area under ROC, false positives at 95 % recall. `{found['served']}` is served, "
        "chosen on the calibration split:",
        "",
        "| number | crops, alone | proposed boxes, joined with the finder | whole photos, joined |",
        "| --- | --- | --- | --- |",
    ]
    for name, tasks in found["scores"].items():
        cells = [_separation(tasks[task]) for task in ("alone", "joined", "whole_photos")]
        rows.append(f"| {name} | {' | '.join(cells)} |")
    return "\n".join(rows)


def _separation(row: dict) -> str:
    if row["auroc"] is None:
        return f"– (n={row['ours']} and {row['others']})"
    wrong = 100 * row["false_positives_at_95_recall"]
    return f"{row['auroc']:.4f}, {wrong:.1f} % (n={row['ours']} and {row['others']})"


def _two_photos(report: dict) -> str:
    found = report["two_photos"]
    if not found["lifts"]:
        return "One photo against two of the same lift: not measured."
    rows = [
        f"One photo against two of the same lift from different sides, {found['lifts']} lifts:",
        "",
        "| | one photo | two photos |",
        "| --- | --- | --- |",
    ]
    for part in ("generation", "lowering"):
        for figure in FIGURES:
            one, two = (_share(found[part][photos][figure]) for photos in ("one", "two"))
            rows.append(f"| {part}, {figure.replace('_', ' and ')} | {one} | {two} |")
    return "\n".join(rows)


def _ablations(found: dict) -> str:
    paths = {
        "generation, listed": ("generation", "right_when_listed"),
        "lowering": ("lowering", "right"),
        "recall": ("finder", "all", "recall"),
        "precision": ("finder", "all", "precision"),
        "no lift, nothing seen": ("not_seen_without_a_lift",),
    }
    variants = [name for name in found if name not in ("pictures", "seed")]
    rows = [
        f"Ablations: shorter training, {found['pictures']} renders, seed {found['seed']}, one change each; all photos",
        "",
        f"| | {' | '.join(variants)} |",
        "| --- |" + " --- |" * len(variants),
    ]
    for name, path in paths.items():
        rows.append(f"| {name} | " + " | ".join(_at(found[v]["all photos"], path) for v in variants) + " |")
    return "\n".join(rows)


def _at(figures: dict, path: tuple[str, ...]) -> str:
    for key in path:
        figures = figures[key]
    return _share(figures)


def _share(row: dict) -> str:
    return str(Share(row["hits"], row["n"])).strip()

"""What the report shows beside `training.evaluate.scores`: reliability, risk at coverage, sets, distance, conditions.

Every share is a `Share` as plain values, so with its number of cases and its interval; other figures carry a bootstrap
interval (2.5 % to 97.5 % of resampled photos' cases).
"""

import math
from collections.abc import Callable, Sequence

import numpy as np

from classifier.recipe import CLASSES
from classifier.taxonomy import CONCEPTS, CONTROL_BOX, EVIDENCE_WIDTH_PX, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from training.data.manifest import Subject
from training.evaluate.scores import Judged, confirmed_and_wrong, fair_ones, figures, true_generation
from training.measure.measures import (
    CALIBRATION_BINS,
    Share,
    area_under_roc,
    calibration_error,
    calibration_error_by_chance,
    false_positives_at_recall,
    share,
)

EVIDENCE_EDGES_PX = (40, 80, 160, 320, 640, 1280, 2560, math.inf)
DISTANCE_EDGES_M = (0.0, 0.4, 0.6, 0.9, 1.3, 2.0, 3.0, math.inf)
READABLE = 0.9  # share right from which on a concept counts as readable
FEWEST_IN_BIN = 10  # cases for a bin to say anything on readability
RESAMPLES = 300
COVERAGES = (0.5, 0.7, 0.8, 0.9, 0.95, 1.0)


def report_figures(photos: Sequence[Judged], catalogue: Catalogue, rng: np.random.Generator) -> dict:
    """Everything that one set of pictures says, as plain values."""
    return {
        "photos": len(photos),
        "all": figures(photos, catalogue),
        "fair": figures(fair_ones(photos), catalogue),
        "reliability": {concept: _reliability(photos, concept, rng) for concept in CONCEPTS},
        "risk": {part: _risk(_answers(photos, part, catalogue), rng) for part in ("generation", "lowering")},
        "sets": {concept: _sets(photos, concept, rng) for concept in CONCEPTS},
        "distance": {concept: _distance(photos, concept) for concept in CONCEPTS},
        "conditions": _conditions(photos, catalogue),
        "look_alikes": _look_alikes(photos, rng),
        "unlisted": _unlisted(photos, catalogue),
    }


def _risk(cases: Sequence[tuple[float, bool]], rng: np.random.Generator) -> dict:
    sure, right = np.array([s for s, _ in cases], float), np.array([r for _, r in cases], bool)
    interval = bootstrap_interval(len(cases), lambda rows: mean_risk(sure[rows], right[rows]), rng)
    return risk_coverage(cases) | {"area_interval": interval}


def mean_risk(confidences: np.ndarray, right: np.ndarray) -> float:
    """The share of wrong answers among the surest 1, 2, … n cases, averaged."""
    wrong = ~right[np.argsort(-confidences, kind="stable")]
    return float((wrong.cumsum() / np.arange(1, len(wrong) + 1)).mean())


def risk_coverage(cases: Sequence[tuple[float, bool]]) -> dict:
    """Share of wrong answers among the surest ones, for every share that is answered; cases are (confidence, right).

    `curve` holds coverage, risk and its interval; `area` is the mean risk over all coverages.
    """
    ordered = sorted(cases, key=lambda case: -case[0])
    wrong = np.cumsum([not right for _, right in ordered], dtype=int)
    curve = []
    for count in range(1, len(ordered) + 1):
        risk = Share(int(wrong[count - 1]), count)
        curve.append([count / len(ordered), risk.value, *risk.interval])
    at = {}
    for coverage in COVERAGES if ordered else ():
        count = max(1, round(coverage * len(ordered)))
        at[str(coverage)] = Share(int(wrong[count - 1]), count).as_dict()
    area = float(np.mean([risk for _, risk, _, _ in curve])) if curve else None
    return {"n": len(ordered), "curve": curve, "at": at, "area": area}


def reliability_bins(confidences: np.ndarray, right: np.ndarray) -> list[dict]:
    """For each of 15 equal bins of confidence that has cases: its mean confidence and the share that is right."""
    edges = np.linspace(0, 1, CALIBRATION_BINS + 1)
    places = np.clip(np.searchsorted(edges, confidences, side="left") - 1, 0, CALIBRATION_BINS - 1)
    return [
        {"from": edges[place], "to": edges[place + 1], "confidence": float(confidences[places == place].mean())}
        | share(right[places == place]).as_dict()
        for place in np.unique(places)
    ]


def bootstrap_interval(
    count: int, measure: Callable[[np.ndarray], float], rng: np.random.Generator
) -> list[float] | None:
    """95 % interval of `measure(rows)` over resampled rows of `count` cases; None where there are too few to say."""
    if count < 2:
        return None
    values = [measure(rng.integers(0, count, count)) for _ in range(RESAMPLES)]
    values = [value for value in values if not math.isnan(value)]
    return np.percentile(values, [2.5, 97.5]).tolist() if values else None


def _reliability(photos: Sequence[Judged], concept: str, rng: np.random.Generator) -> dict:
    cases = [(max(p.values()), truth.truth == max(p, key=p.__getitem__)) for p, _, truth in _read(photos, concept)]
    confidences, right = np.array([c for c, _ in cases], float), np.array([r for _, r in cases], bool)
    return {
        "n": len(cases),
        "bins": reliability_bins(confidences, right) if cases else [],
        "error": calibration_error(confidences, right) if cases else None,
        "error_by_chance": calibration_error_by_chance(confidences) if cases else None,
        "error_interval": bootstrap_interval(len(cases), lambda i: calibration_error(confidences[i], right[i]), rng),
    }


def _sets(photos: Sequence[Judged], concept: str, rng: np.random.Generator) -> dict:
    cases = list(_read(photos, concept))
    sizes = np.array([len(chosen) for _, chosen, _ in cases])
    covered = {
        value: share([value in chosen for _, chosen, truth in cases if truth.truth == value]).as_dict()
        for value in CLASSES[concept]
    }
    return {
        "n": len(cases),
        "sizes": [int((sizes == size).sum()) for size in range(1, len(CLASSES[concept]) + 1)],
        "mean_size": float(sizes.mean()) if len(sizes) else None,
        "mean_size_interval": bootstrap_interval(len(sizes), lambda i: float(sizes[i].mean()), rng),
        "covered": covered,
    }


def _read(photos: Sequence[Judged], concept: str):
    """Probabilities, set and truth of a concept for each part that was found."""
    for photo in photos:
        for subject, number in zip(photo.reading.subjects, photo.matches, strict=True):
            if number >= 0 and concept in subject.concepts:
                reading = subject.concepts[concept]
                yield reading.probabilities, reading.prediction_set, photo.record.subjects[number].concepts[concept]


def _answers(photos: Sequence[Judged], part: str, catalogue: Catalogue) -> list[tuple[float, bool]]:
    """(confidence, right) of each photo that shows the part or is answered as if; an unseen part is wrong at 0."""
    cases = []
    for photo in photos:
        kind = CONTROL_BOX if part == "generation" else "actuator_head"
        told = photo.answer.control_box if part == "generation" else photo.answer.actuator
        truth = photo.true_subject(kind)
        if truth is None and any(subject.kind == kind for subject in photo.record.subjects):
            continue  # several of a kind: no one answer is the right one
        if truth is None and told.favourite is None:
            continue
        allowed: tuple[str, ...] = ()
        if truth is not None and part == "generation":
            allowed = (true_generation(photo, catalogue),)
        elif truth is not None:
            reading = truth.concepts["lowering"]
            allowed = reading.possible if reading.visible else (reading.value,)
        confidence = told.probabilities[told.favourite] if told.favourite else 0.0
        cases.append((confidence, told.favourite in allowed))
    return cases


def _distance(photos: Sequence[Judged], concept: str) -> dict:
    """Right or not, by size of the evidence and by distance, of every visible and settled case; not found is wrong."""
    evidence, distance = [], []
    for photo in photos:
        scale = (EVIDENCE_WIDTH_PX / max(photo.record.width, photo.record.height)) ** 2
        for number, subject in enumerate(photo.record.subjects):
            truth = subject.concepts.get(concept)
            if truth is None or not truth.visible or len(truth.possible) > 1:
                continue
            right = _said(photo, number, subject, concept) == truth.value
            if truth.evidence_px:
                evidence.append((truth.evidence_px * scale, right))
            if photo.record.distance_m is not None:
                distance.append((photo.record.distance_m, right))
    by_evidence, by_distance = _binned(evidence, EVIDENCE_EDGES_PX), _binned(distance, DISTANCE_EDGES_M)
    return {
        "evidence": by_evidence,
        "distance": by_distance,
        "readable_from_px": _readable(by_evidence[::-1], "from"),
        "readable_to_m": _readable(by_distance, "to"),
    }


def _said(photo: Judged, number: int, subject: Subject, concept: str) -> str | None:
    if number not in photo.matches:
        return None
    probabilities = photo.reading.subjects[photo.matches.index(number)].concepts[concept].probabilities
    return max(probabilities, key=probabilities.__getitem__)


def _binned(cases: Sequence[tuple[float, bool]], edges: Sequence[float]) -> list[dict]:
    bins = []
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        inside = [right for value, right in cases if low <= value < high]
        bins.append({"from": low, "to": None if math.isinf(high) else high} | share(inside).as_dict())
    return bins


def _readable(easiest_first: Sequence[dict], end: str) -> float | None:
    """The hardest end of the bins that are right often enough, from the easiest on; bins of few cases do not count."""
    reached = None
    for row in easiest_first:
        if row["n"] < FEWEST_IN_BIN:
            continue
        if row["share"] < READABLE:
            break
        reached = row[end] if row[end] is not None else row["from"]
    return reached


def _conditions(photos: Sequence[Judged], catalogue: Catalogue) -> dict:
    names = sorted({name for photo in photos for name in photo.record.conditions})
    groups = {"none of these": [photo for photo in photos if not photo.record.conditions]}
    groups |= {name: [photo for photo in photos if name in photo.record.conditions] for name in names}
    framings = sorted({photo.record.framing for photo in photos} - {"none"})
    groups |= {f"framing: {name}": [p for p in photos if p.record.framing == name] for name in framings}
    return {name: _condition(group, catalogue) for name, group in groups.items()}


def _condition(photos: Sequence[Judged], catalogue: Catalogue) -> dict:
    found = figures(photos, catalogue)
    return {
        "photos": len(photos),
        "recall": found["finder"]["all"]["recall"],
        "generation": found["generation"]["right"],
        "lowering": found["lowering"]["right"],
        "confirmed_wrong": found["confirmed"]["wrong"],
    }


def _look_alikes(photos: Sequence[Judged], rng: np.random.Generator) -> dict:
    """How often a look-alike is taken for a part, and how well the surest part tells photos with a lift from others."""
    taken = [_taken(photo, box) for photo in photos for box in photo.record.look_alikes]
    surest = np.array([max((s.probability for s in photo.reading.subjects), default=0.0) for photo in photos])
    lift = np.array([bool(photo.record.subjects) for photo in photos], dtype=bool)
    empty = [not photo.reading.subjects for photo in photos if not photo.record.subjects]
    return {
        "taken_for_a_part": share(taken).as_dict(),
        "nothing_seen_where_nothing_is": share(empty).as_dict(),
        "photos_with_lift": int(lift.sum()),
        "photos_without": int((~lift).sum()),
        "auroc": area_under_roc(surest, lift),
        "auroc_interval": bootstrap_interval(len(lift), lambda i: area_under_roc(surest[i], lift[i]), rng),
        "false_positives_at_95_recall": false_positives_at_recall(surest, lift),
    }


def _taken(photo: Judged, box: tuple[float, float, float, float]) -> bool:
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    alarms = [s.box for s, n in zip(photo.reading.subjects, photo.matches, strict=True) if n < 0]
    return any(a[0] <= middle[0] <= a[2] and a[1] <= middle[1] <= a[3] for a in alarms)


def _unlisted(photos: Sequence[Judged], catalogue: Catalogue) -> dict:
    """What is decided on boxes that the catalogue lists, and on those that it does not."""
    rows: dict[str, dict] = {}
    for photo in photos:
        if photo.true_subject(CONTROL_BOX):
            name = "unlisted" if true_generation(photo, catalogue) == UNLISTED else "listed"
            row = rows.setdefault(name, {"n": 0, "decisions": {}, "confirmed_wrong": 0})
            decision = photo.answer.control_box.decision
            row["n"] += 1
            row["decisions"][decision] = row["decisions"].get(decision, 0) + 1
            row["confirmed_wrong"] += confirmed_and_wrong(photo, catalogue).get(CONTROL_BOX, False)
    return rows

"""Turn the exported networks' logits into honest probabilities, from a split that neither training nor reports use."""

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from classifier.calibration import concept_probabilities, told_apart
from classifier.finder import Finder
from classifier.model import METADATA_FILE, Model
from classifier.ours import FeatureSpace, Ours, logit
from classifier.reader import Reader
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, LEFT_OPEN, SUBJECTS
from synthetic_samples.scene.combinations import SHARE as COMBINATIONS_SHARE
from training.calibrate.collect import RawPhoto, collect_raw
from training.calibrate.conformal import fit_apart, fit_binary_temperature, fit_scaling, fit_temperature, set_thresholds
from training.calibrate.merging import fit_merging
from training.config import CLASSES, COVERAGE, KINDS, OTHER
from training.data.manifest import Reading, Record
from training.evaluate.measures import calibration_error
from training.nets.export import write_metadata
from training.ood.gate import (
    TOUCHES_NOTHING,
    Gate,
    calibrated,
    compare,
    fit_feature_space,
    fit_ours,
    store_feature_space,
)

LOWEST_BAR, HIGHEST_BAR = 0.001, 0.5
"""Of the finder; it only bounds the reader's work, and never throws away what may well be a part."""

LOWEST_THRESHOLD, HIGHEST_THRESHOLD = 0.05, 0.9
KEPT_BY_THE_FINDER = 0.99  # share of the subjects which it finds at all and the reader agrees on
TRAINING_PICTURES_FOR_FEATURES = 2000


def calibrate(
    weights: Path,
    calibration: Sequence[Record],
    training: Sequence[Record],
    workers: int,
    combinations: Sequence[dict[str, str]] = (),
) -> None:
    """Fit everything that turns logits into probabilities on `calibration`, and write it beside the networks.

    `training` only gives the feature space of what is not one of ours; without any, no score that needs it can serve.
    With `combinations` the values of a control box count as if half of the boxes were of these, all others of any.
    """
    raw, model = collect_raw(weights, calibration, workers), Model.load(weights)
    sample = list(training)[:: max(1, len(training) // TRAINING_PICTURES_FOR_FEATURES)]
    space = fit_feature_space(collect_raw(weights, sample, workers))
    metadata = json.loads((weights / METADATA_FILE).read_text())
    gate = _fit_gate(metadata, raw, calibration, space or FeatureSpace.unfitted())
    errors = _fit_concepts(metadata["reader"], raw, calibration, gate, combinations)
    served = replace(
        model,
        finder=Finder(model.finder.session, metadata["finder"]),
        reader=Reader(model.reader.session, metadata["reader"]),
        ours=gate.ours,
    )
    merging = fit_merging(raw, calibration, served)
    metadata["reader"] |= {"doubt": merging.doubt, "correlation": merging.correlation}
    metadata["metrics"]["calibration_split"] = {
        "pictures": len(calibration),
        "usable": sum(photo.quality.usable for photo in raw),
        "concepts": errors,
        "not_one_of_ours": compare(raw, [bool(record.subjects) for record in calibration], gate),
        "merging": merging.told,
    }
    metadata["ours"] |= store_feature_space(weights, gate.ours.space)
    write_metadata(weights, metadata)


def _fit_gate(metadata: dict, raw: Sequence[RawPhoto], records: Sequence[Record], space: FeatureSpace) -> Gate:
    """The finder's temperature and bars, the kinds' temperature and what tells ours from others, into the metadata."""
    finder, temperatures = metadata["finder"], metadata["reader"]["temperatures"]
    finder["temperature"] = _finder_temperature(raw)
    finder["thresholds"] = finder_bars(raw, finder["temperature"])
    temperatures["kind"] = fit_temperature(*_kind_cases(raw, finder))
    metadata["ours"] = fit_ours(raw, finder, temperatures["kind"], space)
    gate = Gate(finder, Ours(metadata["ours"], temperatures["kind"], space))
    metadata["ours"]["thresholds"] = thresholds(raw, records, gate)
    return gate


def _fit_concepts(
    reader: dict,
    raw: Sequence[RawPhoto],
    records: Sequence[Record],
    gate: Gate,
    combinations: Sequence[dict[str, str]],
) -> dict:
    """The recipe of every concept: temperature, offsets, what tells open values apart, set thresholds, mix of values,
    and how often each is hidden.

    Returns what is left of calibration error.
    """
    errors = {}
    for concept in CONCEPTS:
        logits, truths, values = concept_cases(raw, records, concept, gate)
        met = _mix(concept, records)
        wanted = _wanted_mix(concept, combinations) or met
        weights = np.array([wanted[value] / met[value] for value in values])
        weights /= weights.mean() if len(weights) else 1.0
        fit_concept(reader, concept, logits, truths, weights)
        probabilities = concept_probabilities(logits, concept, reader)
        reader["concept_priors"][concept] = wanted
        reader["hidden_shares"][concept] = hidden_shares(concept, records)
        reader["set_thresholds"][concept] = set_thresholds(probabilities, truths, CLASSES[concept], COVERAGE, weights)
        right = probabilities.argmax(axis=1) == truths
        error = calibration_error(probabilities.max(axis=1), right, weights=weights)
        errors[concept] = {"n": len(truths), "calibration_error": error}
    reader["coverage"] = COVERAGE
    return errors


def fit_concept(
    reader: dict, concept: str, logits: np.ndarray, truths: np.ndarray, weights: np.ndarray | None = None
) -> None:
    """What turns a concept's logits (n, k) into probabilities, from true columns (n,), into the reader's recipe.

    `weights` (n,) as for `training.calibrate.conformal`.
    """
    told = logits
    if concept in LEFT_OPEN:
        pair = tuple(CLASSES[concept].index(value) for value in LEFT_OPEN[concept])
        reader["apart"][concept] = fit_apart(logits, truths, pair, weights)
        told = told_apart(logits, pair, reader["apart"][concept])
    reader["temperatures"][concept], offsets = fit_scaling(told, truths, weights)
    reader["offsets"][concept] = dict(zip(CLASSES[concept], offsets.tolist(), strict=True))


def _mix(concept: str, records: Sequence[Record]) -> dict[str, float]:
    """How often each value is met in these pictures, in view or not; one more of each."""
    met = Counter(reading.value for reading in _true_readings(concept, records))
    total = sum(met.values()) + len(CONCEPTS[concept])
    return {value: (met[value] + 1) / total for value in CONCEPTS[concept]}


def _wanted_mix(concept: str, combinations: Sequence[dict[str, str]]) -> dict[str, float]:
    """How often each value is to count; empty where the pictures decide."""
    if not combinations or concept not in combinations[0]:
        return {}
    own = Counter(row[concept] for row in combinations)
    any_share = (1 - COMBINATIONS_SHARE) / len(CONCEPTS[concept])
    return {v: any_share + COMBINATIONS_SHARE * own[v] / len(combinations) for v in CONCEPTS[concept]}


def hidden_shares(concept: str, records: Sequence[Record]) -> dict[str, float]:
    """How often each value is not visible where its subject is in these pictures; one more of either."""
    readings, shares = _true_readings(concept, records), {}
    for value in CONCEPTS[concept]:
        hidden = [not reading.visible for reading in readings if reading.value == value]
        shares[value] = (sum(hidden) + 1) / (len(hidden) + 2)
    return shares


def _true_readings(concept: str, records: Sequence[Record]) -> list[Reading]:
    """What a concept truly is, wherever it applies, found or not."""
    return [s.concepts[concept] for record in records for s in record.subjects if concept in s.concepts]


def finder_bars(raw: Sequence[RawPhoto], temperature: float) -> dict[str, float]:
    """For each kind the bar that nearly all boxes reach which hold a subject of it, as finder and reader agree."""
    bars = {}
    for kind in SUBJECTS:
        hits = [s.probability for p in raw for s in p.found if s.kind == kind and s.agreed and s.matched >= 0]
        reached = np.sort(calibrated(hits, temperature))
        bar = reached[int((1 - KEPT_BY_THE_FINDER) * len(reached))] if len(reached) else HIGHEST_BAR
        bars[kind] = float(np.clip(bar, LOWEST_BAR, HIGHEST_BAR))
    return bars


def thresholds(raw: Sequence[RawPhoto], records: Sequence[Record], gate: Gate) -> dict[str, float]:
    """For each kind the probability from which on a box is answered: that of the best F1 over usable pictures."""
    found = {}
    for kind in SUBJECTS:
        truths = sum(s.kind == kind for p, r in zip(raw, records, strict=True) if p.quality.usable for s in r.subjects)
        boxes = [s for photo in raw for s in gate.proposed(photo) if s.kind == kind and s.agreed]
        likely = gate.probabilities(boxes)
        order = np.argsort(-likely, kind="stable")
        hits = np.cumsum([boxes[place].matched >= 0 for place in order])
        scores = 2 * hits / (np.arange(1, len(order) + 1) + max(truths, 1))
        best = _between(likely[order], int(scores.argmax())) if len(order) and truths else 0.5
        found[kind] = float(np.clip(best, LOWEST_THRESHOLD, HIGHEST_THRESHOLD))
    return found


def concept_cases(
    raw: Sequence[RawPhoto], records: Sequence[Record], concept: str, gate: Gate
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Logits (n, k), true columns (n,) and values, in view or not, of one concept, over subjects that are answered.

    What a picture leaves open counts by what is true, too: how sure it makes one is how often one is right.
    """
    classes = CLASSES[concept]
    logits, truths, values = [], [], []
    for photo, record in zip(raw, records, strict=True):
        for subject in gate.accepted(photo):
            if subject.matched < 0 or concept not in CONCEPTS_OF[subject.kind]:
                continue
            told = record.subjects[subject.matched].concepts[concept]
            logits.append(subject.logits[concept])
            truths.append(classes.index(told.truth))
            values.append(told.value)
    return np.array(logits).reshape(len(logits), len(classes)), np.array(truths, dtype=int), values


def _finder_temperature(raw: Sequence[RawPhoto]) -> float:
    boxes = [s for photo in raw for s in photo.found]
    return fit_binary_temperature(logit([s.probability for s in boxes]), np.array([s.matched >= 0 for s in boxes]))


def _kind_cases(raw: Sequence[RawPhoto], finder: dict) -> tuple[np.ndarray, np.ndarray]:
    """Kind logits and true columns of what the finder proposes: its subject, or `other` where it touches none."""
    logits, truths = [], []
    bars, boxes = finder["thresholds"], [s for photo in raw for s in photo.found]
    likely = calibrated([s.probability for s in boxes], finder["temperature"])
    for subject in (s for s, p in zip(boxes, likely, strict=True) if p >= bars[s.kind]):
        if subject.matched >= 0 or subject.touches < TOUCHES_NOTHING:
            logits.append(subject.logits["kind"])
            truths.append(KINDS.index(subject.kind if subject.matched >= 0 else OTHER))
    return np.array(logits).reshape(-1, len(KINDS)), np.array(truths, int)


def _between(descending: np.ndarray, place: int) -> float:
    """A bar half way between the last probability that is kept and the first that is not."""
    below = descending[place + 1] if place + 1 < len(descending) else 0.0
    return float((descending[place] + below) / 2)

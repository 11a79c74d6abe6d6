"""Turn the exported networks' logits into honest probabilities, from a split that neither training nor reports use."""

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from classifier.calibration import sigmoid, softmax
from classifier.model import METADATA_FILE
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, SUBJECTS
from training.collect import RawPhoto, RawSubject, collect_raw
from training.config import CLASSES, COVERAGE, KINDS, OTHER
from training.conformal import fit_binary_temperature, fit_temperature, set_thresholds
from training.export import write_metadata
from training.manifest import Record
from training.measures import calibration_error
from training.ood import TOUCHES_NOTHING, FeatureSpace, compare, fit_feature_space

LOWEST_THRESHOLD, HIGHEST_THRESHOLD = 0.05, 0.9
TRAINING_PICTURES_FOR_FEATURES = 2000


def calibrate(weights: Path, calibration: Sequence[Record], training: Sequence[Record], workers: int) -> FeatureSpace:
    """Fit temperatures, finder thresholds and set thresholds on `calibration`, and write them into model.json.

    `training` only gives the feature space of the out-of-distribution comparison, which is returned.
    """
    raw = collect_raw(weights, calibration, workers)
    sample = list(training)[:: max(1, len(training) // TRAINING_PICTURES_FOR_FEATURES)]
    space = fit_feature_space(collect_raw(weights, sample, workers))
    metadata = json.loads((weights / METADATA_FILE).read_text())
    finder, reader = metadata["finder"], metadata["reader"]
    finder["temperature"] = _finder_temperature(raw)
    finder["thresholds"] = finder_thresholds(raw, calibration, finder["temperature"])
    bars = raw_bars(finder["thresholds"], finder["temperature"])
    reader["temperatures"]["kind"] = fit_temperature(*_kind_cases(raw, bars))
    errors = {}
    for concept in CONCEPTS:
        logits, targets, truths = concept_cases(raw, calibration, concept, bars)
        temperature = fit_temperature(logits, targets)
        probabilities = softmax(logits, temperature)
        reader["temperatures"][concept] = temperature
        reader["set_thresholds"][concept] = set_thresholds(probabilities, truths, CLASSES[concept], COVERAGE)
        right = probabilities.argmax(axis=1) == truths
        errors[concept] = {"n": len(truths), "calibration_error": calibration_error(probabilities.max(axis=1), right)}
    reader["coverage"] = COVERAGE
    metadata["metrics"]["calibration_split"] = {
        "pictures": len(calibration),
        "usable": sum(photo.usable for photo in raw),
        "concepts": errors,
        "not_one_of_ours": compare(raw, space, reader["temperatures"]["kind"], bars),
    }
    write_metadata(weights, metadata)
    return space


def finder_thresholds(raw: Sequence[RawPhoto], records: Sequence[Record], temperature: float) -> dict[str, float]:
    """For each kind the bar with the best F1 of boxes that the reader agrees with, over usable pictures."""
    thresholds = {}
    for kind in SUBJECTS:
        truths = sum(s.kind == kind for p, r in zip(raw, records, strict=True) if p.usable for s in r.subjects)
        boxes = [s for photo in raw for s in photo.found if s.kind == kind and s.agreed]
        order = sorted(boxes, key=lambda s: -s.probability)
        probabilities = calibrated_finder([s.probability for s in order], temperature)
        hits = np.cumsum([s.matched >= 0 for s in order])
        scores = 2 * hits / (np.arange(1, len(order) + 1) + max(truths, 1))
        best = _between(probabilities, int(scores.argmax())) if len(order) and truths else 0.5
        thresholds[kind] = float(np.clip(best, LOWEST_THRESHOLD, HIGHEST_THRESHOLD))
    return thresholds


def calibrated_finder(probabilities: Sequence[float], temperature: float) -> np.ndarray:
    """Uncalibrated finder probabilities under a temperature."""
    return sigmoid(_logits(probabilities), temperature)


def raw_bars(thresholds: dict[str, float], temperature: float) -> dict[str, float]:
    """Thresholds on calibrated probabilities as bars on uncalibrated ones, with which `RawSubject`s are compared."""
    return {kind: float(sigmoid(_logits([bar]) * temperature, 1.0)[0]) for kind, bar in thresholds.items()}


def concept_cases(
    raw: Sequence[RawPhoto], records: Sequence[Record], concept: str, bars: dict[str, float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Logits (n, k), soft targets (n, k) and true columns (n,) of one concept, over subjects found and agreed on."""
    classes = CLASSES[concept]
    logits, targets, truths = [], [], []
    for photo, record in zip(raw, records, strict=True):
        for subject in accepted(photo, bars):
            if subject.matched < 0 or concept not in CONCEPTS_OF[subject.kind]:
                continue
            reading = record.subjects[subject.matched].concepts[concept]
            open_values = reading.possible if reading.visible else (reading.truth,)
            logits.append(subject.logits[concept])
            targets.append([(value in open_values) / len(open_values) for value in classes])
            truths.append(classes.index(reading.truth))
    shape = (len(logits), len(classes))
    return np.array(logits).reshape(shape), np.array(targets, float).reshape(shape), np.array(truths, dtype=int)


def accepted(photo: RawPhoto, bars: dict[str, float]) -> list[RawSubject]:
    """The boxes over the finder's bar whose kind the reader agrees with."""
    return [s for s in photo.found if s.probability >= bars[s.kind] and s.agreed]


def _finder_temperature(raw: Sequence[RawPhoto]) -> float:
    boxes = [s for photo in raw for s in photo.found]
    return fit_binary_temperature(_logits([s.probability for s in boxes]), np.array([s.matched >= 0 for s in boxes]))


def _kind_cases(raw: Sequence[RawPhoto], bars: dict[str, float]) -> tuple[np.ndarray, np.ndarray]:
    """Kind logits and one-hot truths of what the finder proposes: its subject, or `other` where it touches none."""
    logits, targets = [], []
    for subject in (s for photo in raw for s in photo.found if s.probability >= bars[s.kind]):
        if subject.matched >= 0 or subject.touches < TOUCHES_NOTHING:
            truth = subject.kind if subject.matched >= 0 else OTHER
            logits.append(subject.logits["kind"])
            targets.append([kind == truth for kind in KINDS])
    return np.array(logits).reshape(-1, len(KINDS)), np.array(targets, float).reshape(-1, len(KINDS))


def _between(descending: np.ndarray, place: int) -> float:
    """A bar half way between the last probability that is kept and the first that is not."""
    below = descending[place + 1] if place + 1 < len(descending) else 0.0
    return float((descending[place] + below) / 2)


def _logits(probabilities: Sequence[float]) -> np.ndarray:
    clipped = np.clip(np.asarray(probabilities, dtype=np.float64), 1e-9, 1 - 1e-9)
    return np.log(clipped) - np.log1p(-clipped)

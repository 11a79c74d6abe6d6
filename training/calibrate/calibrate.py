"""Turn the exported networks' logits into honest probabilities, from a split that neither training nor reports use."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from classifier.accept import Acceptance
from classifier.calibration import concept_probabilities, pairwise_calibrated
from classifier.distribution import FeatureSpace, logit
from classifier.finder import Finder
from classifier.model import Model
from classifier.reader import Reader
from classifier.recipe import CLASSES, KINDS, OTHER, ConceptRecipe, FinderRecipe, Pictures, Provenance, Recipe, Scaling
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, LEFT_OPEN, SUBJECTS
from synthetic_samples.scene.combinations import SHARE as COMBINATIONS_SHARE
from training.calibrate.conformal import (
    fit_binary_temperature,
    fit_pairwise,
    fit_scaling,
    fit_temperature,
    set_thresholds,
)
from training.calibrate.merging import Merging, fit_merging
from training.config import COVERAGE
from training.data.manifest import Reading, Record
from training.measure.collect import RawPhoto, collect_raw
from training.measure.measures import calibration_error
from training.nets.features import store_feature_space
from training.ood.gate import (
    TOUCHES_NOTHING,
    Gate,
    calibrated,
    fit_feature_space,
    fit_joint,
    separations,
    undecided,
)

LOWEST_OF_FINDER, HIGHEST_OF_FINDER = 0.001, 0.5
"""Thresholds of the finder; they only bound the reader's work, and never throw away what may well be a part."""

LOWEST_THRESHOLD, HIGHEST_THRESHOLD = 0.05, 0.9
KEPT_BY_THE_FINDER = 0.99  # share of the subjects which it finds at all and the reader agrees on
ANSWERED_STILL = 0.995  # share of the subjects that are answered, which the finder's own thresholds leave so
TRAINING_PICTURES_FOR_FEATURES = 2000


def calibrate(
    weights: Path,
    calibration: Sequence[Record],
    training: Sequence[Record],
    workers: int,
    combinations: Sequence[dict[str, str]] = (),
    told: tuple[Pictures, str] | None = None,
) -> None:
    """Fit everything that turns logits into probabilities on `calibration`, and write it beside the networks.

    `training` only gives the feature space of what is in distribution; without any, the finder alone decides. With
    `combinations` the values of a control box count as if half of the boxes were of these, all others of any. `told` is
    what the metadata says of it: the calibration pictures, and the command that was typed.
    """
    raw, model = collect_raw(weights, calibration, workers), Model.load(weights)
    sample = list(training)[:: max(1, len(training) // TRAINING_PICTURES_FOR_FEATURES)]
    space = fit_feature_space(collect_raw(weights, sample, workers)) or FeatureSpace.unfitted()
    gate = fit_gate(model.finder.recipe, raw, calibration, space)
    temperature = fit_temperature(*_kind_cases(raw, gate.finder))
    concepts, errors = fit_concepts(raw, calibration, gate, combinations)
    reader = model.reader.recipe.with_(kind_temperature=temperature, concepts=concepts, coverage=COVERAGE)
    served = replace(
        model,
        finder=Finder(model.finder.session, gate.finder),
        reader=Reader(model.reader.session, reader),
        acceptance=gate.acceptance,
    )
    merging = fit_merging(raw, calibration, served)
    measured = _measured(raw, calibration, errors, gate, merging)
    stored = store_feature_space(weights, space)
    recipe: Recipe = model.recipe.with_(
        finder=gate.finder,
        reader=reader.with_(doubt=merging.doubt, correlation=merging.correlation),
        in_distribution=gate.acceptance.recipe.with_(**stored),
        metrics=model.recipe.metrics | {"calibration_split": measured},
        provenance=_signed(model.recipe.provenance, told),
    )
    recipe.write(weights)


def _measured(raw: Sequence[RawPhoto], records: Sequence[Record], errors: dict, gate: Gate, merging: Merging) -> dict:
    """What the metadata tells of the calibration split."""
    return {
        "pictures": len(records),
        "usable": sum(photo.quality.usable for photo in raw),
        "concepts": errors,
        "out_of_distribution": separations(raw, [bool(record.subjects) for record in records], gate),
        "merging": merging.told,
    }


def _signed(provenance: Provenance, told: tuple[Pictures, str] | None) -> Provenance:
    if told is None:
        return provenance
    pictures, command = told
    return provenance.with_(
        pictures=provenance.pictures | {"calibration": pictures},
        commands=(provenance.commands or {}) | {"calibrate": command},
    )


def fit_gate(recipe: FinderRecipe, raw: Sequence[RawPhoto], records: Sequence[Record], space: FeatureSpace) -> Gate:
    """The finder's temperature and thresholds, the joint probability, and the thresholds from which it is answered."""
    temperature = _finder_temperature(raw)
    finder = recipe.with_(temperature=temperature, thresholds=finder_thresholds(raw, temperature))
    joint = undecided(finder).with_(weights=fit_joint(raw, finder, space))
    gate = Gate(finder, Acceptance(joint, space))
    gate = Gate(finder, Acceptance(joint.with_(thresholds=thresholds(raw, records, gate)), space))
    return replace(gate, finder=finder.with_(thresholds=thresholds_that_matter(raw, gate)))


def fit_concepts(
    raw: Sequence[RawPhoto], records: Sequence[Record], gate: Gate, combinations: Sequence[dict[str, str]]
) -> tuple[dict[str, ConceptRecipe], dict]:
    """The recipe of every concept, and what is left of calibration error."""
    recipes, errors = {}, {}
    for concept in CONCEPTS:
        logits, truths, values = concept_cases(raw, records, concept, gate)
        met = _priors(concept, records)
        wanted = _target_priors(concept, combinations) or met
        weights = np.array([wanted[value] / met[value] for value in values])
        weights /= weights.mean() if len(weights) else 1.0
        scaling = fit_concept(concept, logits, truths, weights)
        probabilities = concept_probabilities(logits, concept, scaling)
        recipes[concept] = ConceptRecipe(
            **scaling.model_dump(),
            values=CLASSES[concept],
            set_thresholds=set_thresholds(probabilities, truths, CLASSES[concept], COVERAGE, weights),
            priors=wanted,
            hidden_shares=hidden_shares(concept, records),
        )
        right = probabilities.argmax(axis=1) == truths
        error = calibration_error(probabilities.max(axis=1), right, weights=weights)
        errors[concept] = {"n": len(truths), "calibration_error": error}
    return recipes, errors


def fit_concept(concept: str, logits: np.ndarray, truths: np.ndarray, weights: np.ndarray | None = None) -> Scaling:
    """What turns a concept's logits (n, k) into probabilities, from true columns (n,).

    `weights` (n,) as for `training.calibrate.conformal`.
    """
    told, pairwise = logits, 0.0
    if concept in LEFT_OPEN:
        pair = tuple(CLASSES[concept].index(value) for value in LEFT_OPEN[concept])
        pairwise = fit_pairwise(logits, truths, pair, weights)
        told = pairwise_calibrated(logits, pair, pairwise)
    temperature, offsets = fit_scaling(told, truths, weights)
    by_value = dict(zip(CLASSES[concept], offsets.tolist(), strict=True))
    return Scaling(temperature=temperature, offsets=by_value, pairwise=pairwise)


def _priors(concept: str, records: Sequence[Record]) -> dict[str, float]:
    """How often each value is met in these pictures, in view or not; one more of each."""
    met = Counter(reading.value for reading in _true_readings(concept, records))
    total = sum(met.values()) + len(CONCEPTS[concept])
    return {value: (met[value] + 1) / total for value in CONCEPTS[concept]}


def _target_priors(concept: str, combinations: Sequence[dict[str, str]]) -> dict[str, float]:
    """How often each value is to count after label shift; empty where the pictures decide."""
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


def finder_thresholds(raw: Sequence[RawPhoto], temperature: float) -> dict[str, float]:
    """For each kind the threshold that nearly all boxes reach which hold a subject of it, as both networks agree."""
    found = {}
    for kind in SUBJECTS:
        hits = [s.probability for p in raw for s in p.found if s.kind == kind and s.agreed and s.matched >= 0]
        found[kind] = _reached(calibrated(hits, temperature), KEPT_BY_THE_FINDER, LOWEST_OF_FINDER)
    return found


def _reached(probabilities: np.ndarray, share: float, least: float) -> float:
    """What this share of probabilities (n,) reaches, between `least` and the highest of the finder; it, where none."""
    ordered = np.sort(probabilities)
    reached = ordered[int((1 - share) * len(ordered))] if len(ordered) else HIGHEST_OF_FINDER
    return float(np.clip(reached, least, HIGHEST_OF_FINDER))


def thresholds_that_matter(raw: Sequence[RawPhoto], gate: Gate) -> dict[str, float]:
    """The gate's thresholds of the finder, raised for kinds of which nothing is read to what those answered reach.

    What lies under them is read for nothing, nearly always: the joint probability turns it away. Of boxes and heads all
    stay: in another renderer the finder is less sure of them than on calibration renders.
    """
    right = [s for photo in raw for s in gate.accepted(photo) if s.matched >= 0]
    found = dict(gate.finder.thresholds)
    for kind in {s.kind for s in right if not CONCEPTS_OF.get(s.kind)}:
        likely = np.array([gate.found(s).probability for s in right if s.kind == kind])
        found[kind] = _reached(likely, ANSWERED_STILL, found[kind])
    return found


def thresholds(raw: Sequence[RawPhoto], records: Sequence[Record], gate: Gate) -> dict[str, float]:
    """For each kind the probability from which on a box is answered: that of the best F1 over usable pictures.

    Of boxes on one thing the likeliest alone is judged, as in serving.
    """
    judged = [pair for photo in raw for pair in gate.candidates(photo)]
    found = {}
    for kind in SUBJECTS:
        truths = sum(s.kind == kind for p, r in zip(raw, records, strict=True) if p.quality.usable for s in r.subjects)
        own = [(box, probability) for box, probability in judged if box.kind == kind]
        likely = np.array([probability for _, probability in own])
        order = np.argsort(-likely, kind="stable")
        hits = np.cumsum([own[place][0].matched >= 0 for place in order])
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


def _kind_cases(raw: Sequence[RawPhoto], finder: FinderRecipe) -> tuple[np.ndarray, np.ndarray]:
    """Kind logits and true columns of what the finder proposes: its subject, or `other` where it touches none."""
    logits, truths = [], []
    boxes = [s for photo in raw for s in photo.found]
    likely = calibrated([s.probability for s in boxes], finder.temperature)
    for subject in (s for s, p in zip(boxes, likely, strict=True) if p >= finder.thresholds[s.kind]):
        if subject.matched >= 0 or subject.touches < TOUCHES_NOTHING:
            logits.append(subject.logits["kind"])
            truths.append(KINDS.index(subject.kind if subject.matched >= 0 else OTHER))
    return np.array(logits).reshape(-1, len(KINDS)), np.array(truths, int)


def _between(descending: np.ndarray, place: int) -> float:
    """A threshold half way between the last probability that is kept and the first that is not."""
    below = descending[place + 1] if place + 1 < len(descending) else 0.0
    return float((descending[place] + below) / 2)

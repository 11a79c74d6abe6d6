"""Not one of ours: numbers that tell lift parts from look-alikes, compared on the same pictures; the best one serves.

The numbers are `classifier.ours.SCORES`. A number is joined with the finder's log odds by logistic regression over what
the finder proposes in the calibration split; what joins to the largest area under ROC there is served.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from classifier.finder import Found
from classifier.model import Model
from classifier.ours import NEED_FEATURES, SCORES, FeatureSpace, Ours, logit
from classifier.reader import FEATURES
from classifier.taxonomy import SUBJECTS
from training.calibrate.collect import RawPhoto, RawSubject
from training.evaluate.measures import area_under_roc, false_positives_at_recall

FEATURES_FILE = "features.npy"
RIDGE = 2.0  # of the mean variance, added to a covariance; of 0.05, 0.5 and 2 the best on calibration renders
SMALLEST_RIDGE = 1e-6
TOUCHES_NOTHING = 0.2  # IoU under which a found box holds no subject
PENALTY = 1e-3  # on the squares of standardised weights, so that few or separable cases leave them finite


@dataclass(frozen=True)
class Gate:
    """What serving does with the finder's boxes, for boxes of raw probability; `finder` is the metadata's recipe."""

    finder: dict
    ours: Ours

    @classmethod
    def of(cls, model: Model) -> "Gate":
        """The gate of a model as it is served."""
        return cls(dict(model.finder.recipe), model.ours)

    def found(self, subject: RawSubject) -> Found:
        """The box as the served finder proposes it."""
        return Found(subject.kind, subject.box, float(calibrated([subject.probability], self.finder["temperature"])[0]))

    def proposed(self, photo: RawPhoto) -> list[RawSubject]:
        """The boxes over the finder's bar."""
        return [s for s in photo.found if self.found(s).probability >= self.finder["thresholds"][s.kind]]

    def accepted(self, photo: RawPhoto) -> list[RawSubject]:
        """The boxes that are answered as one of ours."""
        agreed = [s for s in self.proposed(photo) if s.agreed]
        bars = [self.ours.recipe["thresholds"][s.kind] for s in agreed]
        return [s for s, p, bar in zip(agreed, self.probabilities(agreed), bars, strict=True) if p >= bar]

    def probabilities(self, subjects: Sequence[RawSubject]) -> np.ndarray:
        """The served probability (n,) of being one of ours."""
        return self.ours.probability(*self.inputs(subjects))

    def inputs(self, subjects: Sequence[RawSubject]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Kind logits (n, K + 1), features (n, F) and calibrated finder probabilities (n,)."""
        kinds, features = _outputs(subjects, self.ours.space)
        return kinds, features, calibrated([s.probability for s in subjects], self.finder["temperature"])


def calibrated(probabilities: Sequence[float], temperature: float) -> np.ndarray:
    """Uncalibrated finder probabilities under a temperature."""
    return 1.0 / (1.0 + np.exp(-logit(np.asarray(probabilities, np.float64)) / temperature))


# Fitting --------------------------------------------------------------------------------------------------------------


def fit_feature_space(raw: Sequence[RawPhoto]) -> FeatureSpace | None:
    """Means and covariances over what was found in these pictures; None without any subject among it.

    Rounded to what is stored, so that what is fitted on top of it meets what is served.
    """
    ours = [subject for photo in raw for subject in photo.found if subject.matched >= 0]
    if not ours:
        return None
    every = [subject for photo in raw for subject in (*photo.found, *photo.look_alikes)]
    features, everything = (
        np.array([subject.logits[FEATURES] for subject in group], dtype=np.float64) for group in (ours, every)
    )
    kinds = np.array([SUBJECTS.index(subject.kind) for subject in ours])
    present = np.unique(kinds).tolist()
    means = np.array([features[kinds == kind].mean(axis=0) for kind in present])
    gaps = features - means[[present.index(kind) for kind in kinds]]
    middle = everything.mean(axis=0)
    return FeatureSpace.from_bytes(FeatureSpace(means, _factor(gaps), middle, _factor(everything - middle)).to_bytes())


def store_feature_space(weights: Path, space: FeatureSpace) -> dict[str, str]:
    """Write a feature space beside the networks; returns what the metadata says of its file."""
    data = space.to_bytes()
    (weights / FEATURES_FILE).write_bytes(data)
    return {"file": FEATURES_FILE, "sha256": hashlib.sha256(data).hexdigest()}


def fit_ours(raw: Sequence[RawPhoto], finder: dict, temperature: float, space: FeatureSpace) -> dict:
    """The recipe `ours` without its thresholds: which score serves, and each one's weights beside the finder.

    Cases are the boxes over the finder's bar on which the reader agrees: subjects, and what touches none.
    """
    names = [name for name in SCORES if space.fitted or name not in NEED_FEATURES]
    gate = Gate(finder, Ours({"score": names[0], "weights": {}}, temperature, space))
    cases = _told_apart([s for photo in raw for s in gate.proposed(photo) if s.agreed])
    truths = np.array([s.matched >= 0 for s in cases], dtype=bool)
    if not 0 < truths.sum() < len(truths):
        return {"score": names[0], "weights": dict.fromkeys(names, [0.0, 1.0, 0.0])}
    kinds, features, found = gate.inputs(cases)
    weights, areas = {}, {}
    for name in names:
        columns = np.column_stack([logit(found), gate.ours.number(name, kinds, features)])
        weights[name] = fit_logistic(columns, truths)
        joined = weights[name][0] + columns @ weights[name][1:]
        areas[name] = area_under_roc(joined, truths)
    return {"score": max(names, key=lambda name: areas[name]), "weights": weights}


def fit_logistic(columns: np.ndarray, truths: np.ndarray) -> list[float]:
    """Offset and weights of the logistic regression of truths (n,) on columns (n, k), hardly penalised."""
    middle, spread = columns.mean(axis=0), columns.std(axis=0) + 1e-9
    standard = np.column_stack([np.ones(len(columns)), (columns - middle) / spread])
    signs = np.where(truths, 1.0, -1.0)

    def cost(weights: np.ndarray) -> tuple[float, np.ndarray]:
        margins = signs * (standard @ weights)
        slope = -signs / (1 + np.exp(np.clip(margins, -60, 60)))
        gradient = standard.T @ slope / len(columns) + 2 * PENALTY * np.r_[0, weights[1:]]
        return float(np.logaddexp(0, -margins).mean() + PENALTY * (weights[1:] ** 2).sum()), gradient

    found = minimize(cost, np.zeros(standard.shape[1]), jac=True, method="L-BFGS-B").x
    slopes = found[1:] / spread
    return [float(found[0] - slopes @ middle), *slopes.tolist()]


# Comparing ------------------------------------------------------------------------------------------------------------


def compare(raw: Sequence[RawPhoto], lift: Sequence[bool], gate: Gate) -> dict:
    """How well every score tells ours from others: area under ROC and false positives at 95 % recall.

    `alone`: subjects against look-alikes and false alarms, crops by the bare score. `joined`: the boxes on which both
    networks agree, by the score joined with the finder. `whole_photos`: photos with a lift part (`lift`) against
    others, by their surest joined box.
    """
    boxes = [_told_apart(gate.proposed(photo)) for photo in raw]
    crops = [s for group in boxes for s in group] + [s for photo in raw for s in photo.look_alikes]
    agreed = [(n, s) for n, photo in enumerate(raw) for s in gate.proposed(photo) if s.agreed]
    judged = [n for n, (_, s) in enumerate(agreed) if _told_apart([s])]
    shows = np.array(lift, dtype=bool)
    kinds_of_crops, inputs = _outputs(crops, gate.ours.space), gate.inputs([s for _, s in agreed])
    scores = {}
    for name in gate.ours.recipe["weights"]:
        joined = gate.ours.log_odds(name, *inputs)
        surest = np.full(len(raw), -np.inf)
        np.maximum.at(surest, [n for n, _ in agreed], joined)
        scores[name] = {
            "alone": _separation(gate.ours.number(name, *kinds_of_crops), [s.matched >= 0 for s in crops]),
            "joined": _separation(joined[judged], [agreed[n][1].matched >= 0 for n in judged]),
            "whole_photos": _separation(surest, shows),
        }
    return {"served": gate.ours.recipe["score"], "scores": scores}


def _separation(numbers: np.ndarray, positive: Sequence[bool] | np.ndarray) -> dict:
    positive = np.asarray(positive, dtype=bool)
    return {
        "ours": int(positive.sum()),
        "others": int((~positive).sum()),
        "auroc": area_under_roc(numbers, positive),
        "false_positives_at_95_recall": false_positives_at_recall(numbers, positive),
    }


def _told_apart(subjects: Sequence[RawSubject]) -> list[RawSubject]:
    """Without the boxes that hold half a subject: they are neither."""
    return [s for s in subjects if s.matched >= 0 or s.touches < TOUCHES_NOTHING]


def _outputs(subjects: Sequence[RawSubject], space: FeatureSpace) -> tuple[np.ndarray, np.ndarray]:
    """Kind logits (n, K + 1) and features (n, F), also of no subjects at all."""
    kinds = np.array([s.logits["kind"] for s in subjects], np.float64).reshape(-1, len(SUBJECTS) + 1)
    features = [s.logits[FEATURES] for s in subjects]
    return kinds, np.array(features, np.float64) if features else np.zeros((0, space.means.shape[1]))


def _factor(gaps: np.ndarray) -> np.ndarray:
    """A in the inverse covariance A A' of gaps (n, F), whose variance is raised by the ridge."""
    covariance = gaps.T @ gaps / len(gaps)
    covariance += np.eye(len(covariance)) * (RIDGE * np.trace(covariance) / len(covariance) + SMALLEST_RIDGE)
    return np.linalg.cholesky(np.linalg.inv(covariance))

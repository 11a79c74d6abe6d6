"""In distribution or not: fitted on the calibration split, judged anywhere.

The relative distance of the reader's features (`classifier.distribution`) is joined with the finder's log odds by
logistic regression over what the finder proposes. Why this distance: experiments, "ood-joint-probability".
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from classifier.accept import Acceptance, one_thing_once
from classifier.distribution import FeatureSpace, logit
from classifier.finder import Found
from classifier.model import Model
from classifier.reader import FEATURES
from classifier.recipe import DistributionRecipe, FinderRecipe
from classifier.taxonomy import SUBJECTS
from training.measure.collect import RawPhoto, RawSubject
from training.measure.measures import area_under_roc, false_positives_at_recall
from training.nets.features import FEATURES_FILE, FINDER_ALONE

RIDGE = 2.0  # of the mean variance, added to a covariance; of 0.05, 0.5 and 2 the best on calibration renders
SMALLEST_RIDGE = 1e-6
TOUCHES_NOTHING = 0.2  # IoU under which a found box holds no subject
PENALTY = 1e-3  # on the squares of standardised weights, so that few or separable cases leave them finite


@dataclass(frozen=True)
class Gate:
    """What serving does with the finder's boxes, for boxes of raw probability."""

    finder: FinderRecipe
    acceptance: Acceptance

    @classmethod
    def of(cls, model: Model) -> "Gate":
        """The gate of a model as it is served."""
        return cls(model.finder.recipe, model.acceptance)

    def found(self, subject: RawSubject) -> Found:
        """The box as the served finder proposes it."""
        return Found(subject.kind, subject.box, float(calibrated([subject.probability], self.finder.temperature)[0]))

    def proposed(self, photo: RawPhoto) -> list[RawSubject]:
        """The boxes over the finder's threshold."""
        return [s for s in photo.found if self.found(s).probability >= self.finder.thresholds[s.kind]]

    def accepted(self, photo: RawPhoto) -> list[RawSubject]:
        """The boxes that are answered, by the very rule that serves."""
        proposed, found, read = self._as_served(photo)
        return [proposed[each.place] for each in self.acceptance.accepted(found, read)]

    def candidates(self, photo: RawPhoto) -> list[tuple[RawSubject, float]]:
        """The boxes that would be answered were every threshold 0, likeliest first, with their probabilities."""
        proposed, found, read = self._as_served(photo)
        once = one_thing_once(self.acceptance.agreed(found, read), found)
        return [(proposed[each.place], each.probability) for each in once]

    def inputs(self, subjects: Sequence[RawSubject]) -> tuple[np.ndarray, np.ndarray]:
        """Features (n, F) and calibrated finder probabilities (n,)."""
        return features_of(subjects, self.acceptance.space), calibrated(
            [s.probability for s in subjects], self.finder.temperature
        )

    def _as_served(self, photo: RawPhoto) -> tuple[list[RawSubject], list[Found], list[dict[str, np.ndarray]]]:
        proposed = self.proposed(photo)
        return proposed, [self.found(s) for s in proposed], [s.logits for s in proposed]


def calibrated(probabilities: Sequence[float], temperature: float) -> np.ndarray:
    """Uncalibrated finder probabilities under a temperature."""
    return 1.0 / (1.0 + np.exp(-logit(np.asarray(probabilities, np.float64)) / temperature))


# Fitting --------------------------------------------------------------------------------------------------------------


def fit_feature_space(raw: Sequence[RawPhoto]) -> FeatureSpace | None:
    """Means and covariances over what was found in these pictures; None without any subject among it.

    Rounded to what is stored, so that what is fitted on top of it meets what is served.
    """
    inside = [subject for photo in raw for subject in photo.found if subject.matched >= 0]
    if not inside:
        return None
    every = [subject for photo in raw for subject in (*photo.found, *photo.look_alikes)]
    features, everything = (
        np.array([subject.logits[FEATURES] for subject in group], dtype=np.float64) for group in (inside, every)
    )
    kinds = np.array([SUBJECTS.index(subject.kind) for subject in inside])
    present = np.unique(kinds).tolist()
    means = np.array([features[kinds == kind].mean(axis=0) for kind in present])
    gaps = features - means[[present.index(kind) for kind in kinds]]
    middle = everything.mean(axis=0)
    return FeatureSpace.from_bytes(FeatureSpace(means, _factor(gaps), middle, _factor(everything - middle)).to_bytes())


def fit_joint(raw: Sequence[RawPhoto], finder: FinderRecipe, space: FeatureSpace) -> tuple[float, float, float]:
    """Offset, weight of the finder's log odds and weight of the relative distance.

    Cases are the boxes over the finder's threshold on which the reader agrees: subjects, and what touches none. With
    cases of one sort alone, or a space that was never fitted, the finder decides.
    """
    gate = Gate(finder, Acceptance(undecided(finder), space))
    cases = _told_apart([s for photo in raw for s in gate.proposed(photo) if s.agreed])
    truths = np.array([s.matched >= 0 for s in cases], dtype=bool)
    if not space.fitted or not 0 < truths.sum() < len(truths):
        return FINDER_ALONE
    features, found = gate.inputs(cases)
    weights = fit_logistic(np.column_stack([logit(found), space.relative_nearness(features)]), truths)
    return tuple(weights)


def undecided(finder: FinderRecipe) -> DistributionRecipe:
    """A recipe before anything is fitted: the finder alone decides, at its own thresholds."""
    return DistributionRecipe(file=FEATURES_FILE, sha256="", weights=FINDER_ALONE, thresholds=finder.thresholds)


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


# Judging --------------------------------------------------------------------------------------------------------------


def separations(raw: Sequence[RawPhoto], lift: Sequence[bool], gate: Gate) -> dict:
    """How well in- and out-of-distribution are told apart: area under ROC and false positives at 95 % recall.

    `alone`: subjects against look-alikes and false alarms, crops by the bare distance. `joined`: the boxes on which
    both networks agree, by the joint probability. `whole_photos`: photos with a lift part (`lift`) against others, by
    their surest joined box.
    """
    space = gate.acceptance.space
    boxes = [_told_apart(gate.proposed(photo)) for photo in raw]
    crops = [s for group in boxes for s in group] + [s for photo in raw for s in photo.look_alikes]
    agreed = [(n, s) for n, photo in enumerate(raw) for s in gate.proposed(photo) if s.agreed]
    judged = [n for n, (_, s) in enumerate(agreed) if _told_apart([s])]
    joined = gate.acceptance.log_odds(*gate.inputs([s for _, s in agreed]))
    surest = np.full(len(raw), -np.inf)
    np.maximum.at(surest, [n for n, _ in agreed], joined)
    alone = space.relative_nearness(features_of(crops, space))
    return {
        "alone": _separation(alone, [s.matched >= 0 for s in crops]),
        "joined": _separation(joined[judged], [agreed[n][1].matched >= 0 for n in judged]),
        "whole_photos": _separation(surest, np.array(lift, dtype=bool)),
    }


def _separation(numbers: np.ndarray, positive: Sequence[bool] | np.ndarray) -> dict:
    positive = np.asarray(positive, dtype=bool)
    return {
        "inside": int(positive.sum()),
        "outside": int((~positive).sum()),
        "auroc": area_under_roc(numbers, positive),
        "false_positives_at_95_recall": false_positives_at_recall(numbers, positive),
    }


def _told_apart(subjects: Sequence[RawSubject]) -> list[RawSubject]:
    """Without the boxes that hold half a subject: they are neither."""
    return [s for s in subjects if s.matched >= 0 or s.touches < TOUCHES_NOTHING]


def features_of(subjects: Sequence[RawSubject], space: FeatureSpace) -> np.ndarray:
    """The reader's features (n, F), also of no subjects at all."""
    features = [s.logits[FEATURES] for s in subjects]
    return np.array(features, np.float64) if features else np.zeros((0, len(space.all_mean)))


def _factor(gaps: np.ndarray) -> np.ndarray:
    """A in the inverse covariance A A' of gaps (n, F), whose variance is raised by the ridge."""
    covariance = gaps.T @ gaps / len(gaps)
    covariance += np.eye(len(covariance)) * (RIDGE * np.trace(covariance) / len(covariance) + SMALLEST_RIDGE)
    return np.linalg.cholesky(np.linalg.inv(covariance))

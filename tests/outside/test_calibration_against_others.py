"""Calibration, prediction sets and separation against other people's implementations, on random logits and by hand.

Sources: torchmetrics `MulticlassCalibrationError`; MAPIE `SplitConformalClassifier` and its coverage score; crepes
`ConformalClassifier` with classes as bins; scikit-learn `roc_auc_score` and `roc_curve`.
"""

import numpy as np
import pytest
import torch
from crepes import ConformalClassifier
from crepes.extras import hinge
from mapie.classification import SplitConformalClassifier
from mapie.metrics.classification import classification_coverage_score, classification_mean_width_score
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.metrics import roc_auc_score, roc_curve
from torchmetrics.classification import MulticlassCalibrationError

from classifier.calibration import prediction_set, softmax
from training.calibrate.conformal import set_threshold, set_thresholds
from training.measure.measures import area_under_roc, calibration_error, false_positives_at_recall
from training.report.adaptive import adaptive_numbers, compare_sets, least_ambiguous_numbers

COVERAGE, CLASSES = 0.95, 4
SEEDS = range(5)


class AsGiven(ClassifierMixin, BaseEstimator):
    """A classifier whose probabilities are its inputs."""

    def fit(self, x, y):
        self.classes_ = np.arange(CLASSES)
        return self

    def predict_proba(self, x):
        return x

    def predict(self, x):
        return x.argmax(axis=1)


def random_cases(seed: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities of random logits, and truths drawn from them."""
    rng = np.random.default_rng(seed)
    probabilities = softmax(rng.normal(0, 2, (count, CLASSES)), 1.0)
    truths = (rng.random(count)[:, None] > probabilities.cumsum(axis=1)).sum(axis=1).clip(0, CLASSES - 1)
    return probabilities, truths


@pytest.mark.parametrize("seed", SEEDS)
def test_calibration_error_equals_torchmetrics(seed: int):
    """To 1e-6, because torchmetrics adds up in single precision."""
    probabilities, truths = random_cases(seed, 700)
    theirs = MulticlassCalibrationError(num_classes=CLASSES, n_bins=15, norm="l1")
    wanted = theirs(torch.from_numpy(probabilities), torch.from_numpy(truths))
    right = probabilities.argmax(axis=1) == truths
    assert calibration_error(probabilities.max(axis=1), right) == pytest.approx(float(wanted), abs=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("score", ["lac", "aps"])
def test_threshold_sets_and_coverage_equal_mapies(seed: int, score: str):
    """MAPIE takes a random share of the true value's probability off its adaptive numbers, so the same is taken here.

    Its adaptive sets hold the likeliest value always, as ours do where they are served.
    """
    probabilities, truths = random_cases(seed, 400)
    held, held_truths = random_cases(seed + 100, 300)
    wrapped = SplitConformalClassifier(
        AsGiven().fit(probabilities, truths), confidence_level=COVERAGE, conformity_score=score, prefit=True,
        random_state=seed,
    ).conformalize(probabilities, truths)  # fmt: skip
    _, theirs = wrapped.predict_set(held, conformity_score_params={"include_last_label": False})
    at_truth = (np.arange(400), truths)
    if score == "aps":
        taken_off = np.random.RandomState(seed).uniform(size=400) * probabilities[at_truth]
        numbers, ours = adaptive_numbers(probabilities)[at_truth] - taken_off, adaptive_numbers(held)
    else:
        numbers, ours = least_ambiguous_numbers(probabilities)[at_truth], least_ambiguous_numbers(held)
    threshold = set_threshold(numbers, COVERAGE)
    assert threshold == pytest.approx(wrapped._mapie_classifier.conformity_score_function_.quantiles_[0], abs=1e-9)
    sets = ours <= threshold + 1e-12
    if score == "aps":
        sets |= held == held.max(axis=1, keepdims=True)
    assert np.array_equal(sets, theirs[:, :, 0])
    covered = sets[np.arange(300), held_truths].mean()
    assert covered == pytest.approx(classification_coverage_score(held_truths, theirs)[0], abs=1e-9)
    assert sets.sum(axis=1).mean() == pytest.approx(classification_mean_width_score(theirs)[0], abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_class_conditional_thresholds_equal_crepes_to_1e_9(seed: int):
    """Just under our threshold crepes keeps the class, just over it crepes drops it: so its threshold is ours."""
    probabilities, truths = random_cases(seed, 600)
    conformal = ConformalClassifier().fit(hinge(probabilities, np.arange(CLASSES), truths), bins=truths)
    thresholds = set_thresholds(probabilities, truths, list("abcd"), COVERAGE)
    for k, threshold in enumerate(thresholds.values()):
        tried = np.array([[threshold - 1e-9], [threshold + 1e-9]])
        kept = conformal.predict_set(tried, bins=np.array([k, k]), confidence=COVERAGE, smoothing=False)[:, 0]
        assert kept.tolist() == [1, 0], k


NINE_ROWS = [  # logits are logarithms of these probabilities of a, b, c; thresholds a .60, b .75, c .90
    ((0.90, 0.07, 0.03), ("a",)),  # 1 - .90 = .10 <= .60; .93 > .75; .97 > .90
    ((0.50, 0.30, 0.20), ("a", "b", "c")),  # .50 <= .60; .70 <= .75; .80 <= .90
    ((0.42, 0.50, 0.08), ("b", "a")),  # a .58 <= .60; b .50 <= .75; c .92 > .90
    ((0.35, 0.45, 0.20), ("b", "c")),  # a .65 > .60; b .55 <= .75; c .80 <= .90
    ((0.10, 0.20, 0.70), ("c",)),  # a .90 > .60; b .80 > .75; c .30 <= .90
    ((0.30, 0.26, 0.44), ("c", "b")),  # a .70 > .60; b .74 <= .75; c .56 <= .90
    ((0.38, 0.24, 0.38 - 1e-9), ("a", "c")),  # a likeliest, so in although .62 > .60; b .76 > .75; c .62 <= .90
    ((0.05, 0.84, 0.11), ("b", "c")),  # a .95 > .60; b .16 <= .75; c .89 <= .90
    ((0.41, 0.05, 0.54), ("c", "a")),  # a .59 <= .60; b .95 > .75; c .46 <= .90
]


@pytest.mark.parametrize(("probabilities", "wanted"), NINE_ROWS)
def test_nine_rows_of_logits_with_sets_by_hand(probabilities: tuple[float, ...], wanted: tuple[str, ...]):
    softened = softmax(np.log(probabilities), 1.0)
    given = dict(zip("abc", softened.tolist(), strict=True))
    assert prediction_set(given, {"a": 0.60, "b": 0.75, "c": 0.90}) == wanted


def test_adaptive_numbers_by_hand():
    """.5 is alone, .3 comes with it to .8, .2 makes it 1."""
    assert adaptive_numbers(np.array([[0.3, 0.5, 0.2]]))[0] == pytest.approx([0.8, 0.5, 1.0])


def test_both_kinds_of_sets_keep_their_promise_and_the_adaptive_ones_are_larger():
    probabilities, truths = random_cases(3, 20_000)
    found = compare_sets(probabilities, truths, COVERAGE, np.random.default_rng(0))
    for row in found.values():
        assert row["covered"]["share"] == pytest.approx(COVERAGE, abs=0.01)
    assert found["adaptive"]["mean_size"] > found["least ambiguous"]["mean_size"]


@pytest.mark.parametrize("seed", SEEDS)
def test_separation_equals_scikit_learns(seed: int):
    rng = np.random.default_rng(seed)
    ours = rng.random(400) < 0.6
    nearness = np.where(ours, rng.normal(1, 1, 400), rng.normal(0, 1, 400))
    assert area_under_roc(nearness, ours) == pytest.approx(roc_auc_score(ours, nearness), abs=1e-12)
    assert false_positives_at_recall(nearness, ours) == pytest.approx(_by_roc_curve(nearness, ours), abs=1e-12)


def test_published_small_vector():
    """Source: the example of the package ood-metrics: area .75, false positives at 95 % recall .25."""
    scores, outlier = np.array([0.1, 0.3, 0.6, 0.9, 1.3]), np.array([0, 0, 0, 1, 0], dtype=bool)
    assert area_under_roc(scores, outlier) == pytest.approx(0.75) == roc_auc_score(outlier, scores)
    assert false_positives_at_recall(scores, outlier) == pytest.approx(0.25) == _by_roc_curve(scores, outlier)


def _by_roc_curve(scores: np.ndarray, positive: np.ndarray) -> float:
    false_positives, recall, _ = roc_curve(positive, scores, drop_intermediate=False)
    return float(false_positives[recall >= COVERAGE].min())

"""Temperatures and prediction sets: against other packages, by hand, and by a known truth."""

import numpy as np
import pytest
from crepes import ConformalClassifier
from crepes.extras import hinge
from mapie.classification import SplitConformalClassifier
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.linear_model import LogisticRegression

from classifier.calibration import pairwise_calibrated, prediction_set, softmax
from training.calibrate.conformal import (
    fit_binary_temperature,
    fit_pairwise,
    fit_scaling,
    fit_temperature,
    set_threshold,
    set_thresholds,
)

COVERAGE = 0.95


class Given(ClassifierMixin, BaseEstimator):
    """A classifier whose probabilities are its inputs: what MAPIE wraps here."""

    def __init__(self, classes: int = 4):
        self.classes = classes

    def fit(self, x, y):
        self.classes_ = np.arange(self.classes)
        return self

    def predict_proba(self, x):
        return x

    def predict(self, x):
        return x.argmax(axis=1)


def random_cases(seed: int, count: int, classes: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities and truths drawn from them: calibrated by construction."""
    rng = np.random.default_rng(seed)
    probabilities = softmax(rng.normal(0, 2, (count, classes)), 1.0)
    truths = (rng.random(count)[:, None] > probabilities.cumsum(axis=1)).sum(axis=1).clip(0, classes - 1)
    return probabilities, truths


@pytest.mark.parametrize("seed", range(3))
def test_sets_equal_mapies(seed: int):
    probabilities, truths = random_cases(seed, 400)
    held, _ = random_cases(seed + 100, 200)
    wrapped = SplitConformalClassifier(
        Given().fit(probabilities, truths), confidence_level=COVERAGE, conformity_score="lac", prefit=True
    ).conformalize(probabilities, truths)
    _, theirs = wrapped.predict_set(held)
    threshold = set_threshold(1 - probabilities[np.arange(400), truths], COVERAGE)
    assert np.array_equal(1 - held <= threshold + 1e-9, theirs[:, :, 0])


@pytest.mark.parametrize("seed", range(3))
def test_class_conditional_sets_equal_crepes(seed: int):
    probabilities, truths = random_cases(seed, 400)
    held, _ = random_cases(seed + 100, 200)
    classes = np.arange(4)
    conformal = ConformalClassifier().fit(hinge(probabilities, classes, truths), bins=truths)
    bins = np.tile(classes, (len(held), 1))
    sets = np.stack(
        [
            conformal.predict_set(hinge(held)[:, [k]], bins=bins[:, k], confidence=COVERAGE, smoothing=False)[:, 0]
            for k in classes
        ],
        axis=1,
    )
    thresholds = set_thresholds(probabilities, truths, ["a", "b", "c", "d"], COVERAGE)
    ours = 1 - held <= np.array(list(thresholds.values())) + 1e-9
    assert np.array_equal(ours, sets.astype(bool))


def test_nine_rows_with_sets_by_hand():
    """Nonconformities .1 … .9 at 80 %: rank ceil(10 * .8) = 8, so the threshold is .8."""
    assert set_threshold(np.arange(1, 10) / 10, 0.8) == pytest.approx(0.8)
    thresholds = {"a": 0.8, "b": 0.8, "c": 0.8}
    assert prediction_set({"a": 0.7, "b": 0.25, "c": 0.05}, thresholds) == ("a", "b")


def test_four_rows_of_which_one_counts_threefold_by_hand():
    """At 50 % 2.5 cases are wanted: the sums are 1, 2, 3, 4 without weights, 2/3, 4/3, 2, 4 with them."""
    numbers, weights = np.array([0.3, 0.1, 0.4, 0.2]), np.array([1.0, 1.0, 3.0, 1.0])
    assert set_threshold(numbers, 0.5) == 0.3
    assert set_threshold(numbers, 0.5, weights) == 0.4


def test_weights_bring_the_coverage_of_other_priors():
    """A class of easy and hard cases, equally many where the threshold is fitted, one to three where it is used."""
    rng = np.random.default_rng(4)
    hard = np.repeat([False, True], 5000)
    numbers = rng.beta(np.where(hard, 5, 1), 2)
    threshold = set_threshold(numbers, COVERAGE, np.where(hard, 1.5, 0.5))
    of_hard, of_easy = ((rng.beta(shape, 2, 20_000) <= threshold).mean() for shape in (5, 1))
    assert 0.75 * of_hard + 0.25 * of_easy == pytest.approx(COVERAGE, abs=0.01)


@pytest.mark.parametrize(("count", "expected"), [(18, 1.0), (19, 0.18)])
def test_nineteen_cases_are_needed_at_95_percent(count: int, expected: float):
    """Follows from ceil((n + 1) 0.95) <= n."""
    assert set_threshold(np.arange(count) / 100, COVERAGE) == pytest.approx(expected)


def test_coverage_is_what_was_asked_over_many_trials():
    hits = []
    for seed in range(200):
        probabilities, truths = random_cases(seed, 100)
        held, held_truths = random_cases(seed + 1000, 100)
        threshold = set_threshold(1 - probabilities[np.arange(100), truths], COVERAGE)
        hits.append((1 - held[np.arange(100), held_truths] <= threshold).mean())
    assert np.mean(hits) == pytest.approx(96 / 101, abs=0.005)  # the exact expectation: ceil(101 * .95) / 101


def test_a_larger_coverage_never_shrinks_a_set():
    probabilities, truths = random_cases(1, 300)
    numbers = 1 - probabilities[np.arange(300), truths]
    thresholds = [set_threshold(numbers, coverage) for coverage in np.linspace(0.5, 0.999, 40)]
    assert thresholds == sorted(thresholds)


@pytest.mark.parametrize("truth", [0.5, 1.0, 2.5])
def test_finds_the_temperature_that_spoilt_the_logits(truth: float):
    probabilities, truths = random_cases(5, 20_000)
    spoilt = np.log(probabilities) * truth
    assert fit_temperature(spoilt, truths) == pytest.approx(truth, rel=0.05)


@pytest.mark.parametrize("temperature", [0.5, 2.0])
def test_finds_how_often_each_class_is_met_where_training_met_all_equally(temperature: float):
    """In another mix, Bayes' rule moves the log odds by the ratios' logs (Saerens et al. 2002, from memory)."""
    probabilities, truths = random_cases(7, 60_000)
    ratios = np.array([1.0, 0.5, 0.25, 0.1])
    kept = np.random.default_rng(3).random(len(truths)) < ratios[truths]
    met = probabilities[kept] * ratios
    met /= met.sum(axis=1, keepdims=True)
    logits = np.log(probabilities[kept]) * temperature
    fitted, offsets = fit_scaling(logits, truths[kept])
    assert fitted == pytest.approx(temperature, rel=0.05)
    assert offsets - offsets[0] == pytest.approx(np.log(ratios), abs=0.1)
    assert softmax(logits, fitted, offsets) == pytest.approx(met, abs=0.03)


def test_cases_that_count_less_are_as_cases_that_are_met_less():
    """The same mix, by weights: nothing is thrown away, and the same temperature and offsets are found."""
    probabilities, truths = random_cases(7, 60_000)
    ratios = np.array([1.0, 0.5, 0.25, 0.1])
    weights = ratios[truths] / ratios[truths].mean()
    fitted, offsets = fit_scaling(np.log(probabilities) * 2, truths, weights)
    assert fitted == pytest.approx(2, rel=0.05)
    assert offsets - offsets[0] == pytest.approx(np.log(ratios), abs=0.1)
    equal = fit_scaling(np.log(probabilities), truths, np.ones(len(truths)))
    assert equal[1] == pytest.approx(fit_scaling(np.log(probabilities), truths)[1])


def test_scaling_is_the_logistic_regression_that_scikit_learn_fits():
    """With the margin against one class as the only input, temperature and offset are its slope and intercept."""
    probabilities, truths = random_cases(8, 40_000, classes=2)
    logits = np.log(probabilities) * 1.7 + [0.4, 0.0]
    fitted, offsets = fit_scaling(logits, truths)
    margin = logits[:, :1] - logits[:, 1:]
    other = LogisticRegression(C=np.inf, tol=1e-10).fit(margin, truths == 0)
    assert 1 / fitted == pytest.approx(other.coef_[0, 0], rel=1e-3)
    assert offsets[0] - offsets[1] == pytest.approx(other.intercept_[0], abs=1e-3)


@pytest.mark.parametrize("truth", [0.0, 1.5, 3.0])
def test_finds_how_far_apart_two_classes_have_to_be_told(truth: float):
    """Classes whose margins a network has pressed together, as it is taught to where half of each is its target."""
    rng = np.random.default_rng(9)
    logits = np.column_stack([rng.normal(0, 2, 20_000), rng.normal(0, 2, 20_000), np.zeros(20_000)])
    logits[:, 2] = logits[:, 1] + rng.normal(0, 0.4, 20_000)
    chances = softmax(pairwise_calibrated(logits, (1, 2), truth), 1.0)
    truths = (rng.random((20_000, 1)) > chances.cumsum(axis=1)).sum(axis=1)
    assert fit_pairwise(logits, truths, (1, 2)) == pytest.approx(truth, abs=0.15)


def test_a_class_that_is_not_met_moves_as_far_as_the_cases_bear():
    few, many = (fit_scaling(np.zeros((n, 2)), np.zeros(n, int))[1] for n in (3, 3000))
    assert -1 < few[1] < -0.2 and many[1] < -2


@pytest.mark.parametrize(("cases", "least", "most"), [(5, 0.0, 1.0), (3000, 4.0, 6.0)])
def test_two_classes_are_told_apart_as_far_as_the_cases_bear(cases: int, least: float, most: float):
    """Where the side that a margin points to is always right, only the number of cases bounds it."""
    margin = np.random.default_rng(0).normal(0, 0.2, cases)
    logits = np.column_stack([np.full(cases, -9.0), margin, np.zeros(cases)])
    assert least <= fit_pairwise(logits, np.where(margin > 0, 1, 2), (1, 2)) < most


def test_finds_the_temperature_of_yes_and_no():
    rng = np.random.default_rng(2)
    logits = rng.normal(0, 2, 20_000)
    truths = rng.random(20_000) < 1 / (1 + np.exp(-logits))
    assert fit_binary_temperature(logits * 3, truths) == pytest.approx(3, rel=0.05)


def test_without_cases_nothing_is_claimed():
    assert fit_temperature(np.zeros((0, 3)), np.zeros(0, int)) == 1.0
    assert fit_pairwise(np.zeros((0, 3)), np.zeros(0, int), (1, 2)) == 0.0
    temperature, offsets = fit_scaling(np.zeros((0, 3)), np.zeros(0, int))
    assert temperature == 1.0 and offsets.tolist() == [0, 0, 0]
    thresholds = set_thresholds(np.zeros((0, 2)), np.zeros(0, int), ["a", "b"], COVERAGE)
    assert prediction_set({"a": 0.999, "b": 0.001}, thresholds) == ("a", "b")

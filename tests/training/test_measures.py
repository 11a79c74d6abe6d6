"""Our figures against scikit-learn's, torchvision's and torchmetrics' on random inputs, and by hand."""

import numpy as np
import pytest
import torch
from scipy.stats import binomtest
from sklearn import metrics
from torchmetrics.classification import MulticlassCalibrationError
from torchvision.ops import box_iou, generalized_box_iou

from training.loop.finding import generalised_iou
from training.measure.measures import (
    Share,
    area_under_roc,
    box_ious,
    calibration_error,
    calibration_error_by_chance,
    confusion,
    false_positives_at_recall,
    share,
)

SEEDS = range(5)


@pytest.mark.parametrize("seed", SEEDS)
def test_accuracy_and_confusion_equal_scikit_learns(seed: int):
    rng = np.random.default_rng(seed)
    truths, answers = rng.integers(0, 5, (2, 300))
    assert share(truths == answers).value == metrics.accuracy_score(truths, answers)
    assert np.array_equal(confusion(truths, answers, 5), metrics.confusion_matrix(truths, answers, labels=range(5)))


@pytest.mark.parametrize("seed", SEEDS)
def test_box_overlaps_equal_torchvisions(seed: int):
    rng = np.random.default_rng(seed)
    ours, theirs = (np.sort(rng.random((20, 2, 2)), axis=1).reshape(20, 4) for _ in range(2))
    wanted = box_iou(torch.from_numpy(ours), torch.from_numpy(theirs)).numpy()
    assert np.allclose(box_ious(ours, theirs), wanted, atol=1e-12)


def test_generalised_overlap_equals_torchvisions():
    rng = np.random.default_rng(0)
    sides = torch.from_numpy(rng.uniform(0.1, 3, (2, 50, 4)))  # left, top, right, bottom of the origin
    boxes = sides * torch.tensor([-1.0, -1.0, 1.0, 1.0])
    wanted = generalized_box_iou(boxes[0], boxes[1]).diagonal()
    assert torch.allclose(generalised_iou(sides[0][..., None], sides[1][..., None])[:, 0], wanted, atol=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_calibration_error_equals_torchmetrics(seed: int):
    rng = np.random.default_rng(seed)
    logits = torch.from_numpy(rng.normal(0, 2, (500, 4)))
    probabilities, truths = logits.softmax(1), torch.from_numpy(rng.integers(0, 4, 500))
    wanted = MulticlassCalibrationError(num_classes=4, n_bins=15, norm="l1")(probabilities, truths)
    right = (probabilities.argmax(1) == truths).numpy()
    assert calibration_error(probabilities.max(1).values.numpy(), right) == pytest.approx(float(wanted), abs=1e-6)


def test_calibration_error_by_hand():
    """Two bins: 0.9 sure and right half of the time, 0.6 sure and always right."""
    confidences, right = np.array([0.9, 0.9, 0.6, 0.6]), np.array([True, False, True, True])
    assert calibration_error(confidences, right) == pytest.approx(0.5 * 0.4 + 0.5 * 0.4)
    weights = np.array([1.0, 3.0, 1.0, 1.0])  # of 0.9 sure a quarter is right, and it is two thirds of all
    assert calibration_error(confidences, right, weights=weights) == pytest.approx(2 / 3 * 0.65 + 1 / 3 * 0.4)


def test_the_calibration_error_that_chance_alone_gives_by_hand():
    """One case, 0.8 sure: a gap of 0.2 where it is right, which is four times in five, else of 0.8."""
    assert calibration_error_by_chance(np.array([0.8])) == pytest.approx(0.8 * 0.2 + 0.2 * 0.8, abs=0.04)
    many = np.full(40_000, 0.8)  # the mean gap of a binomial share is close to the root of 2 p (1 - p) / (pi n)
    assert calibration_error_by_chance(many) == pytest.approx(np.sqrt(2 * 0.16 / np.pi / 40_000), rel=0.1)
    assert np.isnan(calibration_error_by_chance(np.zeros(0)))


@pytest.mark.parametrize("seed", SEEDS)
def test_area_under_roc_equals_scikit_learns_ties_included(seed: int):
    rng = np.random.default_rng(seed)
    scores, positive = rng.integers(0, 20, 200) / 20, rng.random(200) < 0.4
    assert area_under_roc(scores, positive) == pytest.approx(metrics.roc_auc_score(positive, scores), abs=1e-12)


def test_published_small_vector_of_outlier_numbers():
    """Source: the example of the package ood-metrics: area .75, false positives at 95 % recall .25."""
    scores, outlier = np.array([0.1, 0.3, 0.6, 0.9, 1.3]), np.array([False, False, False, True, False])
    assert area_under_roc(scores, outlier) == pytest.approx(0.75)
    assert false_positives_at_recall(scores, outlier) == pytest.approx(0.25)


def test_wilson_interval_equals_the_textbooks():
    """Newcombe 1998, table I, method 3, from memory: 81 of 263 gives 0.2553 to 0.3662; 0 of 20 gives 0 to 0.1611."""
    assert Share(81, 263).interval == pytest.approx((0.2553, 0.3662), abs=1e-4)
    assert Share(0, 20).interval == pytest.approx((0.0, 0.1611), abs=1e-4)
    for hits, n in ((0, 1), (1, 1), (7, 9), (81, 263), (4000, 4001)):
        theirs = binomtest(hits, n).proportion_ci(0.95, method="wilson")
        assert Share(hits, n).interval == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_a_share_of_no_cases_claims_nothing():
    empty = share([])
    assert empty.interval == (0.0, 1.0) and empty.as_dict()["share"] is None

"""How good an answer is: shares with intervals, confusion, box overlap, calibration error, separation of two groups."""

import math
from collections.abc import Sequence

import numpy as np

from guidance.monitor.shares import Share

CALIBRATION_BINS = 15
CHANCE_DRAWS = 400


def share(outcomes: Sequence[bool] | np.ndarray) -> Share:
    """How many of these came out true."""
    return Share(int(np.sum(np.asarray(outcomes, dtype=bool))), len(outcomes))


def confusion(truths: np.ndarray, answers: np.ndarray, classes: int) -> np.ndarray:
    """Counts (classes, classes), true class by row, answered class by column."""
    table = np.zeros((classes, classes), dtype=int)
    np.add.at(table, (truths, answers), 1)
    return table


def box_ious(boxes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Intersection over union (N, M) of boxes (N, 4) and (M, 4), each left, top, right, bottom."""
    low = np.maximum(boxes[:, None, :2], others[None, :, :2])
    high = np.minimum(boxes[:, None, 2:], others[None, :, 2:])
    shared = np.prod((high - low).clip(0), axis=2)
    areas = [np.prod(each[:, 2:] - each[:, :2], axis=1) for each in (boxes, others)]
    return shared / np.maximum(areas[0][:, None] + areas[1][None, :] - shared, 1e-12)


def calibration_error(
    confidences: np.ndarray, right: np.ndarray, bins: int = CALIBRATION_BINS, weights: np.ndarray | None = None
) -> float:
    """Expected calibration error: the mean gap of confidence and accuracy over equal bins, weighted by their cases.

    Guo et al. 2017, section 2, with bins closed on the right. `weights` (n,): how much each case counts.
    """
    if not len(confidences):
        return math.nan
    edges = np.linspace(0, 1, bins + 1)
    places = np.clip(np.searchsorted(edges, confidences, side="left") - 1, 0, bins - 1)
    weights = np.ones(len(confidences)) if weights is None else weights
    gaps = np.bincount(places, weights=weights * (right.astype(float) - confidences), minlength=bins)
    return float(np.abs(gaps).sum() / weights.sum())


def calibration_error_by_chance(confidences: np.ndarray, bins: int = CALIBRATION_BINS) -> float:
    """What `calibration_error` is on average for answers that are right exactly as often as they are confident.

    Bins of few cases have gaps by chance, and the error counts each as if it were one.
    """
    rng = np.random.default_rng(0)
    drawn = rng.random((CHANCE_DRAWS, len(confidences))) < confidences
    return float(np.mean([calibration_error(confidences, right, bins) for right in drawn]))


def area_under_roc(scores: np.ndarray, positive: np.ndarray) -> float:
    """Chance that a positive case has a higher number than a negative one, ties counting half."""
    order = np.argsort(scores, kind="stable")
    _, group, sizes = np.unique(scores[order], return_inverse=True, return_counts=True)
    ends = np.cumsum(sizes)
    ranks = np.empty(len(scores))
    ranks[order] = (ends - (sizes - 1) / 2)[group]
    count = int(positive.sum())
    if not 0 < count < len(scores):
        return math.nan
    return float((ranks[positive].sum() - count * (count + 1) / 2) / (count * (len(scores) - count)))


def false_positives_at_recall(scores: np.ndarray, positive: np.ndarray, recall: float = 0.95) -> float:
    """Share of negative cases at or over the highest threshold that keeps `recall` of the positive ones."""
    if not 0 < positive.sum() < len(scores):
        return math.nan
    kept = np.sort(scores[positive])[::-1]
    least = kept[math.ceil(recall * len(kept)) - 1]
    return float((scores[~positive] >= least).mean())

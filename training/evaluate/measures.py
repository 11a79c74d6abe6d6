"""How good an answer is: shares with intervals, confusion, box overlap, calibration error, separation of two groups."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np

Z_95 = 1.959963984540054  # the normal distribution's 97.5 % point
CALIBRATION_BINS = 15
CHANCE_DRAWS = 400


@dataclass(frozen=True)
class Share:
    """`hits` of `n`, with the 95 % interval of Wilson (1927)."""

    hits: int
    n: int

    @property
    def value(self) -> float:
        return self.hits / self.n if self.n else math.nan

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper end; the whole range without any case."""
        if not self.n:
            return 0.0, 1.0
        square = Z_95**2 / self.n
        middle = (self.value + square / 2) / (1 + square)
        half = Z_95 / (1 + square) * math.sqrt(self.value * (1 - self.value) / self.n + square / (4 * self.n))
        return max(0.0, middle - half), min(1.0, middle + half)

    def as_dict(self) -> dict:
        return asdict(self) | {"share": self.value if self.n else None, "interval_95": list(self.interval)}

    def __str__(self) -> str:
        low, high = self.interval
        return f"{100 * self.value:5.1f} % ({100 * low:.1f}–{100 * high:.1f}, n={self.n})" if self.n else "   – (n=0)"


def share(outcomes: Sequence[bool] | np.ndarray) -> Share:
    """How many of these came out true."""
    return Share(int(np.sum(np.asarray(outcomes, dtype=bool))), len(outcomes))


def confusion(truths: np.ndarray, answers: np.ndarray, classes: int) -> np.ndarray:
    """Counts (classes, classes), true class by row, answered class by column."""
    table = np.zeros((classes, classes), dtype=int)
    np.add.at(table, (truths, answers), 1)
    return table


def box_ious(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
    """Intersection over union (N, M) of boxes (N, 4) and (M, 4), each left, top, right, bottom."""
    low = np.maximum(ours[:, None, :2], theirs[None, :, :2])
    high = np.minimum(ours[:, None, 2:], theirs[None, :, 2:])
    shared = np.prod((high - low).clip(0), axis=2)
    areas = [np.prod(boxes[:, 2:] - boxes[:, :2], axis=1) for boxes in (ours, theirs)]
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
    """Share of negative cases at or over the highest bar that keeps `recall` of the positive ones."""
    if not 0 < positive.sum() < len(scores):
        return math.nan
    kept = np.sort(scores[positive])[::-1]
    bar = kept[math.ceil(recall * len(kept)) - 1]
    return float((scores[~positive] >= bar).mean())

"""Temperatures, offsets, pairwise calibration, set thresholds: `classifier.calibration` applies them.

Everywhere `weights` (n,) are how much each case counts, 1 on average; without them each counts alike.
"""

import math
from collections.abc import Sequence

import numpy as np
from scipy.optimize import minimize, minimize_scalar

from classifier.calibration import pairwise_calibrated, sigmoid, softmax

LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE = 0.2, 10.0
WIDEST_PAIRWISE = 6.0
PENALTY = 1.0  # on the squares of offsets and such, against the summed cross-entropy: a class of few cases moves little


def fit_temperature(logits: np.ndarray, truths: np.ndarray, weights: np.ndarray | None = None) -> float:
    """The temperature of least cross-entropy; logits (n, k), truths (n,) column numbers. 1 without data.

    Guo et al. 2017, section 4.2.
    """
    if not len(logits):
        return 1.0

    return _least(lambda log_temperature: cross_entropy(softmax(logits, math.exp(log_temperature)), truths, weights))


def fit_pairwise(
    logits: np.ndarray, truths: np.ndarray, pair: tuple[int, int], weights: np.ndarray | None = None
) -> float:
    """How far to widen the margin of two classes, scaled after it, for the least cost.

    Arguments as for `fit_temperature`; penalised as offsets are, and 0 without data.
    """
    if not len(logits):
        return 0.0

    def cost(by: float) -> float:
        told = pairwise_calibrated(logits, pair, by)
        probabilities = softmax(told, *fit_scaling(told, truths, weights))
        return cross_entropy(probabilities, truths, weights) + PENALTY * by**2 / len(logits)

    return float(minimize_scalar(cost, bounds=(0.0, WIDEST_PAIRWISE), method="bounded").x)


def cross_entropy(probabilities: np.ndarray, truths: np.ndarray, weights: np.ndarray | None = None) -> float:
    """Mean of minus the log of what probabilities (n, k) give the true columns (n,)."""
    given = np.maximum(probabilities[np.arange(len(truths)), truths], 1e-12)
    return float(np.average(-np.log(given), weights=weights))


def fit_scaling(logits: np.ndarray, truths: np.ndarray, weights: np.ndarray | None = None) -> tuple[float, np.ndarray]:
    """Temperature and offsets (k,) of least penalised cross-entropy; arguments as for `fit_temperature`.

    Training shows every value equally often. The offsets bring back how often each is met, and how often a part is
    hidden, as in the pictures that they are fitted on; no temperature could (Guo et al. 2017: vector scaling).
    """
    classes = logits.shape[1]
    if not len(logits):
        return 1.0, np.zeros(classes)
    counts = 1.0 if weights is None else weights[:, None]

    def cost(unknown: np.ndarray) -> tuple[float, np.ndarray]:
        softened = logits / math.exp(unknown[0])
        probabilities = softmax(softened, 1.0, unknown[1:])
        gap = counts * (probabilities - (truths[:, None] == np.arange(classes)))
        slope = np.append(-(gap * softened).sum(), gap.sum(axis=0) + 2 * PENALTY * unknown[1:]) / len(logits)
        return cross_entropy(probabilities, truths, weights) + PENALTY * (unknown[1:] ** 2).sum() / len(logits), slope

    start = np.append(math.log(fit_temperature(logits, truths, weights)), np.zeros(classes))
    bounds = [(math.log(LOWEST_TEMPERATURE), math.log(HIGHEST_TEMPERATURE)), *[(None, None)] * classes]
    found = minimize(cost, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-12, "gtol": 1e-8}).x
    return math.exp(found[0]), found[1:]


def fit_binary_temperature(logits: np.ndarray, truths: np.ndarray) -> float:
    """The temperature of least cross-entropy for yes/no logits (n,) and truths (n,)."""
    if not len(logits):
        return 1.0

    def cost(log_temperature: float) -> float:
        probability = np.clip(sigmoid(logits, math.exp(log_temperature)), 1e-12, 1 - 1e-12)
        return float(-np.where(truths, np.log(probability), np.log(1 - probability)).mean())

    return _least(cost)


def set_threshold(nonconformities: np.ndarray, coverage: float, weights: np.ndarray | None = None) -> float:
    """The split-conformal threshold: the ceil((n + 1) coverage)-th smallest nonconformity, 1 where n is too small.

    A value is in the set when its own nonconformity, 1 - p, is at most this. Vovk et al. 2005. With weights it is the
    smallest up to which they sum to that share, one more case of mean weight counted (Tibshirani et al. 2019). Both
    from memory.
    """
    if not len(nonconformities):
        return 1.0
    order = np.argsort(nonconformities)
    reached = np.cumsum(np.ones(len(order)) if weights is None else weights[order] / weights.mean())
    place = int(np.searchsorted(reached, (len(order) + 1) * coverage - 1e-9))
    return float(nonconformities[order[place]]) if place < len(order) else 1.0


def set_thresholds(
    probabilities: np.ndarray,
    truths: np.ndarray,
    values: Sequence[str],
    coverage: float,
    weights: np.ndarray | None = None,
) -> dict[str, float]:
    """One threshold a value, from the cases whose truth it is (Mondrian): each value is covered as often as stated.

    `probabilities` (n, k), `truths` (n,) column numbers. A value with too few cases (under 19 at 95 %) is always in.
    """
    nonconformity = 1 - probabilities[np.arange(len(truths)), truths]
    weights = np.ones(len(truths)) if weights is None else weights
    own = [truths == k for k in range(len(values))]
    return {v: set_threshold(nonconformity[of_v], coverage, weights[of_v]) for v, of_v in zip(values, own, strict=True)}


def _least(cost) -> float:  # noqa: ANN001 - a plain function of one float
    bounds = (math.log(LOWEST_TEMPERATURE), math.log(HIGHEST_TEMPERATURE))
    return float(math.exp(minimize_scalar(cost, bounds=bounds, method="bounded", options={"xatol": 1e-4}).x))

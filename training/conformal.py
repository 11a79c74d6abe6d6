"""Temperatures and prediction-set thresholds: fitted here, applied by `classifier.calibration`."""

import math
from collections.abc import Sequence

import numpy as np
from scipy.optimize import minimize_scalar

from classifier.calibration import sigmoid, softmax

LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE = 0.2, 10.0


def fit_temperature(logits: np.ndarray, targets: np.ndarray) -> float:
    """The temperature of least cross-entropy; logits (n, k), soft or one-hot targets (n, k). 1 without data.

    Guo et al. 2017, section 4.2.
    """
    if not len(logits):
        return 1.0

    def cost(log_temperature: float) -> float:
        probabilities = softmax(logits, math.exp(log_temperature))
        return float(-(targets * np.log(np.maximum(probabilities, 1e-12))).sum(axis=1).mean())

    return _least(cost)


def fit_binary_temperature(logits: np.ndarray, truths: np.ndarray) -> float:
    """The temperature of least cross-entropy for yes/no logits (n,) and truths (n,)."""
    if not len(logits):
        return 1.0

    def cost(log_temperature: float) -> float:
        probability = np.clip(sigmoid(logits, math.exp(log_temperature)), 1e-12, 1 - 1e-12)
        return float(-np.where(truths, np.log(probability), np.log(1 - probability)).mean())

    return _least(cost)


def set_threshold(nonconformities: np.ndarray, coverage: float) -> float:
    """The split-conformal threshold: the ceil((n + 1) coverage)-th smallest nonconformity, 1 where n is too small.

    A value is in the set when its own nonconformity, 1 - p, is at most this. Vovk et al. 2005, from memory.
    """
    rank = math.ceil((len(nonconformities) + 1) * coverage - 1e-9)
    return float(np.sort(nonconformities)[rank - 1]) if rank <= len(nonconformities) else 1.0


def set_thresholds(
    probabilities: np.ndarray, truths: np.ndarray, values: Sequence[str], coverage: float
) -> dict[str, float]:
    """One threshold a value, from the cases whose truth it is (Mondrian): each value is covered as often as stated.

    `probabilities` (n, k), `truths` (n,) column numbers. A value with too few cases (under 19 at 95 %) is always in.
    """
    nonconformity = 1 - probabilities[np.arange(len(truths)), truths]
    return {value: set_threshold(nonconformity[truths == k], coverage) for k, value in enumerate(values)}


def _least(cost) -> float:  # noqa: ANN001 - a plain function of one float
    bounds = (math.log(LOWEST_TEMPERATURE), math.log(HIGHEST_TEMPERATURE))
    return float(math.exp(minimize_scalar(cost, bounds=bounds, method="bounded", options={"xatol": 1e-4}).x))

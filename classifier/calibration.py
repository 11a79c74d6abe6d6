"""Logits to calibrated probabilities, and probabilities to the set of values that cannot be ruled out.

Temperatures, offsets and set thresholds are fitted in training on data that neither training nor reports use; here they
are only applied.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike


def softmax(logits: np.ndarray, temperature: float, offsets: ArrayLike = 0.0) -> np.ndarray:
    """Probabilities (..., n) of logits (..., n), softened by one temperature, then moved by an offset (n,) a class.

    After temperature and vector scaling of Guo et al. 2017, section 4.2: one scale for all classes, an offset for each.
    """
    scaled = np.asarray(logits, dtype=np.float64) / temperature + offsets
    raised = np.exp(scaled - scaled.max(axis=-1, keepdims=True))
    return raised / raised.sum(axis=-1, keepdims=True)


def sigmoid(logits: np.ndarray, temperature: float) -> np.ndarray:
    """Probabilities of independent yes/no logits of any shape, softened by one temperature."""
    return 1.0 / (1.0 + np.exp(-np.clip(np.asarray(logits, dtype=np.float64) / temperature, -60.0, 60.0)))


def named_probabilities(
    logits: np.ndarray, values: Sequence[str], temperature: float, offsets: Mapping[str, float]
) -> dict[str, float]:
    """Calibrated probability of each named value, in the order of the network's outputs; they sum to 1."""
    if logits.shape != (len(values),):
        raise ValueError(f"logits of shape {logits.shape} came, ({len(values)},) is wanted for {list(values)}")
    moved = [offsets[value] for value in values]
    return dict(zip(values, softmax(logits, temperature, moved).tolist(), strict=True))


def prediction_set(probabilities: Mapping[str, float], thresholds: Mapping[str, float]) -> tuple[str, ...]:
    """Every value whose nonconformity 1 - p is within its class's threshold (LAC, class-conditional), likeliest first.

    The likeliest value is always in: an empty set would tell nobody what to do. That can only raise the coverage.
    """
    ranked = sorted(probabilities, key=lambda value: -probabilities[value])
    return tuple(v for place, v in enumerate(ranked) if place == 0 or 1.0 - probabilities[v] <= thresholds[v])

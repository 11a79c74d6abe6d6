"""Logits to calibrated probabilities, and probabilities to the set of values that cannot be ruled out.

Temperatures, offsets, pairwise calibration and set thresholds are fitted in training, on data that neither
training nor reports use; here they are only applied.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from classifier.recipe import CLASSES, Scaling
from classifier.taxonomy import LEFT_OPEN


def softmax(logits: np.ndarray, temperature: float, offsets: ArrayLike = 0.0) -> np.ndarray:
    """Probabilities (..., n) of logits (..., n), softened by one temperature, then moved by an offset (n,) a class.

    After temperature and vector scaling of Guo et al. 2017, section 4.2: one scale for all classes, an offset for each.
    """
    scaled = np.asarray(logits, dtype=np.float64) / temperature + np.asarray(offsets, dtype=np.float64)
    raised = np.exp(scaled - scaled.max(axis=-1, keepdims=True))
    return raised / raised.sum(axis=-1, keepdims=True)


def sigmoid(logits: np.ndarray, temperature: float) -> np.ndarray:
    """Probabilities of independent yes/no logits of any shape, softened by one temperature."""
    return 1.0 / (1.0 + np.exp(-np.clip(np.asarray(logits, dtype=np.float64) / temperature, -60.0, 60.0)))


def pairwise_calibrated(logits: np.ndarray, pair: tuple[int, int], by: float) -> np.ndarray:
    """Logits (..., n) with the margin of two classes wider by up to `by`; their odds together stay as they are.

    A network that was taught half of each where a picture leaves both open is underconfident between them: the likelier
    one is right more often than its odds say. A margin of half a unit is widened by nearly all of `by`.
    """
    told = np.array(logits, dtype=np.float64)
    one, other = told[..., pair[0]], told[..., pair[1]]
    both, margin = np.logaddexp(one, other), one - other
    margin = margin + by * np.tanh(4 * margin)
    told[..., pair[0]], told[..., pair[1]] = both - np.logaddexp(0, -margin), both - np.logaddexp(0, margin)
    return told


def concept_probabilities(logits: np.ndarray, concept: str, scaling: Scaling) -> np.ndarray:
    """Calibrated probabilities (..., n) of a concept's logits, in the network's order."""
    values = CLASSES[concept]
    if logits.shape[-1] != len(values):
        raise ValueError(f"logits of shape {logits.shape} came, (..., {len(values)}) is wanted for {list(values)}")
    if concept in LEFT_OPEN:
        one, other = (values.index(value) for value in LEFT_OPEN[concept])
        logits = pairwise_calibrated(logits, (one, other), scaling.pairwise)
    offsets = [scaling.offsets[value] for value in values]
    return softmax(logits, scaling.temperature, offsets)


def named_probabilities(logits: np.ndarray, concept: str, scaling: Scaling) -> dict[str, float]:
    """Calibrated probability of each value of a concept by its name, of logits (n,); they sum to 1."""
    return dict(zip(CLASSES[concept], concept_probabilities(logits, concept, scaling).tolist(), strict=True))


def prediction_set(probabilities: Mapping[str, float], thresholds: Mapping[str, float]) -> tuple[str, ...]:
    """Every value whose nonconformity 1 - p is within its class's threshold (LAC, class-conditional), likeliest first.

    The likeliest value is always in: an empty set would tell nobody what to do. That can only raise the coverage.
    """
    ranked = sorted(probabilities, key=lambda value: -probabilities[value])
    return tuple(v for place, v in enumerate(ranked) if place == 0 or 1.0 - probabilities[v] <= thresholds[v])

"""What few own photos say, drawn towards what the model knew before: the less was seen, the more.

Shares (mix of values, what is hidden) have conjugate priors and closed forms: a Dirichlet prior worth `STRENGTH`
photos. Temperature and offsets have none, so the mode of the posterior is sought: normal priors round the shipped
log temperature and offsets. A label is believed but for `WRONG_LABELS` of them, so that no single wrong one can
bend much (the mixture bounds each case's pull).
"""

import math
from collections.abc import Mapping

import numpy as np
from scipy.optimize import minimize

from classifier.calibration import pairwise_calibrated, softmax
from classifier.recipe import CLASSES, Scaling
from classifier.taxonomy import LEFT_OPEN
from training.calibrate.conformal import HIGHEST_TEMPERATURE, LOWEST_TEMPERATURE

STRENGTH = 30.0
"""Own photos after which the shipped shares and the own ones count alike."""

SPREAD_OF_TEMPERATURE = 0.25
"""Standard deviation of the log temperature of other worlds round the shipped one; chosen, not measured."""

SPREAD_OF_OFFSETS = 0.5
WRONG_LABELS = 0.05


def shrunk_shares(
    shipped: Mapping[str, float], counts: Mapping[str, float], strength: float = STRENGTH
) -> dict[str, float]:
    """The mean of the Dirichlet posterior: (strength × shipped + counts) / (strength + all counts)."""
    total = strength + sum(counts.values())
    return {value: (strength * share + counts.get(value, 0.0)) / total for value, share in shipped.items()}


def shrunk_share(shipped: float, hits: float, n: float, strength: float = STRENGTH) -> float:
    """The mean of the Beta posterior, for one share."""
    return (strength * shipped + hits) / (strength + n)


def shrunk_scaling(concept: str, logits: np.ndarray, truths: np.ndarray, shipped: Scaling) -> Scaling:
    """Temperature and offsets of greatest posterior probability; logits (n, k), truths (n,) column numbers.

    The pairwise margin stays as shipped. Without any case it is the shipped scaling.
    """
    if not len(logits):
        return shipped
    values = CLASSES[concept]
    told = logits
    if concept in LEFT_OPEN:
        pair = tuple(values.index(value) for value in LEFT_OPEN[concept])
        told = pairwise_calibrated(logits, pair, shipped.pairwise)
    before = np.array([math.log(shipped.temperature), *(shipped.offsets[value] for value in values)])
    spread = np.array([SPREAD_OF_TEMPERATURE, *[SPREAD_OF_OFFSETS] * len(values)])

    def cost(unknown: np.ndarray) -> float:
        given = softmax(told, math.exp(unknown[0]), unknown[1:])[np.arange(len(truths)), truths]
        return robust_loss(given, len(values)) + 0.5 * float((((unknown - before) / spread) ** 2).sum())

    bounds = [(math.log(LOWEST_TEMPERATURE), math.log(HIGHEST_TEMPERATURE)), *[(None, None)] * len(values)]
    found = minimize(cost, before, method="L-BFGS-B", bounds=bounds).x
    offsets = dict(zip(values, found[1:].tolist(), strict=True))
    return Scaling(temperature=math.exp(found[0]), offsets=offsets, pairwise=shipped.pairwise)


def robust_loss(given: np.ndarray, classes: int) -> float:
    """Summed minus log likelihood of labels of which `WRONG_LABELS` are any value at random."""
    return float(-np.log((1 - WRONG_LABELS) * given + WRONG_LABELS / classes).sum())

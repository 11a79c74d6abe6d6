"""What photos and answers leave of the generations and lowering mechanisms, by Bayes' rule.

The posterior is exact: every combination of features is a hypothesis (`catalogue/hypotheses.py`) whose prior is
multiplied by the likelihood of its values. What speaks of one feature is combined first (`heard.py`), so that the order
in which it came does not matter; what one person says of one look is one source (`witness.py`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from classifier.identify import PhotoReading
from classifier.model import ReadingFacts
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.hypotheses import Hypotheses
from guidance.identify.heard import heard
from guidance.identify.sources import Observed, Source, answer_sources, check_observations, gather

COVERAGE = 0.95
"""The coverage of the sets unless a model's metadata say otherwise."""


@dataclass(frozen=True)
class Posterior:
    """Probabilities of the generations with `unlisted`, of the mechanisms, and of both with all features (`weights`).

    `weights` is (H, M): hypothesis by mechanism, in the order of `hypotheses`.
    """

    hypotheses: Hypotheses
    weights: np.ndarray
    generation: dict[str, float]
    lowering: dict[str, float]


@dataclass(frozen=True)
class Evidence:
    """All sources, the posterior that they leave, and the coverage wanted of the sets."""

    sources: tuple[Source, ...]
    now: Posterior
    coverage: float

    def about(self, features: Sequence[str]) -> list[Source]:
        return [s for s in self.sources if s.feature in features]


def evidence_of(
    readings: Sequence[PhotoReading],
    observations: Sequence[Observed],
    catalogue: Catalogue,
    facts: ReadingFacts,
    coverage: float,
) -> Evidence:
    """Weigh photos of one lift and answers together. Raises `ObservationError`."""
    sources = gather(readings, observations, catalogue, facts)
    return Evidence(sources, posterior(sources, catalogue.hypotheses), coverage)


def evidence_of_answers(observations: Sequence[Observed], catalogue: Catalogue) -> Evidence:
    """Weigh answers alone, where no model has read a photo. Raises `ObservationError`."""
    check_observations(observations, catalogue)
    sources = tuple(answer_sources(observations, catalogue))
    return Evidence(sources, posterior(sources, catalogue.hypotheses), COVERAGE)


def posterior(sources: Sequence[Source], hypotheses: Hypotheses) -> Posterior:
    """Multiply every hypothesis's prior by the combined likelihood of its feature values, and scale to sum 1."""
    weights = hypotheses.prior.copy()  # (H, M)
    for feature, values in hypotheses.features.items():
        message = heard(feature, values, sources).likelihood
        if feature == "lowering":
            weights *= message[np.newaxis, :]
        else:
            weights *= message[hypotheses.value_index[feature]][:, np.newaxis]
    weights /= weights.sum()
    return Posterior(hypotheses, weights, *hypotheses.marginals(weights))

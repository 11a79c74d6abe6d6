"""What photos and answers leave of the generations and lowering mechanisms, by Bayes' rule.

The posterior is exact: every combination of features is a hypothesis (`catalogue/hypotheses.py`) whose prior is
multiplied by the likelihood of its values. Photos, people and looks multiply, so their order does not matter; what one
person says of one look is one source (`witness.py`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from classifier.identify import PhotoReading
from classifier.model import ReadingFacts
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.hypotheses import Hypotheses
from guidance.identify.sources import Observed, Source, answer_sources, check_observations, gather
from guidance.identify.witness import witnesses

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
        message = combined(feature, values, sources)
        if feature == "lowering":
            weights *= message[np.newaxis, :]
        else:
            weights *= message[hypotheses.value_index[feature]][:, np.newaxis]
    weights /= weights.sum()
    return Posterior(hypotheses, weights, *hypotheses.marginals(weights))


def combined(feature: str, values: Sequence[str], sources: Sequence[Source]) -> np.ndarray:
    """Combine all sources about one feature into one likelihood per value, (V,), largest 1.

    A person's correction sets the photos' readings of that feature aside. Answers of one person about one look count
    once. Photos of one lift share their errors: the likelihood of each is raised to the power
    1 / (1 + correlation * the others), another one counting by how strongly it speaks beside this one, 1 at most. So n
    like photos count as n / (1 + (n - 1) * correlation), the effective size of n equally correlated measurements
    (Kish's design effect), and a photo that says nothing weakens no other.
    """
    about = witnesses(active(feature, sources))
    strengths = {id(s): s.strength for s in about if s.observed is None}
    log_likelihood = np.zeros(len(values))
    for source in about:
        own = strengths.get(id(source), 0.0)
        others = sum(min(1.0, strength / own) for strength in strengths.values()) - 1.0 if own else 0.0
        weight = 1.0 / (1.0 + source.correlation * others)
        log_likelihood += weight * np.log([source.likelihood[v] for v in values])
    return np.exp(log_likelihood - log_likelihood.max())


def active(feature: str, sources: Sequence[Source]) -> list[Source]:
    """Give the sources that count for a feature: all, or without the photos when a person has corrected it."""
    about = [s for s in sources if s.feature == feature]
    corrected = any(s.correction for s in about)
    return [s for s in about if s.observed is not None or not corrected]

"""What photos and answers say, and by Bayes' rule what generation and lowering mechanism that leaves.

Every photo and every answer is a `Source` about one feature: a concept of the taxonomy, or a trait that only questions
reach. It weighs each value v of its feature by a likelihood L(v). A photo's reading p gives
L(v) = p(v) / prior(v) + p(not_visible) hidden(v), where prior(v) is how often v counted where p was fitted, in view
or not: by Bayes' rule p(v) / prior(v) is proportional to P(photo shows v so | v), rarely shown values included.
hidden(v) is P(not visible | v), scaled to be 1 on average: a part that hides its feature more likely has a value that
is hidden more often. Less a share of doubt that the model brings along (`ReadingFacts`): it bounds what one photo can
say, so that answers can still overturn one that misled the network. An answer gives L(v) = P(answer | v), from the
catalogue. A photo without the part changes nothing.

The posterior is exact: every combination of features is a hypothesis (`hypotheses.py`) whose prior is multiplied by
the likelihood of its values. Sources multiply, so their order does not matter.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from classifier.errors import ObservationError
from classifier.identify import ConceptReading, PhotoReading, SubjectReading
from classifier.model import ReadingFacts
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, NOT_VISIBLE
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import UNSURE, nearest
from guidance.identify.hypotheses import Hypotheses, hypotheses_of

HOLDS = 0.9
"""A source holds the fewest values that carry this much of its likelihood; two that share none contradict."""

LEFT_OPEN = 0.05
"""An answer leaves a value open from this share of its likelihood upward."""


@dataclass(frozen=True)
class Observed:
    """What somebody answered: the id of a catalogue observation, and one of its options or "unsure"."""

    id: str
    answer: str


@dataclass(frozen=True, eq=False)
class Source:
    """One thing that speaks about one feature; each is itself, whatever another says.

    `likelihood[v]` is L(v) of the module's docstring. `left_open` are the values that it does not rule out alone.
    `correlation` is how alike its errors are to those of other photos of the same lift (0: independent).
    """

    feature: str
    origin: str
    likelihood: dict[str, float]
    left_open: frozenset[str]
    correlation: float = 0.0
    observed: Observed | None = None
    correction: bool = False

    @property
    def belief(self) -> dict[str, float]:
        """The likelihood scaled to sum to 1: what the source says with no prior."""
        total = sum(self.likelihood.values())
        return {v: x / total for v, x in self.likelihood.items()}

    @property
    def information(self) -> float:
        """How much the source says: 0 when every value is equally likely to it, 1 when it leaves a single one."""
        belief = np.array(list(self.belief.values()))
        return float(1.0 + (belief * np.log(belief)).sum() / np.log(len(belief)))

    @property
    def strength(self) -> float:
        """How strongly the source speaks: the log of the ratio of its largest to its smallest likelihood."""
        return math.log(max(self.likelihood.values()) / min(self.likelihood.values()))

    @property
    def holds(self) -> frozenset[str]:
        return likely_set(self.belief, HOLDS)


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
    return Evidence(sources, posterior(sources, hypotheses_of(catalogue)), coverage)


def gather(
    readings: Sequence[PhotoReading],
    observations: Sequence[Observed],
    catalogue: Catalogue,
    facts: ReadingFacts,
) -> tuple[Source, ...]:
    """Collect every source; of a photo's subjects of one kind the likeliest speaks. Raises `ObservationError`."""
    check_observations(observations, catalogue)
    sources: list[Source] = []
    for number, reading in enumerate(readings, 1):
        for subject in most_probable_subjects(reading).values():
            sources += photo_sources(f"photo {number}", subject, facts)
    sources += _answer_sources(observations, catalogue)
    return tuple(sources)


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

    A person's correction sets the photos' readings of that feature aside. Photos of one lift share their errors: the
    likelihood of each is raised to the power 1 / (1 + correlation * the others), another one counting by how strongly
    it speaks beside this one, 1 at most. So n like photos count as n / (1 + (n - 1) * correlation), the effective size
    of n equally correlated measurements (Kish's design effect), and a photo that says nothing weakens no other.
    """
    about = active(feature, sources)
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


def likely_set(probabilities: Mapping[str, float], share: float) -> frozenset[str]:
    """Give the fewest values that together reach `share`, likeliest first; values that tie with the last join it."""
    ordered = sorted(probabilities.values(), reverse=True)
    reached = np.cumsum(ordered)
    least = ordered[min(int(np.searchsorted(reached, share - 1e-12)), len(ordered) - 1)]
    return frozenset(v for v, p in probabilities.items() if p >= least - 1e-12)


def most_probable_subjects(reading: PhotoReading) -> dict[str, SubjectReading]:
    """Of each kind in a photo keep the likeliest subject; the larger, then the more leftward, where they tie."""

    def rank(subject: SubjectReading) -> tuple:
        left, top, right, bottom = subject.box
        return (subject.probability, (right - left) * (bottom - top), -left, -top)

    return {s.kind: s for s in sorted(reading.subjects, key=rank)}


def check_observations(observations: Sequence[Observed], catalogue: Catalogue) -> None:
    """Raise `ObservationError` for an unknown id or answer (naming the nearest) or two answers to one question."""
    given: dict[str, str] = {}
    for observed in observations:
        row = catalogue.observations_by_id.get(observed.id)
        if row is None:
            known = list(catalogue.observations_by_id)
            raise ObservationError(
                f"came observation '{observed.id}', wanted one of {', '.join(known)}{nearest(observed.id, known)}"
            )
        options = [*row.options, UNSURE]
        if observed.answer not in options:
            raise ObservationError(
                f"came answer '{observed.answer}' to '{observed.id}', wanted one of {', '.join(options)}"
                f"{nearest(observed.answer, options)}"
            )
        if given.setdefault(observed.id, observed.answer) != observed.answer:
            raise ObservationError(
                f"'{observed.id}' came with two answers, '{given[observed.id]}' and '{observed.answer}'; give one"
            )


def photo_sources(origin: str, subject: SubjectReading, facts: ReadingFacts) -> Iterator[Source]:
    """What one subject of one photo says of each of its concepts."""
    for concept in CONCEPTS_OF[subject.kind]:
        if concept in subject.concepts:
            yield _photo_source(origin, concept, subject, facts)


def _photo_source(origin: str, concept: str, subject: SubjectReading, facts: ReadingFacts) -> Source:
    """Weigh one reading. What may be no such subject says less.

    The readings of one subject stand or fall together: each of its k concepts carries the k-th root of its probability.
    """
    reading: ConceptReading = subject.concepts[concept]
    prior = facts.priors[concept]
    trust = subject.probability ** (1.0 / len(CONCEPTS_OF[subject.kind])) * (1.0 - facts.doubt)
    often = sum(prior[v] * facts.hidden[concept][v] for v in CONCEPTS[concept])
    hidden = {v: reading.probabilities[NOT_VISIBLE] * facts.hidden[concept][v] / often for v in CONCEPTS[concept]}
    likelihood = {v: trust * (reading.probabilities[v] / prior[v] + hidden[v]) + 1 - trust for v in CONCEPTS[concept]}
    ruled_in = frozenset(reading.prediction_set) - {NOT_VISIBLE}
    left_open = ruled_in if ruled_in and NOT_VISIBLE not in reading.prediction_set else frozenset(CONCEPTS[concept])
    return Source(concept, origin, likelihood, left_open, facts.correlation)


def _answer_sources(observations: Sequence[Observed], catalogue: Catalogue) -> Iterator[Source]:
    for observed in dict.fromkeys(observations):
        row = catalogue.observations_by_id[observed.id]
        if row.about is None or observed.answer == UNSURE:
            continue
        likelihood = {truth: answers[observed.answer] for truth, answers in row.reliability.items()}
        total = sum(likelihood.values())
        left_open = frozenset(v for v, x in likelihood.items() if x / total >= LEFT_OPEN)
        yield Source(row.about, "your answer", likelihood, left_open, observed=observed, correction=row.correction)

"""What photos and answers say of one feature each, and who says it.

Every photo and every answer is a `Source` about one feature: a concept of the taxonomy, or a trait that only questions
reach. It weighs each value v of its feature by a likelihood L(v). A photo's reading p gives
L(v) = p(v) / prior(v) + p(not_visible) hidden(v), where prior(v) is how often v counted where p was fitted, in view
or not: by Bayes' rule p(v) / prior(v) is proportional to P(photo shows v so | v), rarely shown values included.
hidden(v) is P(not visible | v), scaled to be 1 on average: a part that hides its feature more likely has a value that
is hidden more often. Less a share of doubt that the model brings along (`ReadingFacts`): it bounds what one photo can
say, so that answers can still overturn one that misled the network. An answer gives L(v) = P(answer | v), from the
catalogue. A photo without the part changes nothing.
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
from guidance.catalogue.rows import UNSURE, Observation, Role, nearest

HOLDS = 0.9
"""A source holds the fewest values that carry this much of its likelihood; two that share none contradict."""

BARE_MENTION = 3.0
"""A value that a source makes less than this many times less likely than its likeliest is as good as that to it.

A ratio of 1 to 3 is "not worth more than a bare mention" (Kass and Raftery, Bayes Factors, 1995; from memory).
"""

STAYS_POSSIBLE = 0.05
"""An answer leaves a value open from this share of its likelihood upward."""


@dataclass(frozen=True)
class Observed:
    """What somebody answered: the id of a catalogue observation, one of its options or "unsure", and who looked.

    `by` is None for whoever asks for the answer. An agent writes down what the person at the lift says, so that both
    are one witness; a technician looks for themselves.
    """

    id: str
    answer: str
    by: Role | None = None

    @property
    def witness(self) -> str:
        return "technician" if self.by == "technician" else "caller"


@dataclass(frozen=True, eq=False)
class Source:
    """One thing that speaks about one feature; each is itself, whatever another says.

    `likelihood[v]` is L(v) of the module's docstring. `left_open` are the values that it does not rule out alone.
    `correlation` is how alike its errors are to those of other photos of the same lift (0: independent).
    `look` is who looked at what: answers with the same one are no second source (`witness.py`); None for a photo.
    """

    feature: str
    origin: str
    likelihood: dict[str, float]
    left_open: frozenset[str]
    correlation: float = 0.0
    observed: Observed | None = None
    correction: bool = False
    look: tuple[str, str] | None = None

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

    def contradicts(self, other: "Source") -> bool:
        """Whether two sources about one feature cannot both be right.

        Those of different witnesses hold nothing in common. One person's answers about one look have to agree on what
        they name, not on what they may have mistaken it for.
        """
        if self.look is not None and self.look == other.look:
            return not self._named & other._named
        return not self.holds & other.holds

    @property
    def _named(self) -> frozenset[str]:
        most = max(self.likelihood.values())
        return frozenset(v for v, x in self.likelihood.items() if x * BARE_MENTION > most)


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
    sources += answer_sources(observations, catalogue)
    return tuple(sources)


def likely_set(probabilities: Mapping[str, float], share: float) -> frozenset[str]:
    """Give the fewest values that together reach `share`, likeliest first; values that tie with the last join it."""
    ordered = sorted(probabilities.values(), reverse=True)
    reached = np.cumsum(ordered)
    least = ordered[min(int(np.searchsorted(reached, share - 1e-12)), len(ordered) - 1)]
    return frozenset(v for v, p in probabilities.items() if p >= least - 1e-12)


def most_probable_subjects(reading: PhotoReading) -> dict[str, SubjectReading]:
    """Of each kind in a photo keep the likeliest subject; the larger, then the more leftward, where they tie."""

    def rank(subject: SubjectReading) -> tuple[float, ...]:
        left, top, right, bottom = subject.box
        return (subject.probability, (right - left) * (bottom - top), -left, -top)

    return {s.kind: s for s in sorted(reading.subjects, key=rank)}


def check_observations(observations: Sequence[Observed], catalogue: Catalogue) -> None:
    """Raise `ObservationError` for an unknown id or answer (naming the nearest) or two answers of one to a question."""
    given: dict[tuple[str, str], str] = {}
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
        before = given.setdefault((observed.id, observed.witness), observed.answer)
        if before != observed.answer:
            raise ObservationError(
                f"'{observed.id}' came with two answers, '{before}' and '{observed.answer}'; give one"
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


def answer_sources(observations: Sequence[Observed], catalogue: Catalogue) -> Iterator[Source]:
    """One source for each thing that a witness says: whoever writes it down as well says it no second time."""
    for observed in {(o.id, o.answer, o.witness): o for o in observations}.values():
        row = catalogue.observations_by_id[observed.id]
        if row.about is not None and observed.answer != UNSURE:
            yield answer_source(row, observed)


def answer_source(row: Observation, observed: Observed) -> Source:
    """What one answer says of the feature that its question is about."""
    if row.about is None:
        raise ValueError(f"'{row.id}' is about no feature, so that its answer says nothing of one")
    likelihood = {truth: answers[observed.answer] for truth, answers in row.reliability.items()}
    total = sum(likelihood.values())
    return Source(
        row.about,
        "your answer",
        likelihood,
        left_open=frozenset(v for v, x in likelihood.items() if x / total >= STAYS_POSSIBLE),
        observed=observed,
        correction=row.correction,
        look=(observed.witness, row.look or row.about),
    )

"""What all that speaks of one feature says together, and whether a person's word stands in for the photos.

Photos, people and looks multiply. A correction names the value of a concept outright; whoever gives it may have seen
what the photos were read as, so that the two are never multiplied. Where it names another value than the photos'
favourite, people alone are heard. Where it names the favourite, it is heard as the surer of two things, with no prior:
what is known without the correction, and what people say without the photos. Its value is as probable as in the surer
one, and what is left is shared among the other values as it was without the correction. So no other value gains beside
the one that was named: whatever else is known, agreeing makes it no less probable. Where the photos are the surer, a
value that only the correction rules out leaves the set, but still stands against `confirmed`, so that the two together
do not confirm what neither would.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from guidance.identify.sources import Source
from guidance.identify.witness import witnesses

TIE = 1e-9
"""Photos have no favourite when another value is within this share as likely, as when they do not show the feature."""


@dataclass(frozen=True)
class Heard:
    """One feature's combined likelihood (V,), largest 1, the sources that count in it, and the values they leave open.

    `left_open` are those that every one of them leaves open on its own; `by_word` those that only a correction rules
    out that is not the surer.
    """

    likelihood: np.ndarray
    sources: tuple[Source, ...]
    left_open: frozenset[str]
    by_word: frozenset[str] = frozenset()


def heard(feature: str, values: Sequence[str], sources: Sequence[Source]) -> Heard:
    """Combine all sources about a feature by the module's rule; `values` are the feature's, in order."""
    about = [s for s in sources if s.feature == feature]
    photos = [s for s in about if s.observed is None]
    named = {s.observed.answer for s in about if s.observed is not None and s.correction}
    if not named:
        return _together(values, about)
    by_people = _together(values, [s for s in about if s.observed is not None])
    favourite = _favourite(values, _together(values, photos))
    if named != {favourite}:
        return by_people
    uncorrected = _together(values, [s for s in about if not s.correction])
    return replace(_surer(values.index(favourite), uncorrected, by_people), sources=tuple(about))


def _surer(value: int, uncorrected: Heard, by_people: Heard) -> Heard:
    """Raise the value's share of what is known without the correction to what people give it, where that is more."""
    left_open = uncorrected.left_open & by_people.left_open
    against, against_by_people = (_odds_against(value, h.likelihood) for h in (uncorrected, by_people))
    if against <= against_by_people:
        return replace(uncorrected, left_open=left_open, by_word=uncorrected.left_open - left_open)
    likelihood = uncorrected.likelihood * against_by_people / against
    likelihood[value] = uncorrected.likelihood[value]
    return replace(uncorrected, likelihood=likelihood / likelihood.max(), left_open=left_open)


def _odds_against(value: int, likelihood: np.ndarray) -> float:
    return float((likelihood.sum() - likelihood[value]) / likelihood[value])


def _favourite(values: Sequence[str], told: Heard) -> str:
    likeliest = [v for v, likelihood in zip(values, told.likelihood, strict=True) if likelihood >= 1.0 - TIE]
    return likeliest[0] if len(likeliest) == 1 else ""


def _together(values: Sequence[str], about: Sequence[Source]) -> Heard:
    """Multiply what sources about one feature say.

    Answers of one person about one look count once. Photos of one lift share their errors: the likelihood of each is
    raised to the power 1 / (1 + correlation * the others), another one counting by how strongly it speaks beside this
    one, 1 at most. So n like photos count as n / (1 + (n - 1) * correlation), the effective size of n equally
    correlated measurements (Kish's design effect), and a photo that says nothing weakens no other.
    """
    speaking = witnesses(about)
    strengths = {id(s): s.strength for s in speaking if s.observed is None}
    log_likelihood = np.zeros(len(values))
    for source in speaking:
        own = strengths.get(id(source), 0.0)
        others = sum(min(1.0, strength / own) for strength in strengths.values()) - 1.0 if own else 0.0
        weight = 1.0 / (1.0 + source.correlation * others)
        log_likelihood += weight * np.log([source.likelihood[v] for v in values])
    left_open = frozenset(values).intersection(*(s.left_open for s in speaking))
    return Heard(np.exp(log_likelihood - log_likelihood.max()), tuple(about), left_open)

"""One witness counts once: what one person says of one feature from one look is one source, however often it is said.

Who saw a knob wrongly says so again in the next answer: the answers share the one look and its mistakes, so that they
must never be multiplied. For each answer the most telling one that does not contradict it speaks. Where they all agree
one answer speaks; where they do not, those that speak are taken to be equally likely the right one: L(v) is the mean of
what each of them says with no prior. A mean of likelihoods gives every value a posterior between those of the single
answers, whatever the prior and whatever else is known. So a second answer makes nothing surer than the surest single
one, and one that contradicts brings doubt.

Combining idempotently where sources are not distinct: as the cautious rule does for belief functions (Denoeux,
"Conjunctive and disjunctive combination of belief functions induced by nondistinct bodies of evidence", Artificial
Intelligence 172, 2008; from memory), here by selection and linear pooling.
"""

from collections.abc import Sequence
from dataclasses import replace

from guidance.identify.sources import Source

SAME = 1e-9
"""Answers that differ by less than this in how much they tell are equally telling."""


def witnesses(about: Sequence[Source]) -> list[Source]:
    """Merge sources about one feature (photos as they are) so that every person's look is one of them."""
    by_look: dict[tuple[str, str], list[Source]] = {}
    for source in about:
        if source.look is not None:
            by_look.setdefault(source.look, []).append(source)
    return [s for s in about if s.look is None] + [one_source(answers) for answers in by_look.values()]


def one_source(answers: Sequence[Source]) -> Source:
    """What one person's answers about one look say together."""
    speaking = [s for s in answers if any(s in _speak_for(answer, answers) for answer in answers)]
    if len(speaking) == 1:
        return speaking[0]
    likelihood = {v: sum(s.belief[v] for s in speaking) / len(speaking) for v in speaking[0].likelihood}
    return replace(speaking[0], likelihood=likelihood, left_open=frozenset().union(*(s.left_open for s in speaking)))


def _speak_for(answer: Source, answers: Sequence[Source]) -> list[Source]:
    """Give the most telling of the answers that do not contradict this one; several when they tell equally much."""
    agreeing = [s for s in answers if not s.contradicts(answer)]
    most = max(s.information for s in agreeing)
    return [s for s in agreeing if s.information > most - SAME]

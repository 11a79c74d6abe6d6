"""Of sentences shown together none orders the opposite of an earlier one or needs what an earlier one forbade."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from guidance.catalogue.acts import ENDED_BY, ON_THE_LIFT, opposite
from guidance.catalogue.rows import Role, Sentence
from guidance.documents.answer import Advice


@dataclass(frozen=True)
class Orders:
    """What was ordered and what was forbidden so far; `up` while somebody is, or may be, in the sling."""

    acts: frozenset[str] = frozenset()
    forbidden: frozenset[str] = frozenset()
    up: bool = False

    def allow(self, sentence: Sentence) -> bool:
        """Whether a sentence can be said after these orders."""
        if sentence.once_down:
            return True
        if sentence.keeps_away and self.up:
            return False
        undone = {opposite(act) for act in sentence.acts}
        ended = {ENDED_BY[need] for need in sentence.requires}
        brought_about = {opposite(act) for act in ended}
        against = (undone | ended | set(sentence.forbids)) & self.acts
        return not against and not (set(sentence.acts) | brought_about) & self.forbidden

    def after(self, sentence: Sentence) -> Orders:
        """The orders once a sentence was said; what holds only once the person is down binds nobody before."""
        if sentence.once_down:
            return self
        kept_off = ON_THE_LIFT if sentence.keeps_away else ()
        return Orders(self.acts | set(sentence.acts), self.forbidden | {*sentence.forbids, *kept_off}, self.up)


def in_order(sentences: Iterable[Sentence], role: Role, orders: Orders) -> tuple[tuple[Advice, ...], Orders]:
    """Those sentences that this role may be told after these orders and after each other, and the orders then.

    What two rows say in the same words, as two danger signs do, is said once.
    """
    told: dict[str, Advice] = {}
    for sentence in sentences:
        if role in sentence.roles and sentence.text not in told and orders.allow(sentence):
            told[sentence.text] = advised(sentence)
            orders = orders.after(sentence)
    return tuple(told.values()), orders


def advised(sentence: Sentence) -> Advice:
    """A sentence as the documents carry it."""
    fields = ("id", "text", "source", "roles", "signal", "acts", "forbids", "requires", "keeps_away", "once_down")
    return Advice(**{name: getattr(sentence, name) for name in fields})

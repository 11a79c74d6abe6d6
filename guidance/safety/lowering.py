"""How to bring a person down by hand: one mechanism's action only when it is confirmed, else what is safe for all."""

from collections.abc import Collection, Iterable, Sequence

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import Role, Sentence
from guidance.documents.answer import Advice, LoweringAdvice
from guidance.documents.case import DOWN, STILL, WORSE
from guidance.safety.orders import Orders, advised, in_order

LOWERING_OUTCOMES = {DOWN: "The person is down now", STILL: "Still up", WORSE: "It is getting worse"}
"""What can be answered at each step of the way down."""

NOTHING_SAID = Orders(up=True)
"""Nothing was ordered before."""


def lowering_advice(
    catalogue: Catalogue,
    confirmed: str | None,
    values: Collection[str],
    role: Role,
    orders: Orders = NOTHING_SAID,
) -> LoweringAdvice:
    """Give the steps of the confirmed mechanism, or with `confirmed` None those that are safe for every value.

    First a place to land and the buttons, then the mechanism, then help. No step opposes what was ordered before.
    """
    own = _own_steps(catalogue, confirmed, orders) if confirmed else ()
    middle = own or tuple(_rows(catalogue, "lowering_open"))
    rows = (*_rows(catalogue, "lowering_before"), *middle, *_rows(catalogue, "lowering_after"))
    steps, _ = in_order(_with_cautions(catalogue, rows, orders), role, orders)
    return LoweringAdvice(
        basis="confirmed" if own else "open",
        mechanisms=(confirmed,) if own else tuple(values),
        steps=steps,
        outcomes=LOWERING_OUTCOMES,
    )


def _own_steps(catalogue: Catalogue, confirmed: str, orders: Orders) -> tuple[Sentence, ...]:
    """The confirmed mechanism's steps: all of them, or none when one opposes what was ordered before."""
    mechanism = catalogue.mechanisms_by_id[confirmed]
    stopped = "press:stop" in orders.acts and any("lower:by_hand" in step.acts for step in mechanism.steps)
    if stopped and not mechanism.with_stop_pressed or not all(map(orders.allow, mechanism.steps)):
        return ()
    return mechanism.steps


def _rows(catalogue: Catalogue, place: str) -> Iterable[Sentence]:
    return (s for s in catalogue.sentences if s.place == place)


def _with_cautions(catalogue: Catalogue, rows: Sequence[Sentence], orders: Orders) -> list[Sentence]:
    """Put before each sentence the cautions that belong beside what it orders, each once."""
    found: list[Sentence] = []
    for row in rows:
        if orders.allow(row):
            found += [caution for caution in beside(catalogue, row.acts) if caution not in found]
            found.append(row)
    return found


def beside(catalogue: Catalogue, acts: Collection[str]) -> tuple[Sentence, ...]:
    """The cautions that are said with any of these acts."""
    return tuple(row for row in catalogue.cautions if row.moment == "beside" and set(row.beside) & set(acts))


def placed(catalogue: Catalogue, place: str, role: Role) -> tuple[Advice, ...]:
    """Give the catalogue's general sentences of one place that this role may be told, in the catalogue's order."""
    return advice(_rows(catalogue, place), role)


def advice(sentences: Iterable[Sentence], role: Role) -> tuple[Advice, ...]:
    """Keep the sentences that this role may be told, the same words once."""
    return tuple({s.text: advised(s) for s in reversed([*sentences]) if role in s.roles}.values())[::-1]

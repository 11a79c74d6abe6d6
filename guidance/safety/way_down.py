"""What is said while somebody is up, or may be: danger signs first, then the person, then the way down."""

from collections.abc import Collection, Iterable, Iterator

from guidance.catalogue.acts import ON_THE_LIFT
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import StopSign
from guidance.catalogue.rows import Sentence
from guidance.documents.answer import Advice, LoweringAdvice
from guidance.documents.case import WORSE, Case
from guidance.safety.lowering import lowering_advice
from guidance.safety.orders import Orders, in_order


def way_down(
    catalogue: Catalogue, case: Case, confirmed: str | None, mechanisms: Iterable[str]
) -> tuple[tuple[Advice, ...], LoweringAdvice]:
    """What is said first, and the steps. After a lowering that failed, only what is safe for every mechanism."""
    signs = signs_in_order(catalogue, case.danger_signs or ())
    failed = any("lowering_failed" in sign.gives for sign in signs)
    orders = Orders(forbidden=frozenset(_made_worse(catalogue, case)), up=True)
    safety, orders = in_order(_said_first(catalogue, case, signs), case.role, orders)
    steps = lowering_advice(catalogue, None if failed else confirmed, tuple(mechanisms), case.role, orders)
    tried = {step.id for step in case.lowered}
    current = next((step.id for step in steps.steps if step.id not in tried), None)
    return safety, steps.model_copy(update={"current": current})


def signs_in_order(catalogue: Catalogue, signs: Collection[str]) -> list[StopSign]:
    """The danger signs that were seen in the catalogue's order, so that the worst can stand first there."""
    return [row for row in catalogue.stop_signs if row.id in signs]


def _said_first(catalogue: Catalogue, case: Case, signs: Iterable[StopSign]) -> Iterator[Sentence]:
    for sign in signs:
        yield from sign.occupied
    if case.lowered and case.lowered[-1].outcome == WORSE:
        yield from (row for row in catalogue.cautions if row.moment == "worse")
    yield from (row for row in catalogue.cautions if row.moment == "occupied")
    yield from (row for row in catalogue.cautions if row.moment == "emergency")


def _made_worse(catalogue: Catalogue, case: Case) -> Iterator[str]:
    """What is not to be done again: what each step that made it worse did to the lift."""
    worse = {step.id for step in case.lowered if step.outcome == WORSE}
    for row in lowering_sentences(catalogue):
        if row.id in worse:
            yield from set(row.acts) & set(ON_THE_LIFT)


def lowering_sentences(catalogue: Catalogue) -> Iterator[Sentence]:
    """Every sentence that can be a step of the way down."""
    yield from (row for row in catalogue.sentences if row.place.startswith("lowering_"))
    yield from (step for mechanism in catalogue.mechanisms for step in mechanism.steps)
    yield from (row for row in catalogue.cautions if row.moment == "beside")

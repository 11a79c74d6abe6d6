"""What must hold between the rows of a catalogue; each problem has a path to its row and a reason."""

import math
from collections.abc import Iterator
from itertools import combinations
from typing import TYPE_CHECKING

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS, UNLISTED
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.fault_checks import SECTIONS as FAULT_SECTIONS
from guidance.catalogue.fault_checks import fault_problems
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE, Generation, Observation, nearest

if TYPE_CHECKING:
    from guidance.catalogue.catalogue import Catalogue

Found = tuple[tuple[str | int, ...], str]
"""A path such as ("generations", 1, "battery") and what is wrong there."""

SUM_TOLERANCE = 1e-6
"""Probabilities that people type are rounded; their sum may be off 1 by this much."""


def problems_of(catalogue: "Catalogue") -> Iterator[Found]:
    """Yield every problem between rows."""
    yield from _duplicate_ids(catalogue)
    yield from _words(catalogue)
    yield from _mechanisms(catalogue)
    yield from _observations(catalogue)
    yield from _generations(catalogue)
    yield from _views(catalogue)
    yield from _decisions(catalogue)
    yield from fault_problems(catalogue)


def _duplicate_ids(catalogue: "Catalogue") -> Iterator[Found]:
    for section in ("generations", "mechanisms", "observations", "views", "sentences", *FAULT_SECTIONS):
        seen: dict[str, int] = {}
        for i, row in enumerate(getattr(catalogue, section)):
            if row.id in seen:
                yield (section, i, "id"), f"'{row.id}' is also the id of row {seen[row.id]}; give it one of its own"
            seen.setdefault(row.id, i)


def _words(catalogue: "Catalogue") -> Iterator[Found]:
    for concept in catalogue.concepts:
        if concept not in CONCEPTS:
            yield ("concepts", concept), f"no such concept{nearest(concept, list(CONCEPTS))}"
    for concept, values in CONCEPTS.items():
        words = catalogue.concepts.get(concept)
        if words is None:
            yield ("concepts", concept), "is missing; add its name and the words for its values"
        elif set(words.values) != set(values):
            yield ("concepts", concept, "values"), f"wanted words for exactly {', '.join(values)}"


def _mechanisms(catalogue: "Catalogue") -> Iterator[Found]:
    known = CONCEPTS["lowering"]
    for i, row in enumerate(catalogue.mechanisms):
        if row.id not in known:
            yield ("mechanisms", i, "id"), f"'{row.id}' is no value of lowering{nearest(row.id, known)}"
    for value in known:
        if value not in catalogue.mechanisms_by_id:
            yield ("mechanisms",), f"no row for '{value}'; add it, with a small share if the fleet lacks it"
    yield from _sum(("mechanisms",), "fleet_share of all rows", [m.fleet_share for m in catalogue.mechanisms])


def _generations(catalogue: "Catalogue") -> Iterator[Found]:
    traits = catalogue.trait_values
    for i, row in enumerate(catalogue.generations):
        if row.id == UNLISTED:
            yield ("generations", i, "id"), f"'{UNLISTED}' is kept for boxes of no listed generation"
        for trait, value in row.traits.items():
            if trait not in traits:
                yield (
                    ("generations", i, "traits", trait),
                    f"no observation is about '{trait}'{nearest(trait, list(traits))}",
                )
            elif value not in traits[trait]:
                yield (
                    ("generations", i, "traits", trait),
                    f"came '{value}', wanted one of {', '.join(traits[trait])}{nearest(value, traits[trait])}",
                )
        if row.lowering_shares is not None:
            yield from _lowering_shares(i, row.lowering_shares)
    yield from _sum(("generations",), "fleet_share of all rows", [g.fleet_share for g in catalogue.generations])
    for (i, a), (j, b) in combinations(enumerate(catalogue.generations), 2):
        if not _told_apart(a, b):
            yield ("generations", j), f"nothing tells '{b.id}' from '{a.id}' (row {i}); change a concept or a trait"


def _told_apart(a: Generation, b: Generation) -> bool:
    """Say whether a concept, or a trait that both rows give, differs."""
    return any(getattr(a, c) != getattr(b, c) for c in CONTROL_BOX_CONCEPTS) or any(
        a.traits[t] != b.traits[t] for t in a.traits.keys() & b.traits.keys()
    )


def _lowering_shares(i: int, shares: dict[str, float]) -> Iterator[Found]:
    where = ("generations", i, "lowering_shares")
    for value in shares:
        if value not in CONCEPTS["lowering"]:
            yield (*where, value), f"no such mechanism{nearest(value, CONCEPTS['lowering'])}"
    yield from _sum(where, "the shares", list(shares.values()))


def _observations(catalogue: "Catalogue") -> Iterator[Found]:
    ids = {o.id: o for o in catalogue.observations}
    if PERSON_IN_SLING not in ids or set(ids[PERSON_IN_SLING].options) != {"yes", "no"}:
        yield ("observations",), f"no row '{PERSON_IN_SLING}' with the options yes and no; safety hangs on it"
    for i, row in enumerate(catalogue.observations):
        if row.id in CONCEPTS or row.id == WHICH_BOX:
            yield ("observations", i, "id"), f"'{row.id}' is kept for a question of its own; use another id"
        if UNSURE in row.options:
            yield ("observations", i, "options"), f"'{UNSURE}' is always open; leave it out"
        yield from _reliability(i, row)
        if row.about is not None and row.about not in CONCEPTS:
            yield from _about_trait(i, row, catalogue)
        for other, answer in row.needs.items():
            where = ("observations", i, "needs", other)
            if other not in ids:
                yield where, f"no such observation{nearest(other, list(ids))}"
            elif answer not in ids[other].options:
                yield where, f"came '{answer}'{nearest(answer, list(ids[other].options))}"


def _about_trait(i: int, row: Observation, catalogue: "Catalogue") -> Iterator[Found]:
    where = ("observations", i, "about")
    if not any(row.about in g.traits for g in catalogue.generations):
        yield where, f"'{row.about}' is no concept, and no generation's trait{nearest(row.about, list(CONCEPTS))}"
    if set(row.reliability) != set(catalogue.trait_values[row.about]):
        yield where, f"another question about '{row.about}' knows other values; use the same"


def _reliability(i: int, row: Observation) -> Iterator[Found]:
    where = ("observations", i, "reliability")
    if (row.about is None) != (not row.reliability):
        yield where, "a question about something needs its reliability, one about the situation has none"
    if row.about in CONCEPTS and set(row.reliability) != set(CONCEPTS[row.about]):
        yield where, f"came {', '.join(row.reliability)}; wanted exactly {', '.join(CONCEPTS[row.about])}"
    for truth, answers in row.reliability.items():
        if set(answers) != set(row.options):
            yield (*where, truth), f"wanted a probability for exactly {', '.join(row.options)}"
        if any(p <= 0.0 for p in answers.values()):
            yield (*where, truth), "people err: no answer may have probability 0"
        yield from _sum((*where, truth), "the probabilities", list(answers.values()))


def _views(catalogue: "Catalogue") -> Iterator[Found]:
    for i, row in enumerate(catalogue.views):
        for concept in row.visible:
            if concept not in CONCEPTS:
                yield ("views", i, "visible", concept), f"no such concept{nearest(concept, list(CONCEPTS))}"


def _decisions(catalogue: "Catalogue") -> Iterator[Found]:
    for component in ("control_box", "actuator"):
        costs = getattr(catalogue.decision, component)
        if costs.wrong_action_min < costs.wrong_lead_min:
            yield ("decision", component, "wrong_action_min"), "must be at least wrong_lead_min"


def _sum(where: tuple[str | int, ...], what: str, numbers: list[float]) -> Iterator[Found]:
    total = math.fsum(numbers)
    if abs(total - 1.0) > SUM_TOLERANCE:
        yield where, f"{what} must sum to 1, not {total:.6g}"

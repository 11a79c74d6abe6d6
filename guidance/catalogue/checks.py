"""What must hold between the rows of a catalogue; each problem has a path to its row and a reason."""

import math
from collections.abc import Iterator
from itertools import combinations

from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS, UNLISTED
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.fault_checks import SECTIONS as FAULT_SECTIONS
from guidance.catalogue.fault_checks import fault_problems
from guidance.catalogue.places import as_written
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE, Generation, Observation, meant, nearest
from guidance.catalogue.safety_checks import safety_problems
from guidance.catalogue.sections import Sections

Found = tuple[tuple[str | int, ...], str]
"""A path such as ("generations", 1, "battery") and what is wrong there."""

SUM_TOLERANCE = 1e-6
"""Probabilities that people type are rounded; their sum may be off 1 by this much."""


def problems_of(catalogue: Sections) -> Iterator[Found]:
    """Yield every problem between rows."""
    wrong_ids = [*_ids(catalogue)]
    yield from wrong_ids
    yield from _words(catalogue)
    yield from _mechanisms(catalogue)
    yield from _observations(catalogue)
    yield from _generations(catalogue)
    yield from _views(catalogue)
    yield from _decisions(catalogue)
    if not wrong_ids:
        yield from fault_problems(catalogue)
        yield from safety_problems(catalogue)


def _ids(catalogue: Sections) -> Iterator[Found]:
    for i, row in enumerate(catalogue.generations):
        if row.id == UNLISTED:
            yield ("generations", i, "id"), f"'{UNLISTED}' is kept for boxes of no listed generation; use another id"
    for section in ("generations", "mechanisms", "observations", "views", "sentences", *FAULT_SECTIONS):
        yield from _twice([((section, i), row.id) for i, row in enumerate(getattr(catalogue, section))])
    for section, field in (("mechanisms", "steps"), ("stop_signs", "occupied"), ("components", "confirm")):
        rows = [((section, i), row) for i, row in enumerate(getattr(catalogue, section))]
        yield from _twice([((*at, field, j), s.id) for at, row in rows for j, s in enumerate(getattr(row, field))])


def _twice(rows: list[tuple[tuple[str | int, ...], str]]) -> Iterator[Found]:
    """Ids that more than one row has, with the row that had it first."""
    seen: dict[str, tuple[str | int, ...]] = {}
    for at, given in rows:
        if given in seen:
            yield (*at, "id"), f"'{given}' is also the id of {as_written(seen[given])}; give this row one of its own"
        seen.setdefault(given, at)


def _words(catalogue: Sections) -> Iterator[Found]:
    for concept in catalogue.concepts:
        if concept not in CONCEPTS:
            yield ("concepts", concept), f"no such concept{meant(concept, list(CONCEPTS))}"
    for concept, values in CONCEPTS.items():
        words = catalogue.concepts.get(concept)
        if words is None:
            yield ("concepts", concept), "is missing; add its name and the words for its values"
        elif set(words.values) != set(values):
            came, wanted = ", ".join(words.values), ", ".join(values)
            yield ("concepts", concept, "values"), f"came words for {came}; wanted them for exactly {wanted}"


def _mechanisms(catalogue: Sections) -> Iterator[Found]:
    known = CONCEPTS["lowering"]
    for i, row in enumerate(catalogue.mechanisms):
        if row.id not in known:
            yield ("mechanisms", i, "id"), f"'{row.id}' is no value of lowering{meant(row.id, known)}"
    for value in known:
        if value not in catalogue.mechanisms_by_id:
            yield ("mechanisms",), f"no row for '{value}'; add it, with a small share if the fleet lacks it"
    yield from _sum(("mechanisms",), "fleet_share of all rows", [m.fleet_share for m in catalogue.mechanisms])


def _generations(catalogue: Sections) -> Iterator[Found]:
    traits = catalogue.trait_values
    for i, row in enumerate(catalogue.generations):
        for trait, value in row.traits.items():
            if trait not in traits:
                yield (
                    ("generations", i, "traits", trait),
                    f"no observation is about '{trait}'{meant(trait, list(traits))}",
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
            yield (
                ("generations", j),
                f"nothing tells '{b.id}' from '{a.id}' (generations[{i}]); change a concept or a trait",
            )


def _told_apart(a: Generation, b: Generation) -> bool:
    """Say whether a concept, or a trait that both rows give, differs."""
    return any(getattr(a, c) != getattr(b, c) for c in CONTROL_BOX_CONCEPTS) or any(
        a.traits[t] != b.traits[t] for t in a.traits.keys() & b.traits.keys()
    )


def _lowering_shares(i: int, shares: dict[str, float]) -> Iterator[Found]:
    where = ("generations", i, "lowering_shares")
    for value in shares:
        if value not in CONCEPTS["lowering"]:
            yield (*where, value), f"no such mechanism{meant(value, CONCEPTS['lowering'])}"
    yield from _sum(where, "the shares", list(shares.values()))


def _observations(catalogue: Sections) -> Iterator[Found]:
    ids = {o.id: o for o in catalogue.observations}
    if PERSON_IN_SLING not in ids or set(ids[PERSON_IN_SLING].options) != {"yes", "no"}:
        yield (
            ("observations",),
            f"no row '{PERSON_IN_SLING}' with options yes and no; safety hangs on it, so add it",
        )
    for i, row in enumerate(catalogue.observations):
        if row.id in CONCEPTS or row.id == WHICH_BOX:
            yield ("observations", i, "id"), f"'{row.id}' is kept for a question of its own; use another id"
        if row.correction:
            yield (
                ("observations", i, "correction"),
                "corrections follow from `concepts`; leave it out",
            )
        if UNSURE in row.options:
            yield ("observations", i, "options"), f"'{UNSURE}' is always open; leave it out"
        yield from _reliability(i, row)
        if row.about is not None and row.about not in CONCEPTS:
            yield from _about_trait(i, row, catalogue)
        for other, answer in row.needs.items():
            where = ("observations", i, "needs", other)
            if other not in ids:
                yield where, f"no such observation{meant(other, list(ids))}"
            elif answer not in ids[other].options:
                yield where, f"'{answer}' is no answer of it{meant(answer, list(ids[other].options))}"


def _about_trait(i: int, row: Observation, catalogue: Sections) -> Iterator[Found]:
    where, trait = ("observations", i, "about"), row.about or ""
    if not any(trait in g.traits for g in catalogue.generations):
        told = f"'{trait}' is no concept{meant(trait, list(CONCEPTS))}"
        yield where, f"{told}. Nor is it a trait of a generation; give it to one, or leave the question out"
    if set(row.reliability) != set(catalogue.trait_values[trait]):
        yield where, f"another question about '{trait}' knows other values; use the same"


def _reliability(i: int, row: Observation) -> Iterator[Found]:
    where = ("observations", i, "reliability")
    if (row.about is None) != (not row.reliability):
        yield where, "a question about something needs its reliability, one about the situation has none"
    if row.about in CONCEPTS and set(row.reliability) != set(CONCEPTS[row.about]):
        yield where, f"came {', '.join(row.reliability)}; wanted exactly {', '.join(CONCEPTS[row.about])}"
    for truth, answers in row.reliability.items():
        if set(answers) != set(row.options):
            yield (
                (*where, truth),
                f"came {', '.join(answers)}; wanted a probability for exactly {', '.join(row.options)}",
            )
        if any(p <= 0.0 for p in answers.values()):
            yield (*where, truth), "came 0: people err, so give every answer a probability above 0, if a small one"
        yield from _sum((*where, truth), "the probabilities", list(answers.values()))


def _views(catalogue: Sections) -> Iterator[Found]:
    for i, row in enumerate(catalogue.views):
        for concept in row.visible:
            if concept not in CONCEPTS:
                yield ("views", i, "visible", concept), f"no such concept{meant(concept, list(CONCEPTS))}"


def _decisions(catalogue: Sections) -> Iterator[Found]:
    for component in ("control_box", "actuator"):
        costs = getattr(catalogue.decision, component)
        action, lead = costs.wrong_action_min, costs.wrong_lead_min
        if action < lead:
            where = ("decision", component, "wrong_action_min")
            yield where, f"came {action:g}, wanted at least the {lead:g} of wrong_lead_min"


def _sum(where: tuple[str | int, ...], what: str, numbers: list[float]) -> Iterator[Found]:
    total = math.fsum(numbers)
    if abs(total - 1.0) > SUM_TOLERANCE:
        yield where, f"{what} must sum to 1, not {total:.6g}; change one"

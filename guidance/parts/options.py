"""What goes with a lift besides its spares: what can be had, which socket takes which plug, care, and other aids."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import Observation, Role, Sentence
from guidance.documents.answer import Advice, Next, NotThisToolOut, OptionOut, SocketOut
from guidance.documents.case import Case
from guidance.identify.identified import Identified
from guidance.parts.parts import ORDERING_ROLES, part_outs
from guidance.safety.lowering import advice

LOOK_ALIKE = "Other aids have boxes that look alike, and nothing here holds for them."
"""Why it is asked what kind of aid it is."""


def options_of(
    catalogue: Catalogue, possible: Collection[str], confirmed: str | None, role: Role
) -> tuple[OptionOut, ...]:
    """What can be had whichever of the possible generations it is; numbers for a role that orders, once confirmed."""
    numbers = confirmed is not None and role in ORDERING_ROLES
    rows = [row for row in catalogue.options if _holds(row.generations, possible)]
    return tuple(
        OptionOut(
            **said.model_dump(), available=row.available, parts=part_outs(catalogue, row.parts) if numbers else ()
        )
        for row in rows
        for said in advice([row], role)
    )


def sockets_of(catalogue: Catalogue, possible: Collection[str]) -> tuple[SocketOut, ...]:
    """Which plug goes where, whichever of the possible generations it is."""
    return tuple(
        SocketOut(id=row.id, where=row.where, takes=row.takes, wrong=row.wrong, source=row.source)
        for row in catalogue.sockets
        if _holds(row.generations, possible)
    )


def goes_with(case: Case, catalogue: Catalogue, lift: Identified, state: str) -> dict[str, object]:
    """The fields of a troubleshooting document about what goes with the lift, at this point of the case."""
    settings = catalogue.fault_model
    set_up = settings.set_up is not None and case.context.get(settings.setting) == settings.set_up
    return {
        "options": options_of(catalogue, lift.generations, lift.confirmed_generation, case.role),
        "sockets": sockets_of(catalogue, lift.generations) if set_up else (),
        "ask_first": ask_first(catalogue, {row.id for row in case.observations}, lift.generations, case.role),
        "aftercare": _aftercare(catalogue, lift.generations, case.role) if state == "release" else (),
    }


def other_aid(catalogue: Catalogue, answers: Iterable[tuple[str, str]], role: Role) -> NotThisToolOut | None:
    """The aid that this tool is not for, when the answers (observation, answer) say that it is one."""
    given = set(answers)
    for row in catalogue.not_this_tool:
        if row.when.items() <= given:
            return NotThisToolOut(id=row.id, name=row.name, say=advice(row.say, role))
    return None


def ask_which_aid(catalogue: Catalogue, answered: Collection[str], role: Role) -> Observation | None:
    """The question by which another kind of aid is told, unless it was answered."""
    asked = {observation for row in catalogue.not_this_tool for observation in row.when} - set(answered)
    return next((row for row in catalogue.observations if row.id in asked and role in row.effort_min), None)


def ask_first(catalogue: Catalogue, answered: Collection[str], possible: Collection[str], role: Role) -> Next | None:
    """What is asked before any advice of a box of no listed kind: it may belong to another kind of aid."""
    row = ask_which_aid(catalogue, answered, role) if set(possible) == {UNLISTED} else None
    if row is None:
        return None
    return Next(
        kind="question",
        id=row.id,
        ask=row.ask,
        why=LOOK_ALIKE,
        answers=dict(row.options),
        expected_gain_bits=0.0,
        effort_min=row.effort_min[role],
    )


def _aftercare(catalogue: Catalogue, possible: Collection[str], role: Role) -> tuple[Advice, ...]:
    rows: Iterable[Sentence] = (row for row in catalogue.aftercare if _holds(row.generations, possible))
    return advice(rows, role)


def _holds(listed: Collection[str], possible: Collection[str]) -> bool:
    return not listed or set(possible) <= set(listed)

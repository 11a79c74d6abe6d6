"""Which spare part fits what: named only once its component is confirmed, with what to confirm before ordering."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence

from classifier.errors import CaseError
from classifier.taxonomy import CONCEPTS
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import SparePart
from guidance.catalogue.rows import Role, nearest
from guidance.documents.answer import PartOut, PartsOut
from guidance.documents.case import Case
from guidance.identify.identified import Identified
from guidance.safety.lowering import advice

WORTH_A_PART = 0.2
"""Parts are shown for components that are at least this probable."""

MOST_COMPONENTS = 3

ORDERING_ROLES: tuple[Role, ...] = ("agent", "technician")
"""Who orders parts; a caregiver is shown none."""


ASK_FIRST = {
    "generation": "Confirm first which control box this is. A photo from one of its front corners helps.",
    "lowering": "Confirm first how this actuator is lowered by hand. A photo of its motor end from the side helps.",
}
"""What is asked before a number is named."""


def parts_of_likeliest(
    case: Case, catalogue: Catalogue, lift: Identified, components: Mapping[str, float]
) -> tuple[PartsOut, ...]:
    """Parts for the likeliest components of a case, for a role that orders."""
    if case.role not in ORDERING_ROLES:
        return ()
    worth = [component for component, probability in components.items() if probability >= WORTH_A_PART]
    return tuple(
        found
        for component in worth[:MOST_COMPONENTS]
        for found in part_for(catalogue, component, lift.confirmed_generation, lift.confirmed_lowering, case.role)
    )


def parts_for_fault(
    catalogue: Catalogue, fault: str, generation: str | None, lowering: str | None, role: Role
) -> tuple[PartsOut, ...]:
    """Parts for a named fault or component; refuses names that the catalogue does not know."""
    known = {**{c: c for c in catalogue.components_by_id}, **{f.id: f.component for f in catalogue.faults}}
    for what, given, names in (
        ("fault or component", fault, known),
        ("generation", generation, catalogue.generations_by_id),
        ("lowering mechanism", lowering, CONCEPTS["lowering"]),
    ):
        if given is not None and given not in names:
            raise CaseError(f"unknown {what} {given!r}{nearest(given, list(names))}; known are {', '.join(names)}")
    return part_for(catalogue, known[fault], generation, lowering, role)


def parts_for(catalogue: Catalogue, generation: str | None, lowering: str | None, role: Role) -> tuple[PartsOut, ...]:
    """Every component's parts that can be named for what is confirmed; nothing for a role that orders none."""
    if role not in ORDERING_ROLES:
        return ()
    found = (p for c in catalogue.components_by_id for p in part_for(catalogue, c, generation, lowering, role))
    return tuple(row for row in found if row.part is not None)


def part_for(
    catalogue: Catalogue, component: str, generation: str | None, lowering: str | None, role: Role
) -> tuple[PartsOut, ...]:
    """The parts of one component, several where it has several; without numbers while something is missing."""
    row = catalogue.components_by_id[component]
    known = {"generation": generation, "lowering": lowering}
    missing = tuple(ASK_FIRST[what] for what in row.depends_on if known[what] is None)
    confirm = advice(row.confirm, role)
    if missing:
        open_part = PartsOut(component=component, name=row.name, part=None, ask=missing, confirm_before_order=confirm)
        return (open_part.model_copy(update={"one_more_photo": row.photo}),)
    fitting = [part for part in catalogue.parts if part.component == component and _fits(part, generation, lowering)]
    fitting.sort(key=lambda part: part.accessory)  # what the lift needs first
    supplied = list(dict.fromkeys(supplied_instead(catalogue, part).id for part in fitting))
    return tuple(
        PartsOut(
            component=component,
            name=row.name,
            part=_out(catalogue.parts_by_id[part]),
            substitutes=part_outs(catalogue, catalogue.parts_by_id[part].substitutes),
            supersedes=tuple(p.number for p in fitting if p.id != part and supplied_instead(catalogue, p).id == part),
            order_together=part_outs(catalogue, catalogue.parts_by_id[part].order_with),
            do_not_mix=_do_not_mix(catalogue, catalogue.parts_by_id[part]),
            confirm_before_order=confirm,
            one_more_photo=row.photo,
        )
        for part in supplied
    )


def supplied_instead(catalogue: Catalogue, part: SparePart) -> SparePart:
    """The part at the end of the chain of supersessions; a loaded catalogue has no cycle there."""
    while part.superseded_by is not None:
        part = catalogue.parts_by_id[part.superseded_by]
    return part


def _fits(part: SparePart, generation: str | None, lowering: str | None) -> bool:
    return (not part.generations or generation in part.generations) and (
        not part.mechanisms or lowering in part.mechanisms
    )


def _do_not_mix(catalogue: Catalogue, part: SparePart) -> tuple[str, ...]:
    """Parts of other families: packs, chargers, leads and cradles go together within one family only."""
    if part.family is None:
        return ()
    return tuple(f"{other.number} {other.name}" for other in catalogue.parts if other.family not in (None, part.family))


def _out(part: SparePart) -> PartOut:
    return PartOut(
        id=part.id,
        number=part.number,
        name=part.name,
        generations=part.generations,
        mechanisms=part.mechanisms,
        accessory=part.accessory,
        specification=part.specification,
        note=part.note,
        source=part.source,
    )


def part_outs(catalogue: Catalogue, parts: Sequence[str]) -> tuple[PartOut, ...]:
    """Parts by their ids, each as it is supplied now."""
    return tuple(_out(supplied_instead(catalogue, catalogue.parts_by_id[part])) for part in parts)


def as_json(parts: Sequence[PartsOut]) -> str:
    """The parts as a JSON list."""
    return json.dumps([row.model_dump(mode="json") for row in parts], indent=2, ensure_ascii=False)


def as_csv(parts: Sequence[PartsOut]) -> str:
    """One line an orderable part, with what it is: the part itself, a substitute, or to order together."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["component", "as", "number", "name", "note"])
    for row in parts:
        named = [("part", row.part)] if row.part else []
        named += [("substitute", part) for part in row.substitutes]
        named += [("order together", part) for part in row.order_together]
        for use, part in named:
            writer.writerow([row.component, use, part.number, part.name, part.note])
    return out.getvalue()


def as_sheet(parts: Sequence[PartsOut], title: str) -> str:
    """A sheet to print and tick off, as plain text of at most 80 columns a line where the names allow it."""
    lines = [title, "=" * len(title), ""]
    for row in parts:
        lines += [row.name, "-" * len(row.name)]
        lines += [f"  Part          {row.part.number}  {row.part.name}"] if row.part else []
        compared = row.part.specification if row.part else {}
        lines += [f"  Compare       {what}: {value}" for what, value in compared.items()]
        lines += [f"  Note          {row.part.note}"] if row.part and row.part.note else []
        lines += [f"  Replaces      {', '.join(row.supersedes)}"] if row.supersedes else []
        lines += [f"  Or            {p.number}  {p.name}" for p in row.substitutes]
        lines += [f"  Order too     {p.number}  {p.name}" for p in row.order_together]
        lines += [f"  Do not mix    {name}" for name in row.do_not_mix]
        lines += [f"  Missing       {ask}" for ask in row.ask]
        lines += [f"  [ ] {sentence.text}" for sentence in row.confirm_before_order]
        lines += [f"  One more photo may rule it out: {row.one_more_photo}"] if row.one_more_photo and row.part else []
        lines.append("")
    return "\n".join(lines)

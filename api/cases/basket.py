"""The basket: so many of each part, kept as events of the case, judged against what is known of the lift now."""

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from api.cases.events import BASKET, CHECKED, CaseEvent
from api.cases.view import CaseView
from api.pages.languages import Language
from classifier.errors import InputError
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import SparePart
from guidance.parts.fitting import Fit, Verdict, families_of, fits_of, stands_in
from guidance.parts.parts import supplied_instead
from guidance.safety.lowering import advice

STANDING_WORDS = {
    "fits": "fits",
    "not_sure_yet": "not sure yet",
    "does_not_fit": "does not fit",
    "superseded": "not supplied any more",
    "not_in_catalogue": "not in the catalogue",
}
"""How a line of the basket stands."""

MOST_OF_ONE = 99
"""Pieces of one part; more for one lift is a slip of the finger."""

Standing = Verdict | Literal["superseded", "not_in_catalogue"]


@dataclass(frozen=True)
class Line:
    """So many of one part, under the number and name that it was put in with; `fit` is None for a part now unknown."""

    id: str
    number: str
    name: str
    quantity: int
    fit: Fit | None

    @property
    def standing(self) -> Standing:
        """Whether it may still be ordered: `fits`, or why not."""
        if self.fit is None:
            return "not_in_catalogue"
        return "superseded" if self.fit.supplied is not None else self.fit.verdict


@dataclass(frozen=True)
class ToConfirm:
    """One sentence to confirm before ordering, the numbers that it is about, and who has confirmed it."""

    id: str
    text: str
    numbers: tuple[str, ...]
    checked_by: str


@dataclass(frozen=True)
class Basket:
    """What is to be ordered, what to confirm before, what goes along with it, and families that are mixed in it.

    `alternatives`: pairs of numbers of which one stands in for the other, so that only one of them is wanted.
    """

    lines: tuple[Line, ...]
    confirm: tuple[ToConfirm, ...]
    together: tuple[SparePart, ...]
    mixed: tuple[str, ...]
    alternatives: tuple[tuple[str, str], ...] = ()

    @property
    def open(self) -> int:
        """How many sentences nobody has confirmed yet."""
        return sum(not row.checked_by for row in self.confirm)

    @property
    def ready(self) -> bool:
        """Whether every line fits, nothing is mixed or double, and everything is confirmed."""
        fits = all(line.standing == "fits" for line in self.lines)
        return bool(self.lines) and fits and not (self.mixed or self.alternatives or self.open)


def kept_in(live: Iterable[CaseEvent]) -> dict[str, Mapping[str, object]]:
    """Of each part the last event that holds, while its quantity is more than none; in the order of first coming.

    An event that names what it is put in instead of takes that out.
    """
    kept: dict[str, Mapping[str, object]] = {}
    for event in live:
        if event.kind == BASKET:
            kept.pop(str(event.said.get("instead_of", "")), None)
            kept[str(event.said["id"])] = event.said
    return {id_: said for id_, said in kept.items() if said["quantity"]}


def basket_of(view: CaseView, catalogue: Catalogue) -> Basket:
    """The basket of a case as it stands."""
    fits = {fit.part.id: fit for fit in fits_of(catalogue, view.lift)}
    lines = tuple(
        Line(id_, str(said["number"]), str(said["name"]), int(said["quantity"]), fits.get(id_))
        for id_, said in kept_in(view.live).items()
    )
    known = [line.fit.part for line in lines if line.fit is not None]
    families = families_of(known)
    return Basket(
        lines=lines,
        confirm=tuple(_to_confirm(view, catalogue, known)),
        together=_together(catalogue, known, fits),
        mixed=families if len(families) > 1 else (),
        alternatives=tuple((a.number, b.number) for a, b in combinations(known, 2) if stands_in(a, b, catalogue)),
    )


def ordered(
    view: CaseView, catalogue: Catalogue, part_id: str, quantity: str, language: Language, instead: str = ""
) -> dict[str, object] | None:
    """What to record for `quantity` of a part, 0 to take it out; None when the basket says so already.

    `instead`: the part in the basket that it is an alternative to, and that leaves it. Raises `InputError`, in the
    reader's language, for a number that is none and for a part that may not be ordered.
    """
    held = kept_in(view.live).get(part_id)
    before = int(held["quantity"]) if held else 0
    plain = quantity.strip()
    if not (plain.isascii() and plain.isdecimal() and len(plain) <= 3 and int(plain) <= MOST_OF_ONE):
        words = language.fill(
            "“{given}” is no quantity. Enter a whole number from 1 to {most}, or 0 to take the part out.",
            given=plain[:20],
            most=MOST_OF_ONE,
        )
        raise InputError(words)
    wanted = int(plain)
    if wanted == before:
        return None
    fit = next((fit for fit in fits_of(catalogue, view.lift) if fit.part.id == part_id), None)
    if wanted > before and (fit is None or not fit.orderable):
        raise InputError(_refusal(fit, language))
    other = alternative_in(kept_in(view.live), catalogue, fit.part) if wanted > before else None
    if other is not None and other.id != instead:
        words = "{part} and {other} are alternatives: only one of them is ordered. Take the other out first."
        raise InputError(language.fill(words, part=language.say(fit.part.name), other=language.say(other.name)))
    if fit is None:
        return {**held, "quantity": wanted}
    said = {"id": part_id, "number": fit.part.number, "name": fit.part.name, "quantity": wanted}
    return said if other is None else {**said, "instead_of": other.id}


def alternative_in(kept: Iterable[str], catalogue: Catalogue, part: SparePart) -> SparePart | None:
    """What lies in a basket with these parts and stands in for this part, or this part for it."""
    held = (catalogue.parts_by_id.get(id_) for id_ in kept)
    return next((other for other in held if other is not None and stands_in(part, other, catalogue)), None)


def came_back(view: CaseView, catalogue: Catalogue, part_id: str) -> dict[str, object] | None:
    """What to record when a part came back because it did not fit; None for one that is not in the basket.

    `about`: the components by which the part is chosen, so that one of them was taken for the wrong thing.
    """
    held, part = kept_in(view.live).get(part_id), catalogue.parts_by_id.get(part_id)
    if held is None:
        return None
    about = []
    if part is not None:
        depends_on = catalogue.components_by_id[part.component].depends_on
        chosen_by = {"control_box": part.generations or "generation" in depends_on}
        chosen_by["actuator"] = part.mechanisms or "lowering" in depends_on
        about = [component for component, chosen in chosen_by.items() if chosen]
    return {"id": part_id, "number": held["number"], "name": held["name"], "about": about}


def checked(view: CaseView, catalogue: Catalogue, sentence_id: str, answer: str) -> dict[str, object] | None:
    """What to record when a sentence is confirmed ("yes") or not any more ("no"); None when it is not on the list."""
    listed = {row.id for row in basket_of(view, catalogue).confirm}
    return {"id": sentence_id, "answer": answer} if sentence_id in listed and answer in ("yes", "no") else None


def basket_csv(basket: Basket) -> str:
    """One line a part: quantity, number, name, how it stands, and what nobody has confirmed yet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["quantity", "number", "name", "standing", "confirm_before_order"])
    for line in basket.lines:
        wanted = [row.text for row in basket.confirm if line.number in row.numbers and not row.checked_by]
        writer.writerow([line.quantity, line.number, line.name, line.standing, " ".join(wanted)])
    return out.getvalue()


def _refusal(fit: Fit | None, language: Language) -> str:
    if fit is None:
        return language.say("This part is not in the catalogue. Choose one of the table.")
    name = language.say(fit.part.name)
    if fit.verdict == "not_sure_yet":
        words = "It is not sure yet whether this part fits: {part}. Confirm first which lift this is."
        return language.fill(words, part=name)
    if fit.supplied is not None:
        return language.fill("{part} is not supplied any more. Order {number} instead.", part=name,
                             number=fit.supplied.number)  # fmt: skip
    return language.fill("This part does not fit this lift: {part}.", part=name)


def _to_confirm(view: CaseView, catalogue: Catalogue, parts: list[SparePart]) -> Iterable[ToConfirm]:
    by: dict[str, str] = {}
    for event in view.live:
        if event.kind == CHECKED:
            by[str(event.said["id"])] = (event.actor or event.role) if event.said["answer"] == "yes" else ""
    for component in dict.fromkeys(part.component for part in parts):
        numbers = tuple(part.number for part in parts if part.component == component)
        for row in advice(catalogue.components_by_id[component].confirm, view.help.role):
            yield ToConfirm(row.id, row.text, numbers, by.get(row.id, ""))


def _together(catalogue: Catalogue, parts: list[SparePart], fits: Mapping[str, Fit]) -> tuple[SparePart, ...]:
    """What is ordered along with these parts, fits, and is not among them yet."""
    wanted = (supplied_instead(catalogue, catalogue.parts_by_id[id_]) for part in parts for id_ in part.order_with)
    missing = {part.id: part for part in wanted if part.id not in {p.id for p in parts}}
    return tuple(part for part in missing.values() if fits[part.id].orderable)

"""Every spare part of the catalogue against one lift: it fits, it does not, or that is not sure yet, and why.

`parts.py` names what to order for one component; this is the whole table. Both say the same of the same lift: a part
fits only when everything that its component depends on is confirmed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import SparePart
from guidance.identify.identified import Identified
from guidance.parts.parts import supplied_instead

Verdict = Literal["fits", "does_not_fit", "not_sure_yet"]
About = Literal["generation", "lowering"]

WORST_FIRST: tuple[Verdict, ...] = ("does_not_fit", "not_sure_yet")
"""What keeps a part from fitting, the surer first."""


@dataclass(frozen=True)
class Ground:
    """One reason: what the part is made for (empty: every one), and what this lift has or may still have."""

    about: About
    verdict: Verdict
    made_for: tuple[str, ...]
    possible: tuple[str, ...]


@dataclass(frozen=True)
class Fit:
    """One part's verdict. `stands_in_for`: the part for which it is a substitute, when that alone makes it fit.

    `supplied`: the part that is supplied instead of this one, None for a part that is still supplied itself.
    """

    part: SparePart
    verdict: Verdict
    grounds: tuple[Ground, ...]
    stands_in_for: SparePart | None = None
    supplied: SparePart | None = None

    @property
    def orderable(self) -> bool:
        """Whether it may be ordered for this lift now."""
        return self.verdict == "fits" and self.supplied is None


def fits_of(catalogue: Catalogue, lift: Identified) -> tuple[Fit, ...]:
    """All parts, in the order of the catalogue, but what only stands in comes after what is made for the lift."""
    own = {part.id: _fit(part, catalogue, lift) for part in catalogue.parts}
    found = [_with_substitutes(fit, own, catalogue) for fit in own.values()]
    place = {component: number for number, component in enumerate(dict.fromkeys(f.part.component for f in found))}
    return tuple(sorted(found, key=lambda fit: (place[fit.part.component], fit.stands_in_for is not None)))


def stands_in(one: SparePart, other: SparePart, catalogue: Catalogue) -> bool:
    """Whether one of two parts stands in for the other, so that only one of them is ordered."""
    return other.id in _substitutes(one, catalogue) or one.id in _substitutes(other, catalogue)


def families_of(parts: Sequence[SparePart]) -> tuple[str, ...]:
    """The families among these parts; more than one are never to be mixed."""
    return tuple(dict.fromkeys(part.family for part in parts if part.family is not None))


def _fit(part: SparePart, catalogue: Catalogue, lift: Identified) -> Fit:
    grounds = tuple(_grounds(part, catalogue, lift))
    verdicts = {ground.verdict for ground in grounds}
    # One thing that is confirmed and wrong rules a part out, whatever else is still open.
    verdict: Verdict = next((v for v in WORST_FIRST if v in verdicts), "fits")
    supplied = supplied_instead(catalogue, part)
    return Fit(part, verdict, grounds, supplied=None if supplied.id == part.id else supplied)


def _grounds(part: SparePart, catalogue: Catalogue, lift: Identified) -> Iterator[Ground]:
    depends_on = catalogue.components_by_id[part.component].depends_on
    compared: tuple[tuple[About, tuple[str, ...], tuple[str, ...], str | None], ...] = (
        ("generation", part.generations, lift.generations, lift.confirmed_generation),
        ("lowering", part.mechanisms, lift.mechanisms, lift.confirmed_lowering),
    )
    for about, made_for, possible, confirmed in compared:
        if not made_for and about not in depends_on:
            continue
        if confirmed is None:
            yield Ground(about, "not_sure_yet", made_for, possible)
        elif not made_for or confirmed in made_for:
            yield Ground(about, "fits", made_for, (confirmed,))
        else:
            yield Ground(about, "does_not_fit", made_for, (confirmed,))


def _with_substitutes(fit: Fit, own: dict[str, Fit], catalogue: Catalogue) -> Fit:
    """A part that does not fit by itself does as a substitute for one that does."""
    if fit.verdict == "fits":
        return fit
    replaced = [o for o in own.values() if fit.part.id in _substitutes(o.part, catalogue)]
    better: tuple[Verdict, ...] = ("fits", "not_sure_yet")
    for verdict in better:
        for other in replaced:
            if other.verdict == verdict and fit.verdict != verdict:
                return replace(fit, verdict=verdict, stands_in_for=other.part)
    return fit


def _substitutes(part: SparePart, catalogue: Catalogue) -> set[str]:
    return {supplied_instead(catalogue, catalogue.parts_by_id[other]).id for other in part.substitutes}

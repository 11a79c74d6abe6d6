"""A lift that works again is released only while nothing that is found afterwards speaks against it."""

from collections.abc import Mapping

from guidance.catalogue.catalogue import Catalogue
from guidance.diagnose.found_signs import signs_of_circumstances, signs_of_findings
from guidance.documents.case import SKIPPED, UNSURE, Case


def not_released(case: Case, catalogue: Catalogue, electric: Mapping[int, Mapping[str, str]]) -> str | None:
    """In words, what keeps a lift that works from being released; None when nothing does.

    A cut cable or the like that was found and not replaced, water (of which a technician judges), or later trouble.
    `electric`: what meter readings prove, by how many steps came before them.
    """
    standing = signs_of_findings(case, catalogue)
    if case.role != "technician":
        standing |= signs_of_circumstances(case, catalogue)
    return next(iter(standing), None) or _found_later(case, catalogue, electric)


def _found_later(case: Case, catalogue: Catalogue, electric: Mapping[int, Mapping[str, str]]) -> str | None:
    """The first trouble that was found after a repair had worked.

    Outcomes run from normal to worst, so that any but the first is trouble. A later repair decides anew; a later look
    that finds all well does not, since trouble that comes and goes is trouble.
    """
    repairs = [n for n, s in enumerate(case.done, 1) if s.id in catalogue.repairs_by_id and s.outcome != SKIPPED]
    last = repairs[-1] if repairs else 0
    looks = [s for s in case.done[last:] if s.id in catalogue.checks_by_id and s.outcome not in (SKIPPED, UNSURE)]
    found = [(catalogue.checks_by_id[s.id].finding, s.outcome) for s in looks]
    found += [pair for place, proven in electric.items() if place >= last for pair in proven.items()]
    for finding, outcome in found:
        row = catalogue.findings_by_id[finding]
        if outcome != next(iter(row.outcomes)):
            return f"{row.name}: {row.outcomes[outcome]}"
    return None

"""Answers and findings that are as bad as a danger sign: water, a cut cable, a burnt plug."""

from __future__ import annotations

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import Repair, StopSign
from guidance.documents.case import STILL, WORKS, Case

Found = dict[str, StopSign]
"""What was found or answered, in words, and the stop sign that it is as bad as."""


def found_signs(case: Case, catalogue: Catalogue) -> Found:
    """All that stand: by what was found of the lift, and by what was answered about its circumstances."""
    return signs_of_circumstances(case, catalogue) | signs_of_findings(case, catalogue)


def signs_of_findings(case: Case, catalogue: Catalogue) -> Found:
    """Complaint and findings stand until they are found normal, or a component that they speak of is replaced."""
    symptom = catalogue.symptoms_by_id.get(case.symptom or "")
    said = symptom.findings if symptom else {}
    found = {finding: o for finding, o in said.items() if o in catalogue.findings_by_id[finding].signs}
    for step in case.done:
        if step.id in catalogue.repairs_by_id:
            repair = catalogue.repairs_by_id[step.id]
            if step.outcome in (WORKS, STILL):
                found = {f: outcome for f, outcome in found.items() if not _replaces(repair, f, catalogue)}
            continue
        finding = catalogue.checks_by_id[step.id].finding
        row = catalogue.findings_by_id[finding]
        if step.outcome in row.signs:
            found[finding] = step.outcome
        elif step.outcome == next(iter(row.outcomes)):
            found.pop(finding, None)
    rows = [(catalogue.findings_by_id[finding], outcome) for finding, outcome in found.items()]
    return {f"{row.name}: {row.outcomes[o]}": catalogue.stop_signs_by_id[row.signs[o]] for row, o in rows}


def signs_of_circumstances(case: Case, catalogue: Catalogue) -> Found:
    """An answer about the circumstances stands as long as it is not given anew."""
    rows = [(catalogue.contexts_by_id[context], answer) for context, answer in case.context.items()]
    return {
        f"{row.ask} {row.options[answer]}": catalogue.stop_signs_by_id[row.signs[answer]]
        for row, answer in rows
        if answer in row.signs
    }


def not_now(case: Case, catalogue: Catalogue) -> frozenset[str]:
    """The checks and repairs that do what a found sign forbids."""
    forbidden = {act for sign in found_signs(case, catalogue).values() for act in sign.forbids}
    return frozenset(row.id for row in (*catalogue.checks, *catalogue.repairs) if forbidden & set(row.acts))


def _replaces(repair: Repair, finding: str, catalogue: Catalogue) -> bool:
    effects = catalogue.findings_by_id[finding].effects
    return repair.kind == "replace" and repair.component in {catalogue.faults_by_id[f].component for f in effects}

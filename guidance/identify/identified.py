"""What is known of the lift itself when troubleshooting starts: an identification's answer, or its evidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import DecisionCosts
from guidance.documents.answer import Next
from guidance.documents.case import Case, Seen
from guidance.identify.components import actuator, control_box
from guidance.identify.evidence import evidence_of_answers
from guidance.identify.next_step import ways_to_tell_mechanism
from guidance.identify.sources import Observed


@dataclass(frozen=True)
class Identified:
    """Probabilities of the generation (empty: nothing seen), possible generations and mechanisms, what is confirmed.

    `held_back`: of each component (`control_box`, `actuator`) that is sure enough, why it is not confirmed at present.
    """

    generation_probabilities: Mapping[str, float]
    generations: tuple[str, ...]
    mechanisms: tuple[str, ...]
    confirmed_generation: str | None
    confirmed_lowering: str | None
    held_back: Mapping[str, str] = field(default_factory=dict)


def identified(case: Case, catalogue: Catalogue) -> Identified:
    """Take over what an identification found; where it is missing, what the observations alone say."""
    box, head = case.control_box, case.actuator
    evidence = evidence_of_answers(_observed(case), catalogue)
    if case.observations:
        box = box or Seen.model_validate(control_box(evidence, catalogue).model_dump(by_alias=True))
        head = head or Seen.model_validate(actuator(evidence, catalogue).model_dump(by_alias=True))
    every_generation = (*catalogue.generations_by_id, UNLISTED)
    decision = catalogue.decision
    generations, confirmed_generation = _component(box, every_generation, decision.control_box)
    mechanisms, confirmed_lowering = _component(head, CONCEPTS["lowering"], decision.actuator)
    reasons = {"control_box": _held_back(box, decision.control_box), "actuator": _held_back(head, decision.actuator)}
    held_back = {component: reason for component, reason in reasons.items() if reason}
    return Identified(_probabilities(box), generations, mechanisms, confirmed_generation, confirmed_lowering, held_back)


def ways_to_find_out(case: Case, catalogue: Catalogue) -> tuple[Next, ...]:
    """What would tell the mechanism while somebody is up: by photo, or by an answer to what it looks like."""
    observed = _observed(case)
    evidence = evidence_of_answers(observed, catalogue)
    return ways_to_tell_mechanism(evidence, observed, catalogue, case.role)


def _observed(case: Case) -> list[Observed]:
    return [Observed(row.id, row.answer, row.by or case.role) for row in case.observations]


def _probabilities(box: Seen | None) -> Mapping[str, float]:
    """Those that came; without any, the values of the set alike."""
    if box is None or box.decision == "not_seen":
        return {}
    return box.probabilities or {value: 1 / len(box.values) for value in box.values}


def _component(seen: Seen | None, every: tuple[str, ...], costs: DecisionCosts) -> tuple[tuple[str, ...], str | None]:
    """What is possible, and what is confirmed: nothing while it is held back, whatever was confirmed before."""
    if seen is None or seen.decision == "not_seen" or not seen.values:
        return tuple(every), None
    sure = seen.decision == "confirmed" and len(seen.values) == 1 and not costs.held_back
    confirmed = seen.values[0] if sure else None
    return seen.values, None if confirmed == UNLISTED else confirmed


def _held_back(seen: Seen | None, costs: DecisionCosts) -> str:
    """Why it is not confirmed that is sure enough, now or when it was answered; empty for anything else."""
    sure = seen is not None and (seen.decision == "confirmed" or seen.held_back)
    return costs.held_back if sure else ""

"""From a symptom and what is known of the lift to what is said first, the probable fault, the next step, the part."""

from __future__ import annotations

from typing import Any

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import LAST_RESORT, Moment
from guidance.catalogue.rows import PERSON_IN_SLING, ROLES, Role
from guidance.diagnose.case_checks import check_case, check_identity, understood
from guidance.diagnose.diagnosis import (
    ALIKE,
    Diagnosis,
    component_probabilities,
    diagnose,
    fault_probabilities,
    generation_likelihood,
)
from guidance.diagnose.explain import next_step
from guidance.diagnose.found_signs import found_signs
from guidance.diagnose.measurements import electric_findings, measured, verdict_out
from guidance.diagnose.one_core import one_core
from guidance.diagnose.planning import choose
from guidance.diagnose.released import not_released
from guidance.documents.answer import Advice, CatalogueInfo
from guidance.documents.case import (
    Case,
    ComponentOut,
    FaultOut,
    Occupied,
    OutcomeOut,
    StepOut,
    Troubleshooting,
    complaint_of,
)
from guidance.identify.identified import Identified, identified, ways_to_find_out
from guidance.parts.options import goes_with, other_aid
from guidance.parts.parts import parts_of_likeliest
from guidance.safety.lowering import advice, beside
from guidance.safety.sentences import ASK_SLING, ask_signs, complaint, first_lines, say, signs_advice
from guidance.safety.way_down import way_down


def troubleshoot(case: Case, catalogue: Catalogue) -> Troubleshooting:
    """Answer one case. Raises `CaseError` for ids that the catalogue does not know, `ReadingError` for bad readings."""
    case = case.model_copy(update={"person_in_sling": _most_cautious(case)})
    check_identity(case, catalogue)
    if case.person_in_sling != "no":
        return _bring_down(case, catalogue)
    check_case(case, catalogue)
    lift = identified(case, catalogue)
    if case.danger_signs:
        return _out_of_use(case, case.danger_signs, catalogue)
    safety = first_lines(catalogue, case.role, "no")
    if case.danger_signs is None:
        return _document(case, catalogue, lift, state="ask", safety=safety, next=ask_signs(catalogue))
    aid = other_aid(catalogue, ((row.id, row.answer) for row in case.observations), case.role)
    if aid is not None:
        return _document(case, catalogue, state="hand_over", safety=(*aid.say, *safety), not_this_tool=aid)
    if case.symptom is None:
        return _document(case, catalogue, lift, state="ask", safety=safety, next=_ask_symptom(catalogue))
    with one_core():
        return _diagnosed(case, catalogue, lift)


def _most_cautious(case: Case) -> Occupied:
    """Whether somebody is up by all who said so: one `yes` outweighs every `no`, and so does one doubt."""
    said = {case.person_in_sling, *(row.answer for row in case.observations if row.id == PERSON_IN_SLING)}
    return next(answer for answer in ("yes", "unsure", "no") if answer in said)


def _bring_down(case: Case, catalogue: Catalogue) -> Troubleshooting:
    """Somebody is up, or may be: nothing else is said until they are down. No photo is needed to get here."""
    case, passed_over = understood(case, catalogue)
    lift = identified(case, catalogue)
    safety, lowering = way_down(catalogue, case, lift.confirmed_lowering, lift.mechanisms)
    return _document(
        case,
        catalogue,
        state="bring_down",
        safety=safety,
        lowering=lowering,
        find_out=() if lift.confirmed_lowering else ways_to_find_out(case, catalogue),
        passed_over=passed_over,
        held_back=dict(lift.held_back),
        next=ASK_SLING,
    )


def _out_of_use(case: Case, signs: tuple[str, ...], catalogue: Catalogue) -> Troubleshooting:
    role = case.role
    gives = {given for sign in signs for given in catalogue.stop_signs_by_id[sign].gives}
    safety = (
        *signs_advice(catalogue, signs, role),
        *say(catalogue, "out_of_use", role),
        *(say(catalogue, "emergency", role) if "emergency_call" in gives else ()),
        *(say(catalogue, "disposal", role) if "disposal" in gives else ()),
        *say(catalogue, "hand_over", role),
        *say(catalogue, "duties", role),
    )
    return _document(case, catalogue, state="out_of_use", safety=safety)


def _ask_symptom(catalogue: Catalogue) -> StepOut:
    count = len(catalogue.symptoms)
    return StepOut(
        kind="safety_question",
        id="symptom",
        text="What is wrong with the lift?",
        source="common practice, no source",
        roles=ROLES,
        outcomes=tuple(OutcomeOut(id=row.id, words=row.say, probability=1 / count) for row in catalogue.symptoms),
        why="The complaint decides what is worth checking.",
    )


def _diagnosed(case: Case, catalogue: Catalogue, lift: Identified) -> Troubleshooting:
    measurements = measured(case, catalogue)
    electricity = verdict_out(measurements[-1], catalogue, case.context) if measurements else None
    likelihood = generation_likelihood(lift.generation_probabilities, catalogue)
    proven = electric_findings(measurements, catalogue)
    diagnosis = diagnose(case, catalogue, likelihood, proven)
    components = component_probabilities(catalogue, diagnosis.weights)
    known = {
        "faults": _faults(catalogue, diagnosis),
        "components": _components(catalogue, components, component_probabilities(catalogue, diagnosis.before)),
        "nothing_wrong": float(diagnosis.weights @ catalogue.fault_space.without_cause),
        "contradictions": (*diagnosis.contradictions, *(electricity.contradictions if electricity else ())),
        "electricity": electricity,
        "parts": parts_of_likeliest(case, catalogue, lift, components),
    }
    back = not_released(case, catalogue, proven) if diagnosis.works else None
    if diagnosis.works and back is None:
        moments: tuple[Moment, ...] = ("after_repair", "before_lifting", "duties")
        safety = tuple(line for moment in moments for line in say(catalogue, moment, case.role))
        return _document(case, catalogue, lift, state="release", safety=safety, **known)
    choice = choose(diagnosis, catalogue, case.role, complaint_of(case), lift.generations)
    step = next_step(choice, diagnosis, catalogue, case.role, complaint_of(case))
    state = "hand_over" if step.kind == LAST_RESORT else "next_step"
    signs = {sign.id for sign in found_signs(case, catalogue).values()}
    safety = signs_advice(catalogue, signs, case.role) + first_lines(catalogue, case.role, "no")
    safety += _beside_step(step, catalogue, case.role)
    if back is not None:
        safety = say(catalogue, "taken_back", case.role) + safety
    return _document(case, catalogue, lift, state=state, safety=safety, next=step, taken_back=back, **known)


def _beside_step(step: StepOut, catalogue: Catalogue, role: Role) -> tuple[Advice, ...]:
    """What is said with a step, by its kind and by what it has somebody do."""
    lines: tuple[Advice, ...] = ()
    if step.kind == LAST_RESORT:
        lines = say(catalogue, "hand_over", role)
    if step.kind in ("adjust", "replace"):
        lines = say(catalogue, "after_repair", role)
    if step.kind == "replace" and "disposal" in _given_by(catalogue, step.id):
        lines += say(catalogue, "disposal", role)
    return lines + advice(beside(catalogue, step.acts), role)


def _given_by(catalogue: Catalogue, repair: str) -> tuple[str, ...]:
    """What replacing the component of a repair sets off."""
    component = catalogue.repairs_by_id[repair].component
    return catalogue.components_by_id[component].gives if component else ()


def _faults(catalogue: Catalogue, diagnosis: Diagnosis) -> tuple[FaultOut, ...]:
    space = catalogue.fault_space
    now, before = fault_probabilities(space, np.stack([diagnosis.weights, diagnosis.before]))
    rows = [catalogue.faults_by_id[node.id] for node in space.cause_nodes]
    return tuple(
        FaultOut(id=row.id, name=row.name, component=row.component, probability=float(now[i]), before=float(before[i]))
        for i, row in sorted(enumerate(rows), key=lambda item: -round(now[item[0]], ALIKE))
        if now[i] > 0
    )


def _components(catalogue: Catalogue, now: dict[str, float], before: dict[str, float]) -> tuple[ComponentOut, ...]:
    names = catalogue.components_by_id
    return tuple(
        ComponentOut(id=component, name=names[component].name, probability=now[component], before=before[component])
        for component in now
        if now[component] > 0
    )


def _document(case: Case, catalogue: Catalogue, lift: Identified | None = None, **known: Any) -> Troubleshooting:
    """A document with what every state has; with a lift that is talked about also what goes with it."""
    if lift is not None:
        known |= goes_with(case, catalogue, lift, known["state"]) | {"held_back": dict(lift.held_back)}
    return Troubleshooting(
        catalogue=CatalogueInfo(id=catalogue.pool.id, version=catalogue.pool.version),
        role=case.role,
        complaint=complaint(catalogue, case),
        assumptions=_assumptions(catalogue),
        **known,
    )


def _assumptions(catalogue: Catalogue) -> tuple[str, ...]:
    settings = catalogue.fault_model
    return (settings.rates_note, f"At most {settings.faults_at_once} faults at once.")

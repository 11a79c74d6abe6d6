"""The next step with its reasons: what it tells apart, and the probabilities before and after each outcome."""

from __future__ import annotations

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import LAST_RESORT, Check, Context, Repair
from guidance.catalogue.rows import Role
from guidance.diagnose.diagnosis import Diagnosis, component_probabilities, tried
from guidance.diagnose.planning import Choice
from guidance.documents.case import STILL, WORKS, OutcomeOut, Shift, StepOut

SHIFTS_SHOWN = 3
"""Components that are named with each outcome: those that move most."""

LEAST_SHIFT = 0.02
"""A component that moves by less is not worth naming."""


def next_step(choice: Choice, diagnosis: Diagnosis, catalogue: Catalogue, role: Role, symptom: str) -> StepOut:
    """The chosen step as the document gives it."""
    step, before = choice.step, component_probabilities(catalogue, diagnosis.weights)
    outcomes = _outcomes(step, diagnosis, catalogue, symptom, before)
    told = tuple(dict.fromkeys(s.component for o in outcomes for s in o.shifts))[: SHIFTS_SHOWN + 1]
    return StepOut(
        kind="context" if isinstance(step, Context) else step.kind,
        id=step.id,
        text=step.ask if isinstance(step, Context) else step.text,
        source=step.source,
        roles=tuple(step.minutes),
        acts=getattr(step, "acts", ()),
        forbids=getattr(step, "forbids", ()),
        requires=getattr(step, "requires", ()),
        needs=getattr(step, "needs", ()),
        risk=getattr(step, "risk", None),
        how=getattr(step, "how", ()),
        minutes=step.minutes[role],
        opening_minutes=choice.opening_minutes,
        outcomes=outcomes,
        tells_apart=told,
        expected_minutes=choice.expected_minutes,
        otherwise_minutes=choice.otherwise_minutes,
        why=_short_why(step, outcomes) if role == "caregiver" else _why(step, outcomes, choice),
    )


def _outcomes(
    step: Check | Repair | Context, diagnosis: Diagnosis, catalogue: Catalogue, symptom: str, before: dict[str, float]
) -> tuple[OutcomeOut, ...]:
    weights, space = diagnosis.weights, catalogue.fault_space
    if isinstance(step, Repair):
        gone = catalogue.symptoms_by_id[symptom].gone
        joints = dict(zip((WORKS, STILL), tried(space, weights, step, gone), strict=True))
        words = {WORKS: "It works again", STILL: "The trouble is still there"}
    elif isinstance(step, Context):
        joints, words = dict(zip(step.options, diagnosis.by_context[step.id], strict=True)), step.options
    else:
        words = catalogue.findings_by_id[step.finding].outcomes
        joints = dict(zip(words, space.columns[step.finding] * weights, strict=True))
    return tuple(
        OutcomeOut(
            id=outcome,
            words=words[outcome],
            probability=float(joint.sum()),
            shifts=() if outcome == WORKS else _shifts(joint, catalogue, before),
        )
        for outcome, joint in joints.items()
    )


def _shifts(joint: np.ndarray, catalogue: Catalogue, before: dict[str, float]) -> tuple[Shift, ...]:
    total = joint.sum()
    if not total > 0:
        return ()
    after = component_probabilities(catalogue, joint / total)
    moved = sorted(after, key=lambda component: -abs(after[component] - before[component]))[:SHIFTS_SHOWN]
    names = catalogue.components_by_id
    return tuple(
        Shift(component=component, name=names[component].name, before=before[component], after=after[component])
        for component in moved
        if abs(after[component] - before[component]) >= LEAST_SHIFT
    )


def _short_why(step: Check | Repair | Context, outcomes: tuple[OutcomeOut, ...]) -> str:
    """The reason in a few words, without numbers."""
    if isinstance(step, Repair):
        return "What is left needs somebody else." if step.kind == LAST_RESORT else "This often mends it."
    names = list(dict.fromkeys(shift.name for outcome in outcomes for shift in outcome.shifts))[:2]
    return f"This helps to tell: {' or '.join(names)}?" if names else "This rules something out."


def _why(step: Check | Repair | Context, outcomes: tuple[OutcomeOut, ...], choice: Choice) -> str:
    if isinstance(step, Repair) and step.kind == LAST_RESORT:
        return "What is left to try here is expected to take longer than this."
    if isinstance(step, Repair):
        reasons = [f"It ends the trouble in {whole_percent(outcomes[0].probability)} of such cases."]
    else:
        told = [o for o in outcomes if o.shifts]
        reasons = [f"If “{o.words}” ({whole_percent(o.probability)}): {_moves(o.shifts)}." for o in told]
    if choice.otherwise_minutes is not None:
        saved = choice.otherwise_minutes - choice.expected_minutes
        compared = f"{saved:.1f} fewer than" if saved >= 0.05 else "as many as"
        until = f"About {choice.expected_minutes:.0f} minutes until it works"
        reasons.append(f"{until}, {compared} with the next best step first.")
    return " ".join(reasons)


def _moves(shifts: tuple[Shift, ...]) -> str:
    return ", ".join(f"{s.name} {whole_percent(s.before)} → {whole_percent(s.after)}" for s in shifts)


def whole_percent(probability: float) -> str:
    """Whole per cent, never 0 or 100; the space does not break."""
    words = "under 1" if probability < 0.01 else "over 99" if probability > 0.99 else f"{100 * probability:.0f}"
    return f"{words}\u00a0%"

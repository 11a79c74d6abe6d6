"""From a symptom and what is known of the lift to what is said first, the probable fault, the next step, the part."""

from __future__ import annotations

from collections.abc import Sequence

from classifier.errors import CaseError
from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import LAST_RESORT
from guidance.catalogue.rows import PERSON_IN_SLING, ROLES, nearest
from guidance.diagnose.diagnosis import (
    Diagnosis,
    component_probabilities,
    diagnose,
    fault_probabilities,
    generation_likelihood,
)
from guidance.diagnose.explain import next_step
from guidance.diagnose.one_core import one_core
from guidance.diagnose.planning import choose
from guidance.documents.case import (
    SKIPPED,
    STILL,
    UNSURE,
    WORKS,
    Case,
    ComponentOut,
    FaultOut,
    Occupied,
    OutcomeOut,
    Seen,
    StepOut,
    Troubleshooting,
    VerdictOut,
)
from guidance.electricity.verdict import Band, Verdict, judge_pack, lifts_left
from guidance.identify.identified import Identified, identified
from guidance.parts.parts import parts_of_likeliest
from guidance.safety.sentences import (
    ASK_SLING,
    ask_signs,
    bring_down,
    complaint,
    first_lines,
    occupied_signs_advice,
    say,
    signs_advice,
)


def troubleshoot(case: Case, catalogue: Catalogue) -> Troubleshooting:
    """Answer one case. Raises `CaseError` for ids that the catalogue does not know, `ReadingError` for bad readings."""
    check_case(case, catalogue)
    case = case.model_copy(update={"person_in_sling": _most_cautious(case)})
    lift = identified(case, catalogue)
    if case.person_in_sling != "no":
        return _bring_down(case, catalogue, lift)
    if case.danger_signs:
        return _out_of_use(case, catalogue)
    safety = first_lines(catalogue, case.role, "no")
    if case.danger_signs is None:
        return _document(case, catalogue, state="ask", safety=safety, next=ask_signs(catalogue))
    if case.symptom is None:
        return _document(case, catalogue, state="ask", safety=safety, next=_ask_symptom(catalogue))
    with one_core():
        return _diagnosed(case, catalogue, lift)


def _most_cautious(case: Case) -> Occupied:
    """Whether somebody is up by all who said so: one `yes` outweighs every `no`, and so does one doubt."""
    said = {case.person_in_sling, *(row.answer for row in case.observations if row.id == PERSON_IN_SLING)}
    return next(answer for answer in ("yes", "unsure", "no") if answer in said)


def check_case(case: Case, catalogue: Catalogue) -> None:
    """Refuse ids and outcomes that the catalogue does not know, naming the nearest that it does."""
    if not catalogue.symptoms:
        raise CaseError("This catalogue has no fault model. Add the sections that `hoistlore catalogue check` names.")
    info = case.catalogue
    if info and (info.id, info.version) != (catalogue.pool.id, catalogue.pool.version):
        own = f"{catalogue.pool.id} {catalogue.pool.version}"
        raise CaseError(f"the case is of catalogue {info.id} {info.version}, this is {own}; start the case anew")
    for sign in case.danger_signs or ():
        _want(sign, catalogue.stop_signs_by_id, "danger sign")
    if case.symptom is not None:
        _want(case.symptom, catalogue.symptoms_by_id, "symptom")
    for context, answer in case.context.items():
        _want(context, catalogue.contexts_by_id, "context")
        _want(answer, (*catalogue.contexts_by_id[context].options, UNSURE), f"answer to {context}")
    for step in case.done:
        _want(step.id, (*catalogue.checks_by_id, *catalogue.repairs_by_id), "check or repair")
        outcomes = (WORKS, STILL)
        if step.id in catalogue.checks_by_id:
            outcomes = tuple(catalogue.findings_by_id[catalogue.checks_by_id[step.id].finding].outcomes)
        _want(step.outcome, (*outcomes, UNSURE, SKIPPED), f"outcome of {step.id}")
    _check_seen(case.control_box, (*catalogue.generations_by_id, UNLISTED), "generation")
    _check_seen(case.actuator, CONCEPTS["lowering"], "lowering mechanism")


def _check_seen(seen: Seen | None, known: Sequence[str], what: str) -> None:
    for name in (*(seen.probabilities if seen else ()), *(seen.values if seen else ())):
        _want(name, known, what)
    total = sum(seen.probabilities.values()) if seen and seen.probabilities else 1.0
    if abs(total - 1.0) > 1e-3:
        raise CaseError(f"probabilities of the {what} add up to {total:g}; want 1")
    if seen and seen.decision == "confirmed":
        _check_confirmed(seen, what)


def _check_confirmed(seen: Seen, what: str) -> None:
    """What is called confirmed must be so by its own set and probabilities: an action or a part may hang on it."""
    if len(seen.values) != 1:
        raise CaseError(
            f"a confirmed {what} has one value in its set, not {len(seen.values)}; send the answer as it is"
        )
    favourite = max(seen.probabilities, key=seen.probabilities.get, default=seen.values[0])
    if favourite != seen.values[0]:
        raise CaseError(
            f"the {what} is confirmed as {seen.values[0]!r}, but its probabilities say {favourite!r}; "
            "send the answer as it came, or identify the lift anew"
        )


def _want(given: str, known: Sequence[str], what: str) -> None:
    if given not in known:
        raise CaseError(f"unknown {what} {given!r}{nearest(given, list(known))}; known are {', '.join(known)}")


def _bring_down(case: Case, catalogue: Catalogue, lift: Identified) -> Troubleshooting:
    """Somebody is up, or may be: nothing else is said until they are down. No photo is needed to get here."""
    safety = first_lines(catalogue, case.role, case.person_in_sling) + occupied_signs_advice(
        catalogue, case.danger_signs or (), case.role
    )
    lowering = bring_down(catalogue, case, lift.confirmed_lowering, lift.mechanisms)
    return _document(case, catalogue, state="bring_down", safety=safety, lowering=lowering, next=ASK_SLING)


def _out_of_use(case: Case, catalogue: Catalogue) -> Troubleshooting:
    role = case.role
    safety = (
        *signs_advice(catalogue, case.danger_signs, role),
        *say(catalogue, "out_of_use", role),
        *(say(catalogue, "emergency", role) if "smoke" in case.danger_signs else ()),
        *(say(catalogue, "disposal", role) if "leaking_battery" in case.danger_signs else ()),
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
    verdict = judge_pack(case.readings) if case.readings else None
    likelihood = generation_likelihood(lift.generation_probabilities, catalogue)
    diagnosis = diagnose(case, catalogue, likelihood, verdict.findings if verdict else {})
    known = {
        "faults": _faults(catalogue, diagnosis),
        "components": _components(catalogue, diagnosis),
        "nothing_wrong": float(diagnosis.weights @ (catalogue.fault_space.hypotheses.sum(axis=1) == 0)),
        "contradictions": (*diagnosis.contradictions, *(verdict.contradictions if verdict else ())),
        "electricity": _verdict(verdict, catalogue) if verdict else None,
        "parts": parts_of_likeliest(case, catalogue, lift, component_probabilities(catalogue, diagnosis.weights)),
    }
    if diagnosis.works:
        safety = say(catalogue, "after_repair", case.role) + say(catalogue, "duties", case.role)
        return _document(case, catalogue, state="release", safety=safety, **known)
    choice = choose(diagnosis, catalogue, case.role, case.symptom, lift.generations)
    step = next_step(choice, diagnosis, catalogue, case.role, case.symptom)
    if step.kind == LAST_RESORT:
        safety = first_lines(catalogue, case.role, "no") + say(catalogue, "hand_over", case.role)
        return _document(case, catalogue, state="hand_over", safety=safety, next=step, **known)
    safety = first_lines(catalogue, case.role, "no")
    if step.kind in ("adjust", "replace"):
        safety += say(catalogue, "after_repair", case.role)
    if step.kind == "replace" and catalogue.repairs_by_id[step.id].component == "battery":
        safety += say(catalogue, "disposal", case.role)
    return _document(case, catalogue, state="next_step", safety=safety, next=step, **known)


def _faults(catalogue: Catalogue, diagnosis: Diagnosis) -> tuple[FaultOut, ...]:
    space = catalogue.fault_space
    now, before = (fault_probabilities(space, weights) for weights in (diagnosis.weights, diagnosis.before))
    rows = [catalogue.faults_by_id[node.id] for node in space.cause_nodes]
    return tuple(
        FaultOut(id=row.id, name=row.name, component=row.component, probability=float(now[i]), before=float(before[i]))
        for i, row in sorted(enumerate(rows), key=lambda item: -now[item[0]])
        if now[i] > 0
    )


def _components(catalogue: Catalogue, diagnosis: Diagnosis) -> tuple[ComponentOut, ...]:
    now, before = (component_probabilities(catalogue, w) for w in (diagnosis.weights, diagnosis.before))
    names = catalogue.components_by_id
    return tuple(
        ComponentOut(id=component, name=names[component].name, probability=now[component], before=before[component])
        for component in now
        if now[component] > 0
    )


def _verdict(verdict: Verdict, catalogue: Catalogue) -> VerdictOut:
    charge, pack = verdict.charge_percent, catalogue.pack_electrics
    left = None
    if charge is not None and pack is not None and verdict.state != "failed" and not verdict.contradictions:
        spans = (pack.peukert_exponent, pack.health_percent, pack.lifting_current_a, pack.seconds_per_lift)
        exponent, health, current, seconds = (Band(*span) for span in spans)
        left = lifts_left(pack.capacity_ah, pack.rated_hours, exponent, charge, health, current, seconds)
    bands = (charge, verdict.resistance_mohm, left)
    percent, resistance, lifts = (None if band is None else (band.low, band.high) for band in bands)
    return VerdictOut(
        state=verdict.state,
        charge_percent=percent,
        resistance_mohm=resistance,
        lifts_left=lifts,
        because=verdict.because,
        contradictions=verdict.contradictions,
        wants=verdict.wants,
    )


def _document(case: Case, catalogue: Catalogue, **known) -> Troubleshooting:
    """A document with what every state has."""
    return Troubleshooting(
        catalogue={"id": catalogue.pool.id, "version": catalogue.pool.version},
        role=case.role,
        complaint=complaint(catalogue, case),
        assumptions=_assumptions(catalogue),
        **known,
    )


def _assumptions(catalogue: Catalogue) -> tuple[str, ...]:
    settings = catalogue.fault_settings
    return (settings.rates_note, f"At most {settings.faults_at_once} faults at once.")

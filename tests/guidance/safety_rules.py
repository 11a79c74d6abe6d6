"""What must hold of every answer, written down apart from the code that gives it: by step ids, words, signal words."""

from collections.abc import Iterator
from functools import cache

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.documents.case import Case, Troubleshooting
from tests.guidance.safety_reading import Heard, read
from tests.guidance.safety_rules_up import person_is_up

TECHNICIANS_ALONE = {
    "measure_blocks", "do_load_test", "measure_fuse", "measure_board_supply", "measure_actuator_supply",
    "measure_charger", "replace_blocks", "replace_contacts", "replace_socket", "replace_fuse", "replace_stop",
    "replace_board", "replace_actuator_cable", "replace_actuator", "mend_legs", "grease_joints",
    "unplug_hand_control",
}  # fmt: skip
"""Opening the housing, the actuator, the frame or the wiring, and load tests."""

NOT_A_CAREGIVERS = TECHNICIANS_ALONE | {
    "bypass_adapter", "try_spare_charger", "lamps_with_new_hand", "try_spare_hand", "try_spare_pack",
    "replace_hand_control", "replace_charger", "replace_charging_lead", "replace_pack", "display_with_new_hand",
    "look_joints",
}  # fmt: skip

FITS = {
    "DEMO-1101": {"sealed-top", "sealed-front"}, "DEMO-1102": {"sealed-top", "sealed-front"},
    "DEMO-1202": {"stacked-front"}, "DEMO-1301": {"hung-top"},
    "DEMO-2101": {"sealed-top", "sealed-front"}, "DEMO-2201": {"stacked-front"}, "DEMO-2311": {"hung-top"},
    "DEMO-2301": {"hung-top"}, "DEMO-3102": {"sealed-top", "sealed-front"},
    "DEMO-3201": {"stacked-front", "hung-top"}, "DEMO-4101": {"sealed-top"}, "DEMO-4201": {"stacked-front"},
    "DEMO-4301": {"hung-top"}, "DEMO-4401": {"sealed-front"},
}  # fmt: skip
"""Which part belongs to which generation, by its number; the first two are substitutes for each other."""

LEAST_SIGNAL = {
    "occupied-1": "warning", "emergency-1": "danger", "emergency-2": "warning", "emergency-3": "danger",
    "always-1": "warning", "always-2": "warning", "always-3": "warning", "always-5": "warning", "out-1": "danger",
    "after-repair-1": "warning", "after-repair-2": "warning", "hand-over-1": "warning", "smoke": "danger",
    "heat": "warning", "burning_smell": "warning", "leaking_battery": "warning", "moves_unasked": "danger",
    "failed_lowering": "warning", "sinks_by_itself": "danger", "wet_parts": "warning", "cut_or_burnt": "warning",
    "dropped_or_bent": "danger", "open-4": "warning", "after-2": "warning", "worse-1": "danger", "worse-2": "danger",
    "beside-stop-1": "warning", "beside-stop-2": "warning", "beside-charge-1": "warning",
    "beside-charge-3": "warning", "taken-back-1": "warning", "smoke-up-1": "danger", "moves-unasked-up-1": "danger",
}  # fmt: skip
"""Signal words by what can happen: DANGER will, WARNING could kill or injure (ANSI Z535, ISO 3864-2; from memory)."""

RANK = {None: 0, "caution": 1, "warning": 2, "danger": 3}

DAMAGE = {("look_hand_cord", "damaged"), ("look_actuator_cable", "damaged"), ("look_charging_socket", "damaged")}
"""Findings of something cut or burnt."""


def violations(case: Case, answer: Troubleshooting) -> Iterator[str]:
    """Every rule that an answer breaks, in words."""
    yield from _everywhere(case, answer)
    yield from _heard(answer)
    said = [sentence.id for sentence in answer.safety]
    spoke = {case.person_in_sling, *(row.answer for row in case.observations if row.id == "person_in_sling")}
    if spoke != {"no"}:
        yield from person_is_up(case, answer, said)
    elif case.danger_signs:
        yield from _out_of_use(case, answer, said)
    elif case.danger_signs is None:
        if answer.next is None or answer.next.id != "danger_signs":
            yield "danger signs were not asked about first"
    elif case.symptom is not None:
        yield from _working_on_it(case, answer, said)


def _everywhere(case: Case, answer: Troubleshooting) -> Iterator[str]:
    spoken = [*answer.safety, *(answer.lowering.steps if answer.lowering else ()), *answer.complaint.say]
    spoken += [sentence for part in answer.parts for sentence in part.confirm_before_order]
    spoken += [answer.next] if answer.next else []
    for sentence in spoken:
        if not sentence.id or not sentence.text or not sentence.source.strip():
            yield f"{sentence.id}: no id, text or source"
        if case.role not in sentence.roles:
            yield f"{sentence.id}: told to a {case.role}, meant for {sentence.roles}"
        if "the law requires" in sentence.text.lower():
            yield f"{sentence.id}: speaks of the law to everybody"
        signal = getattr(sentence, "signal", None)
        if RANK[signal] < RANK[LEAST_SIGNAL.get(sentence.id)]:
            yield f"{sentence.id}: signal word {signal}, want {LEAST_SIGNAL[sentence.id]}"
    hurt = case.could_hurt or bool(case.danger_signs)
    if hurt and not (answer.complaint.flagged and "complaint-1" in [s.id for s in answer.complaint.say]):
        yield "a case that could have hurt somebody is not flagged"
    for part in answer.parts:
        yield from _part(case, part)


def _heard(answer: Troubleshooting) -> Iterator[str]:
    """No sentence contradicts one that stands before it, and each says in data what it says in words."""
    heard = Heard()
    rows = [*answer.safety, *(answer.lowering.steps if answer.lowering else ())]
    rows += [answer.next] if answer.next and answer.next.kind != "safety_question" else []
    for row in rows:
        told = read(row.text)
        yield from (f"{row.id} {objection}" for objection in heard.objections(told))
        heard.hear(told)
        if told.orders - set(row.acts) or told.forbids - set(row.forbids):
            yield f"{row.id}: its acts do not say what its words do: {sorted(told.orders)}"
        if told.later != getattr(row, "once_down", False) or (told.keeps_away and not row.keeps_away):
            yield f"{row.id}: does not say that it keeps people away, or only later"


def _out_of_use(case: Case, answer: Troubleshooting, said: list[str]) -> Iterator[str]:
    if answer.state != "out_of_use" or answer.next is not None or answer.faults or answer.parts:
        yield "a lift with a danger sign is worked on"
    told = {sign: sign if sign != "cut_or_burnt" else "wet_parts" for sign in case.danger_signs}  # the same words
    told |= {"heat": "burning_smell"} if "heat" in told else {}
    for sentence in ("out-1", "out-2", "hand-over-1", "duties-1"):
        if sentence not in said:
            yield f"{sentence} is missing for a lift that is out of use"
    for sign, same in told.items():
        if not {sign, same} & set(said):
            yield f"{sign} is missing for a lift that is out of use"
    if "smoke" in case.danger_signs and "emergency-3" not in said:
        yield "smoke without calling help"
    if ("disposal-1" in said) != ("leaking_battery" in case.danger_signs and case.role != "caregiver"):
        yield "separate collection of a leaking battery is said to all but caregivers"


def _working_on_it(case: Case, answer: Troubleshooting, said: list[str]) -> Iterator[str]:
    step, why_not = answer.next, _why_not_released(case)
    if answer.state == "release":
        if why_not:
            yield f"released, though {why_not}"
        if step is not None or not {"after-repair-1", "after-repair-2", "lifting-1"} <= set(said):
            yield "a repaired lift is given back without a trial, a release and the limits of lift and sling"
        return
    if step is None:
        yield "no next step"
        return
    if why_not and _worked(case) and (answer.taken_back is None or "taken-back-1" not in said):
        yield f"a lift that works again is not released, and nothing says why: {why_not}"
    yield from _who_does_it(case, step)
    wanted = ["always-1", "always-2", "always-4", "always-5" if case.role == "technician" else "always-3"]
    wanted += ["after-repair-1", "after-repair-2"] if step.kind in ("adjust", "replace") else []
    wanted += ["disposal-1"] if step.id in ("replace_pack", "replace_blocks") else []
    wanted += ["hand-over-1"] if step.id in ("send_technician", "exchange_lift") else []
    wanted += ["hand-over-2"] if step.id == "send_technician" and case.role == "agent" else []
    orders = read(step.text).orders
    wanted += ["beside-stop-1", "beside-stop-2"] if "release:stop" in orders else []
    wanted += ["beside-charge-1", "beside-charge-2", "beside-charge-3"] if "plug:charger" in orders else []
    wanted += ["beside-bypass-1", "beside-bypass-2"] if step.id == "bypass_adapter" else []
    for sentence in wanted:
        if sentence not in said:
            yield f"{sentence} is missing beside the step {step.id}"
    if _wet_burnt_or_cut(case):
        if orders & {"press:raise", "press:lower", "plug:charger"}:
            yield f"{step.id} has somebody press or charge what is wet, burnt or cut"
        if not {"wet_parts", "cut_or_burnt"} & set(said):
            yield "nothing says to press nothing and charge nothing that is wet, burnt or cut"


def _who_does_it(case: Case, step) -> Iterator[str]:
    if step.id in (TECHNICIANS_ALONE if case.role == "agent" else NOT_A_CAREGIVERS) and case.role != "technician":
        yield f"{step.id} is proposed to a {case.role}"
    if case.role == "caregiver" and step.kind in ("swap", "measurement", "replace"):
        yield f"a {step.kind} is proposed to a caregiver"


@cache
def _demo() -> Catalogue:
    return load(DEMO_CATALOGUE)


def _normal(check: str) -> str:
    """The outcome of a check that speaks of no trouble: the first, in the catalogue as it is shipped."""
    return next(iter(_demo().findings_by_id[_demo().checks_by_id[check].finding].outcomes))


def _worked(case: Case) -> bool:
    """Whether the last repair that was tried ended the trouble."""
    tried = [s for s in case.done if s.id in _demo().repairs_by_id and s.outcome != "skipped"]
    return bool(tried) and tried[-1].outcome == "works"


def _why_not_released(case: Case) -> str | None:
    """Trouble that was found after the last repair, or damage that nobody replaced."""
    if not _worked(case):
        return "no repair has ended the trouble"
    last = max(i for i, s in enumerate(case.done) if s.id in _demo().repairs_by_id and s.outcome != "skipped")
    for step in case.done[last + 1 :]:
        if step.outcome not in ("skipped", "unsure") and step.outcome != _normal(step.id):
            return f"{step.id} found {step.outcome} afterwards"
    if _damaged(case) or (case.role != "technician" and case.context.get("wet") == "yes"):
        return "it is wet, burnt or cut"
    return None


def _wet_burnt_or_cut(case: Case) -> bool:
    return _damaged(case) or case.context.get("wet") == "yes"


REPLACED_BY = {
    "look_hand_cord": {"replace_hand_control"},
    "look_actuator_cable": {"replace_actuator_cable"},
    "look_charging_socket": {"replace_socket"},
}
"""What puts an end to something cut or burnt."""


def _damaged(case: Case) -> bool:
    found: set[str] = set()
    for step in case.done:
        if (step.id, step.outcome) in DAMAGE:
            found.add(step.id)
        elif step.id in REPLACED_BY and step.outcome == _normal(step.id):
            found.discard(step.id)
        elif step.outcome in ("works", "still"):
            found -= {look for look, repairs in REPLACED_BY.items() if step.id in repairs}
    return bool(found)


def _part(case: Case, part) -> Iterator[str]:
    if case.role == "caregiver":
        yield "a caregiver is shown parts"
    box, head = case.control_box, case.actuator
    generation = box.values[0] if box and box.decision == "confirmed" and len(box.values) == 1 else None
    mechanism = head.values[0] if head and head.decision == "confirmed" and len(head.values) == 1 else None
    named = [p for p in (part.part, *part.substitutes, *part.order_together) if p is not None]
    if named and generation is None:
        yield f"{part.component}: a part number while the control box is not confirmed"
    if named and part.component == "actuator" and mechanism is None:
        yield "actuator: a part number while the lowering mechanism is not confirmed"
    if part.part is None and not part.ask:
        yield f"{part.component}: neither a part nor what is missing"
    for orderable in named:
        if generation is not None and generation not in FITS.get(orderable.number, {generation}):
            yield f"{part.component}: {orderable.number} belongs to another generation"
    wrong = part.part and generation and part.part.generations and generation not in part.part.generations
    if wrong or (part.part and mechanism and part.part.mechanisms and mechanism not in part.part.mechanisms):
        yield f"{part.component}: {part.part.id} does not fit"
    if part.part and not part.confirm_before_order:
        yield f"{part.component}: nothing to confirm before ordering"


def assert_safe(walk, at_least: int) -> None:
    """No rule is broken in any of these states, and there are enough of them."""
    count = 0
    for case, answer in walk:
        broken = list(violations(case, answer))
        assert not broken, f"{broken} in {case}"
        count += 1
    assert count >= at_least

"""What must hold of every answer, written down apart from the code that gives it: step ids, sentences, signal words."""

from collections.abc import Iterator

from guidance.documents.case import Case, Troubleshooting

TECHNICIANS_ALONE = {
    "measure_blocks", "do_load_test", "measure_fuse", "measure_board_supply", "measure_actuator_supply",
    "measure_charger", "replace_blocks", "replace_contacts", "replace_socket", "replace_fuse", "replace_stop",
    "replace_board", "replace_actuator_cable", "replace_actuator",
}  # fmt: skip
"""Opening the housing, the actuator, the frame or the wiring, and load tests."""

NOT_A_CAREGIVERS = TECHNICIANS_ALONE | {
    "bypass_adapter", "try_spare_charger", "lamps_with_new_hand", "try_spare_hand", "try_spare_pack",
    "replace_hand_control", "replace_charger", "replace_charging_lead", "replace_pack",
}  # fmt: skip

STEPS_OF = {
    "none": ("lower-none-1", "lower-none-2"),
    "squeeze_tabs": ("lower-tabs-1", "lower-tabs-2", "lower-tabs-3"),
    "twist_knob": ("lower-twist-1", "lower-twist-2", "lower-twist-3"),
    "pull_twist_knob": ("lower-pull-1", "lower-pull-2", "lower-pull-3"),
}

WORDS_OF = {"squeeze_tabs": "pinch", "twist_knob": "turn the knob", "pull_twist_knob": "pull the knob"}

FITS = {
    "DEMO-1101": {"sealed-top", "sealed-front"}, "DEMO-1102": {"sealed-top", "sealed-front"},
    "DEMO-1202": {"stacked-front"}, "DEMO-1301": {"hung-top"},
    "DEMO-2101": {"sealed-top", "sealed-front"}, "DEMO-2201": {"stacked-front"}, "DEMO-2211": {"stacked-front"},
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
    "failed_lowering": "warning", "dropped_or_bent": "danger", "open-4": "warning", "open-6": "warning",
}  # fmt: skip
"""Signal words by what can happen: DANGER will, WARNING could kill or injure (ANSI Z535, ISO 3864-2; from memory)."""

RANK = {None: 0, "caution": 1, "warning": 2, "danger": 3}


def violations(case: Case, answer: Troubleshooting) -> Iterator[str]:
    """Every rule that an answer breaks, in words."""
    yield from _everywhere(case, answer)
    said = [sentence.id for sentence in answer.safety]
    if case.person_in_sling != "no":
        yield from _person_is_up(case, answer, said)
    elif case.danger_signs:
        yield from _out_of_use(case, answer, said)
    elif case.danger_signs is None:
        if answer.next is None or answer.next.id != "danger_signs":
            yield "danger signs were not asked about first"
    else:
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


def _person_is_up(case: Case, answer: Troubleshooting, said: list[str]) -> Iterator[str]:
    if answer.state != "bring_down" or said[:1] != ["occupied-1"]:
        yield "something comes before bringing the person down"
    if answer.next is None or answer.next.id != "person_in_sling":
        yield "the next thing asked is not whether the person is down"
    if answer.faults or answer.components or answer.parts:
        yield "faults or parts are shown while somebody is up"
    for sentence in ("occupied-2", "emergency-1", "emergency-2", "emergency-3"):
        if sentence not in said:
            yield f"{sentence} is missing while somebody is up"
    steps = [] if answer.lowering is None else list(answer.lowering.steps)
    ids = [step.id for step in steps]
    text = " ".join(step.text for step in steps).lower()
    head = case.actuator
    known = head.values[0] if head and head.decision == "confirmed" and len(head.values) == 1 else None
    if "failed_lowering" in (case.danger_signs or ()):
        known = None
    stopped = "moves_unasked" in (case.danger_signs or ())
    if not steps or ("hand control's lower button" in text) == stopped:
        yield "the hand control's lower button is tried first, and only while the stop need not stay pressed"
    if stopped and "red stop button is not pressed" in text:
        yield "the stop is to be pressed and to be released"
    if ids[:1] not in (["before-2"], ["open-0"]):
        yield "a place to land does not come before the lowering"
    spoken = " ".join(sentence.text for sentence in answer.safety).lower()
    for order in ("touch the lift no more", "lock this lift away", "leave the lift alone."):
        if order in spoken and f"once the person is down, {order}" not in spoken:
            yield f"“{order}” while somebody is in the sling"
    for sign in case.danger_signs or ():
        if f"{sign.replace('_', '-')}-up-1" not in said:
            yield f"{sign}: no plan for a sling with somebody in it"
    for mechanism, own in STEPS_OF.items():
        if mechanism == known and [i for i in ids if i.startswith("lower-")] != list(own):
            yield f"{mechanism} is confirmed, but the steps are {ids}"
        if mechanism != known and (set(ids) & set(own) or WORDS_OF.get(mechanism, "no such words") in text):
            yield f"{mechanism} is not confirmed, but its action is told as fact"
    if "call for help" not in text:
        yield "nothing is said of calling for help when the person cannot come down"


def _out_of_use(case: Case, answer: Troubleshooting, said: list[str]) -> Iterator[str]:
    if answer.state != "out_of_use" or answer.next is not None or answer.faults or answer.parts:
        yield "a lift with a danger sign is worked on"
    for sentence in (*case.danger_signs, "out-1", "out-2", "hand-over-1", "duties-1"):
        if sentence not in said:
            yield f"{sentence} is missing for a lift that is out of use"
    if "smoke" in case.danger_signs and "emergency-3" not in said:
        yield "smoke without calling help"
    if "leaking_battery" in case.danger_signs and "disposal-1" not in said:
        yield "a leaking battery without separate collection"


def _working_on_it(case: Case, answer: Troubleshooting, said: list[str]) -> Iterator[str]:
    step = answer.next
    if answer.state == "release":
        if step is not None or not {"after-repair-1", "after-repair-2"} <= set(said):
            yield "a repaired lift is given back without a trial and a release"
        return
    if step is None:
        yield "no next step"
        return
    if step.id in (TECHNICIANS_ALONE if case.role == "agent" else NOT_A_CAREGIVERS) and case.role != "technician":
        yield f"{step.id} is proposed to a {case.role}"
    wanted = ["always-1", "always-2", "always-4", "always-5" if case.role == "technician" else "always-3"]
    wanted += ["after-repair-1", "after-repair-2"] if step.kind in ("adjust", "replace") else []
    wanted += ["disposal-1"] if step.id in ("replace_pack", "replace_blocks") else []
    wanted += ["hand-over-1"] if step.id in ("send_technician", "exchange_lift") else []
    wanted += ["hand-over-2"] if step.id == "send_technician" and case.role == "agent" else []
    for sentence in wanted:
        if sentence not in said:
            yield f"{sentence} is missing beside the step {step.id}"


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

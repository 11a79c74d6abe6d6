"""What must hold while somebody is in the sling, as a clinical engineer would write it; common practice, no source."""

from collections.abc import Iterator

from guidance.documents.case import Case, Troubleshooting
from tests.guidance.safety_reading import read

STEPS_OF = {
    "none": ("lower-none-1", "lower-none-2"),
    "squeeze_tabs": ("lower-tabs-1", "lower-tabs-2", "lower-tabs-3"),
    "twist_knob": ("lower-twist-1", "lower-twist-2", "lower-twist-3"),
    "pull_twist_knob": ("lower-pull-1", "lower-pull-2", "lower-pull-3", "lower-pull-4"),
}

WORDS_OF = {"squeeze_tabs": "pinch", "twist_knob": "turn the knob", "pull_twist_knob": "pull the knob"}

WORKED = {"lower-tabs-1", "lower-twist-1", "lower-pull-1", "lower-pull-2"}
"""Steps in which a mechanism is worked."""

SAYS = {
    "smoke": ("call the fire service now", "out of the sling and away"),
    "moves_unasked": ("press the red stop", "keep hands clear", "hold the person steady"),
    "sinks_by_itself": ("put a bed or chair under", "keep hands clear", "second helper"),
    "dropped_or_bent": ("do not raise the arm", "second helper"),
    "failed_lowering": ("do not try that lowering again", "second helper", "call the emergency number"),
    "burning_smell": ("press the red stop", "pull the charger's plug", "call the emergency number"),
    "heat": ("press the red stop", "pull the charger's plug", "touch no hot part"),
    "wet_parts": ("press the red stop", "pull the charger's plug", "call the emergency number"),
    "cut_or_burnt": ("press the red stop", "pull the charger's plug", "touch no bare wire"),
    "leaking_battery": ("do not touch the fluid", "pull the charger's plug", "see a doctor"),
}
"""What must be said about each danger sign while somebody is up, in the order in which it is done."""

STOPS = {"moves_unasked", "burning_smell", "heat", "wet_parts", "cut_or_burnt", "leaking_battery"}
"""Signs after which the stop is pressed and stays so."""

WORST = ("smoke", "moves_unasked")
"""What is said about these comes before everything else."""


def person_is_up(case: Case, answer: Troubleshooting, said: list[str]) -> Iterator[str]:
    """Every rule that an answer breaks while somebody is up, or may be."""
    if answer.state != "bring_down" or answer.next is None or answer.next.id != "person_in_sling":
        yield "the next thing asked is not whether the person is down"
    if answer.faults or answer.components or answer.parts:
        yield "faults or parts are shown while somebody is up"
    for sentence in ("occupied-1", "occupied-2", "emergency-1", "emergency-2", "emergency-3"):
        if sentence not in said:
            yield f"{sentence} is missing while somebody is up"
    yield from _signs(case, answer, said)
    yield from _answers(case, answer)
    if answer.lowering is None or not answer.lowering.steps:
        yield "no way down"
        return
    yield from _order(case, answer)
    yield from _mechanism(case, answer)


def _signs(case: Case, answer: Troubleshooting, said: list[str]) -> Iterator[str]:
    signs, worse = set(case.danger_signs or ()), bool(case.lowered) and case.lowered[-1].outcome == "worse"
    spoken = [line.text.lower() for line in answer.safety]
    for sign in signs & SAYS.keys():
        places = [next((i for i, text in enumerate(spoken) if phrase in text), None) for phrase in SAYS[sign]]
        if None in places:
            yield f"{sign}: nothing says “{SAYS[sign][places.index(None)]}”"
        elif sign == "smoke" and places != sorted(places):
            yield f"{sign}: what to do comes in another order: {places}"
    first = next((sign for sign in WORST if sign in signs), None)
    if first and spoken and SAYS[first][0] not in spoken[0]:
        yield f"“{spoken[0]}” comes before “{SAYS[first][0]}”"
    if not signs and not worse and said[:1] != ["occupied-1"]:
        yield "something comes before bringing the person down"
    for line in answer.safety:
        told = read(line.text)
        if told.keeps_away and not told.later:
            yield f"“{line.text}” while somebody is in the sling"
        if "hand old batteries in" in line.text.lower():
            yield "separate collection is spoken of while somebody is up"


def _answers(case: Case, answer: Troubleshooting) -> Iterator[str]:
    """Each step can be answered; what made it worse is not to be done again, and help is called."""
    if answer.lowering and set(answer.lowering.outcomes) != {"down", "still", "worse"}:
        yield "a step of the way down cannot be answered with still up, getting worse, down now"
    head = case.actuator
    known = head is not None and head.decision == "confirmed" and len(head.values) == 1
    if not known and not answer.find_out:
        yield "nothing helps to find out the mechanism"
    for way in answer.find_out:
        if known or way.id == "knob_slides" or way.kind not in ("question", "photo"):
            yield f"{way.id} is no way to find out the mechanism while somebody is up"
    if answer.lowering and answer.lowering.steps:
        tried = {step.id for step in case.lowered}
        left = [step.id for step in answer.lowering.steps if step.id not in tried]
        if answer.lowering.current != (left[0] if left else None):
            yield "the step to try now is not the first that was not tried"
    if case.lowered and case.lowered[-1].outcome == "worse":
        spoken = [line.text.lower() for line in answer.safety]
        for phrase in ("stop what you are doing", "call the emergency number now", "call a second helper"):
            if not any(phrase in text for text in spoken):
                yield f"it gets worse, and nothing says “{phrase}”"
    again = {"before-1": "try the lower button", "lower-tabs-1": "pinch", "lower-twist-1": "turn the knob"}
    for step in case.lowered:
        told = " ".join(row.text.lower() for row in answer.lowering.steps) if answer.lowering else ""
        if step.outcome == "worse" and again.get(step.id, "no such words") in told:
            yield f"{step.id} made it worse, and is told again"


def _order(case: Case, answer: Troubleshooting) -> Iterator[str]:
    """A place to land, the stop, the buttons, the mechanism, help: in this order."""
    texts = [step.text.lower() for step in answer.lowering.steps]
    place = {act: i for i, text in reversed([*enumerate(texts)]) for act in read(text).orders}
    if not texts or "have a chair or bed under" not in texts[0]:
        yield "a place to land does not come before the lowering"
    stopped = bool(STOPS & set(case.danger_signs or ()))
    worse = any(step.id in ("before-0", "before-1") and step.outcome == "worse" for step in case.lowered)
    if ("press:lower" in place) == (stopped or worse):
        yield "the lower button is tried, and only while the stop need not stay pressed"
    buttons = texts[place["press:lower"]] if "press:lower" in place else "hand control or box"
    if "hand control" not in buttons or "box" not in buttons:
        yield "not both lower buttons are named, that of the hand control and that of the box"
    if "release:stop" in place and not any("why" in text for text in texts[: place["release:stop"]]):
        yield "the stop is released before anybody asks why it was pressed"
    if "release:stop" in place and not any("clear of the arm when you release" in t for t in texts):
        yield "the stop is released with people near the arm"
    wanted = [place[act] for act in ("prepare:landing", "release:stop", "press:lower", "lower:by_hand") if act in place]
    last = max((i for i, text in enumerate(texts) if "call:help" in read(text).orders), default=-1)
    if [*wanted, last] != sorted([*wanted, last]):
        yield f"the way down is in another order: {texts}"
    if last < 0:
        yield "nothing is said of calling for help when the person cannot come down"


def _mechanism(case: Case, answer: Troubleshooting) -> Iterator[str]:
    """One mechanism's action is told only when it is confirmed, and then whole; never again after it failed."""
    head, ids = case.actuator, [step.id for step in answer.lowering.steps]
    text = " ".join(step.text for step in answer.lowering.steps).lower()
    known = head.values[0] if head and head.decision == "confirmed" and len(head.values) == 1 else None
    if "failed_lowering" in (case.danger_signs or ()):
        known = None
    if known != "none" and any(step.outcome == "worse" and step.id in WORKED for step in case.lowered):
        known = None
    if (answer.lowering.basis == "confirmed") != (known is not None):
        yield f"the basis is {answer.lowering.basis}, though {known} is confirmed"
    for mechanism, own in STEPS_OF.items():
        told = [i for i in ids if i in own]
        if mechanism == known and told != list(own):
            yield f"{mechanism} is confirmed, but the steps are {ids}"
        if mechanism != known and (told or WORDS_OF.get(mechanism, "no such words") in text):
            yield f"{mechanism} is not confirmed, but its action is told as fact"
    if known in WORDS_OF and "if it is fast" not in text:
        yield "nothing says what to do when the arm sinks fast"

"""What must hold of a catalogue's advice for it to be safe; each problem has a path to its row and a reason."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from guidance.catalogue.acts import ENDED_BY, ON_THE_LIFT, opposite
from guidance.catalogue.fault_rows import Moment
from guidance.catalogue.rows import ROLES, Role, Sentence, meant
from guidance.catalogue.sections import Sections

Found = tuple[tuple[str | int, ...], str]

ALWAYS_WANTED: tuple[Moment, ...] = (
    "occupied", "emergency", "worse", "always", "out_of_use", "after_repair", "taken_back", "hand_over",
)  # fmt: skip
"""Moments at which every role is told something."""

OF_ONE_MECHANISM = re.compile(r"\b(knobs?|tabs?|levers?|collars?|twist\w*|pinch\w*|squeez\w*)\b", re.IGNORECASE)
"""English words for how one mechanism is worked; in a sentence that is said whatever it is, they are a guess."""

NOT_A_CAREGIVERS = ("swap", "measurement", "replace")
"""Kinds of step that want training or parts, whatever they touch."""

NONE = "none"
"""The taxonomy's word for an actuator with nothing to work by hand."""


@dataclass(frozen=True)
class _Place:
    path: tuple[str | int, ...]
    sentence: Sentence


def safety_problems(catalogue: Sections) -> Iterator[Found]:
    """Yield everything that makes the advice unsafe, whatever lift and whatever case it is."""
    yield from _cautions(catalogue)
    yield from _way_down(catalogue)
    yield from _mechanism_steps(catalogue)
    yield from _stop_signs(catalogue)
    yield from _who_does_what(catalogue)
    yield from _as_bad_as_a_sign(catalogue)
    yield from _every_generation_served(catalogue)


def _cautions(catalogue: Sections) -> Iterator[Found]:
    if not catalogue.cautions:
        yield ("cautions",), f"is missing or empty; want sentences for the moments {', '.join(ALWAYS_WANTED)}"
        return
    for moment in ALWAYS_WANTED:
        told = {role for row in catalogue.cautions if row.moment == moment for role in row.roles}
        for role in ROLES:
            if role not in told:
                yield ("cautions",), f"nothing is said to the role {role} at the moment '{moment}'; add a sentence"
    for i, row in enumerate(catalogue.cautions):
        if (row.moment == "beside") != bool(row.beside):
            yield ("cautions", i, "beside"), "the moment 'beside' names the acts with which it is said; no other does"


def _way_down(catalogue: Sections) -> Iterator[Found]:
    """The generic way down: a place to land, the buttons, help; nothing of one mechanism; for everybody."""
    places = ("lowering_before", "lowering_open", "lowering_after")
    rows = [
        _Place(("sentences", i), row)
        for place in places
        for i, row in enumerate(catalogue.sentences)
        if row.place == place
    ]
    there = {row.place for row in catalogue.sentences}
    for place in places:
        if place not in there:
            yield ("sentences",), f"no sentence at '{place}'; without one there is no way down for an unknown mechanism"
    for act, what in (
        ("prepare:landing", "to have a chair or bed under the person"),
        ("press:lower", "to try a lower button"),
        ("call:help", "to call for help"),
    ):
        for role in ROLES:
            if not any(act in row.sentence.acts and role in row.sentence.roles for row in rows):
                yield ("sentences",), f"nothing in the way down tells the role {role} {what} (acts = ['{act}']); add it"
    for row in rows:
        yield from _of_no_mechanism(row.path, row.sentence)
    yield from _landing_first(rows)
    yield from _in_harmony(rows)


def _landing_first(rows: Iterable[_Place]) -> Iterator[Found]:
    for row in rows:
        if "prepare:landing" in row.sentence.acts:
            return
        if "press:lower" in row.sentence.acts:
            yield row.path, "comes before a chair or bed is under the person; put it after the sentence that says so"


def _of_no_mechanism(path: tuple[str | int, ...], sentence: Sentence) -> Iterator[Found]:
    if "lower:by_hand" in sentence.acts:
        yield (*path, "acts"), "works a mechanism that is not known here; move it to the steps of its mechanism"
    elif "lower:by_hand" not in sentence.forbids and (word := OF_ONE_MECHANISM.search(sentence.text)):
        yield (
            (*path, "text"),
            f"“{word[0]}” belongs to one mechanism, and this is said whatever it is; "
            "move it to the steps of its mechanism",
        )


def _mechanism_steps(catalogue: Sections) -> Iterator[Found]:
    for i, mechanism in enumerate(catalogue.mechanisms):
        works = [step for step in mechanism.steps if "lower:by_hand" in step.acts]
        if mechanism.id != NONE and not works:
            want = "acts = ['lower:by_hand']"
            yield ("mechanisms", i, "steps"), f"no step works the mechanism; mark the one that does with {want}"
        if mechanism.id == NONE and works:
            yield ("mechanisms", i, "steps"), f"'{works[0].id}' works a mechanism where there is none"
        for j, step in enumerate(mechanism.steps):
            if missing := [role for role in ROLES if role not in step.roles]:
                yield (
                    ("mechanisms", i, "steps", j, "roles"),
                    f"is not told to {', '.join(missing)}; a step that somebody misses makes the rest dangerous",
                )


def _stop_signs(catalogue: Sections) -> Iterator[Found]:
    if not catalogue.stop_signs:
        yield ("stop_signs",), "is missing or empty; want the signs after which a lift is left alone, such as smoke"
    for i, sign in enumerate(catalogue.stop_signs):
        if missing := [role for role in ROLES if role not in sign.roles]:
            yield ("stop_signs", i, "roles"), f"is not told to {', '.join(missing)}; everybody must know what to do"
        plan = [_Place(("stop_signs", i, "occupied", j), row) for j, row in enumerate(sign.occupied)]
        for role in ROLES:
            if not any(role in row.sentence.roles for row in plan):
                yield ("stop_signs", i, "occupied"), f"no plan for the role {role} while somebody is up; add a sentence"
        for row in plan:
            yield from _of_no_mechanism(row.path, row.sentence)
        yield from _in_harmony(plan)


def _in_harmony(rows: Iterable[_Place]) -> Iterator[Found]:
    """Sentences that are said one after the other: none opposes an earlier one, none sends away from a person up."""
    said: list[Sentence] = []
    for row in rows:
        sentence = row.sentence
        if sentence.once_down:
            continue
        if sentence.keeps_away:
            yield row.path, "keeps people away while somebody hangs in the lift; say once_down = true, or leave it out"
        for earlier in said:
            yield from ((row.path, reason) for reason in _contradictions(earlier, sentence))
        said.append(sentence)


def _contradictions(earlier: Sentence, later: Sentence) -> Iterator[str]:
    if not set(earlier.roles) & set(later.roles):
        return
    kept_off = set(ON_THE_LIFT if earlier.keeps_away else ()) | set(earlier.forbids)
    for act in later.acts:
        if opposite(act) in earlier.acts:
            yield f"orders {act}, though '{earlier.id}' before it orders {opposite(act)}; one of them must go"
        if act in kept_off:
            yield f"orders {act}, which '{earlier.id}' before it forbids; one of them must go"
    for act in set(later.forbids) & set(earlier.acts):
        yield f"forbids {act}, which '{earlier.id}' before it orders; one of them must go"
    for need in later.requires:
        if ENDED_BY[need] in earlier.acts:
            yield f"requires {need}, which '{earlier.id}' before it ends by {ENDED_BY[need]}; one of them must go"


def _who_does_what(catalogue: Sections) -> Iterator[Found]:
    caregiver: Role = "caregiver"
    for section in ("checks", "repairs"):
        for i, row in enumerate(getattr(catalogue, section)):
            if row.kind in NOT_A_CAREGIVERS and caregiver in row.minutes:
                yield (section, i, "minutes"), f"a {row.kind} is no caregiver's; take caregiver out of minutes"


def _as_bad_as_a_sign(catalogue: Sections) -> Iterator[Found]:
    known = catalogue.stop_signs_by_id
    for section, answers in (("contexts", "options"), ("findings", "outcomes")):
        for i, row in enumerate(getattr(catalogue, section)):
            for answer, sign in row.signs.items():
                path, possible = (section, i, "signs", answer), getattr(row, answers)
                if answer not in possible:
                    yield path, f"'{answer}' is none of its {answers}{meant(answer, list(possible))}"
                if sign not in known:
                    yield path, f"'{sign}' is no stop sign{meant(sign, list(known))}"


def _every_generation_served(catalogue: Sections) -> Iterator[Found]:
    """A generation that neither a part nor a fault fits was forgotten: its cases would end in nothing."""
    fitted = [*(part.generations for part in catalogue.parts), *(fault.generations for fault in catalogue.faults)]
    for i, generation in enumerate(catalogue.generations):
        if fitted and not any(not generations or generation.id in generations for generations in fitted):
            yield ("generations", i), f"no part and no fault fits '{generation.id}'; add it to the generations of some"

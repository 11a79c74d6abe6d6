"""What a closed case says of how right we were: what was shown before a technician checked it, and what they found.

An answer is judged as it was shown most firmly before the first word of a technician about it: once confirmed, it
counts as confirmed. What a technician records of a part of the lift is the truth; so is what the spare part is made for
whose exchange ended the trouble. A part that came back since it did not fit contradicts what it was ordered by. Answers
of caregivers and agents confirm nothing, nor does a closing that only repeats what the page says.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from api.cases.basket import kept_in
from api.cases.events import CLOSED, PHOTO, RETURNED, CaseEvent, in_force
from api.cases.learned.stating import EXCHANGED
from api.cases.photos import CasePhoto
from api.cases.store import CaseRow
from classifier.identify import ConceptReading
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, CONTROL_BOX_CONCEPTS, NOT_VISIBLE, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.rows import UNSURE
from guidance.monitor.checked import CONFIRMED, HELD_BACK, HIDDEN, OPEN, SURE, Shown

CHECKS = {"control_box": (WHICH_BOX, *CONTROL_BOX_CONCEPTS), "actuator": ("lowering",)}
"""Of each component the questions by whose answers a technician checks it."""

ROLE = "technician"
DAY_MS = 86_400_000


@dataclass(frozen=True)
class JudgedCase:
    """One closed case; `checked_ms`: when the last thing was said that judges. `photo_ids`: of each reading's photo."""

    closed_ms: int
    checked_ms: int
    shown: tuple[Shown, ...]
    photo_ids: dict[str, str]
    photos: int
    nothing_found: bool
    days: int
    ordered: int
    returned: int


def judged_case(row: CaseRow, photos: Sequence[CasePhoto], catalogue: Catalogue) -> JudgedCase | None:
    """Judge a case; None for one that is not closed. `photos` are all of its own, in any order."""
    live = in_force(row.events)
    closing = next((event for event in reversed(live) if event.kind == CLOSED), None)
    if closing is None:
        return None
    by_technician = [event for event in live if event.role == ROLE]
    counted = dict.fromkeys(str(event.said["id"]) for event in live if event.kind == PHOTO)
    own = {photo.id: photo for photo in photos}
    seen = [own[photo_id] for photo_id in counted if photo_id in own]
    readings, photo_ids = readings_of(seen, words_of(by_technician, CONCEPTS))
    by_part = _told_by_part(closing, catalogue)
    judging = [event for event in by_technician if event.kind in ("observation", RETURNED)]
    return JudgedCase(
        closed_ms=closing.at_ms,
        checked_ms=max(event.at_ms for event in (closing, *judging)),
        shown=(*(_answer(component, row, by_technician, by_part, catalogue) for component in CHECKS), *readings),
        photo_ids=photo_ids,
        photos=len(seen),
        nothing_found=bool(seen) and not any(photo.reading.subjects for photo in seen),
        days=len({event.at_ms // DAY_MS for event in by_technician}),
        ordered=len(kept_in(live)),
        returned=len({str(event.said["id"]) for event in live if event.kind == RETURNED}),
    )


def month_of(at_ms: int) -> str:
    """The month of a time, in UTC, as it is sorted: 2026-11."""
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC):%Y-%m}"


def _told_by_part(closing: CaseEvent, catalogue: Catalogue) -> dict[str, str]:
    """Box and mechanism for which alone the part is made whose exchange ended the trouble, by a technician's word."""
    part = catalogue.parts_by_id.get(str(closing.said.get("part", "")))
    if part is None or closing.role != ROLE or closing.said.get("proof") != EXCHANGED:
        return {}
    told = {WHICH_BOX: part.generations, "lowering": part.mechanisms}
    return {question: only[0] for question, only in told.items() if len(only) == 1}


def _answer(
    component: str,
    row: CaseRow,
    by_technician: Sequence[CaseEvent],
    by_part: Mapping[str, str],
    catalogue: Catalogue,
) -> Shown:
    verdict, value, probability = _firmest(component, row.events)
    words = words_of(by_technician, CHECKS[component])
    words |= {question: told for question, told in by_part.items() if question in CHECKS[component]}
    judge = _box if component == "control_box" else _lowering
    right, truth = judge(words, value, catalogue)
    if verdict == "not_seen":
        right = None
    elif _came_back_after(component, by_technician):
        right, truth = False, "" if truth == value else truth
    return Shown(component, verdict, value, probability, truth, right)


def _firmest(component: str, said: Sequence[CaseEvent]) -> tuple[str, str, float | None]:
    """Verdict, value and stated probability as they were shown before a technician first checked the component."""
    last: tuple[str, str, float | None] = ("not_seen", "", None)
    for event in said:
        known = event.known.get(component)
        if known:
            verdict, value = known
            held = component in event.known.get("held_back", ())
            stated = event.known.get("stated", {}).get(component)
            last = (HELD_BACK if held else str(verdict), str(value or ""), stated)
        if last[0] in (CONFIRMED, HELD_BACK) or _checks(event, CHECKS[component]):
            break
    return last


def _checks(event: CaseEvent, questions: Collection[str]) -> bool:
    return event.role == ROLE and event.kind == "observation" and event.said.get("id") in questions


def words_of(by_technician: Sequence[CaseEvent], questions: Collection[str]) -> dict[str, str]:
    """A technician's answers to these questions, of several to one the last; what they took back is none."""
    said = {str(e.said["id"]): str(e.said["answer"]) for e in by_technician if _checks(e, questions)}
    return {question: answer for question, answer in said.items() if answer != UNSURE}


def _lowering(words: dict[str, str], value: str, catalogue: Catalogue) -> tuple[bool | None, str]:
    truth = words.get("lowering", "")
    return (truth == value if truth else None), truth


def _box(words: dict[str, str], value: str, catalogue: Catalogue) -> tuple[bool | None, str]:
    """Whether it is this box: by its name, by a feature that it does not have, or by features that only it has."""
    if not words:
        return None, ""
    if WHICH_BOX in words:
        return words[WHICH_BOX] == value, words[WHICH_BOX]
    fitting = [g.id for g in catalogue.generations if all(getattr(g, c) == said for c, said in words.items())]
    if value == UNLISTED:
        whole = len(words) == len(CONTROL_BOX_CONCEPTS)
        return (False, fitting[0]) if whole and fitting else (None if fitting else True, "" if fitting else UNLISTED)
    if value not in fitting:
        return False, fitting[0] if len(fitting) == 1 else "" if fitting else UNLISTED
    return (True, value) if len(fitting) == 1 else (None, "")


def _came_back_after(component: str, by_technician: Sequence[CaseEvent]) -> bool:
    """Whether a part that depends on the component came back, and no technician has checked it since."""
    last = ""
    for event in by_technician:
        if event.kind == RETURNED and component in event.said.get("about", ()):
            last = RETURNED
        elif _checks(event, CHECKS[component]):
            last = event.kind
    return last == RETURNED


def readings_of(photos: Sequence[CasePhoto], words: dict[str, str]) -> tuple[list[Shown], dict[str, str]]:
    """Of each concept the reading of the first photo that shows it: one a case, so that photos of a lift count once."""
    shown, photo_ids = [], {}
    for concept in CONCEPTS if photos else ():
        photo_id, reading = _first_reading(concept, photos)
        if reading is None:
            shown.append(Shown(concept, HIDDEN, "", truth=words.get(concept, "")))
            continue
        best = reading.likeliest
        truth = words.get(concept, "")
        verdict = SURE if len(reading.prediction_set) == 1 else OPEN
        right = truth == best if truth else None
        shown.append(Shown(concept, verdict, best, reading.probabilities[best], truth, right))
        photo_ids[concept] = photo_id
    return shown, photo_ids


def _first_reading(concept: str, photos: Sequence[CasePhoto]) -> tuple[str, ConceptReading | None]:
    for photo in photos:
        for subject in photo.reading.subjects:
            reading = subject.concepts.get(concept) if concept in CONCEPTS_OF[subject.kind] else None
            if reading is not None and reading.likeliest != NOT_VISIBLE:
                return photo.id, reading
    return "", None

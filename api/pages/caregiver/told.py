"""What a caregiver is told of a photo: one sentence, the parts marked in it, and what is not sure yet."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from api.cases.photos import CasePhoto
from api.cases.view import CaseView
from api.cases.words import KIND_WORDS
from api.overlay import LINE_OF_KIND
from api.pages.drawings import Drawing
from api.pages.languages import Language
from api.settings import MOST_PHOTOS
from classifier.identify import SubjectReading
from classifier.quality import ADVICE
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX_CONCEPTS, NOT_VISIBLE, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.documents.answer import Actuator, ControlBox

SHOWN_PX = 1000
"""The longest side of the drawing's own coordinates; it is scaled to the screen."""

MOST_NAMED = 3
"""Types that are named when several are still possible; more would be a list that nobody reads."""


@dataclass(frozen=True)
class Mark:
    """One part marked in a photo: a number, where it is in the drawing's coordinates, and what was read off it.

    `disc_x` and `disc_y` are where its number stands: on the corner, but whole in the picture.
    """

    number: int
    name: str
    facts: tuple[str, ...]
    colour: str
    x: float
    y: float
    width: float
    height: float
    disc_x: float
    disc_y: float


@dataclass(frozen=True)
class MarkedPhoto:
    """One photo with its marks; `words` says the same to somebody who does not see it."""

    id: str
    shown: bool
    width: float
    height: float
    line: float
    disc: float
    words: str
    marks: tuple[Mark, ...]
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Told:
    """The answer in one sentence or two, the photos, what is not sure, and which other photo would help.

    What a sentence says is not said to be unsure as well. `reference`: the names and drawings of what it is held to be.
    `retake`: nothing of a lift was found, or a photo is too poor, so that the same photo should be taken again.
    """

    sentence: str
    second: str
    photos: tuple[MarkedPhoto, ...]
    reference: tuple[tuple[str, Drawing], ...]
    unsure: tuple[str, ...]
    another: str
    retake: bool


def told(view: CaseView, pictures: Mapping[str, bool], catalogue: Catalogue, language: Language) -> Told:
    """Put an identification into words. `pictures` says of each photo whether its picture is still there."""
    found = view.identification
    step, box, head = found.next, found.control_box, found.actuator
    photos = [_marked(photo, pictures[photo.id], head, catalogue, language) for photo in view.photos]
    kinds = {subject.kind for photo in view.photos for subject in photo.reading.subjects}
    more = len(view.photos) < MOST_PHOTOS
    of_head = _of_head(head, catalogue, language)
    if box.decision != "not_seen":
        sentence, second = _of_box(box, catalogue, language), of_head
    elif of_head or ACTUATOR_HEAD in kinds:
        sentence, second = of_head or language.say("This is the motor end of the arm."), ""
    else:
        none = "This photo shows no box." if kinds else "We found no part of a lift in this photo."
        sentence, second = language.say(none), ""
    return Told(
        sentence=sentence,
        second=second,
        photos=tuple(photos),
        reference=tuple(_reference(box, head, catalogue, language)),
        unsure=tuple(unsure(box, head, catalogue, language)),
        another=step.ask if step is not None and step.kind == "photo" and more else "",
        retake=more and (not kinds or any(photo.problems for photo in photos)),
    )


def _of_box(box: ControlBox, catalogue: Catalogue, language: Language) -> str:
    def name(value: str) -> str:
        return language.say(catalogue.generations_by_id[value].name)

    if box.decision == "confirmed" and box.generation:
        return language.fill("This lift has the box “{box}”.", box=name(box.generation))
    if _probably(box):
        return language.fill("This lift probably has the box “{box}”.", box=name(box.favourite or ""))
    if box.decision == "unlisted":
        return language.say("This box is none of those on our list.")
    return language.say("It is not yet clear which box this is.")


def _of_head(head: Actuator, catalogue: Catalogue, language: Language) -> str:
    """What is at the motor end, when that is confirmed or likely; else nothing."""
    if head.decision not in ("confirmed", "likely") or head.favourite is None:
        return ""
    name = language.say(catalogue.mechanisms_by_id[head.favourite].name)
    if head.decision == "confirmed":
        return language.fill("This motor end has: {mechanism}.", mechanism=name)
    return language.fill("This motor end probably has: {mechanism}.", mechanism=name)


def _probably(box: ControlBox) -> bool:
    return box.decision == "likely" and box.favourite not in (None, UNLISTED)


def _reference(
    box: ControlBox, head: Actuator, catalogue: Catalogue, language: Language
) -> Iterator[tuple[str, Drawing]]:
    """A drawing of the box and of the motor end that the sentences name."""
    if (box.decision == "confirmed" and box.generation) or _probably(box):
        row = catalogue.generations_by_id[box.generation or box.favourite or ""]
        yield language.say(row.name), Drawing({c: getattr(row, c) for c in CONTROL_BOX_CONCEPTS}, "")
    if _of_head(head, catalogue, language):
        yield language.say(catalogue.mechanisms_by_id[head.favourite].name), Drawing({"lowering": head.favourite}, "")


def unsure(box: ControlBox, head: Actuator, catalogue: Catalogue, language: Language) -> list[str]:
    """What is not sure yet and is not told as probable, a line each."""
    lines = []
    if box.decision == "undecided" and 1 < len(box.values) <= MOST_NAMED:
        values = sorted(box.values, key=lambda value: value == UNLISTED)
        names = [_generation(value, catalogue, language) for value in values]
        lines.append(language.fill("Which box it is: {names}.", names=_either(names, language)))
    elif box.is_open and not _probably(box):
        lines.append(language.say("Which box it is."))
    if head.decision in ("confirmed", "likely"):
        return lines
    names = [language.say(catalogue.mechanisms_by_id[value].name) for value in head.values]
    if head.decision != "not_seen" and 1 < len(names) <= MOST_NAMED:
        lines.append(language.fill("How the arm is lowered by hand: {names}.", names=_either(names, language)))
    else:
        lines.append(language.say("How the arm is lowered by hand."))
    return lines


def _generation(value: str, catalogue: Catalogue, language: Language) -> str:
    """In a list: in quotes, since a name has commas of its own."""
    if value == UNLISTED:
        return language.say("one that is not on our list")
    return f"“{language.say(catalogue.generations_by_id[value].name)}”"


def _either(names: list[str], language: Language) -> str:
    return language.fill("{first} or {last}", first=", ".join(names[:-1]), last=names[-1])


def _marked(photo: CasePhoto, shown: bool, head: Actuator, catalogue: Catalogue, language: Language) -> MarkedPhoto:
    reading = photo.reading
    scale = SHOWN_PX / max(reading.width, reading.height)
    width, height = reading.width * scale, reading.height * scale
    # Lines and numbers keep their size on a telephone: the drawing is shown about 330 px wide there.
    line, disc = width / 110, width / 22
    marks = tuple(
        _mark(number, subject, (width, height), line + disc, head, catalogue, language)
        for number, subject in enumerate(reading.subjects, 1)
    )
    problems = [language.say(ADVICE[problem]) for problem in reading.quality.problems]
    if not marks and not problems:
        problems = [language.say("Nothing of a lift was found in this photo.")]
    named = ", ".join(f"{mark.number} {mark.name}" for mark in marks)
    words = language.fill("Your photo with these parts marked: {parts}.", parts=named) if marks else problems[0]
    return MarkedPhoto(photo.id, shown, width, height, line, disc, words, marks, tuple(problems))


def _mark(
    number: int,
    subject: SubjectReading,
    size: tuple[float, float],
    rim: float,
    head: Actuator,
    catalogue: Catalogue,
    language: Language,
) -> Mark:
    """A subject's mark in a drawing of this size, its number at least `rim` away from the edge."""
    (width, height), (left, top, right, bottom) = size, subject.box
    red, green, blue = LINE_OF_KIND[subject.kind]
    return Mark(
        number=number,
        name=language.say(KIND_WORDS[subject.kind]),
        facts=tuple(_facts(subject, head, catalogue, language)),
        colour=f"#{red:02x}{green:02x}{blue:02x}",
        x=round(left * width, 1),
        y=round(top * height, 1),
        width=round((right - left) * width, 1),
        height=round((bottom - top) * height, 1),
        disc_x=round(min(max(left * width, rim), width - rim), 1),
        disc_y=round(min(max(top * height, rim), height - rim), 1),
    )


def _facts(subject: SubjectReading, head: Actuator, catalogue: Catalogue, language: Language) -> list[str]:
    """Each reading that the photo shows, with every value that it leaves open; of the motor end only what is sure."""
    facts = []
    for concept, reading in subject.concepts.items():
        if concept == "lowering" and head.decision != "confirmed":
            continue
        words = catalogue.concepts[concept]
        shown = [language.say(words.values[value]) for value in reading.prediction_set if value != NOT_VISIBLE]
        if shown and len(shown) == len(reading.prediction_set):
            said = shown[0] if len(shown) == 1 else _either(shown, language)
            facts.append(f"{language.say(words.name)}: {said}")
    return facts

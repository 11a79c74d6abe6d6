"""What a technician's screen shows beyond an agent's: each reading with its crop, and the table of parts in words."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from api.cases.basket import alternative_in, kept_in
from api.cases.events import CaseEvent
from api.cases.learned.accepting import is_settled, settled_words
from api.cases.view import CaseView
from api.cases.words import KIND_WORDS
from api.pages.languages import Language
from api.pages.wording import plain
from classifier.identify import SubjectReading
from classifier.taxonomy import NOT_VISIBLE, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import SparePart
from guidance.catalogue.rows import UNSURE
from guidance.documents.answer import Because
from guidance.parts.fitting import Fit, Ground, Verdict, fits_of

NONE_OF_THE_LIST = "none of the list"

READING_OF = {
    "block_1_v": ("blocks_v", 0),
    "block_2_v": ("blocks_v", 1),
    "loaded_block_1_v": ("loaded_blocks_v", 0),
    "loaded_block_2_v": ("loaded_blocks_v", 1),
}
"""Fields of the form that are one of several readings."""


@dataclass(frozen=True)
class ConceptRow:
    """One concept of one crop: its probabilities, what the photo says (`best`, empty: not visible), what was said.

    `settled`: the photo rules out everything but `best`. `wanted`: no photo shows it and nobody has said it; so marked
    on one crop alone.
    """

    id: str
    name: str
    words: Mapping[str, str]
    probabilities: Mapping[str, float]
    best: str
    settled: bool
    said: str
    said_by: str
    wanted: bool = False

    @property
    def is_done(self) -> bool:
        """Whether nobody has to look at it any more: somebody said it, or the photo settles it or shows nothing."""
        return bool(self.said) or self.settled or not (self.best or self.wanted)


@dataclass(frozen=True)
class Crop:
    """One part found in one photo; `number` counts photos from 1, `place` the parts of a photo from 0.

    `concepts`: what is open comes first.
    """

    number: int
    photo_id: str
    place: int
    name: str
    probability: float
    shown: bool
    concepts: tuple[ConceptRow, ...]


@dataclass(frozen=True)
class FitRow:
    """One line of the table of parts; `likely`: how probably its component is at fault, None before the trouble.

    `instead_of`: what lies in the basket and is an alternative to it, so that it is taken only in its place.
    """

    fit: Fit
    component: str
    likely: float | None
    reasons: tuple[str, ...]
    in_basket: int
    instead_of: SparePart | None

    @property
    def error_field(self) -> str:
        """The name under which an error about how many of it are ordered is shown."""
        return f"quantity-{self.fit.part.id}"


def crops_of(view: CaseView, there: Mapping[str, bool], catalogue: Catalogue, language: Language) -> tuple[Crop, ...]:
    """Every part that was found in a photo, those of which something is open first.

    `there` says of each photo whether its picture is still kept.
    """
    said, wanted = _answers(view), _shown_nowhere(view)
    crops = []
    for number, photo in enumerate(view.photos, 1):
        for place, subject in enumerate(photo.reading.subjects):
            rows = [
                replace(row, wanted=row.id in wanted and not row.said)
                for row in _concepts(subject, said, catalogue, language)
            ]
            wanted -= {row.id for row in rows}
            rows.sort(key=lambda row: row.is_done)
            name = language.say(KIND_WORDS[subject.kind])
            crops.append(Crop(number, photo.id, place, name, subject.probability, there[photo.id], tuple(rows)))
    return tuple(sorted(crops, key=lambda crop: all(row.is_done for row in crop.concepts)))


def open_names(crops: Sequence[Crop]) -> list[str]:
    """What nobody has said yet and no photo settles."""
    return list(dict.fromkeys(row.name for crop in crops for row in crop.concepts if not row.is_done))


def settled_lines(view: CaseView, catalogue: Catalogue, language: Language) -> tuple[str, ...]:
    """What one press accepts, each reading once: its name and the value that the photos show."""
    words = dict.fromkeys((concept, value) for concept, value, _, _ in settled_words(view, view.row.version))
    rows = ((catalogue.concepts[concept], value) for concept, value in words)
    return tuple(f"{language.say(row.name)}: {language.say(row.values[value])}" for row, value in rows)


def evidence_of(view: CaseView, catalogue: Catalogue, language: Language) -> tuple[str, ...]:
    """What speaks for the conclusions, one line a source, each once."""
    found = view.identification
    rows = (*found.control_box.because, *found.actuator.because) if found else ()
    said = _answers(view)
    return tuple(dict.fromkeys(_evidence(row, said, catalogue, language) for row in rows))


def contradictions_of(view: CaseView, catalogue: Catalogue, language: Language) -> list[str]:
    """What cannot all be right, one line a contradiction: what each source shows."""
    found, said = view.identification, _answers(view)
    rows = (*found.control_box.contradictions, *found.actuator.contradictions) if found else ()
    return [" ".join(_evidence(source, said, catalogue, language) for source in row.sources) for row in rows]


def fit_rows(view: CaseView, catalogue: Catalogue, language: Language) -> dict[Verdict, list[FitRow]]:
    """The table of parts by verdict; what is probably at fault comes first."""
    likely = {row.id: row.probability for row in view.help.components}
    kept = kept_in(view.live)
    table: dict[Verdict, list[FitRow]] = {"fits": [], "not_sure_yet": [], "does_not_fit": []}
    for fit in fits_of(catalogue, view.lift):
        component = fit.part.component
        row = FitRow(
            fit=fit,
            component=language.say(catalogue.components_by_id[component].name),
            likely=likely.get(component),
            reasons=tuple(_reasons(fit, catalogue, language)),
            in_basket=int(kept[fit.part.id]["quantity"]) if fit.part.id in kept else 0,
            instead_of=alternative_in(kept, catalogue, fit.part),
        )
        table[fit.verdict].append(row)
    for rows in table.values():
        rows.sort(key=lambda row: -(row.likely or 0.0))
    return table


def entered(view: CaseView) -> dict[str, str]:
    """The meter readings that count now, by the fields of the form, so that one more can be added to them."""
    judged = view.help.electricity
    if judged is not None and judged.outdated:
        return {}
    taken = next((event.said["readings"] for event in reversed(view.live) if event.kind == "readings"), {})
    if judged is not None:
        taken = judged.read.model_dump(mode="json", exclude_defaults=True, exclude={"after_steps"})
    fields = {name: value for name, value in taken.items() if not isinstance(value, list)}
    for name, (several, place) in READING_OF.items():
        if len(taken.get(several, ())) > place:
            fields[name] = taken[several][place]
    yes_no = {True: "yes", False: "no"}
    return {name: yes_no[v] if isinstance(v, bool) else f"{v:g}" for name, v in fields.items()}


def _shown_nowhere(view: CaseView) -> set[str]:
    """The concepts of the parts that were found which no photo shows."""
    readings = [(c, r) for p in view.photos for s in p.reading.subjects for c, r in s.concepts.items()]
    return {c for c, _ in readings} - {c for c, reading in readings if reading.likeliest != NOT_VISIBLE}


def _answers(view: CaseView) -> dict[object, CaseEvent]:
    return {event.said["id"]: event for event in view.live if event.kind == "observation"}


def _concepts(
    subject: SubjectReading, said: Mapping[object, CaseEvent], catalogue: Catalogue, language: Language
) -> Iterator[ConceptRow]:
    for concept, reading in subject.concepts.items():
        best = reading.likeliest
        event = said.get(concept)
        answer = str(event.said["answer"]) if event else ""
        yield ConceptRow(
            id=concept,
            name=language.say(catalogue.concepts[concept].name),
            words={value: language.say(words) for value, words in catalogue.concepts[concept].values.items()},
            probabilities=reading.probabilities,
            best="" if best == NOT_VISIBLE else best,
            settled=is_settled(reading),
            said="" if answer == UNSURE else answer,
            said_by=(event.actor or language.say(event.role)) if event else "",
        )


def _evidence(row: Because, said: Mapping[object, CaseEvent], catalogue: Catalogue, language: Language) -> str:
    """One thing that a photo or an answer showed, and which photo or who said it."""
    words = catalogue.concepts.get(row.concept)
    asked = catalogue.observations_by_id.get(row.concept)
    if words is not None:
        name, value = language.say(words.name), language.say(words.values[row.value])
        shown = language.fill("{part} {how}", part=name, how=value)
    elif row.concept == "generation":
        named = {g.id: g.name for g in catalogue.generations} | {UNLISTED: NONE_OF_THE_LIST}
        shown = language.say(named[row.value])
    elif asked is not None:
        shown = f"{language.say(asked.ask)} {language.say(asked.options[row.value])}"
    else:
        shown = f"{plain(row.concept)} {plain(row.value)}"
    number = row.source.removeprefix("photo ")
    if number.isdecimal():
        return language.fill("Photo {number}: {shown}.", number=number, shown=shown)
    about = (e for id_, e in said.items() if row.concept in (id_, catalogue.observations_by_id[str(id_)].about))
    events = sorted(about, key=lambda event: event.version)
    who = (events[-1].actor or language.say(events[-1].role)) if events else ""
    return language.fill("{who} says: {shown}.", who=who, shown=shown)


def _reasons(fit: Fit, catalogue: Catalogue, language: Language) -> Iterator[str]:
    if fit.stands_in_for is not None:
        yield language.fill("May be used instead of {part}.", part=language.say(fit.stands_in_for.name))
    for ground in fit.grounds:
        yield _reason(ground, catalogue, language)
    if fit.supplied is not None:
        # Its number is told only with the part's own: once it is sure that it fits.
        name = language.say(fit.supplied.name)
        yield language.fill("Not supplied any more. Order instead: {part}.", part=name)
    if fit.part.note:
        yield language.say(fit.part.note)


def _reason(ground: Ground, catalogue: Catalogue, language: Language) -> str:
    """Why, in one or two sentences: what the part is for, and what this lift has or may still have."""
    box = ground.about == "generation"
    rows = catalogue.generations if box else catalogue.mechanisms
    names = {row.id: language.say(row.name) for row in rows} | {UNLISTED: language.say(NONE_OF_THE_LIST)}
    made_for = _listed(ground.made_for, names)
    if len(ground.made_for) in (0, len(rows)):
        first = language.say("For every box of the list." if box else "For every lowering mechanism.")
    else:
        first = language.fill("For: {boxes}." if box else "Lowered by: {ways}.", boxes=made_for, ways=made_for)
    return f"{first} {_about_this_lift(ground, box, len(rows), _listed(ground.possible, names), language)}"


def _about_this_lift(ground: Ground, box: bool, every: int, possible: str, language: Language) -> str:
    if ground.verdict != "not_sure_yet":
        words = "This lift has: {boxes}." if box else "This lift is lowered by: {ways}."
        return language.fill(words, boxes=possible, ways=possible)
    if ground.possible == (UNLISTED,):
        return language.say("This box is none of the list: ask its maker.")
    if len(ground.possible) >= every:
        return language.say("Which box this is, is open." if box else "How this lift is lowered, is open.")
    words = "Still possible: {boxes}." if box else "Still possible: {ways}."
    known = language.fill(words, boxes=possible, ways=possible)
    if not ground.made_for or set(ground.made_for) & set(ground.possible):
        return known
    return f"{known} {language.say('Probably not for this lift, but that is not confirmed.')}"


def _listed(values: Sequence[str], names: Mapping[str, str]) -> str:
    return "; ".join(names[value] for value in values)

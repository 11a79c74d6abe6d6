"""A case's line in the queue and the words it is found by: folded from its events when it changes, kept beside it."""

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from api.cases.events import (
    ABOUT,
    ABOUT_FIELDS,
    ASSET,
    ASSIGNED,
    CLOSED,
    HANDED_OVER,
    NOTE,
    PHOTO,
    PLATE,
    SURVEYED,
    CaseEvent,
    in_force,
    moves_up,
    occupied,
)
from api.cases.tables import case_words, cases
from guidance.documents.case import Occupied

STATUSES = CLOSED_NOW, WITH_TECHNICIAN, OPEN, OF_SURVEY = "closed", "with a technician", "open", "surveyed"
"""The last: a lift was photographed on a survey, and nobody said that anything is wrong with it."""

TROUBLE = ("symptom", "danger_signs")

STANDINGS = UP, UNKNOWN, KNOWN, OVER = 0, 1, 2, 3
"""The order of the queue: somebody is up, nobody knows yet, nobody is up, closed."""

MOST_WORDS = 200
"""A case is found by so many words; the notes' come last."""

LONGEST_WORD = 60
ENDS = "~"
"""Before the letters of a number from its end: people read out the last ones."""

TOLD_BY = (PHOTO, HANDED_OVER, CLOSED, PLATE, ABOUT, ASSET, NOTE, ASSIGNED, "symptom", "danger_signs")
"""Kinds of event that change a line, beside those that say who is up."""


@dataclass(frozen=True)
class Line:
    """What the queue shows of a case. `taken_up`: staff said something since somebody is up."""

    standing: int
    status: str
    occupied: Occupied
    symptom: str
    photo_count: int
    taken_up: bool
    assignee: str
    site: str
    asset: str


def line_of(events: Sequence[CaseEvent], up_since_ms: int | None) -> Line:
    """The line of a case by all its events."""
    live = in_force(events)
    said = {event.kind: event for event in live}
    state, about = occupied(live), about_of(live)
    closed = CLOSED in said and up_since_ms is None
    surveyed = SURVEYED in said and said.keys().isdisjoint(TROUBLE) and up_since_ms is None
    waits = UNKNOWN if state != "no" else KNOWN
    standing = UP if up_since_ms is not None else OVER if closed or surveyed else waits
    status = CLOSED_NOW if closed else WITH_TECHNICIAN if HANDED_OVER in said else OF_SURVEY if surveyed else OPEN
    return Line(
        standing=standing,
        status=status,
        occupied=state,
        symptom=str(said["symptom"].said["answer"])[:64] if "symptom" in said else "",
        photo_count=sum(event.kind == PHOTO for event in live),
        taken_up=up_since_ms is not None and any(e.role != "caregiver" and e.at_ms >= up_since_ms for e in events),
        assignee=assignee_of(live),
        site=about["site"][:120],
        asset=about["asset"][:120],
    )


def about_of(live: Iterable[CaseEvent]) -> dict[str, str]:
    """What is known of the caller and of which lift it is, by its last words: `ABOUT_FIELDS` and `asset`."""
    known = dict.fromkeys((*ABOUT_FIELDS, ASSET), "")
    for event in live:
        if event.kind == ABOUT:
            known |= {name: str(event.said[name]) for name in ABOUT_FIELDS if name in event.said}
        elif event.kind == ASSET:
            known[ASSET] = str(event.said["answer"])
        elif event.kind == PLATE and event.said.get("serial"):
            known["serial"] = str(event.said["serial"])
    return known


def assignee_of(live: Iterable[CaseEvent]) -> str:
    """Whose case it is; empty while it is no one's."""
    return next((str(e.said["answer"])[:80] for e in reversed(tuple(live)) if e.kind == ASSIGNED), "")


def words_of(code: str, events: Sequence[CaseEvent]) -> list[str]:
    """The words that a case is found by: its code, the caller, the lift, and what was noted."""
    live = in_force(events)
    about = about_of(live)
    notes = [str(e.said.get("answer", "")) for e in live if e.kind == NOTE]
    found = dict.fromkeys(
        [
            *plain_words(code),
            *(key_of(name, about[name]) for name in (ASSET, "serial") if plain(about[name])),
            *(word for name in ("phone", "serial", ASSET) for word in _number_words(about[name])),
            *(word for text in (*about.values(), *reversed(notes)) for word in plain_words(text)),
        ]
    )
    return list(found)[:MOST_WORDS]


def key_of(name: str, number: str) -> str:
    """The word by which every case about one lift is found: the same number written in any way."""
    return f"={name} {plain(number)}"[:LONGEST_WORD]


def plain(text: str) -> str:
    """Letters and digits alone, lower case and without accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in apart if letter.isalnum())


def plain_words(text: str) -> list[str]:
    """The words of a text, each plain; a word with hyphens counts whole and in its parts."""
    words = []
    for piece in text.split():
        parts = "".join(c if unicodedata.normalize("NFKD", c)[:1].isalnum() else " " for c in piece).split()
        words += [plain(piece), *(plain(part) for part in parts if len(parts) > 1)]
    return [word[:LONGEST_WORD] for word in words if word]


def _number_words(number: str) -> tuple[str, ...]:
    whole = plain(number)[:LONGEST_WORD]
    return (whole, ENDS + whole[::-1]) if whole else ()


def moves_line(kind: str, said: Mapping[str, object]) -> bool:
    """Whether something said may change the line or the words."""
    return kind in TOLD_BY or moves_up(kind, said)


def keep_line(connection: Connection, case_id: str, events: Sequence[CaseEvent], up_since_ms: int | None) -> None:
    """Write the line and the words of a case as its events tell them."""
    line = asdict(line_of(events, up_since_ms)) | {"told_version": cases.c.version, "up_since_ms": up_since_ms}
    code = connection.scalar(
        update(cases).where(cases.c.id == bindparam("own")).values(line).returning(cases.c.code), {"own": case_id}
    )
    had = set(connection.scalars(select(case_words.c.word).where(case_words.c.case_id == case_id)))
    wanted = set(words_of(str(code), events))
    if had - wanted:
        gone = (case_words.c.case_id == case_id) & case_words.c.word.in_(had - wanted)
        connection.execute(delete(case_words).where(gone))
    if wanted - had:
        rows = [{"word": word, "case_id": case_id} for word in sorted(wanted - had)]
        connection.execute(insert(case_words), rows)

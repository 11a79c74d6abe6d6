"""What is said in a case: the kinds of event, which of them hold, and whether somebody is up by all that was said."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE
from guidance.documents.case import Occupied

ANSWERS = (PERSON_IN_SLING, "danger_signs", "symptom", "context", "step", "observation", "could_hurt", "readings")
"""Kinds of event that answer a question; `api/cases/record.py` knows what each means."""

NO_PHOTO, WENT_ON, UNDO, PHOTO = "no_photo", "went_on", "undo", "photo"
"""Going on without a photo; going on from what the photo showed; taking the last answer back; a photo came."""

HANDED_OVER, CLOSED = "handed_over", "closed"
"""A technician takes the case on; the case is over, with the fault that was confirmed."""

OPENED = "opened"
"""Staff opened a case for a caller; nobody has said anything yet."""

ABOUT, NOTE, ASSIGNED = "about", "note", "assigned"
"""Who calls, from where and about which lift, by the names of `ABOUT_FIELDS`; a note; whose case it is (empty: no
one's)."""

ABOUT_FIELDS = ("caller", "phone", "site", "serial")
"""What is written down of a caller and a lift, beside its inventory number, which is an event of its own."""

LONGEST_FIELD, LONGEST_NOTE, LONGEST_NAME = 120, 2_000, 80
"""Characters of one of these fields, of a note, and of a name."""

PLATE = "plate"
"""What the code on a rating plate says: article, serial number, production date."""

BASKET, CHECKED = "basket", "checked"
"""So many of one part are to be ordered; one sentence of what is confirmed before ordering holds, or not."""

RETURNED = "returned"
"""A part came back: it did not fit this lift. `about` are the components by which it was chosen."""

WAY_DOWN = "way_down"
"""How a step of the way down turned out, `still` up or getting `worse`: the one that `id` names, or none (empty)."""

LEARN, WITHDRAWN = "learn", "withdrawn"
"""It was agreed that the photo that `id` names is learned from; that was taken back for all photos of the case."""

LABEL, ASSET = "label", "asset"
"""What one part in one photo is, as somebody sees it; which lift this is, by its inventory number."""

SURVEYED, VIEW = "surveyed", "view"
"""A lift of a survey got its case; how a wanted photo of it turned out: `id` names the view, `answer` how it is."""

BESIDE_A_QUESTION = (PHOTO, LEARN, WITHDRAWN, LABEL, ASSET, PLATE, ABOUT, NOTE, ASSIGNED, VIEW)
"""Kinds of event that answer no question: what somebody was asked before them, they may still answer."""

UNDOABLE = (PLATE, ASSET, *ANSWERS, NO_PHOTO, WENT_ON, PHOTO, HANDED_OVER, CLOSED, BASKET, CHECKED, RETURNED)


@dataclass(frozen=True)
class CaseEvent:
    """One event as it is kept."""

    version: int
    at_ms: int
    role: str
    actor: str
    kind: str
    said: Mapping[str, object]
    known: Mapping[str, object]


def in_force(events: Sequence[CaseEvent]) -> tuple[CaseEvent, ...]:
    """The events that hold: an undo takes the last one back that it may; a caregiver's only a caregiver's.

    An undo that names what was closed takes that back, whatever was said since: the case is open again.
    That somebody is up is taken back by nobody: only the word that they are down ends it.
    """
    live: list[CaseEvent] = []
    for event in events:
        if event.kind != UNDO:
            live.append(event)
            continue
        if event.said.get("id") == CLOSED:
            live = [one for one in live if one.kind != CLOSED]
            continue
        since_up = live[1 + max((n for n, e in enumerate(live) if says_up(e)), default=-1) :]
        last = next((e for e in reversed(since_up) if e.version > 1 and _may_take_back(event, e)), None)
        if last is not None:
            live.remove(last)
    return tuple(live)


def says_up(event: CaseEvent) -> bool:
    """Whether it says that somebody is up, or that whoever stands there does not know.

    Staff open a case before anybody was asked; that alone says nothing.
    """
    answer = event.said.get("answer")
    if event.kind == PERSON_IN_SLING:
        asked = event.version > 1 or event.role == "caregiver"
        return answer == "yes" or (answer == UNSURE and asked)
    return event.kind == WAY_DOWN or (_about_the_person(event) and answer == "yes")


def occupied(live: Iterable[CaseEvent]) -> Occupied:
    """Whether somebody is up, the most cautious of what was said: only the case's own "they are down" ends a yes."""
    now: Occupied = "unsure"
    for event in live:
        answer = event.said.get("answer")
        if event.kind == PERSON_IN_SLING and answer != UNSURE:
            now = "yes" if answer == "yes" else "no"
        elif event.kind == PERSON_IN_SLING:
            now = "unsure" if now == "no" else now
        elif says_up(event):
            now = "yes"
    return now


def up_since(events: Sequence[CaseEvent]) -> int | None:
    """Since when somebody is up, or may be, in milliseconds since 1970; None when nobody said so, or they are down."""
    since = None
    for event in in_force(events):
        if says_up(event):
            since = event.at_ms if since is None else since
        elif event.kind == PERSON_IN_SLING and event.said.get("answer") == "no":
            since = None
    return since


def moves_up(kind: str, said: Mapping[str, object]) -> bool:
    """Whether something said may change since when somebody is up."""
    return kind in (PERSON_IN_SLING, WAY_DOWN, UNDO) or (kind == "observation" and said.get("id") == PERSON_IN_SLING)


def _about_the_person(event: CaseEvent) -> bool:
    return event.kind == "observation" and event.said.get("id") == PERSON_IN_SLING


def _may_take_back(undo: CaseEvent, event: CaseEvent) -> bool:
    return event.kind in UNDOABLE and (undo.role != "caregiver" or event.role == "caregiver")

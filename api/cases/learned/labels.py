"""What people say the photos of a case show: its events folded into labels that can be learned from.

Whoever accepts or corrects a reading speaks of the lift, and of the crop before them; whoever closes the case says
which lift it was; whoever labels a part says what one photo shows of it. No word is overwritten: a label takes the
place of those that its speaker had seen, and of their own; others stand beside it, and a photo on which people differ
is no label until somebody who has seen both decides.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from api.cases.events import CLOSED, LABEL, PHOTO, CaseEvent
from api.cases.photos import CasePhoto
from classifier.finder import overlap
from classifier.identify import SubjectReading
from classifier.photo import Box
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, NOT_VISIBLE
from guidance.catalogue.rows import UNSURE

OWNER, MODEL = "owner", "model"
"""Whose box it is: drawn or accepted by a person, or only found by the model."""

AT_THE_LIFT, FROM_THE_PHOTO, BY_THE_PART = "at_the_lift", "from_the_photo", "by_the_part"
"""How it is known: seen at the lift, judged from the photo, or told by the spare part that ended the trouble."""

HOW = (AT_THE_LIFT, FROM_THE_PHOTO)
"""Those that somebody can say; the last is the weaker."""

TECHNICIAN, AGENT = "technician", "agent"
SEEN_AT_THE_LIFT = ("measured", "exchanged")
"""Proofs of a fault that nobody has who was not there."""

SAME_PLACE = 0.5
"""Share of two boxes' joint area that they have in common, from which on they mark the same part."""


@dataclass(frozen=True)
class PartLabel:
    """One part in one photo. `hidden`: the concepts that the photo does not show, None where nobody said."""

    kind: str
    box: Box
    box_from: str
    values: Mapping[str, str]
    hidden: tuple[str, ...] | None

    @property
    def missing(self) -> tuple[str, ...]:
        """The concepts of which nobody said a value."""
        return tuple(concept for concept in CONCEPTS_OF[self.kind] if concept not in self.values)


@dataclass(frozen=True)
class PhotoLabel:
    """What one photo shows by people's word; without parts it shows nothing of a lift.

    `open`: why it cannot be learned from yet, in a sentence; empty for a whole label.
    """

    photo_id: str
    parts: tuple[PartLabel, ...]
    said_by: str
    surely: str
    open: str = ""


@dataclass(frozen=True)
class _Stated:
    """The value of one concept of this lift, by whom, and in which version of the case."""

    value: str
    role: str
    version: int


@dataclass(frozen=True)
class _Lift:
    """All that was said of the lift itself. `clash`: concepts of which two things were said that cannot both be."""

    stated: Mapping[str, _Stated]
    clash: frozenset[str]
    surely: str


def labels_of(live: Sequence[CaseEvent], photos: Iterable[CasePhoto]) -> tuple[PhotoLabel, ...]:
    """Of each photo that counts in a case what people say of it."""
    shown = {str(event.said["id"]) for event in live if event.kind == PHOTO}
    lift = _lift(live)
    return tuple(_photo(photo, live, lift) for photo in photos if photo.id in shown)


def words_on(live: Sequence[CaseEvent], photo_id: str, place: int) -> list[CaseEvent]:
    """The labels of one part that stand beside each other: more than one where people spoke at the same time."""
    said = [e for e in live if e.kind == LABEL and (e.said["id"], e.said["place"]) == (photo_id, place)]
    return [event for n, event in enumerate(said) if not any(_replaces(later, event) for later in said[n + 1 :])]


def places_of(live: Sequence[CaseEvent], photo: CasePhoto) -> range:
    """The parts of a photo: those that were found, then those that people added."""
    added = (int(str(e.said["place"])) + 1 for e in live if e.kind == LABEL and e.said["id"] == photo.id)
    return range(max(len(photo.reading.subjects), *added, 0))


def differ(events: Sequence[CaseEvent]) -> bool:
    """Whether these labels of one part say different things of it."""
    return any(not _agree(events[0].said, other.said) for other in events[1:])


def _replaces(later: CaseEvent, event: CaseEvent) -> bool:
    own = (later.role, later.actor) == (event.role, event.actor)
    return own or int(str(later.said["seen"])) >= event.version


def _agree(one: Mapping[str, object], other: Mapping[str, object]) -> bool:
    if any(one[name] != other[name] for name in ("kind", "values", "hidden")):
        return False
    return not one["kind"] or overlap(_box(one), _box(other)) >= SAME_PLACE


def _box(said: Mapping[str, object]) -> Box:
    left, top, right, bottom = said["box"]
    return left, top, right, bottom


def _lift(live: Sequence[CaseEvent]) -> _Lift:
    stated: dict[str, _Stated] = {}
    clash: set[str] = set()
    surely = FROM_THE_PHOTO
    for event in live:
        for concept, value in _states(event).items():
            if event.kind == CLOSED and concept in stated and stated[concept].value not in (UNSURE, value):
                clash.add(concept)
            stated[concept] = _Stated(value, event.role, event.version)
        if event.kind == CLOSED and event.role == TECHNICIAN:
            surely = AT_THE_LIFT if event.said.get("proof") in SEEN_AT_THE_LIFT else FROM_THE_PHOTO
        elif event.kind == CLOSED and event.said.get("states"):
            surely = BY_THE_PART
    known = {concept: said for concept, said in stated.items() if said.value != UNSURE}
    return _Lift(known, frozenset(clash), surely)


def _states(event: CaseEvent) -> Mapping[str, str]:
    """What an event says of the lift's concepts: a technician's word on a reading, or on the box, or a closing."""
    if event.kind == "observation" and event.role == TECHNICIAN and event.said["id"] in CONCEPTS:
        return {str(event.said["id"]): str(event.said["answer"])}
    if event.kind == CLOSED or (event.kind == "observation" and event.role == TECHNICIAN):
        return event.said.get("states") or {}
    return {}


def _photo(photo: CasePhoto, live: Sequence[CaseEvent], lift: _Lift) -> PhotoLabel:
    parts: list[PartLabel] = []
    own: list[CaseEvent] = []
    reasons: list[str] = []
    by_the_lift: list[str] = []
    for place in places_of(live, photo):
        words = words_on(live, photo.id, place)
        if differ(words):
            reasons.append(f"people say different things of its part {place + 1}; look at it and decide")
        elif words:
            own.append(words[-1])
            reasons += _against(words[-1], lift)
            parts += [_as_said(words[-1], lift)] if words[-1].said["kind"] else []
        elif place < len(photo.reading.subjects):
            subject = photo.reading.subjects[place]
            by_the_lift.append(subject.kind)
            parts.append(_of_the_lift(subject, _judged(live, photo.id, place), lift))
    for kind in dict.fromkeys(by_the_lift):
        if CONCEPTS_OF[kind] and by_the_lift.count(kind) > 1:
            reasons.append(f"it shows more than one {kind}; say of each what it is")
    return _whole(photo.id, parts, own, reasons, lift)


def _whole(photo_id: str, parts: list[PartLabel], own: list[CaseEvent], reasons: list[str], lift: _Lift) -> PhotoLabel:
    """The label of a photo from those of its parts; with a part left out that nobody knows, it teaches no finder."""
    known = [part for part in parts if not part.missing]
    told = [part for part in known if CONCEPTS_OF[part.kind]]
    reasons = reasons or _lacking(parts, known, told, own)
    if clash := sorted(lift.clash & {concept for part in told for concept in part.values}):
        reasons.append(f"the closing says something else of {', '.join(clash)} than the readings; correct one of them")
    if len(known) < len(parts):
        known = [replace(part, box_from=MODEL) for part in known]
    used = [lift.stated[c] for part in told for c in part.values if c in lift.stated]
    roles = {event.role for event in own} | {said.role for said in used}
    how = {str(event.said["how"]) for event in own}
    how |= {lift.surely} if len(parts) > sum(bool(event.said["kind"]) for event in own) else set()
    weakest = next((one for one in (FROM_THE_PHOTO, BY_THE_PART) if one in how), AT_THE_LIFT)
    said_by = TECHNICIAN if TECHNICIAN in roles else AGENT
    return PhotoLabel(photo_id, tuple(known), said_by, weakest, "; ".join(dict.fromkeys(reasons)))


def _lacking(parts: list[PartLabel], known: list[PartLabel], told: list[PartLabel], own: list[CaseEvent]) -> list[str]:
    """Why these parts are no label of a photo; nothing when they are."""
    missing = list(dict.fromkeys(concept for part in parts for concept in part.missing))
    if not parts and not own:
        return ["no part was found in it; draw one, or say that it shows nothing of a lift"]
    if (not told and not own) or (parts and not known):
        return [f"nobody said: {', '.join(missing or ['what it shows'])}"]
    return []


def _judged(live: Sequence[CaseEvent], photo_id: str, place: int) -> bool:
    """Whether a technician accepted or corrected a reading on this very crop."""
    return any(
        e.kind == "observation" and e.role == TECHNICIAN
        and (e.said.get("photo"), e.said.get("place")) == (photo_id, place)
        for e in live
    )  # fmt: skip


def _of_the_lift(subject: SubjectReading, judged: bool, lift: _Lift) -> PartLabel:
    """A part that was found, with what was said of the lift. On a crop that was judged, what it hides was seen too."""
    values = {c: lift.stated[c].value for c in subject.concepts if c in lift.stated}
    hidden = tuple(concept for concept, read in subject.concepts.items() if read.likeliest == NOT_VISIBLE)
    box_from = OWNER if judged else MODEL
    return PartLabel(subject.kind, subject.box, box_from, values, hidden if judged else None)


def _as_said(event: CaseEvent, lift: _Lift) -> PartLabel:
    """A part as somebody labelled it; a value that they left open is the lift's, where that is known."""
    said = event.said
    known = {c: lift.stated[c].value for c in CONCEPTS_OF[str(said["kind"])] if c in lift.stated}
    values = known | {c: v for c, v in dict(said["values"]).items() if v != UNSURE}
    return PartLabel(str(said["kind"]), _box(said), OWNER, values, tuple(said["hidden"]))


def _against(event: CaseEvent, lift: _Lift) -> list[str]:
    """What was said of the lift after this label, by somebody or before it unseen, and is something else."""
    unlike = [
        concept
        for concept, value in dict(event.said["values"]).items()
        if value != UNSURE and concept in lift.stated and lift.stated[concept].value != value
        and lift.stated[concept].version > int(str(event.said["seen"]))
    ]  # fmt: skip
    return [f"the lift was said to have another {', '.join(unlike)} since; look at it and decide"] if unlike else []

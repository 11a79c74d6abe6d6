"""What a technician says by accepting or correcting readings becomes words of the case, each of its own crop."""

from collections.abc import Iterator, Mapping, Sequence

from api.cases.events import PHOTO
from api.cases.photos import CasePhoto
from api.cases.store import CaseStore, Said, Who
from api.cases.view import CaseView
from classifier.identify import ConceptReading
from classifier.taxonomy import CONCEPTS, CONCEPTS_OF, NOT_VISIBLE
from guidance.catalogue.rows import UNSURE

Word = tuple[str, str, str, int]
"""Concept, value, and the photo and place of the crop that was looked at; no photo: seen at the lift alone."""


def words_on_lift(view: CaseView, version: int, values: Mapping[str, str]) -> list[Word]:
    """What is said by giving these values after having seen the photos up to this version, and is not said yet.

    Of each crop that shows a concept the word is said of that crop, so that its box is somebody's; of a concept that no
    photo shows it is said of the lift.
    """
    words: list[Word] = []
    for concept, value in values.items():
        if concept not in CONCEPTS or value not in (*CONCEPTS[concept], UNSURE):
            continue
        crops = [(photo_id, place) for photo_id, place, _ in _crops(concept, _photos_seen(view, version))]
        if value == UNSURE and crops:  # looked at, and left open
            words.append((concept, value, "", 0))
        elif value != UNSURE or _spoken(view, concept):
            words += [(concept, value, photo_id, place) for photo_id, place in crops or [("", 0)]]
    said = _said(view)
    return [word for word in words if word not in said]


def is_settled(reading: ConceptReading) -> bool:
    """Whether a photo shows the concept and rules out every value but one."""
    return reading.likeliest != NOT_VISIBLE and set(reading.prediction_set) == {reading.likeliest}


def settled_words(view: CaseView, version: int) -> list[Word]:
    """What is said by accepting all that is settled in the photos up to this version, and is not said yet.

    A concept stays open when two photos, or a photo and somebody's word, say different things of it, and when nothing
    of its component is confirmed at present.
    """
    held, said = _held_back(view), _said(view)
    own = {e.said["id"]: str(e.said["answer"]) for e in view.live if e.kind == "observation"}
    words: list[Word] = []
    for concept in CONCEPTS:
        crops = list(_crops(concept, _photos_seen(view, version)))
        values = {reading.likeliest for _, _, reading in crops if is_settled(reading)} | {own.get(concept, UNSURE)}
        if concept not in held and len(values - {UNSURE}) == 1:
            words += [(concept, r.likeliest, photo_id, place) for photo_id, place, r in crops if is_settled(r)]
    return [word for word in words if word not in said]


def say_words(store: CaseStore, view: CaseView, version: int, words: Sequence[Word], who: Who) -> None:
    """Record each of these words, which somebody saw at this version; sent twice, it is recorded once."""
    for concept, value, photo_id, place in words:
        said: dict[str, object] = {"id": concept, "answer": value}
        said |= {"photo": photo_id, "place": place} if photo_id else {}
        sent = f"{version} {concept} {value} {photo_id} {place}"
        store.add_once(view.row.id, Said("observation", {**said, "sent": sent}, view.summary()), who)


def _photos_seen(view: CaseView, version: int) -> list[CasePhoto]:
    seen = {str(e.said["id"]) for e in view.live if e.kind == PHOTO and e.version <= version}
    return [photo for photo in view.photos if photo.id in seen]


def _crops(concept: str, photos: Sequence[CasePhoto]) -> Iterator[tuple[str, int, ConceptReading]]:
    for photo in photos:
        for place, subject in enumerate(photo.reading.subjects):
            reading = subject.concepts.get(concept)
            if reading and reading.likeliest != NOT_VISIBLE:
                yield photo.id, place, reading


def _held_back(view: CaseView) -> set[str]:
    """The concepts of a component of which nothing is confirmed at present."""
    found = view.identification
    held = {
        "control_box": found is not None and found.control_box.held_back,
        "actuator_head": found is not None and found.actuator.held_back,
    }
    return {concept for kind, why in held.items() if why for concept in CONCEPTS_OF[kind]}


def _said(view: CaseView) -> set[Word]:
    """What holds already, crop by crop: the last word of each concept."""
    own = [event.said for event in view.live if event.kind == "observation" and event.role == "technician"]
    last = {str(said["id"]): said["answer"] for said in own}
    return {
        (str(said["id"]), str(said["answer"]), str(said.get("photo", "")), int(said.get("place", 0)))
        for said in own
        if said["answer"] == last[str(said["id"])]
    }


def _spoken(view: CaseView, concept: str) -> bool:
    return any(event.kind == "observation" and event.said["id"] == concept for event in view.live)

"""Which photos to label next: those that nobody labelled yet, by how little the model knew of them."""

from dataclasses import dataclass

from sqlalchemy import select

from api.cases.database import reading
from api.cases.events import in_force
from api.cases.learned.labels import labels_of
from api.cases.learned.learned_photos import lift_key
from api.cases.photos import photos_of
from api.cases.store import CaseStore, NoSuchCase, spoken_code
from api.cases.tables import learning_photos
from classifier.identify import PhotoReading

NOTHING_FOUND_BITS = 1.0
"""What a label is worth where the model answered nothing: there may be a part, or not."""


@dataclass(frozen=True)
class Asked:
    """One photo without a whole label: its random name, its case's code, what it lacks, and what a label would settle.

    `lift_key`: of which lift it is, as a hash.
    """

    origin: str
    code: str
    lacks: str
    bits: float
    lift_key: str


def photos_to_label(store: CaseStore) -> list[Asked]:
    """The most doubtful first; a second photo of a lift stands behind the first of every other one."""
    own = learning_photos.c
    with reading(store.engine) as connection:
        rows = connection.execute(select(own.case_id, own.photo_id, own.origin, own.code).where(own.label.is_(None)))
        origins: dict[str, dict[str, str]] = {}
        codes: dict[str, str] = {}
        for row in rows:
            origins.setdefault(row.case_id, {})[row.photo_id] = row.origin
            codes[row.case_id] = spoken_code(row.code)
    asked = [one for case_id, of_case in origins.items() for one in _of_case(store, case_id, of_case, codes[case_id])]
    asked.sort(key=lambda one: -one.bits)
    before: dict[str, int] = {}
    turns = []
    for one in asked:
        turns.append(before.get(one.lift_key, 0))
        before[one.lift_key] = turns[-1] + 1
    return [one for _, one in sorted(zip(turns, asked, strict=True), key=lambda pair: pair[0])]


def _of_case(store: CaseStore, case_id: str, origins: dict[str, str], code: str) -> list[Asked]:
    try:
        live = in_force(store.by_id(case_id).events)
    except NoSuchCase:  # deleted meanwhile, and its photos with it
        return []
    photos = photos_of(store, case_id)
    read = {photo.id: photo.reading for photo in photos}
    key = lift_key(live, case_id)
    return [
        Asked(origins[label.photo_id], code, label.open, _bits(read[label.photo_id]), key)
        for label in labels_of(live, photos)
        if label.open and label.photo_id in origins
    ]


def _bits(reading: PhotoReading) -> float:
    return max((subject.doubt_bits for subject in reading.subjects), default=NOTHING_FOUND_BITS)

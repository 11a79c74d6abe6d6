"""Taking back that photos are learned from: the pictures go, from the case as well, and the models are named."""

import logging
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import ColumnElement, Connection, delete, select, update

from api.cases.database import overwrite_deleted, reading
from api.cases.events import LEARN, WITHDRAWN, CaseEvent
from api.cases.photos import BY_LINK, no_digest
from api.cases.store import CaseStore, Said, Who, hashed, plain_id
from api.cases.tables import cases, learning_photos, photos
from api.servers.shelf import Shelf
from classifier.lineage import mark_withdrawn, models_that_learned_from

LOG = logging.getLogger("hoistlore")


@dataclass(frozen=True)
class Withdrawn:
    """How many pictures are gone, and each model that learned from one of them, with their random names."""

    pictures: int
    models: dict[str, list[str]] = field(default_factory=dict)


def may_be_learned_from(live: tuple[CaseEvent, ...]) -> tuple[str, ...]:
    """The photos of a case that may be learned from, by what was said in it."""
    held: dict[str, None] = {}
    for event in live:
        if event.kind == LEARN:
            held[str(event.said["id"])] = None
        elif event.kind == WITHDRAWN:
            held = {id_: None for id_ in held if id_ not in event.said["photos"]}
    return tuple(held)


def of_case(case_id: str) -> ColumnElement[bool]:
    """The photos of one case. Raises `NoSuchCase` for an id that is none."""
    return learning_photos.c.case_id == plain_id(case_id)


def of_owner(token: str) -> ColumnElement[bool]:
    """The photos of the case that a caregiver's address led to, also when the case is gone."""
    return learning_photos.c.owner_hash == hashed(token)


def sent_by_link(case_id: str) -> ColumnElement[bool]:
    """The photos that came into a case by a link."""
    return of_case(case_id) & (learning_photos.c.sent_by == BY_LINK)


def named(code_or_origin: str) -> ColumnElement[bool]:
    """The photos of the case with this code, written in any way, or the one photo with this random name."""
    plain = "".join(letter for letter in code_or_origin if letter.isalnum())
    return (learning_photos.c.code == plain.upper()) | (learning_photos.c.origin == plain.lower())


def agreed(store: CaseStore, which: ColumnElement[bool]) -> int:
    """How many of these photos may be learned from."""
    with reading(store.engine) as connection:
        return len(connection.execute(select(learning_photos.c.origin).where(which)).all())


def withdraw(store: CaseStore, shelf: Shelf, which: ColumnElement[bool], who: Who, weights: Path) -> Withdrawn:
    """Delete these pictures wherever this database has them, and mark the models in `weights` that learned from them.

    What was read in a photo stays in its case, while there is one. What was exported goes with the next export.
    """
    with store.engine.begin() as connection:
        wanted = select(learning_photos.c.origin, learning_photos.c.photo_id, learning_photos.c.case_id).where(which)
        rows = connection.execute(wanted).all()
        origins = [row.origin for row in rows]
        connection.execute(delete(learning_photos).where(learning_photos.c.origin.in_(origins)))
        for row in rows:
            gone = {"picture": None, "keep_until_ms": None, "sha256": no_digest(str(row.photo_id))}
            connection.execute(update(photos).where(photos.c.id == row.photo_id).values(gone))
        for case_id in dict.fromkeys(row.case_id for row in rows):
            _note(store, connection, case_id, [row.photo_id for row in rows if row.case_id == case_id], who)
    shelf.drop([row.photo_id for row in rows])
    if not rows:
        return Withdrawn(0)
    overwrite_deleted(store.engine)
    return Withdrawn(len(rows), _marked(origins, weights))


def delete_case(store: CaseStore, shelf: Shelf, case_id: str, who: Who, weights: Path) -> Withdrawn:
    """Delete a case with all that is kept of it; its photos are taken back first, so that models are named.

    Raises `NoSuchCase`.
    """
    gone = withdraw(store, shelf, of_case(case_id), who, weights)
    store.delete(case_id, who)
    overwrite_deleted(store.engine)
    return gone


def _note(store: CaseStore, connection: Connection, case_id: str, photo_ids: list[str], who: Who) -> None:
    """An event of the case, or a line of the audit log alone once the case is gone."""
    if connection.scalar(select(cases.c.id).where(cases.c.id == case_id)):
        store.add(case_id, Said(WITHDRAWN, {"id": "", "answer": "no", "photos": photo_ids}, {}), who, connection)
    else:
        store.note(connection, WITHDRAWN, case_id, who)


def _marked(origins: list[str], weights: Path) -> dict[str, list[str]]:
    """The models that learned from these photos, named in the log and marked; where that cannot be done, only named."""
    models = models_that_learned_from(origins, weights)
    for version, names in models.items():
        LOG.warning("The model %s learned from %d withdrawn photos: teach it anew without them.", version, len(names))
    try:
        mark_withdrawn(origins, weights)
    except OSError as error:
        LOG.warning("They could not be marked in %s: %s. Say it to whoever teaches models.", weights, error.strerror)
    return models

"""The photos of a case: readings stay, pictures only with consent and for a set time; without it, for minutes."""

import hashlib
import secrets
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import Connection, insert, select, update

from api.cases.database import reading
from api.cases.events import LEARN, in_force
from api.cases.store import CaseStore, NoSuchCase, Said, Who, plain_id
from api.cases.tables import cases, learning_photos, photos
from api.identification import NamedPhoto, Resources, read_photos
from api.jpeg import small_jpeg
from api.servers.shelf import Shelf
from api.settings import MOST_PHOTOS
from classifier.errors import TooManyPhotos
from classifier.identify import PhotoReading
from classifier.messages import Message
from classifier.photo import open_photo

READING = TypeAdapter(PhotoReading)

LONGEST_SIDE_PX, QUALITY = 1280, 82
"""Of the picture that is shown and kept: enough to judge a part by eye, light on a telephone's data."""

DAY_MS = 24 * 60 * 60 * 1000

BY_LINK = "by link"
"""Who says something through a link; it carries no name."""


@dataclass(frozen=True)
class CasePhoto:
    """One photo of a case: what was read in it. Whether there is still a picture, `picture_of` says."""

    id: str
    reading: PhotoReading


def add_photo(
    store: CaseStore,
    shelf: Shelf,
    case_id: str,
    photo: NamedPhoto,
    keep_days: int,
    resources: Resources,
    who: Who,
    learn: bool = False,
) -> str:
    """Read a photo into a case; its id. `keep_days` is 0 without consent; `learn`: it may be learned from.

    The same photo again changes nothing, unless it was taken back, or may be learned from by now.
    Raises a `PhotoError` when it cannot be read, `TooManyPhotos`, `NoSuchCase`.
    """
    data = photo.load()
    digest = hashlib.sha256(data).hexdigest()
    photo_id = hashlib.sha256(f"{case_id} {digest}".encode()).hexdigest()[:24]
    if photo_id in {p.id for p in photos_of(store, case_id)}:
        picture = small_jpeg(open_photo(data, photo.name, resources.limits), LONGEST_SIDE_PX, QUALITY)
        _bring_back(store, shelf, case_id, photo_id, picture, who)
        if learn:
            _agree_by_now(store, case_id, photo_id, digest, picture, who)
        return photo_id
    readings, failures = read_photos([NamedPhoto(photo.name, lambda: data)], resources)
    if failures:
        raise failures[0]
    picture = small_jpeg(open_photo(data, photo.name, resources.limits), LONGEST_SIDE_PX, QUALITY)
    now = store.now_ms()
    row = {"id": photo_id, "case_id": case_id, "sha256": digest, "received_ms": now, **_kept(picture, keep_days, now)}
    row["reading"] = READING.dump_python(readings[0], mode="json")
    _insert(store, shelf, row, picture, learn, who)
    return photo_id


def _kept(picture: bytes, keep_days: int, now_ms: int) -> dict[str, Any]:
    """The columns of a picture that is kept for the case; empty ones without consent."""
    if not keep_days:
        return {"picture": None, "keep_until_ms": None}
    return {"picture": picture, "keep_until_ms": now_ms + keep_days * DAY_MS}


def photos_of(store: CaseStore, case_id: str) -> tuple[CasePhoto, ...]:
    """The photos of a case in the order of their arrival."""
    wanted = select(photos.c.id, photos.c.reading).where(photos.c.case_id == case_id).order_by(photos.c.received_ms)
    with reading(store.engine) as connection:
        return tuple(CasePhoto(p.id, READING.validate_python(p.reading)) for p in connection.execute(wanted))


def picture_of(store: CaseStore, shelf: Shelf, case_id: str, photo_id: str) -> bytes | None:
    """The picture as a JPEG without metadata; None once it is forgotten or when the case has no such photo.

    Raises `NoSuchCase` for an id that is none.
    """
    own = (photos.c.case_id == plain_id(case_id)) & (photos.c.id == plain_id(photo_id))
    learned = learning_photos.c.photo_id == photos.c.id
    wanted = select(photos.c.sha256, photos.c.picture, learning_photos.c.picture.label("learned"))
    with reading(store.engine) as connection:
        row = connection.execute(wanted.join(learning_photos, learned, isouter=True).where(own)).first()
    if row is None or row.sha256 == no_digest(photo_id):
        return None
    return row.picture or row.learned or shelf.get(photo_id, store.now_ms())


def no_digest(photo_id: str) -> str:
    """What stands in the place of a file's digest once the photo was withdrawn: it tells nothing of the file."""
    return hashlib.sha256(f"withdrawn {photo_id}".encode()).hexdigest()


def forget_expired(store: CaseStore) -> int:
    """Delete every picture whose time is over; how many. What was read in them stays."""
    over = (photos.c.picture.is_not(None)) & (photos.c.keep_until_ms < store.now_ms())
    with store.engine.begin() as connection:
        count = connection.execute(update(photos).where(over).values(picture=None)).rowcount
        if count:
            store.note(connection, f"forgot {count} pictures", "", Who("system"))
    return count


def _bring_back(store: CaseStore, shelf: Shelf, case_id: str, photo_id: str, picture: bytes, who: Who) -> None:
    """Let a photo that was taken back count again; nothing for one that counts."""
    if photo_id in {e.said["id"] for e in in_force(store.by_id(case_id).events) if e.kind == "photo"}:
        return
    with store.engine.begin() as connection:
        shelf.put(connection, case_id, photo_id, picture, store.now_ms())
        kept = connection.scalar(select(photos.c.picture.is_not(None)).where(photos.c.id == photo_id))
        store.add(case_id, Said("photo", {"id": photo_id, "kept": bool(kept)}, {}), who, connection)


def _insert(store: CaseStore, shelf: Shelf, row: dict[str, Any], picture: bytes, learn: bool, who: Who) -> None:
    consent = row["picture"] is not None
    with store.engine.begin() as connection:
        held = connection.execute(  # also locks the case, so that two photos at once are counted one after the other
            update(cases).where(cases.c.id == row["case_id"]).values(keep_photos=cases.c.keep_photos)
        )
        if held.rowcount == 0:
            raise NoSuchCase(row["case_id"])
        ids = set(connection.scalars(select(photos.c.id).where(photos.c.case_id == row["case_id"])))
        if row["id"] in ids:
            return
        if len(ids) >= MOST_PHOTOS:
            many = Message("This case has {count} photos already, and no more are read together.", count=len(ids))
            raise TooManyPhotos(many)
        connection.execute(insert(photos).values(**row))
        shelf.put(connection, row["case_id"], row["id"], picture, row["received_ms"])
        if consent:
            connection.execute(update(cases).where(cases.c.id == row["case_id"]).values(keep_photos=True))
        store.add(row["case_id"], Said("photo", {"id": row["id"], "kept": consent}, {}), who, connection)
        if learn:
            _agree(store, connection, row["case_id"], row["id"], picture, who)


def _agree_by_now(store: CaseStore, case_id: str, photo_id: str, digest: str, picture: bytes, who: Who) -> None:
    """Agree for a photo that the case has already, also where that was taken back before."""
    with store.engine.begin() as connection:
        connection.execute(update(photos).where(photos.c.id == photo_id).values(sha256=digest))
        _agree(store, connection, case_id, photo_id, picture, who)


def _agree(store: CaseStore, connection: Connection, case_id: str, photo_id: str, picture: bytes, who: Who) -> None:
    """Keep a picture to learn from, under a random name; once."""
    if connection.scalar(select(learning_photos.c.origin).where(learning_photos.c.photo_id == photo_id)):
        return
    case = connection.execute(select(cases.c.owner_hash, cases.c.code).where(cases.c.id == case_id)).one()
    connection.execute(
        insert(learning_photos).values(
            origin=secrets.token_hex(12),
            photo_id=photo_id,
            case_id=case_id,
            owner_hash=case.owner_hash,
            code=case.code,
            agreed_ms=store.now_ms(),
            sent_by=who.actor if who.actor == BY_LINK else who.role,
            picture=picture,
        )
    )
    store.add(case_id, Said(LEARN, {"id": photo_id, "answer": "yes"}, {}), who, connection)

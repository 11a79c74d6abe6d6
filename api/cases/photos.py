"""The photos of a case: readings stay, pictures only with consent and for a set time; without it, for minutes."""

import hashlib
import io
import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any

from PIL import Image
from pydantic import TypeAdapter
from sqlalchemy import insert, select, update

from api.cases.database import reading
from api.cases.store import CaseStore, NoSuchCase, Said, Who, plain_id
from api.cases.tables import cases, photos
from api.identification import NamedPhoto, Resources, read_photos
from api.settings import MOST_PHOTOS
from classifier.errors import TooManyPhotos
from classifier.identify import PhotoReading
from classifier.photo import PhotoLimits, open_photo

READING = TypeAdapter(PhotoReading)

LONGEST_SIDE_PX = 1280
"""Of the picture that is shown and kept: enough to judge a part by eye, light on a telephone's data."""

SHELF_MS = 15 * 60 * 1000
"""How long a picture without consent is shown. It is in memory alone, and never written."""

SHELF_BYTES = 64 * 2**20

DAY_MS = 24 * 60 * 60 * 1000


@dataclass
class Shelf:
    """Pictures in memory: the newest `SHELF_BYTES`, each for `SHELF_MS`."""

    _held: OrderedDict[str, tuple[int, bytes]] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def put(self, photo_id: str, picture: bytes, now_ms: int) -> None:
        """Hold a picture, and drop what is too old or too much."""
        with self._lock:
            self._held[photo_id] = (now_ms + SHELF_MS, picture)
            while sum(len(p) for _, p in self._held.values()) > SHELF_BYTES:
                self._held.popitem(last=False)
            self._drop_old(now_ms)

    def get(self, photo_id: str, now_ms: int) -> bytes | None:
        """The picture, while it is held."""
        with self._lock:
            self._drop_old(now_ms)
            return self._held.get(photo_id, (0, None))[1]

    def drop(self, photo_ids: list[str]) -> None:
        """Forget these now."""
        with self._lock:
            for photo_id in photo_ids:
                self._held.pop(photo_id, None)

    def _drop_old(self, now_ms: int) -> None:
        for photo_id in [p for p, (until, _) in self._held.items() if until < now_ms]:
            del self._held[photo_id]


@dataclass(frozen=True)
class CasePhoto:
    """One photo of a case: what was read in it. Whether there is still a picture, `picture_of` says."""

    id: str
    reading: PhotoReading


def add_photo(
    store: CaseStore, shelf: Shelf, case_id: str, photo: NamedPhoto, keep_days: int, resources: Resources, who: Who
) -> str:
    """Read a photo into a case; its id. `keep_days` is 0 without consent.

    The same photo again changes nothing, unless it was taken back: then it counts again.
    Raises a `PhotoError` when it cannot be read, `TooManyPhotos`, `NoSuchCase`.
    """
    data = photo.load()
    digest = hashlib.sha256(data).hexdigest()
    photo_id = hashlib.sha256(f"{case_id} {digest}".encode()).hexdigest()[:24]
    if photo_id in {p.id for p in photos_of(store, case_id)}:
        _bring_back(store, shelf, case_id, photo_id, _picture(data, photo.name, resources.limits), who)
        return photo_id
    readings, failures = read_photos([NamedPhoto(photo.name, lambda: data)], resources)
    if failures:
        raise failures[0]
    picture = _picture(data, photo.name, resources.limits)
    now = store.now_ms()
    row: dict[str, Any] = {
        "id": photo_id,
        "case_id": case_id,
        "sha256": digest,
        "received_ms": now,
        "reading": READING.dump_python(readings[0], mode="json"),
        "picture": picture if keep_days else None,
        "keep_until_ms": now + keep_days * DAY_MS if keep_days else None,
    }
    shelf.put(photo_id, picture, now)
    _insert(store, row, keep_days > 0, who)
    return photo_id


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
    wanted = select(photos.c.picture).where(own)
    with reading(store.engine) as connection:
        row = connection.execute(wanted).first()
    if row is None:
        return None
    return row.picture or shelf.get(photo_id, store.now_ms())


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
    from api.cases.view import in_force  # which needs the photos itself

    if photo_id in {e.said["id"] for e in in_force(store.by_id(case_id).events) if e.kind == "photo"}:
        return
    shelf.put(photo_id, picture, store.now_ms())
    with store.engine.begin() as connection:
        kept = connection.scalar(select(photos.c.picture.is_not(None)).where(photos.c.id == photo_id))
        store.add(case_id, Said("photo", {"id": photo_id, "kept": bool(kept)}, {}), who, connection)


def _picture(data: bytes, name: str, limits: PhotoLimits) -> bytes:
    photo = open_photo(data, name, limits)
    image = Image.fromarray(photo.reduced(min(LONGEST_SIDE_PX, max(photo.width, photo.height))))
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.BILINEAR)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=82, optimize=True)  # made anew from pixels: no place, no date, no camera
    return buffer.getvalue()


def _insert(store: CaseStore, row: dict[str, Any], consent: bool, who: Who) -> None:
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
            raise TooManyPhotos(f"This case has {len(ids)} photos already; {MOST_PHOTOS} are read together.")
        connection.execute(insert(photos).values(**row))
        if consent:
            connection.execute(update(cases).where(cases.c.id == row["case_id"]).values(keep_photos=True))
        store.add(row["case_id"], Said("photo", {"id": row["id"], "kept": consent}, {}), who, connection)

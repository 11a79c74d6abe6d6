"""The photos that may be learned from, of every case and of those that are gone: what they show, and of which lift."""

import hashlib
import secrets
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import Connection, insert, select, update

from api.cases.database import reading
from api.cases.events import ASSET, PLATE, CaseEvent, in_force
from api.cases.learned.labels import PhotoLabel, labels_of
from api.cases.photos import photos_of
from api.cases.store import CaseRow, CaseStore, NoSuchCase
from api.cases.tables import learning_lifts, learning_photos

LABEL = TypeAdapter(PhotoLabel)


@dataclass(frozen=True)
class Ready:
    """One photo with a whole label; `lift_key` is the hash of what its lift is known by here."""

    origin: str
    lift_key: str
    agreed_ms: int
    sent_by: str
    label: PhotoLabel


def ready_photos(store: CaseStore) -> tuple[list[Ready], list[str]]:
    """Every photo that can be learned from, by its random name, and of each other one a sentence that says why not."""
    wanted = ("origin", "photo_id", "case_id", "agreed_ms", "sent_by", "label")
    columns = (learning_photos.c[name] for name in wanted)
    with reading(store.engine) as connection:
        rows = connection.execute(select(*columns).order_by(learning_photos.c.origin)).all()
    cases: dict[str, tuple[str, dict[str, PhotoLabel]]] = {}
    ready, left_out = [], []
    for row in rows:
        try:
            lift_key, label = _kept(row.label) if row.label else _of_case(store, row, cases)
        except NoSuchCase:  # deleted meanwhile, and its photos with it
            continue
        if label is None or label.open:
            left_out.append(f"{row.origin}: {label.open if label else 'the photo was taken back in its case'}")
        else:
            ready.append(Ready(row.origin, lift_key, row.agreed_ms, row.sent_by, label))
    return ready, left_out


def keep_labelled(connection: Connection, store: CaseStore, case: CaseRow) -> None:
    """Let the photos with a whole label outlive their case, with that label and without the case; the others go."""
    live = in_force(case.events)
    for label in labels_of(live, photos_of(store, case.id)):
        if not label.open:
            kept = {"lift": lift_key(live, case.id), "label": asdict(label)}
            own = learning_photos.c.photo_id == label.photo_id
            connection.execute(update(learning_photos).where(own).values(photo_id=None, label=kept))


def lift_key(live: Sequence[CaseEvent], case_id: str) -> str:
    """Which lift a case is about: by its inventory number, by what its rating plate says, or this case's own."""
    named = f"case {case_id}"
    for event in live:
        if event.kind == PLATE and event.said.get("serial") and not named.startswith("asset"):
            named = f"plate {event.said.get('gtin') or ''} {event.said['serial']}"
        elif event.kind == ASSET:
            named = f"asset {' '.join(str(event.said['answer']).upper().split())}"
    return hashlib.sha256(named.encode()).hexdigest()


def lift_names(store: CaseStore, keys: Collection[str]) -> dict[str, str]:
    """The random name of each lift; a new lift gets one."""
    with store.engine.begin() as connection:
        rows = connection.execute(select(learning_lifts.c.key, learning_lifts.c.lift))
        names = {row.key: row.lift for row in rows}
        new = [{"key": key, "lift": secrets.token_hex(12)} for key in sorted(set(keys) - set(names))]
        if new:
            connection.execute(insert(learning_lifts), new)
    return {key: name for key, name in (names | {row["key"]: row["lift"] for row in new}).items() if key in keys}


def _kept(kept: dict[str, Any]) -> tuple[str, PhotoLabel]:
    return kept["lift"], LABEL.validate_python(kept["label"])


def _of_case(store: CaseStore, row: Any, cases: dict) -> tuple[str, PhotoLabel | None]:
    """By the case as it stands; each case is folded once."""
    if row.case_id not in cases:
        live = in_force(store.by_id(row.case_id).events)
        labels = {label.photo_id: label for label in labels_of(live, photos_of(store, row.case_id))}
        cases[row.case_id] = (lift_key(live, row.case_id), labels)
    key, labels = cases[row.case_id]
    return key, labels.get(row.photo_id)

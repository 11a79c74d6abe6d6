"""One case as one document: everything that is kept of it, so that it can be handed over or looked through."""

import base64
from dataclasses import asdict
from typing import Any

from sqlalchemy import select

from api.cases.basket import kept_in
from api.cases.database import reading
from api.cases.events import in_force
from api.cases.store import CaseStore, Who
from api.cases.tables import audit, learning_photos, photos

SCHEMA_VERSION = "1"


def export_case(store: CaseStore, case_id: str, who: Who) -> dict[str, Any]:
    """Everything of one case, ready for JSON. The export itself is noted in the audit log. Raises `NoSuchCase`."""
    row = store.by_id(case_id)
    with reading(store.engine) as connection:
        learned = (learning_photos.c.agreed_ms.label("learn_since_ms"), learning_photos.c.picture.label("learned"))
        both = photos.join(learning_photos, learning_photos.c.photo_id == photos.c.id, isouter=True)
        wanted = select(photos, *learned).select_from(both).where(photos.c.case_id == case_id)
        pictures = connection.execute(wanted.order_by(photos.c.received_ms))
        own = [_photo(dict(photo)) for photo in pictures.mappings()]
        lines = connection.execute(select(audit).where(audit.c.case_id == case_id).order_by(audit.c.id)).mappings()
        log = [{key: value for key, value in line.items() if key not in ("id", "case_id")} for line in lines]
    with store.engine.begin() as connection:
        store.note(connection, "export", case_id, who)
    to_order = [dict(said) for said in kept_in(in_force(row.events)).values()]
    document = {"schema_version": SCHEMA_VERSION, "case": asdict(row), "to_order": to_order}
    return {**document, "photos": own, "audit": log}


def _photo(row: dict[str, Any]) -> dict[str, Any]:
    kept, learned = row.pop("picture"), row.pop("learned")
    picture = kept or learned  # the same bytes, where both were agreed to
    row.pop("case_id")
    return {**row, "picture_jpeg_base64": base64.b64encode(picture).decode() if picture else None}

"""Labelled photos into a folder that `python -m training add-photos` takes; nothing of it says whose they are.

A picture has a random name of its own, so has its lift; nothing else says where it comes from, and nothing is sent. The
table of labels is written last and taken away first: a folder in which a run was stopped never looks whole.
"""

import os
import re
import secrets
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import insert, select

from api.cases.database import reading
from api.cases.learned.labels import PartLabel
from api.cases.learned.learned_photos import Ready, lift_names, ready_photos
from api.cases.learned.photo_tables import NOBODY_SAID, NOTHING, as_coco, as_csv
from api.cases.store import CaseStore, Who
from api.cases.tables import learning_origins, learning_photos
from classifier.errors import InputError, PhotoError
from classifier.photo import PhotoLimits, open_photo

LABELS, COCO, WITHDRAWN_FILE, LEFT_OUT, PICTURES = (
    "labels.csv",
    "annotations.json",
    "withdrawn.txt",
    "left-out.txt",
    "photos",
)
CHECKED_PX = 64
"""The size in which a picture is decoded to see that it is whole."""

OURS = re.compile(rf"{LABELS}|{COCO}|{WITHDRAWN_FILE}|{LEFT_OUT}|\.gitignore|{PICTURES}|[^/]*\.part")
A_PICTURE = re.compile(r"[0-9a-f]{24}\.jpg|[^/]*\.part")


@dataclass
class Exported:
    """What a run changed, by random names; `left_out`: sentences on photos that are no label yet, or cannot be read."""

    whole: int = 0
    written: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    withdrawn: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)


def export_photos(store: CaseStore, folder: Path, who: Who, coco: bool = False) -> Exported:
    """Bring a folder to what may be learned from now; a second run changes nothing. Noted in the audit log first.

    `coco`: the table is COCO JSON instead of CSV.

    Raises `InputError` for a folder that holds something else, and when it cannot be written: then no table of labels
    lies there, or the whole one of before, and the same command goes on.
    """
    ready, left_out = ready_photos(store)
    told = Exported(left_out=left_out)
    try:
        _prepare(folder)
        _note(store, ready, who)
        told.removed = _remove(folder, {one.origin for one in ready})
        rows: list[dict[str, object]] = []
        sizes: dict[str, tuple[int, int]] = {}
        names = lift_names(store, {one.lift_key for one in ready})
        for one in ready:
            if size := _bring(store, folder / PICTURES, one.origin, told):
                rows += _rows(one, names[one.lift_key])
                sizes[str(rows[-1]["file"])] = size
        told.withdrawn = _withdrawn(store)
        rows = _without_withdrawn(folder, rows, sizes, told)
        _write(folder / WITHDRAWN_FILE, "".join(f"{origin}\n" for origin in told.withdrawn).encode())
        _write(folder / LEFT_OUT, "".join(f"{line}\n" for line in told.left_out).encode())
        (folder / (LABELS if coco else COCO)).unlink(missing_ok=True)  # `add-photos` takes the one table that is there
        _write(folder / (COCO if coco else LABELS), (as_coco(rows, sizes) if coco else as_csv(rows)).encode())
    except OSError as error:
        raise InputError(
            f"{folder}: {error.strerror or error}. What is there is not whole; make room or name another folder, and "
            "export again."
        ) from error
    told.whole = len(sizes)
    return told


def _prepare(folder: Path) -> None:
    """Make the folder, for its owner's eyes alone. Raises `InputError` where something of somebody else's lies."""
    (folder / PICTURES).mkdir(parents=True, exist_ok=True)
    strange = [path.name for path in folder.iterdir() if not OURS.fullmatch(path.name)]
    strange += [path.name for path in (folder / PICTURES).iterdir() if not A_PICTURE.fullmatch(path.name)]
    if strange:
        raise InputError(f"{folder}: {strange[0]} is no part of an export. Name a folder that is empty or not there.")
    os.chmod(folder, 0o700)
    _write(folder / ".gitignore", b"*\n")  # photos of people's homes are not to be committed by accident


def _note(store: CaseStore, ready: list[Ready], who: Who) -> None:
    """What may leave the database is noted before it does."""
    with store.engine.begin() as connection:
        known = set(connection.scalars(select(learning_origins.c.origin)))
        now = store.now_ms()
        new = [{"origin": one.origin, "exported_ms": now} for one in ready if one.origin not in known]
        if new:
            connection.execute(insert(learning_origins), new)
        store.note(connection, f"exported {len(ready)} photos", "", who)


def _withdrawn(store: CaseStore) -> list[str]:
    """What was exported once and is there no more, whoever deleted it."""
    gone = learning_origins.c.origin.not_in(select(learning_photos.c.origin))
    with reading(store.engine) as connection:
        return sorted(connection.scalars(select(learning_origins.c.origin).where(gone)))


def _remove(folder: Path, wanted: set[str]) -> list[str]:
    """Delete pictures that may not be here any more, and what a stopped run left; the table goes before them."""
    stale = [path for path in sorted((folder / PICTURES).iterdir()) if path.stem not in wanted or path.suffix != ".jpg"]
    if any(path.suffix == ".jpg" for path in stale):
        for table in (LABELS, COCO):
            (folder / table).unlink(missing_ok=True)
    for path in [*stale, *folder.glob("*.part")]:
        path.unlink(missing_ok=True)
    return [path.stem for path in stale if path.suffix == ".jpg"]


def _bring(store: CaseStore, pictures: Path, origin: str, told: Exported) -> tuple[int, int] | None:
    """Write one picture, unless it lies there; its width and height, None where there is none to write."""
    with reading(store.engine) as connection:
        picture = connection.scalar(select(learning_photos.c.picture).where(learning_photos.c.origin == origin))
    try:
        if not picture:
            raise PhotoError(origin, "its picture is not in the database any more")
        photo = open_photo(picture, origin, PhotoLimits())
        photo.reduced(CHECKED_PX)
    except PhotoError as problem:
        told.left_out.append(f"{origin}: {problem.reason}")
        (pictures / f"{origin}.jpg").unlink(missing_ok=True)
        return None
    if _write(pictures / f"{origin}.jpg", picture):
        told.written.append(origin)
    return photo.width, photo.height


def _without_withdrawn(
    folder: Path, rows: list[dict[str, object]], sizes: dict[str, tuple[int, int]], told: Exported
) -> list[dict[str, object]]:
    """The rows without what was taken back while pictures were written; those pictures are deleted again."""
    gone = set(told.withdrawn) & {str(row["origin"]) for row in rows}
    for origin in gone:
        file = f"{PICTURES}/{origin}.jpg"
        (folder / file).unlink(missing_ok=True)
        del sizes[file]
    told.written = [origin for origin in told.written if origin not in gone]
    return [row for row in rows if row["origin"] not in gone]


def _rows(one: Ready, lift: str) -> Iterator[dict[str, object]]:
    """A row a part; one row that says so for a photo of nothing."""
    agreed = datetime.fromtimestamp(one.agreed_ms / 1000, UTC)
    facts: Mapping[str, object] = {
        "file": f"{PICTURES}/{one.origin}.jpg",
        "lift": lift,
        "consent": f"agreed in a case, {agreed:%Y-%m}",
        "source": f"photo of a case, sent by: {one.sent_by}",
        "origin": one.origin,
        "said_by": one.label.said_by,
        "surely": one.label.surely,
    }
    if not one.label.parts:
        yield {**facts, "label": NOTHING}
    for part in one.label.parts:
        left, top, right, bottom = (round(min(max(side, 0.0), 1.0), 5) for side in part.box)
        box = {"left": left, "top": top, "right": right, "bottom": bottom, "box_from": part.box_from}
        hidden = NOBODY_SAID if part.hidden is None else ";".join(part.hidden)
        yield {**facts, **box, "label": label_text(part), "hidden": hidden}


def label_text(part: PartLabel) -> str:
    """A part as `add-photos` names it: by all its values, so that it means the same with any catalogue."""
    return "+".join(f"{concept}={value}" for concept, value in part.values.items()) or part.kind


def _write(path: Path, data: bytes) -> bool:
    """Write a file whole and to the disk, or not at all; whether it was another before."""
    if path.is_file() and path.read_bytes() == data:
        return False
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=secrets.token_hex(4), suffix=".part", delete=False) as new:
        beside = Path(new.name)
        try:
            new.write(data)
            new.flush()
            os.fsync(new.fileno())
            os.replace(beside, path)
        finally:
            beside.unlink(missing_ok=True)
    return True

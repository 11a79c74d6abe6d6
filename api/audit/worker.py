"""What one worker does: photos to readings, lifts to answers, photos to small pictures; networks are loaded once."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from api.audit.lifts import Lift, lift_rows
from api.audit.source import NotLetIn, Store, StoreUnreachable
from api.audit.tables import LIFTS, PHOTOS, READ, encoded
from api.audit.taken import taken
from api.identification import NamedPhoto, Resources, read_photos
from api.jpeg import small_jpeg
from api.plate.gs1 import Plate
from api.plate.rating_plate import label_in_photo
from api.settings import Settings
from classifier.errors import (
    HoistloreError,
    InputError,
    NotAPhoto,
    PhotoError,
    PhotoTooLarge,
    UnreadablePhoto,
)
from classifier.identify import WEIGHTS_DIR, PhotoReading
from classifier.photo import PhotoLimits, open_photo
from guidance.catalogue.catalogue import Catalogue
from workers.places import code_of, other_versions

ENDED_WORKER = "ended_worker"
FAILURES = {UnreadablePhoto: "unreadable", PhotoTooLarge: "too_large", NotAPhoto: "not_a_photo", NotLetIn: "not_let_in"}
"""Why a photo has no reading, by its error; beside those `ended_worker`, for one that took its process with it."""

PICTURE_PX, PICTURE_QUALITY = 240, 72
"""Longest side of a picture in the report."""

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Job:
    """What every worker of an audit has to know; `expects` is what it has to be made of (`made_of`)."""

    settings: Settings
    store: Store
    ways: tuple[str, ...]
    day: date
    expects: dict[str, str]

    def __call__(self) -> Callable[[Any], Any]:
        """Load the networks, and give what works on pieces. Raises `InputError` where code or data are others."""
        resources = Resources.load(replace(self.settings, weights=self.settings.weights or str(WEIGHTS_DIR)))
        came = made_of(resources.model.info.sha256, resources.catalogue)
        check_same(self.expects, came, "A worker")
        return Worker(self, resources).work


def made_of(model_sha256: str, catalogue: Catalogue) -> dict[str, str]:
    """What an answer depends on: code, networks, catalogue, each by its hash."""
    told = hashlib.sha256(catalogue.model_dump_json().encode()).hexdigest()
    return {"code": _code(), "model": model_sha256, "catalogue": told}


@cache
def _code() -> str:
    return code_of(ROOT / package for package in ("classifier", "guidance", "api/audit", "api/plate"))


def check_same(wanted: dict[str, str], came: dict[str, str], who: str) -> None:
    """Raise `InputError` where code, model or catalogue differ."""
    if told := other_versions(wanted, came):
        raise InputError(
            f"{who} has another version of Hoistlore or of its data ({told}). Install the same everywhere."
        )


@dataclass(frozen=True)
class Photos:
    """Photos `start` to `stop` of the plan, (name, size) each; gives a table of readings and counts of failures."""

    start: int
    stop: int
    photos: tuple[tuple[str, int | None], ...]

    def halves(self) -> list[Photos]:
        return _halves(self, self.photos)


@dataclass(frozen=True)
class Lifts:
    """Lifts `start` to `stop`, each with all its photos; gives a table of lifts and one of photos."""

    start: int
    stop: int
    lifts: tuple[Lift, ...]

    def halves(self) -> list[Lifts]:
        return _halves(self, self.lifts)


def _halves(piece: Photos | Lifts, items: tuple[Any, ...]) -> list[Any]:
    """The piece cut in the middle; none where it holds one thing alone."""
    middle = piece.start + len(items) // 2
    if middle == piece.start:
        return []
    cut = middle - piece.start
    return [type(piece)(piece.start, middle, items[:cut]), type(piece)(middle, piece.stop, items[cut:])]


@dataclass(frozen=True)
class Picture:
    """One photo for the report; gives a small JPEG, empty where it cannot be read."""

    name: str

    def halves(self) -> list[Picture]:
        return []


@dataclass(frozen=True)
class Read:
    """What came of `Photos`: the table, how many there are, and how many failed for which reason."""

    table: bytes
    photos: int
    failures: Counter[str]


class Worker:
    """One worker with its networks."""

    def __init__(self, job: Job, resources: Resources) -> None:
        self._job, self._resources = job, resources

    def work(self, piece: Photos | Lifts | Picture) -> Any:
        if isinstance(piece, Photos):
            return self._read(piece)
        if isinstance(piece, Lifts):
            lifts, photos = lift_rows(piece.lifts, self._resources)
            return encoded(lifts, LIFTS), encoded(photos, PHOTOS)
        return self._picture(piece.name)

    def _read(self, piece: Photos) -> Read:
        rows = [self._row(piece.start + i, *photo) for i, photo in enumerate(piece.photos)]
        if len(rows) > 1 and all(row.get("failure") == FAILURES[NotLetIn] for row in rows):
            raise StoreUnreachable(f"{rows[0]['reason']} So it is with {piece.photos[0][0]} and {len(rows) - 1} more.")
        return read(rows)

    def _row(self, number: int, name: str, size: int | None) -> dict[str, Any]:
        """A photo as it was read; never without a row."""
        row: dict[str, Any] = {"number": number}
        limits = self._resources.limits
        try:
            data = self._job.store.load(name, size, limits.max_bytes)
        except PhotoError as problem:
            return row | failed(problem)
        row["sha256"] = hashlib.sha256(data).hexdigest()
        readings, failures = read_photos([NamedPhoto(name, lambda: data)], self._resources)
        row |= failed(failures[0]) if failures else _reading_columns(readings[0])
        if "label" in self._job.ways:
            row["label"] = _label(data, name, limits, self._job.day)
        if "time" in self._job.ways:
            told = taken(data, name)
            row |= {"taken_s": told.at_s, "latitude": told.latitude, "longitude": told.longitude}
        return row

    def _picture(self, name: str) -> bytes:
        try:
            limits = self._resources.limits
            photo = open_photo(self._job.store.load(name, None, limits.max_bytes), name, limits)
            return small_jpeg(photo, PICTURE_PX, PICTURE_QUALITY)
        except PhotoError:
            return b""


def read(rows: list[dict[str, Any]]) -> Read:
    """Rows as a piece's result."""
    return Read(encoded(rows, READ), len(rows), Counter(row["failure"] for row in rows if row.get("failure")))


def given_up(piece: Photos) -> Read:
    """What is said of photos that took their worker with them, each time."""
    told = "reading it ended the process, three times. Save it anew as a plain JPEG."
    return read([{"number": piece.start, "failure": ENDED_WORKER, "reason": told}])


def failed(problem: PhotoError) -> dict[str, Any]:
    """The columns of a photo without a reading."""
    failure = next((FAILURES[kind] for kind in type(problem).__mro__ if kind in FAILURES), "unreadable")
    return {"failure": failure, "reason": str(problem.reason)}


def _reading_columns(reading: PhotoReading) -> dict[str, Any]:
    subjects = [
        {
            "kind": subject.kind,
            "box": list(subject.box),
            "probability": subject.probability,
            "concepts": [
                {"concept": name, "probabilities": found.probabilities, "set": list(found.prediction_set)}
                for name, found in subject.concepts.items()
            ],
        }
        for subject in reading.subjects
    ]
    quality = reading.quality
    return {
        "width": reading.width, "height": reading.height, "usable": quality.usable,
        "problems": list(quality.problems), "subjects": subjects,
    }  # fmt: skip


def _label(data: bytes, name: str, limits: PhotoLimits, day: date) -> str | None:
    try:
        label = label_in_photo(data, name, limits, day)
    except HoistloreError:
        return None
    if isinstance(label, Plate):
        return f"{label.serial} ({label.gtin})" if label.gtin else label.serial
    return label

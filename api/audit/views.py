"""Which photos of a lift are read together, when there are more than an answer takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.settings import MOST_PHOTOS
from classifier.identify import PhotoReading
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX

FAILED, DUPLICATE, UNUSABLE, ENOUGH_OTHERS = "failed", "duplicate", "unusable", "enough_others"


@dataclass(frozen=True)
class Seen:
    """A photo of a lift: its reading, or None where it could not be read."""

    name: str
    sha256: str
    reading: PhotoReading | None


def chosen(photos: Sequence[Seen]) -> tuple[list[Seen], str]:
    """The views of the answer, in the order they came, and how they were chosen; no words where all are taken.

    Up to six readable photos are all taken, as for a user. Of more, those that show a box and those that show a
    motor end are taken in turn, spread evenly over their order. What a reading says, and how sure it is, plays no
    part: the surest of many would be too sure.
    """
    readable = [photo for photo in photos if photo.reading]
    if len(readable) <= MOST_PHOTOS:
        return readable, ""
    once = list({photo.sha256: photo for photo in reversed(readable)}.values())[::-1]
    usable = [photo for photo in once if photo.reading.quality.usable] or once
    showing = [[p for p in usable if _shows(p, kind)] for kind in (CONTROL_BOX, ACTUATOR_HEAD)]
    half = MOST_PHOTOS // 2
    taken = {photo.name for some in showing for photo in _spread(some, half)}
    for some in (*showing, usable):
        left = [photo for photo in some if photo.name not in taken]
        taken |= {photo.name for photo in _spread(left, MOST_PHOTOS - len(taken))}
    told = (
        f"{len(taken)} of {len(photos)} photos were read together: those that can be read and show a box or a motor "
        "end, spread evenly over their names, whatever they say."
    )
    return [photo for photo in readable if photo.name in taken], told


def unused_because(photo: Seen, is_view: bool, first_of: dict[str, str]) -> str | None:
    """Why a photo adds nothing to the answer, None where it does. `first_of`: the first photo of each content."""
    if photo.reading is None:
        return FAILED
    if first_of[photo.sha256] != photo.name:
        return DUPLICATE
    if not photo.reading.quality.usable:
        return UNUSABLE
    return None if is_view else ENOUGH_OTHERS


def _shows(photo: Seen, kind: str) -> bool:
    return any(subject.kind == kind for subject in photo.reading.subjects)


def _spread(photos: Sequence[Seen], most: int) -> list[Seen]:
    """At most so many of them, first and last among them, the others evenly between."""
    if len(photos) <= most:
        return list(photos)
    return [photos[round(i * (len(photos) - 1) / max(most - 1, 1))] for i in range(most)]

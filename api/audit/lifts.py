"""The answer of each lift from what was read of its photos, as rows of `lifts.parquet` and of `photos.parquet`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.audit.grouping import CONTRADICT
from api.audit.views import FAILED, Seen, chosen, unused_because
from api.identification import Resources, answer_for, duplicate_of
from classifier.identify import ConceptReading, PhotoReading, Quality, SubjectReading
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX
from guidance.documents.answer import Answer, Component

ROLE = "technician"
"""Who walks to the lifts; decides which question is worth most, not what a lift is."""


@dataclass(frozen=True)
class Lift:
    """A lift with the rows of all its photos by name; `grouped_by` and `doubts` as in `grouping`."""

    name: str
    grouped_by: tuple[str, ...]
    doubts: tuple[str, ...]
    photos: tuple[Mapping[str, Any], ...]


def lift_rows(lifts: Sequence[Lift], resources: Resources) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of the lifts, and of all their photos. A file that nothing places and that is no photo makes no lift."""
    of_lifts, of_photos = [], []
    for lift in lifts:
        seen = [Seen(row["photo"], row["sha256"] or "", reading_of(row)) for row in lift.photos]
        if lift.grouped_by == ("alone",) and not any(photo.reading for photo in seen):
            of_photos += [row | {"lift": None, "unused": FAILED} for row in lift.photos]
            continue
        views, told = chosen(seen)
        answer = answer_for(_counted_once(views), [], ROLE, resources)
        of_lifts.append(_lift_row(lift, answer, len(views), told))
        of_photos += _photo_rows(lift, seen, views)
    return of_lifts, of_photos


def reading_of(row: Mapping[str, Any]) -> PhotoReading | None:
    """The reading that a row of photos holds, exactly as it was; None for a photo without one."""
    if row["failure"]:
        return None
    subjects = tuple(
        SubjectReading(
            subject["kind"],
            tuple(subject["box"]),
            subject["probability"],
            {c["concept"]: ConceptReading(dict(c["probabilities"]), tuple(c["set"])) for c in subject["concepts"]},
        )
        for subject in row["subjects"]
    )
    quality = Quality(row["usable"], tuple(row["problems"]))
    return PhotoReading(row["photo"], row["width"], row["height"], quality, subjects)


def _counted_once(views: Sequence[Seen]) -> list[PhotoReading]:
    first: dict[str, PhotoReading] = {}
    readings = []
    for view in views:
        known = first.setdefault(view.sha256, view.reading)
        readings.append(view.reading if known is view.reading else duplicate_of(known, view.name))
    return readings


def _lift_row(lift: Lift, answer: Answer, views: int, told: str) -> dict[str, Any]:
    components = (answer.control_box, answer.actuator)
    contradict = any(component.contradictions for component in components)
    shown = {subject.kind for photo in answer.photos for subject in photo.subjects}
    asked = answer.next
    return {
        "lift": lift.name,
        "grouped_by": list(lift.grouped_by),
        "grouping_doubts": [*lift.doubts, *([CONTRADICT] if contradict else [])],
        "photos": len(lift.photos),
        "views": views,
        "chosen": told or None,
        "catalogue": answer.catalogue.model_dump(),
        "model": answer.model.sha256,
        "control_box": _component(answer.control_box),
        "actuator": _component(answer.actuator),
        "missing": [kind for kind in (CONTROL_BOX, ACTUATOR_HEAD) if kind not in shown],
        "next": asked and {
            "kind": asked.kind, "id": asked.id, "ask": str(asked.ask), "why": str(asked.why),
            "gain_bits": asked.expected_gain_bits,
        },
        "doubt_bits": sum(map(_entropy_bits, components)),
    }  # fmt: skip


def _component(component: Component) -> dict[str, Any]:
    return {
        "decision": component.decision,
        "favourite": component.favourite,
        "probabilities": component.probabilities,
        "set": list(component.values),
        "contradictions": [str(each.text) for each in component.contradictions],
    }


def _entropy_bits(component: Component) -> float:
    """Of what it can be; of a component that nobody saw, that of the catalogue's shares."""
    return -sum(p * math.log2(p) for p in component.probabilities.values() if p > 0)


def _photo_rows(lift: Lift, seen: Sequence[Seen], views: Sequence[Seen]) -> list[dict[str, Any]]:
    place = {view.name: number for number, view in enumerate(views, 1)}
    first_of: dict[str, str] = {}
    for photo in seen:
        first_of.setdefault(photo.sha256, photo.name)
    return [
        {**row, "lift": lift.name, "view": place.get(photo.name),
         "unused": unused_because(photo, photo.name in place, first_of)}
        for row, photo in zip(lift.photos, seen, strict=True)
    ]  # fmt: skip

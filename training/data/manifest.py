"""The manifest of rendered pictures, read and checked. Needs no torch, so that worker processes start quickly."""

import hashlib
import json
import warnings
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from classifier.taxonomy import CONCEPTS_OF, NOT_VISIBLE, SUBJECTS

MISSING_SHARE_ALLOWED = 0.01

Box = tuple[float, float, float, float]


class DatasetError(ValueError):
    """A manifest or a picture that cannot be used; the message names it and what to do."""


@dataclass(frozen=True)
class Reading:
    """What one concept truly is in one picture, and whether the picture shows it."""

    value: str
    visible: bool
    possible: tuple[str, ...]  # values that the picture leaves open; one, unless it is ambiguous
    evidence_px: float

    @property
    def truth(self) -> str:
        """The class that a reader should answer."""
        return self.value if self.visible else NOT_VISIBLE


@dataclass(frozen=True)
class Subject:
    """One subject in one picture; the box is [left, top, right, bottom] in fractions of the upright picture."""

    kind: str
    box: Box
    cut_off: bool
    concepts: dict[str, Reading]

    @property
    def area(self) -> float:
        """Share of the picture that the box covers."""
        left, top, right, bottom = self.box
        return (right - left) * (bottom - top)


@dataclass(frozen=True)
class Record:
    """One line of a manifest."""

    path: Path
    clean_path: Path | None
    width: int
    height: int
    style: str
    framing: str
    conditions: tuple[str, ...]
    fair: bool
    distance_m: float | None
    subjects: tuple[Subject, ...]
    look_alikes: tuple[Box, ...]
    lift: tuple[Path, str] | None = None  # folder and number: records that share it are views of one lift
    parts_path: Path | None = None  # a map of what each spot belongs to; pictures that were not rendered have none


def read_manifests(folders: Sequence[Path], style: str | None = None) -> list[Record]:
    """All records of these folders, in order; those of one style when it is given.

    A few missing pictures are named in a warning and left out; more than one in a hundred is an error.
    """
    found: list[Record] = []
    missing: list[Path] = []
    styles: Counter[str] = Counter()
    for folder in folders:
        for record in _records_of(Path(folder)):
            styles[record.style] += 1
            if style is not None and record.style != style:
                continue
            (found if record.path.is_file() else missing).append(record)
    names = ", ".join(str(folder) for folder in folders)
    if not found and not missing:
        raise DatasetError(
            f"{names}: no picture of style {style!r}, only {dict(styles) or 'none at all'}. "
            f"Render some: python -m synthetic_samples --style {style or 'train'} --count N --seed S --out DIR"
        )
    _report_missing([record.path for record in missing], len(found))
    return found


def manifest_sha256(folders: Sequence[Path]) -> str:
    """One hash over the manifests of these folders, for the provenance of a model."""
    digest = hashlib.sha256()
    for folder in folders:
        digest.update((Path(folder) / "manifest.jsonl").read_bytes())
    return digest.hexdigest()


def _records_of(folder: Path) -> list[Record]:
    manifest = folder / "manifest.jsonl"
    if not manifest.is_file():
        raise DatasetError(f"{manifest}: not there; a data folder holds manifest.jsonl and images/")
    records = []
    for number, line in enumerate(manifest.read_text().splitlines(), start=1):
        if not line.strip():
            continue
        try:
            records.append(_record(folder, json.loads(line)))
        except (KeyError, TypeError, ValueError) as problem:
            raise DatasetError(f"{manifest}, line {number}: {type(problem).__name__}: {problem}") from None
    return records


def _record(folder: Path, entry: dict) -> Record:
    clean, parts = entry.get("clean_file"), entry.get("parts_file")
    lift = entry.get("lift", entry.get("owned", {}).get("lift"))
    return Record(
        path=folder / entry["file"],
        clean_path=folder / clean if clean else None,
        width=int(entry["width"]),
        height=int(entry["height"]),
        style=str(entry["style"]),
        framing=entry["framing"],
        conditions=tuple(entry["conditions"]),
        fair=bool(entry["fair"]),
        distance_m=entry.get("camera", {}).get("distance_m"),
        subjects=tuple(_subject(subject) for subject in entry["subjects"]),
        look_alikes=tuple(_box(thing["box"]) for thing in entry["look_alikes"]),
        lift=None if lift is None else (folder, str(lift)),
        parts_path=folder / parts if parts else None,
    )


def _subject(entry: dict) -> Subject:
    kind = entry["kind"]
    if kind not in SUBJECTS:
        raise ValueError(f"subject kind {kind!r} is none of {', '.join(SUBJECTS)}")
    concepts = {}
    for concept, values in CONCEPTS_OF[kind].items():
        given = entry["concepts"][concept]
        if given["value"] not in values:
            raise ValueError(f"{concept} {given['value']!r} is none of {', '.join(values)}")
        possible = tuple(given.get("possible") or (given["value"],))
        if not set(possible) <= set(values):
            raise ValueError(f"{concept}: possible {possible} holds a value outside {', '.join(values)}")
        visible = bool(given["visible"])
        concepts[concept] = Reading(given["value"], visible, possible, float(given.get("evidence_px", 0)))
    return Subject(kind, _box(entry["box"]), bool(entry.get("cut_off", False)), concepts)


def _box(values: Sequence[float]) -> Box:
    left, top, right, bottom = (float(value) for value in values)
    if not (left < right and top < bottom):
        raise ValueError(f"box {list(values)} is not [left, top, right, bottom] with a positive area")
    return left, top, right, bottom


def _report_missing(missing: list[Path], present: int) -> None:
    if not missing:
        return
    named = ", ".join(str(path) for path in missing[:5]) + (" …" if len(missing) > 5 else "")
    message = f"{len(missing)} of {len(missing) + present} pictures that the manifest names are not there: {named}"
    if len(missing) > MISSING_SHARE_ALLOWED * (len(missing) + present):
        raise DatasetError(f"{message}. Run the renderer again with the same seed and folder; it resumes.")
    warnings.warn(message, stacklevel=3)

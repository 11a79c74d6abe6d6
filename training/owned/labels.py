"""What the owner of photos says they show: folders named by label, a CSV file, or COCO JSON.

A label is `nothing` (no lift part), a generation of the catalogue (`hung-top`), all four values of a control box that
the catalogue lacks (`stop_position=top+battery=built_in+…`), a mechanism (`lowering=none`, `twist_knob`), or
`hand_control` or `charger`. It says what the part is; `hidden` names the concepts that this photo of it does not show.
"""

import csv
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from classifier.taxonomy import ACTUATOR_CONCEPTS, ACTUATOR_HEAD, CONCEPTS, CONCEPTS_OF, CONTROL_BOX, SUBJECTS
from guidance.catalogue.catalogue import Catalogue
from synthetic_samples.phone.families import CONDITIONS as HARD
from training.data.manifest import Box
from training.owned.coco import coco_rows
from training.owned.whole import cut_off, cut_table, unnamed, without_table

NOTHING = "nothing"
COLUMNS = (
    "file", "label", "lift", "left", "top", "right", "bottom", "hidden", "conditions", "consent", "source",
    "origin", "box_from", "said_by", "surely",
)  # fmt: skip
NOBODY_SAID = "?"
"""In the column hidden of one row, as the column's absence says it of all rows."""

BOX_FROM = ("owner", "model")
PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")
CONDITIONS = (*HARD, "far")


class OwnedPhotoError(ValueError):
    """Labels or photos that cannot be taken as they are. `problems` are sentences with their places."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = tuple(problems)


@dataclass(frozen=True)
class Labelled:
    """One part in one photo. `box` in fractions of the upright photo; `box` or `hidden` None where nobody said."""

    kind: str
    values: dict[str, str]
    box: Box | None
    hidden: tuple[str, ...] | None
    box_from: str = "owner"


@dataclass(frozen=True)
class LabelledPhoto:
    """One photo with everything that its owner says of it; `where` names the row or file that says so.

    `origin`: the random name under which its consent can be withdrawn; None where nobody gave one. `said_by`, `surely`:
    whose word the label is, and how it came about; empty where nobody said.
    """

    path: Path
    lift: str | None
    subjects: tuple[Labelled, ...]
    conditions: tuple[str, ...]
    consent: str
    source: str
    where: str
    origin: str | None = None
    said_by: str = ""
    surely: str = ""


@dataclass(frozen=True)
class Row:
    """One label as it was written, from any of the three forms."""

    path: Path
    label: str
    where: str
    lift: str | None = None
    box: Box | None = None
    hidden: tuple[str, ...] | None = None
    conditions: tuple[str, ...] = ()
    consent: str = ""
    source: str = ""
    origin: str | None = None
    box_from: str = "owner"
    said_by: str = ""
    surely: str = ""


def read_labels(
    folder: Path, labels: Path | None, catalogue: Catalogue, consent: str, source: str
) -> tuple[list[LabelledPhoto], list[str]]:
    """All photos of a folder with their labels, and remarks on what is there but says little.

    `consent` and `source` hold where a row has none of its own. Raises `OwnedPhotoError` with every problem at once,
    before anything is stored.
    """
    if not folder.is_dir():
        raise OwnedPhotoError([f"{folder}: no such folder; name the folder that holds the photos"])
    labels = labels or _labels_in(folder)
    problems: list[str] = []
    pictures = [path for path in sorted(folder.rglob("*")) if path.suffix.lower() in PICTURE_ENDINGS]
    if labels is None:
        if came_without := without_table([path.relative_to(folder).as_posix() for path in pictures]):
            raise OwnedPhotoError(came_without)
        rows, remarks = _folder_rows(folder), _empty_folders(folder)
    else:
        rows = list(_csv_rows(labels, folder, problems) if labels.suffix == ".csv" else _coco(labels, folder))
        remarks = []
    if any(row.origin for row in rows):
        problems += unnamed(folder, pictures, {row.path for row in rows})
    rows = [replace(row, consent=row.consent or consent, source=row.source or source) for row in rows]
    if not rows and not problems:
        problems.append(f"{labels or folder}: no photo in it; a label's photos lie in a folder of its name")
    photos = _gathered(rows, catalogue, problems)
    if problems:
        raise OwnedPhotoError(problems)
    return photos, remarks + _lacking(photos, catalogue)


def meaning(label: str, catalogue: Catalogue) -> tuple[str, dict[str, str]] | None:
    """Kind and concept values of a label; None for `nothing`. Raises `ValueError` for a label that is none."""
    if label == NOTHING:
        return None
    generation = catalogue.generations_by_id.get(label)
    if generation:
        return CONTROL_BOX, {concept: getattr(generation, concept) for concept in CONCEPTS_OF[CONTROL_BOX]}
    if label in SUBJECTS and not CONCEPTS_OF[label]:
        return label, {}
    if label in ACTUATOR_CONCEPTS["lowering"] and label != "none":
        return ACTUATOR_HEAD, {"lowering": label}
    values = dict(part.partition("=")[::2] for part in label.split("+"))
    for kind in (CONTROL_BOX, ACTUATOR_HEAD):
        if set(values) == set(CONCEPTS_OF[kind]) and all(values[c] in CONCEPTS[c] for c in values):
            return kind, values
    known = ", ".join([NOTHING, *catalogue.generations_by_id, "hand_control", "charger", "lowering=none"])
    mechanisms = ", ".join(ACTUATOR_CONCEPTS["lowering"][1:])
    raise ValueError(
        f"label {label!r} is unknown; known are {known}, {mechanisms}, or all four of a box: "
        "stop_position=…+battery=…+service_buttons=…+charge_display=…"
    )


def _labels_in(folder: Path) -> Path | None:
    found = sorted([*folder.glob("*.csv"), *folder.glob("*.json")])
    if len(found) > 1:
        names = ", ".join(path.name for path in found)
        raise OwnedPhotoError([f"{folder}: {names} could all hold the labels; name one with --labels"])
    return found[0] if found else None


def _folder_rows(folder: Path) -> list[Row]:
    """`LABEL/photo` or `LABEL/LIFT/photo`."""
    rows = []
    for path in sorted(folder.rglob("*")):
        parts = path.relative_to(folder).parts
        if path.is_file() and path.suffix.lower() in PICTURE_ENDINGS and len(parts) > 1:
            lift = "/".join(parts[1:-1]) or None
            rows.append(Row(path, parts[0], str(path.relative_to(folder)), lift))
    return rows


def _empty_folders(folder: Path) -> list[str]:
    empty = [
        path.name
        for path in sorted(folder.iterdir())
        if path.is_dir() and not any(p.suffix.lower() in PICTURE_ENDINGS for p in path.rglob("*"))
    ]
    return [f"{name}: an empty class, there is no photo in its folder; nothing is learned of it" for name in empty]


def _csv_rows(labels: Path, folder: Path, problems: list[str]) -> Iterator[Row]:
    try:
        text = labels.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise OwnedPhotoError([f"{labels}: cannot be read ({problem}); save it as CSV in UTF-8"]) from None
    reader = csv.DictReader(text.splitlines())
    unknown = set(reader.fieldnames or ()) - set(COLUMNS)
    if unknown or not {"file", "label"} <= set(reader.fieldnames or ()):
        raise OwnedPhotoError(
            [f"{labels}, row 1: columns {', '.join(reader.fieldnames or ()) or 'none'} came; "
             f"file and label are wanted, of the others only {', '.join(COLUMNS[2:])}"]
        )  # fmt: skip
    problems += cut_table(text, reader.fieldnames or (), labels.name)
    for entry in reader:
        where = f"{labels.name}, row {reader.line_num}"
        problems += cut_off(entry, where)
        entry = {name: (value or "").strip() for name, value in entry.items() if name}
        try:
            yield Row(
                path=folder / entry["file"],
                label=entry["label"],
                where=where,
                lift=entry.get("lift") or None,
                box=_box(entry),
                hidden=None if entry.get("hidden", NOBODY_SAID) == NOBODY_SAID else _words(entry["hidden"]),
                conditions=_words(entry.get("conditions", "")),
                consent=entry.get("consent", ""),
                source=entry.get("source", ""),
                origin=entry.get("origin") or None,
                box_from=entry.get("box_from") or "owner",
                said_by=entry.get("said_by", ""),
                surely=entry.get("surely", ""),
            )
        except ValueError as problem:
            problems.append(f"{where}: {problem}")


def _words(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(";") if word.strip())


def _box(entry: dict[str, str]) -> Box | None:
    texts = [entry.get(side, "") for side in ("left", "top", "right", "bottom")]
    if not any(texts):
        return None
    box = tuple(float(text) for text in texts)
    if not (0 <= box[0] < box[2] <= 1 and 0 <= box[1] < box[3] <= 1):
        raise ValueError(f"box {', '.join(texts)} is not left, top, right, bottom as fractions of the upright photo")
    return box


def _coco(labels: Path, folder: Path) -> Iterator[Row]:
    try:
        content = json.loads(labels.read_text(encoding="utf-8"))
        for found in coco_rows(content, folder):
            yield Row(**(found | {"label": found["label"] or NOTHING, "where": f"{labels.name}, {found['where']}"}))
    except (OSError, KeyError, TypeError, ValueError) as problem:
        reason = f"{type(problem).__name__}: {problem}"
        raise OwnedPhotoError([f"{labels}: no COCO file that can be used: {reason}"]) from None


def _gathered(rows: Sequence[Row], catalogue: Catalogue, problems: list[str]) -> list[LabelledPhoto]:
    by_file: dict[Path, list[Row]] = {}
    for row in rows:
        by_file.setdefault(row.path, []).append(row)
    photos = []
    for path, group in by_file.items():
        try:
            photos.append(_photo(path, group, catalogue))
        except OwnedPhotoError as problem:
            problems += problem.problems
    problems += _origins_twice(photos)
    return photos


def _origins_twice(photos: Sequence[LabelledPhoto]) -> list[str]:
    """An origin names one photo: two files under one could not be told apart when one is withdrawn."""
    first: dict[str, LabelledPhoto] = {}
    return [
        f"{photo.where}: origin {photo.origin} is that of {first[photo.origin].path.name} too; each photo has its own"
        for photo in photos
        if photo.origin and first.setdefault(photo.origin, photo) is not photo
    ]


def _photo(path: Path, rows: Sequence[Row], catalogue: Catalogue) -> LabelledPhoto:
    problems, subjects = [], []
    for row in rows:
        try:
            subject = _subject(row, catalogue)
        except ValueError as problem:
            problems.append(f"{row.where}: {problem}")
            continue
        if subject is not None and subject not in subjects:
            subjects.append(subject)
    first = rows[0]
    if not path.is_file():
        problems.append(f"{first.where}: {path.name} is not there; check the file column")
    problems += _contradictions(path, rows, subjects)
    lifts = {row.lift for row in rows if row.lift}
    if len(lifts) > 1:
        problems.append(f"{first.where}: {path.name} belongs to the lifts {', '.join(sorted(lifts))}; name one")
    for name in ("consent", "source"):
        if not getattr(first, name):
            problems.append(f"{first.where}: no {name} is stated; give --{name} or a column of that name")
    if problems:
        raise OwnedPhotoError(problems)
    lift, said = next(iter(lifts), None), (first.origin, first.said_by, first.surely)
    return LabelledPhoto(path, lift, tuple(subjects), first.conditions, first.consent, first.source, first.where, *said)


def _subject(row: Row, catalogue: Catalogue) -> Labelled | None:
    if strange := set(row.conditions) - set(CONDITIONS):
        raise ValueError(f"condition {', '.join(sorted(strange))} is unknown; known are {', '.join(CONDITIONS)}")
    read = meaning(row.label, catalogue)
    if read is None:
        return None
    kind, values = read
    if strange := set(row.hidden or ()) - set(values):
        raise ValueError(f"hidden {', '.join(sorted(strange))} is no concept of a {kind}; it has {', '.join(values)}")
    if row.box_from not in BOX_FROM:
        raise ValueError(f"box_from {row.box_from!r} is unknown; {' or '.join(BOX_FROM)} is wanted")
    return Labelled(kind, values, row.box, row.hidden, row.box_from)


def _contradictions(path: Path, rows: Sequence[Row], subjects: Sequence[Labelled]) -> list[str]:
    """A photo with two parts of one kind in the same place (or in no stated place), or with a part and with nothing."""
    places = [(subject.kind, subject.box) for subject in subjects]
    twice = len(set(places)) < len(places) or (len(places) > 1 and _unplaced_twice(subjects))
    if twice or (subjects and any(row.label == NOTHING for row in rows)):
        said = " and ".join(f"{row.label!r} ({row.where})" for row in rows)
        return [f"{path.name} is named with labels that contradict each other: {said}; keep the true one"]
    return []


def _unplaced_twice(subjects: Sequence[Labelled]) -> bool:
    unplaced = {subject.kind for subject in subjects if subject.box is None}
    return any(sum(subject.kind == kind for subject in subjects) > 1 for kind in unplaced)


def _lacking(photos: Sequence[LabelledPhoto], catalogue: Catalogue) -> list[str]:
    """Remarks on values of which no photo shows any example."""
    shown = {(c, v) for photo in photos for subject in photo.subjects for c, v in subject.values.items()}
    missing = [f"{c} {v}" for c, values in CONCEPTS.items() for v in values if (c, v) not in shown]
    return [f"no photo of: {', '.join(missing)}; nothing new is learned of these"] if missing else []

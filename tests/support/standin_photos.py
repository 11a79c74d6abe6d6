"""The committed stand-ins as somebody's photos: files with a phone's metadata and labels in the three forms.

They are drawn pictures of another renderer and camera pipeline than the training renders; they are not photographs.
"""

import csv
import json
from pathlib import Path

from PIL import Image

from classifier.taxonomy import CONCEPTS_OF
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from training.owned.labels import COLUMNS, NOTHING

STANDINS = Path(__file__).parents[1] / "standins" / "pictures"


def standins(count: int | None = None) -> list[dict]:
    """The first lines of the stand-ins' manifest."""
    return [json.loads(line) for line in (STANDINS / "manifest.jsonl").read_text().splitlines() if line][:count]


def label_of(subject: dict) -> str:
    """The label under which its owner would file a part."""
    values = {concept: subject["concepts"][concept]["value"] for concept in CONCEPTS_OF[subject["kind"]]}
    for row in load(DEMO_CATALOGUE).generations:
        if values and subject["kind"] == "control_box" and all(getattr(row, c) == v for c, v in values.items()):
            return row.id
    return "+".join(f"{concept}={value}" for concept, value in values.items()) or subject["kind"]


def with_metadata(source: Path, target: Path, orientation: int = 1) -> None:
    """A copy with a place, a phone's name and an orientation in its metadata; stored turned where it says so."""
    picture = Image.open(source).convert("RGB")
    if orientation == 6:  # stored so that a quarter turn clockwise makes it upright
        picture = picture.transpose(Image.Transpose.ROTATE_90)
    exif = picture.getexif()
    exif[0x0112], exif[0x0110] = orientation, "SecretPhone 7"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)  # latitude
    target.parent.mkdir(parents=True, exist_ok=True)
    picture.save(target, quality=95, exif=exif, comment=b"bathroom of somebody")


def as_csv(folder: Path, entries: list[dict], photos_per_lift: int = 2) -> Path:
    """Photos and a labels.csv with boxes, hidden concepts and lifts; every third photo lies turned."""
    rows = []
    for number, entry in enumerate(entries):
        name = f"photo {number}.jpg"
        with_metadata(STANDINS / entry["file"], folder / name, orientation=6 if number % 3 == 0 else 1)
        shared = {"file": name, "lift": f"lift-{number // photos_per_lift}", "conditions": _known(entry)}
        for subject in entry["subjects"]:
            hidden = [c for c, read in subject["concepts"].items() if not read["visible"]]
            sides = dict(zip(("left", "top", "right", "bottom"), subject["box"], strict=True))
            rows.append(shared | sides | {"label": label_of(subject), "hidden": ";".join(hidden)})
        if not entry["subjects"]:
            rows.append(shared | {"label": NOTHING})
    write_csv(folder / "labels.csv", rows)
    return folder


def write_csv(path: Path, rows: list[dict]) -> None:
    """Rows under those of the known columns that any of them has."""
    columns = [column for column in COLUMNS if any(column in row for row in rows)]
    with path.open("w", newline="") as out:
        writer = csv.DictWriter(out, columns)
        writer.writeheader()
        writer.writerows(rows)


def _known(entry: dict) -> str:
    return ";".join(entry["conditions"])

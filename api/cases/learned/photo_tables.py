"""Labels of exported photos as a table: CSV, or COCO JSON for programs that show or draw annotations."""

import csv
import io
import json
from collections.abc import Mapping, Sequence

COLUMNS = (
    "file", "label", "lift", "left", "top", "right", "bottom", "hidden", "consent", "source", "origin", "box_from",
    "said_by", "surely",
)  # fmt: skip
"""Those of `add-photos`."""

OF_THE_PHOTO = ("lift", "consent", "source", "origin", "said_by", "surely")
NOTHING, NOBODY_SAID = "nothing", "?"

Row = Mapping[str, object]


def as_csv(rows: Sequence[Row]) -> str:
    """One line a part."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def as_coco(rows: Sequence[Row], sizes: Mapping[str, tuple[int, int]]) -> str:
    """Images, annotations and categories; boxes as left, top, width, height in pixels. `sizes`: of each file.

    A photo of nothing is an image without annotations.
    """
    names = sorted({str(row["label"]) for row in rows} - {NOTHING})
    categories = {name: number for number, name in enumerate(names, 1)}
    files = {str(row["file"]): row for row in rows}
    numbers = {file: number for number, file in enumerate(files, 1)}
    images = [
        {"id": numbers[file], "file_name": file, "width": sizes[file][0], "height": sizes[file][1]}
        | {name: row[name] for name in OF_THE_PHOTO}
        for file, row in files.items()
    ]
    parts = [row for row in rows if row["label"] != NOTHING]
    annotations = [
        {"id": number, "image_id": numbers[str(row["file"])], "category_id": categories[str(row["label"])]}
        | _place(row, sizes[str(row["file"])])
        for number, row in enumerate(parts, 1)
    ]
    named = [{"id": number, "name": name} for name, number in categories.items()]
    return json.dumps({"images": images, "annotations": annotations, "categories": named}, indent=1) + "\n"


def _place(row: Row, size: tuple[int, int]) -> dict[str, object]:
    left, top, right, bottom = (float(str(row[side])) for side in ("left", "top", "right", "bottom"))
    wide, high = (right - left) * size[0], (bottom - top) * size[1]
    attributes: dict[str, object] = {"box_from": row["box_from"]}
    if row["hidden"] != NOBODY_SAID:
        attributes["hidden"] = [word for word in str(row["hidden"]).split(";") if word]
    box = [round(value, 3) for value in (left * size[0], top * size[1], wide, high)]
    return {"bbox": box, "area": round(wide * high, 3), "iscrowd": 0, "attributes": attributes}

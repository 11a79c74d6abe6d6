"""The result of an audit: two Parquet tables, two for a spreadsheet, one page. Each comes whole, the page last."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

from api.audit.report import Chosen, report
from api.audit.tables import LIFTS, PHOTOS, join, rows_of, whole, write_whole
from api.pages.languages import Language
from api.spreadsheet import no_formula
from guidance.catalogue.catalogue import Catalogue
from workers.dispatch import Workers

LIFTS_FILE, PHOTOS_FILE, PAGE_FILE = "lifts.parquet", "photos.parquet", "audit.html"
SHEET_FILE, BAD_FILE = "lifts.csv", "bad_photos.csv"


def write_result(
    work: Path, out: Path, workers: Workers, catalogue: Catalogue, about: dict[str, str], language: Language
) -> dict[str, int]:
    """Write all files under `work`, then give them their places in `out`; counts of lifts, photos and bad photos.

    `about`: what the page says of the audit itself.
    """
    pieces, of_photos = (sorted((work / name).glob("[0-9]*.parquet")) for name in ("lifts", "of_lifts"))
    join(pieces, work / LIFTS_FILE, LIFTS)
    join(of_photos, work / PHOTOS_FILE, PHOTOS)
    chosen, counts = Chosen(), Counter[str]()
    with whole(work / SHEET_FILE) as part, part.open("w", encoding="utf-8-sig", newline="") as file:
        sheet = _sheet(file, list(_lift_cells({})))
        for piece in pieces:
            for row in rows_of(piece):
                sheet.writerow(_plain(_lift_cells(row)))
                chosen.add_lift(row, piece.name)
                counts["lifts"] += 1
    with whole(work / BAD_FILE) as part, part.open("w", encoding="utf-8-sig", newline="") as file:
        sheet = _sheet(file, ["photo", "lift", "failure", "reason"])
        for row in _photos(of_photos):
            counts["photos"] += 1
            if row["failure"] or not row["usable"]:
                sheet.writerow(_plain(_bad_cells(row)))
                chosen.add_bad(row)
                counts["bad"] += 1
    about = about | {name: str(counts[name]) for name in ("photos", "bad")}
    page = report(chosen, work / "of_lifts", workers, catalogue, about, language)
    write_whole(work / PAGE_FILE, page.encode())
    for name in (LIFTS_FILE, PHOTOS_FILE, SHEET_FILE, BAD_FILE, PAGE_FILE):
        (work / name).replace(out / name)
    return {name: counts[name] for name in ("lifts", "photos", "bad")}


def _photos(pieces: list[Path]) -> Iterator[dict[str, Any]]:
    columns = ["photo", "lift", "failure", "reason", "usable", "problems"]
    for piece in pieces:
        yield from rows_of(piece, columns)


def _sheet(file: TextIO, names: list[str]) -> csv.DictWriter:
    sheet = csv.DictWriter(file, names, lineterminator="\n")
    sheet.writeheader()
    return sheet


def _plain(cells: dict[str, Any]) -> dict[str, Any]:
    return {name: no_formula(value) for name, value in cells.items()}


def _lift_cells(row: dict[str, Any]) -> dict[str, Any]:
    """A lift as cells; of an empty row only their names count."""
    asked = row.get("next") or {}
    cells = {name: row.get(name) for name in ("lift", "photos", "views")}
    for name, part in (("control_box", row.get("control_box") or {}), ("lowering", row.get("actuator") or {})):
        favourite = part.get("favourite")
        cells |= {
            name: part.get("decision"),
            f"{name}_favourite": favourite,
            f"{name}_probability": round((part.get("probabilities") or {}).get(favourite, 0.0), 4)
            if favourite
            else None,
            f"{name}_can_be": " ".join(part.get("set") or ()),
            f"{name}_contradictions": " ".join(part.get("contradictions") or ()),
        }
    return cells | {
        "missing": " ".join(row.get("missing") or ()),
        "next": asked.get("ask"),
        "grouped_by": " ".join(row.get("grouped_by") or ()),
        "grouping_doubts": " ".join(row.get("grouping_doubts") or ()),
        "views_chosen": row.get("chosen"),
        "doubt_bits": round(row.get("doubt_bits") or 0.0, 3),
    }


def _bad_cells(row: dict[str, Any]) -> dict[str, Any]:
    failure = row["failure"] or " ".join(row["problems"])
    return {"photo": row["photo"], "lift": row["lift"], "failure": failure, "reason": row["reason"]}

"""What the owner's own table says of parts: price, lead time, pieces a job. What it leaves out is as for all parts.

CSV with the columns `part` (an id of the catalogue), `price`, `lead_days` and `pieces`: the shares of the jobs that
take one, two, … pieces, with spaces between them (`0.8 0.2`).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from classifier.errors import InputError
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import meant

COLUMNS = ("part", "price", "lead_days", "pieces")
MOST_LEAD_DAYS = 1000.0
MOST_A_JOB = 50
ABOUT_ONE = 1e-6


@dataclass(frozen=True)
class Terms:
    """Price in the owner's money, days from order to shelf, and P(k pieces a job)."""

    price: float
    lead_days: float
    pieces: tuple[float, ...] = (1.0,)

    def __post_init__(self) -> None:
        if not 0 < self.lead_days <= MOST_LEAD_DAYS:
            raise InputError(
                f"lead days are {self.lead_days:g}. More than 0 and {MOST_LEAD_DAYS:g} at most are wanted."
            )
        if not 0 < self.price < float("inf"):
            raise InputError(f"price is {self.price:g}. A price above 0 is wanted.")
        if not self.pieces or len(self.pieces) > MOST_A_JOB or not all(0 <= share <= 1 for share in self.pieces):
            raise InputError(f"pieces are {self.pieces}. Shares from 0 to 1 of jobs that take one, two, … are wanted.")
        if abs(sum(self.pieces) - 1) > ABOUT_ONE:
            raise InputError(f"the shares of pieces sum to {sum(self.pieces):g}. They have to sum to 1.")


def load_terms(path: Path, usual: Terms, catalogue: Catalogue) -> dict[str, Terms]:
    """The terms of each part that the table names. Raises `InputError` with the line."""
    try:
        reader = csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig")))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read ({error}). Name a .csv file with the columns {_named()}.") from None
    columns = reader.fieldnames or []
    if "part" not in columns or not set(columns) <= set(COLUMNS):
        raise InputError(f"{path}: came the columns {', '.join(columns)}; {_named()} are wanted.")
    found: dict[str, Terms] = {}
    for row in reader:
        where = f"{path}, line {reader.line_num}"
        if None in row or None in row.values():
            raise InputError(f"{where}: not as many cells as the first line has columns ({len(columns)}).")
        part = row["part"].strip()
        if part not in catalogue.parts_by_id:
            raise InputError(f"{where}: unknown part {part!r}{meant(part, list(catalogue.parts_by_id))}.")
        if part in found:
            raise InputError(f"{where}: the part {part!r} comes twice. Give each part one line.")
        found[part] = _terms(row, where, usual)
    return found


def _terms(row: Mapping[str, str], where: str, usual: Terms) -> Terms:
    given = {name: row[name].strip() for name in COLUMNS[1:] if row.get(name, "").strip()}
    try:
        numbers = {name: tuple(map(float, cell.split())) for name, cell in given.items()}
        changed = {name: cells if name == "pieces" else _only(cells) for name, cells in numbers.items()}
    except ValueError:
        raise InputError(f"{where}: {given} came. Numbers with a point are wanted.") from None
    try:
        return replace(usual, **changed)  # type: ignore[arg-type]
    except InputError as error:
        raise InputError(f"{where}: {error}") from None


def _only(cells: tuple[float, ...]) -> float:
    (number,) = cells
    return number


def _named() -> str:
    return ", ".join(COLUMNS)

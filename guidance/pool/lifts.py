"""The lifts of a pool as they are counted: of each what its photos and answers said, and what a person confirmed.

JSON lines: each line is an answer of `hoistlore identify --each` as it is, or an object with the same `control_box` and
`actuator` (`probabilities`, `set`), and where known `lift` (its name), `confirmed` (`generation`, `lowering`) and
`minutes` (to go and look). CSV, with the suffix `.csv`: columns `lift`, `minutes`, `confirmed_generation`,
`confirmed_lowering`, `generation.ID` and `lowering.ID` (probabilities), `generation_set`, `lowering_set` (ids with
spaces between them). Parquet, with the suffix `.parquet`: rows of the same objects, such as `hoistlore audit` writes.
What is empty or left out is not known. Probabilities are those BEFORE the person's word.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from classifier.errors import PoolError
from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import nearest
from guidance.documents.strict_json import loads

COMPONENTS = {"generation": "control_box", "lowering": "actuator"}
"""What is counted, and the section of the answer that says it."""

MOST_LIFTS = 100_000
WANTED_FILE = "Name a file of JSON lines, a .csv file, or lifts.parquet of an audit."
PARQUET_COLUMNS = ("lift", "catalogue", "control_box", "actuator", "confirmed", "minutes")
ABOUT_ONE = 0.01
"""Probabilities may have been rounded; a sum further from 1 is a mistake."""


@dataclass(frozen=True)
class Told:
    """One component of one lift. No `probabilities`: it was not seen. `values`: the prediction set."""

    probabilities: Mapping[str, float]
    values: tuple[str, ...] = ()
    confirmed: str | None = None


@dataclass(frozen=True)
class PoolLift:
    """One lift; `minutes` is the effort to go and look at it, None where nobody said."""

    lift: str
    generation: Told
    lowering: Told
    minutes: float | None = None

    def told(self, component: str) -> Told:
        return self.generation if component == "generation" else self.lowering


def classes_of(component: str, catalogue: Catalogue) -> tuple[str, ...]:
    """The values that a component can have: generations with `unlisted`, or mechanisms."""
    return (*catalogue.generations_by_id, UNLISTED) if component == "generation" else CONCEPTS["lowering"]


def load_lifts(path: Path, catalogue: Catalogue) -> list[PoolLift]:
    """Read a pool, each lift once. Raises `PoolError` with the line."""
    lifts: dict[str, PoolLift] = {}
    for where, row in _rows(path, catalogue):
        lift = _lift(row, where, catalogue)
        if lift.lift in lifts:
            raise PoolError(f"{where}: the lift {lift.lift!r} comes twice. Give each lift one line.")
        if len(lifts) == MOST_LIFTS:
            raise PoolError(f"{path}: more than {MOST_LIFTS} lifts came. Count them in parts.")
        lifts[lift.lift] = lift
    if not lifts:
        raise PoolError(f"{path}: no lift stands there. One lift a line is wanted.")
    return list(lifts.values())


def _rows(path: Path, catalogue: Catalogue) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each lift as an object, with where it stands."""
    if path.suffix.lower() == ".parquet":
        yield from _parquet_rows(path)
        return
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no text in UTF-8"
        raise PoolError(f"{path}: {why}. {WANTED_FILE}") from None
    yield from _csv_rows(text, path, catalogue) if path.suffix.lower() == ".csv" else _json_rows(text, path)


def _parquet_rows(path: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    try:
        from pyarrow import ArrowException, parquet  # an extra that only such a file needs
    except ModuleNotFoundError:
        raise PoolError(f"{path}: Parquet wants the extra `audit` installed (pyarrow is missing).") from None
    try:
        table = parquet.ParquetFile(path)
    except (ArrowException, OSError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else "it is no whole Parquet file"
        raise PoolError(f"{path}: {why}. {WANTED_FILE}") from None
    columns = [name for name in table.schema_arrow.names if name in PARQUET_COLUMNS]
    if "lift" not in columns:
        came = ", ".join(table.schema_arrow.names[:8])
        raise PoolError(f"{path}: no column 'lift' stands there; there are: {came}. Give lifts.parquet of an audit.")
    number = 0
    for batch in table.iter_batches(columns=columns):
        for row in batch.to_pylist(maps_as_pydicts="strict"):
            number += 1
            yield f"{path}, row {number}", {name: value for name, value in row.items() if value is not None}


def _json_rows(text: str, path: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        where = f"{path}, line {number}"
        try:
            row = loads(line)
        except (ValueError, RecursionError) as error:
            raise PoolError(f"{where}: no JSON ({error}). One object a line is wanted.") from None
        if not isinstance(row, dict):
            raise PoolError(f"{where}: {line[:40]!r} came. An object with control_box and actuator is wanted.")
        yield where, row


def _csv_rows(text: str, path: Path, catalogue: Catalogue) -> Iterator[tuple[str, dict[str, Any]]]:
    """The same objects out of a table."""
    reader = csv.DictReader(io.StringIO(text))
    known = ["lift", "minutes"]
    for component in COMPONENTS:
        known += [f"confirmed_{component}", f"{component}_set"]
        known += [f"{component}.{value}" for value in classes_of(component, catalogue)]
    columns = [name or "" for name in reader.fieldnames or []]
    strange = [name for name in columns if name not in known]
    if "lift" not in columns or strange:
        wrong = f"column {strange[0]!r} is not known{nearest(strange[0], known)}" if strange else "no column 'lift'"
        raise PoolError(f"{path}: {wrong}. Columns may be: {', '.join(known)}.")
    for row in reader:
        where = f"{path}, line {reader.line_num}"
        if None in row or None in row.values():
            raise PoolError(f"{where}: not as many cells as the first line has columns ({len(columns)}).")
        yield where, _from_cells({name: cell.strip() for name, cell in row.items()}, where, catalogue)


def _from_cells(cells: Mapping[str, str], where: str, catalogue: Catalogue) -> dict[str, Any]:
    row: dict[str, Any] = {"lift": cells["lift"], "confirmed": {}}
    if cells.get("minutes"):
        row["minutes"] = _number(cells["minutes"], where, "minutes")
    for component, section in COMPONENTS.items():
        named = {value: cells.get(f"{component}.{value}", "") for value in classes_of(component, catalogue)}
        probabilities = {v: _number(cell, where, f"{component}.{v}") for v, cell in named.items() if cell}
        row[section] = {"probabilities": probabilities, "set": cells.get(f"{component}_set", "").split()}
        if cells.get(f"confirmed_{component}"):
            row["confirmed"][component] = cells[f"confirmed_{component}"]
    return row


def _number(cell: str, where: str, column: str) -> float:
    try:
        return float(cell)
    except ValueError:
        raise PoolError(f"{where}: {column} is {cell!r}. A number with a point is wanted.") from None


def _lift(row: Mapping[str, Any], where: str, catalogue: Catalogue) -> PoolLift:
    _same_catalogue(row.get("catalogue"), where, catalogue)
    if not any(section in row for section in (*COMPONENTS.values(), "confirmed")):
        raise PoolError(f"{where}: neither control_box nor actuator stands there. Give an answer of `identify --each`.")
    confirmed = row.get("confirmed") or {}
    if not isinstance(confirmed, dict) or not set(confirmed) <= set(COMPONENTS):
        raise PoolError(f"{where}: confirmed is {confirmed!r}. Of generation and lowering an object is wanted.")
    minutes = row.get("minutes")
    if minutes is not None and not (_is_number(minutes) and 0 < minutes < float("inf")):
        raise PoolError(f"{where}: minutes is {minutes!r}. A number above 0 is wanted.")
    told = {
        component: _told(row.get(section), confirmed.get(component), component, where, catalogue)
        for component, section in COMPONENTS.items()
    }
    return PoolLift(_name(row, where), told["generation"], told["lowering"], minutes)


def _name(row: Mapping[str, Any], where: str) -> str:
    photos = row.get("photos")
    given = row.get("lift")
    if given is None and isinstance(photos, list) and photos and isinstance(photos[0], dict):
        given = photos[0].get("name")
    if not isinstance(given, str) or not given:
        raise PoolError(f"{where}: the lift has no name. Give one in `lift`.")
    return given


def _same_catalogue(came: Any, where: str, catalogue: Catalogue) -> None:
    pool = catalogue.pool
    if came is not None and came != {"id": pool.id, "version": pool.version}:
        raise PoolError(
            f"{where}: answered with the catalogue {came!r}, and {pool.id} {pool.version} is in use. "
            "Give --catalogue the one that the answers were made with, or identify again."
        )


def _told(section: Any, confirmed: Any, component: str, where: str, catalogue: Catalogue) -> Told:
    known = classes_of(component, catalogue)
    section = section or {}
    if not isinstance(section, dict):
        raise PoolError(f"{where}: {COMPONENTS[component]} is {section!r}. An object is wanted.")
    probabilities, values = section.get("probabilities") or {}, section.get("set") or []
    if not isinstance(probabilities, dict) or not isinstance(values, list):
        raise PoolError(f"{where}: want probabilities as an object and set as a list of {component}.")
    for value in [*probabilities, *values, *([confirmed] if confirmed is not None else [])]:
        if value not in known:
            raise PoolError(
                f"{where}: unknown {component} {value!r}{nearest(value, known)}; known are {', '.join(known)}"
            )
    if section.get("decision") == "not_seen":  # then the probabilities are the catalogue's shares and say nothing
        return Told({}, (), confirmed)
    return Told(_checked(probabilities, component, where), tuple(values), confirmed)


def _checked(probabilities: Mapping[str, Any], component: str, where: str) -> dict[str, float]:
    """The probabilities scaled to sum 1, or nothing where none came."""
    for value, p in probabilities.items():
        if not (_is_number(p) and 0 <= p <= 1):
            raise PoolError(f"{where}: the probability of {value} is {p!r}. A number from 0 to 1 is wanted.")
    total = sum(probabilities.values())
    if probabilities and abs(total - 1) > ABOUT_ONE:
        raise PoolError(f"{where}: the probabilities of {component} sum to {total:.3f}. They have to sum to 1.")
    return {value: p / total for value, p in probabilities.items()}


def _is_number(came: Any) -> bool:
    return isinstance(came, int | float) and not isinstance(came, bool)

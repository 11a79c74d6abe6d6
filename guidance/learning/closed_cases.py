"""Closed cases as learning takes them: what lift and complaint it was, which fault was confirmed, and how."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from classifier.errors import CaseError
from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import PROOFS, Proof
from guidance.catalogue.rows import nearest


@dataclass(frozen=True)
class ClosedCase:
    """One case whose fault was confirmed.

    `generation` and `symptom` are empty where they are not known. `case` is any mark of the case's own, so that it is
    counted once; two cases that teach the same are equal whatever their marks.
    """

    setting: str
    fault: str
    generation: str = ""
    symptom: str = ""
    proof: Proof = "mended"
    case: str = field(default="", compare=False)


def load_cases(path: Path) -> list[ClosedCase]:
    """Read one JSON object a line, each case once. Raises `CaseError` with the line."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CaseError(f"{path}: cannot be read: {error}. Name a file with one JSON object a line.") from None
    read = [_read(line, f"{path}, line {number}") for number, line in enumerate(lines, 1) if line.strip()]
    return each_once(read)


def each_once(cases: Iterable[ClosedCase]) -> list[ClosedCase]:
    """Leave out a case that comes again under its own mark; what it says last holds."""
    marked: dict[object, ClosedCase] = {}
    for number, case in enumerate(cases):
        marked[case.case or number] = case
    return list(marked.values())


def _read(line: str, where: str) -> ClosedCase:
    want = '{"setting": …, "fault": …}, and "generation", "symptom", "proof", "case" where they are known'
    try:
        row: Any = json.loads(line)
    except (ValueError, RecursionError):
        row = None
    names = {known.name for known in fields(ClosedCase)}
    if not isinstance(row, dict) or not {"setting", "fault"} <= set(row) <= names:
        raise CaseError(f"{where}: want {want}, got {line[:60]!r}")
    if not all(isinstance(value, str) for value in row.values()):
        raise CaseError(f"{where}: want text for every field, got {line[:60]!r}")
    return ClosedCase(**row)


def check_cases(cases: Iterable[ClosedCase], catalogue: Catalogue) -> None:
    """Refuse a setting, fault, generation, symptom or proof that the catalogue does not know."""
    for case in cases:
        for what, given, known in _named(case, catalogue):
            if given not in known:
                raise CaseError(f"closed case with unknown {what} {given!r}{nearest(given, list(known))}")


def known_cases(cases: Iterable[ClosedCase], catalogue: Catalogue) -> list[ClosedCase]:
    """Those that the catalogue knows: it may have lost a fault since a case was closed."""
    if catalogue.fault_settings is None:
        return []
    return [case for case in cases if all(given in known for _, given, known in _named(case, catalogue))]


def _named(case: ClosedCase, catalogue: Catalogue) -> list[tuple[str, str, Sequence[str]]]:
    settings = catalogue.contexts_by_id[catalogue.fault_model.setting].options
    return [
        ("setting", case.setting, list(settings)),
        ("fault", case.fault, list(catalogue.faults_by_id)),
        ("generation", case.generation, ["", *catalogue.generations_by_id, UNLISTED]),
        ("symptom", case.symptom, ["", *catalogue.symptoms_by_id]),
        ("proof", case.proof, list(PROOFS)),
    ]

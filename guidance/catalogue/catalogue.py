"""A catalogue: whose lifts these are, read from TOML files, checked whole, then never changed.

A catalogue is one `.toml` file or a directory of them. The files are merged: a section (a top-level key) stands in one
file only, so that every row has one place.
"""

import re
import tomllib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from classifier.errors import CatalogueError
from classifier.taxonomy import CONCEPTS
from guidance.catalogue.checks import problems_of
from guidance.catalogue.derived_questions import correction, which_box
from guidance.catalogue.fault_rows import FaultSections
from guidance.catalogue.rows import (
    ConceptWords,
    Corrections,
    Decisions,
    Generation,
    Mechanism,
    NextStep,
    Observation,
    PlacedSentence,
    Pool,
    Row,
    View,
    WhichBox,
    nearest,
)

DEMO_CATALOGUE = Path(__file__).parent / "demo"
"""The invented equipment loan pool that comes with the project."""


class Catalogue(FaultSections):
    """A whole catalogue; `load` makes one."""

    pool: Pool
    decision: Decisions
    next_step: NextStep
    generations: tuple[Generation, ...] = Field(min_length=1)
    mechanisms: tuple[Mechanism, ...] = Field(min_length=1)
    observations: tuple[Observation, ...]
    which_box: WhichBox
    corrections: Corrections
    views: tuple[View, ...]
    concepts: dict[str, ConceptWords]
    sentences: tuple[PlacedSentence, ...]

    @cached_property
    def generations_by_id(self) -> dict[str, Generation]:
        return {g.id: g for g in self.generations}

    @cached_property
    def mechanisms_by_id(self) -> dict[str, Mechanism]:
        return {m.id: m for m in self.mechanisms}

    @cached_property
    def questions(self) -> tuple[Observation, ...]:
        """Every question: which of the listed boxes it is most like, and the rows of `observations`."""
        return (which_box(self), *self.observations)

    @cached_property
    def observations_by_id(self) -> dict[str, Observation]:
        """Every observation that may be given: the questions, and one correction for each concept."""
        return {o.id: o for o in (*self.questions, *(correction(concept, self) for concept in CONCEPTS))}

    @cached_property
    def trait_values(self) -> dict[str, tuple[str, ...]]:
        """Traits that no photo shows, each with its values: what some question is about and is no concept."""
        return {o.about: tuple(o.reliability) for o in self.observations if o.about and o.about not in CONCEPTS}


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a catalogue: in which file, at which row and field, and why."""

    file: str
    where: str
    reason: str

    def __str__(self) -> str:
        return f"{self.file}: {self.where}: {self.reason}" if self.where else f"{self.file}: {self.reason}"


def load(path: Path) -> Catalogue:
    """Read and check a catalogue. Raises `CatalogueError` with every problem found: file, row and reason."""
    files = _files(path)
    sections: dict[str, Any] = {}
    texts: dict[str, tuple[str, str]] = {}
    for file in files:
        text, content = _parse(file)
        for section, rows in content.items():
            if section in texts:
                raise CatalogueError((Problem(file.name, section, f"also in {texts[section][0]}; keep one"),))
            sections[section], texts[section] = rows, (file.name, text)
    try:
        catalogue = Catalogue.model_validate(sections)
    except ValidationError as error:
        raise CatalogueError(
            tuple(_problem(d["loc"], _reason(d), sections, texts, path.name) for d in error.errors())
        ) from None
    found = tuple(_problem(loc, reason, sections, texts, path.name) for loc, reason in problems_of(catalogue))
    if found:
        raise CatalogueError(found)
    return catalogue


def _files(path: Path) -> list[Path]:
    files = sorted(path.glob("*.toml")) if path.is_dir() else [path] if path.is_file() else []
    if not files:
        raise CatalogueError((Problem(str(path), "", "no catalogue here; give a .toml file or a directory of them"),))
    return files


def _parse(file: Path) -> tuple[str, dict[str, Any]]:
    try:
        text = file.read_text(encoding="utf-8")
        return text, tomllib.loads(text)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CatalogueError((Problem(file.name, "", f"cannot be read as TOML: {error}"),)) from None


def _problem(loc: tuple, reason: str, sections: dict, texts: dict[str, tuple[str, str]], name: str) -> Problem:
    """Turn a path such as ("generations", 1, "battery") into a file, a line and a row that a person can find."""
    section = str(loc[0]) if loc else ""
    file, text = texts.get(section, (name, ""))
    where = section
    for step in loc[1:]:
        where += f"[{step}]" if isinstance(step, int) else f".{step}"
    if len(loc) > 1 and isinstance(loc[1], int):
        where = f"{where}{_row_name(sections[section], loc[1])}{_line(text, section, loc[1])}"
    return Problem(file, where, reason)


def _row_name(rows: Any, index: int) -> str:
    row = rows[index] if isinstance(rows, list) and index < len(rows) else None
    return f" ('{row['id']}')" if isinstance(row, dict) and "id" in row else ""


def _line(text: str, section: str, index: int) -> str:
    """Give the line of the index-th `[[section]]` header; nothing for rows that are written inline."""
    headers = [n for n, line in enumerate(text.splitlines(), 1) if line.split("#")[0].strip() == f"[[{section}]]"]
    return f", row at line {headers[index]}" if index < len(headers) else ""


def _reason(detail: dict[str, Any]) -> str:
    """Say what came and what is wanted, with the nearest known word for a typo."""
    came = detail["input"]
    if detail["type"] == "literal_error":
        wanted = re.findall(r"'([^']+)'", detail["ctx"]["expected"])
        return f"came {came!r}, wanted one of {', '.join(wanted)}{nearest(came, wanted)}"
    if detail["type"] == "extra_forbidden":
        return f"no such field or section{nearest(detail['loc'][-1], _known_fields())}"
    if detail["type"] == "missing":
        return "is missing; add it"
    return f"came {came!r}: {detail['msg']}"


def _known_fields() -> set[str]:
    models: list[type[Row]] = [Row]
    for model in models:  # grows while it is walked
        models += model.__subclasses__()
    return {field for model in models for field in model.model_fields}

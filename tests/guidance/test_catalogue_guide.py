"""The field guide names every section and field of a catalogue and no other, and its examples are right.

A table belongs to the headers in its heading, such as `[[parts]]`, or in the lines below it; "Every row" to all.
"""

import re
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import get_args

import pytest
from jsonschema import Draft202012Validator

from classifier.taxonomy import CONCEPTS, UNLISTED
from guidance.catalogue import acts, fault_rows, rows
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.fault_network import GENERATION
from guidance.catalogue.meanings import field_meaning
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE, Row
from guidance.catalogue.schema import SET_BY_THE_TOOL, catalogue_schema
from guidance.electricity.readings import Found

GUIDE = Path(__file__).parents[2] / "docs" / "catalogue.md"
EVERY = "Every row that has them"
SCHEMA = catalogue_schema()


def rows_below(row: type[Row] = Catalogue, path: tuple[str, ...] = ()) -> Iterator[tuple[str, type[Row]]]:
    """Every row of a catalogue with the dotted name by which TOML calls it, sections first."""
    for name, field in row.model_fields.items():
        kinds: list = [field.annotation]
        for kind in kinds:
            kinds += get_args(kind)
        for kind in kinds:
            if isinstance(kind, type) and issubclass(kind, Row):
                yield ".".join((*path, name)), kind
                yield from rows_below(kind, (*path, name))


ROW_OF = dict(rows_below())


@cache
def tables() -> dict[str, dict[str, tuple[bool, str]]]:
    """heading -> field -> (bold, example)."""
    found: dict[str, dict[str, tuple[bool, str]]] = {}
    heading = ""
    for line in GUIDE.read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            heading = line.lstrip("# ")
        elif line.startswith(("Of `[", "`[")):
            heading += f" {line}"
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("|") and len(cells) == 4 and "`" in cells[0] and heading != "Names that are fixed":
            fields, examples = re.findall(r"(\*\*)?`(\w+)`", cells[0]), re.findall(r"`([^`]+)`", cells[2])
            assert len(fields) == len(examples), f"one example a field: {line}"
            for (bold, name), example in zip(fields, examples, strict=True):
                found.setdefault(heading, {})[name] = (bool(bold), example)
            assert all(cells), f"an empty cell: {line}"
    return found


def headers(heading: str) -> list[str]:
    return [name.replace(".NAME", "") for name in re.findall(r"`\[\[?([\w.]+)\]\]?`", heading)]


def told_of(name: str) -> dict[str, tuple[bool, str]]:
    """Every field that the guide tells of the row with this TOML name, the nearest table last."""
    own = [heading for heading in tables() if name in headers(heading)]
    told: dict[str, tuple[bool, str]] = dict(tables()[EVERY])
    for heading in sorted(own, key=lambda heading: -len(headers(heading))):
        told |= tables()[heading]
    return told


@pytest.mark.parametrize("name", sorted(ROW_OF))
def test_every_field_is_told(name: str):
    row, told = ROW_OF[name], told_of(name)
    missing = [field for field in row.model_fields if field not in told
               and f"{name}.{field}" not in ROW_OF and (row.__name__, field) not in SET_BY_THE_TOOL]  # fmt: skip
    lines = "\n".join(f"| `{field}` | {field_meaning(row, field)} | `…` | … |" for field in missing)
    assert not missing, f"docs/catalogue.md lacks, in the table under the heading that names {name}:\n{lines}"


@pytest.mark.parametrize("heading", sorted(set(tables()) - {EVERY}))
def test_no_field_is_invented(heading: str):
    assert headers(heading), f"the table under '{heading}' belongs to no header such as [[parts]]"
    for name in headers(heading):
        assert name in ROW_OF, f"there is no {name}; {GUIDE.name} has it in '{heading}'"
        known = ROW_OF[name].model_fields
        extra = [f for f in tables()[heading] if f not in known or (ROW_OF[name].__name__, f) in SET_BY_THE_TOOL]
        if len(headers(heading)) > 1:
            extra = [f for f in extra if f != "roles"]
        assert not extra, f"{name} has no {', '.join(extra)}; take it out of '{heading}' in {GUIDE.name}"


@pytest.mark.parametrize("name", sorted(ROW_OF))
def test_bold_is_what_has_to_be_there(name: str):
    for heading in (heading for heading in tables() if name in headers(heading)):
        for field, (bold, _) in tables()[heading].items():
            info = ROW_OF[name].model_fields.get(field)
            assert info is None or bold == info.is_required(), f"{name}.{field} in '{heading}'"


@pytest.mark.parametrize("name", sorted(ROW_OF))
def test_every_example_is_right(name: str):
    definition = SCHEMA["$defs"][ROW_OF[name].__name__]["properties"]
    for heading in (heading for heading in tables() if name in headers(heading) or heading == EVERY):
        for field, (_, example) in tables()[heading].items():
            if field in definition:
                check = Draft202012Validator({"$defs": SCHEMA["$defs"], **definition[field]})
                wrong = [error.message for error in check.iter_errors(tomllib.loads(f"it = {example}")["it"])]
                assert wrong == [], f"{heading}: {field}"


def test_every_section_is_told():
    told = {name.split(".")[0] for heading in tables() for name in headers(heading)}
    assert sorted(set(Catalogue.model_fields) - told) == []


def test_every_fixed_name_is_told():
    fixed = GUIDE.read_text(encoding="utf-8").split("## Names that are fixed")[1].split("\n## ")[0]
    words = {*rows.ROLES, *acts.ACTS, *acts.NEEDS, *get_args(acts.Gives), *get_args(fault_rows.Moment),
             *get_args(fault_rows.Access), *get_args(Found), *CONCEPTS, UNLISTED, UNSURE, WHICH_BOX, GENERATION,
             PERSON_IN_SLING, *(value for values in CONCEPTS.values() for value in values)}  # fmt: skip
    for row in (rows.PlacedSentence, fault_rows.Check, fault_rows.Repair, rows.Sentence):
        for field in ("place", "kind", "signal"):
            if field in row.model_fields:
                words |= {w for kind in (row.model_fields[field].annotation,) for w in _words(kind)}
    assert sorted(word for word in words if f"`{word}`" not in fixed) == []


def _words(kind: object) -> Iterator[str]:
    for inner in get_args(kind):
        if isinstance(inner, str):
            yield inner
        yield from _words(inner)


def test_it_can_be_read_in_one_sitting():
    assert len(GUIDE.read_bytes()) <= 24_000

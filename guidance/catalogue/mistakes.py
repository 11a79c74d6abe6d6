"""What is wrong with a catalogue, said so that somebody who writes one knows what to change: what came, what is wanted.

Of a value that has the wrong form, by pydantic's kinds of error; of text that is no TOML, by what people mistype.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, get_args, get_origin

from guidance.catalogue.meanings import field_meaning, section_meaning, section_row
from guidance.catalogue.places import as_written, line_at, lines_of
from guidance.catalogue.rows import Row, meant, nearest

Loc = tuple[str | int, ...]

LONGEST_SHOWN = 60
"""Of a value that came so many characters are shown."""

SYNTAX = {
    "Invalid value": "text stands in straight quotes, a number has a point (0.5), yes and no are true and false",
    "Cannot overwrite": "the same field stands twice in one row; keep one",
    "Cannot declare": "the same [section] stands twice; rows of a section begin with [[section]], in two brackets",
    "Expected '='": "a line is FIELD = VALUE",
    "Expected newline": "something stands behind the value; a decimal has a point (0.5), a list stands in [ ]",
    "Expected ']": "a section is [NAME] on a line of its own, a row of it [[NAME]]",
    "Unclosed": "a list or table is not closed, or a comma is missing between two values",
    "Illegal character": "text ends on its own line, with the quote that it began with",
    "Unterminated": "text ends with the quote that it began with",
    "Invalid initial character": "a field's name is in small letters, without quotes, and stands first",
    "Invalid statement": "a line is FIELD = VALUE, [SECTION], or a comment after #",
    "Unescaped": "write a backslash in text twice, or put the text in single quotes",
}
"""Words of the parser, and what people mistyped when it says them."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a catalogue: in which file, at which row, field and line, and why."""

    file: str
    where: str
    reason: str

    def __str__(self) -> str:
        return f"{self.file}: {self.where}: {self.reason}" if self.where else f"{self.file}: {self.reason}"


def syntax_problem(file: str, text: str, error: Exception) -> Problem:
    """Show the line that is no TOML and say what is usually wrong with such a line."""
    said, _, place = str(error).partition(" (at ")
    advice = next(
        (words for start, words in SYNTAX.items() if said.startswith(start)), "write it as its neighbours are"
    )
    number = re.match(r"line (\d+)", place)
    line = text.splitlines()[int(number[1]) - 1].strip() if number else ""
    if said.startswith("Cannot overwrite") and line.startswith("["):
        advice = "this header stands twice; rows begin with [[NAME]], every one of them in two brackets"
    return Problem(file, place.rstrip(")"), f"cannot be read as TOML: {said} in {shown(line)}; {advice}")


def problem(loc: Loc, reason: str, sections: dict[str, Any], texts: dict[str, tuple[str, str]], name: str) -> Problem:
    """Turn a path such as ("generations", 1, "battery") into a file, rows by their ids, and a line."""
    loc = tuple(step for step in loc if step != "[key]")  # pydantic's mark that a name, not its value, is wrong
    section = str(loc[0]) if loc else ""
    file, text = texts.get(section, (name, ""))
    where = as_written(loc)
    known = [f"'{row}'" for row in _row_ids(loc, sections)]
    line = line_at(lines_of(text), loc)
    known += [f"line {line}"] if line else []
    return Problem(file, f"{where} ({', '.join(known)})" if known else where, reason)


def _row_ids(loc: Loc, sections: dict[str, Any]) -> list[str]:
    """Ids of the rows on the way to a path, the outermost first."""
    found: list[str] = []
    value: Any = sections
    for step in loc:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            break
        if isinstance(step, int) and isinstance(value, dict) and isinstance(value.get("id"), str):
            found.append(value["id"])
    return found


def reason(detail: dict[str, Any], catalogue: type[Row]) -> str:
    """Say of one of pydantic's errors what came and what is wanted."""
    kind, loc = detail["type"], detail["loc"]
    row = _row_at(catalogue, loc[:-1])
    if kind == "extra_forbidden":
        return _unknown_field(str(loc[-1]), row, catalogue)
    if kind == "missing":
        return _missing(loc, row, catalogue)
    if kind == "value_error":
        return str(detail["ctx"]["error"])
    return f"came {shown(detail['input'])}, wanted {_wanted(detail, catalogue)}{_stray(loc, catalogue)}"


def _unknown_field(field: str, row: type[Row] | None, catalogue: type[Row]) -> str:
    if row is None or row is catalogue:
        return f"no such section{meant(field, list(catalogue.model_fields))}"
    elsewhere = [name for name in catalogue.model_fields if field in section_row(catalogue, name).model_fields]
    said = f"no such field here{meant(field, list(row.model_fields))}"
    ended = said if said.endswith(("?", ".")) else f"{said}."
    return f"{ended} A field of that name belongs to {', '.join(elsewhere)}." if elsewhere else said


def _missing(loc: Loc, row: type[Row] | None, catalogue: type[Row]) -> str:
    field = loc[-1]
    if isinstance(field, int):
        return "is missing; wanted two numbers, the least first"
    if row is catalogue:
        return f"is missing; add the section: {section_meaning(catalogue, field)}"
    meaning = field_meaning(row, field) if row else ""
    return f"is missing; add {field} = …{' (' * bool(meaning)}{meaning}{')' * bool(meaning)}"


def _wanted(detail: dict[str, Any], catalogue: type[Row]) -> str:
    """What a field wants, by the kind of pydantic's error."""
    kind, came, context = detail["type"], detail["input"], detail.get("ctx", {})
    if kind == "literal_error":
        known = re.findall(r"'([^']+)'", context["expected"])
        return f"one of {', '.join(known)}{nearest(came, known)}"
    if kind in BOUNDS:
        words, bound = BOUNDS[kind][0], context[BOUNDS[kind][1]]
        per_cent = f"; {came:g} % is written {came / 100:g}" if bound == 1 and 2 <= came <= 100 else ""
        return f"a number {words} {bound:g}{per_cent}"
    if kind == "string_pattern_mismatch":
        return f"small letters, digits, - and _, beginning with a letter or digit{_slug(came)}"
    if kind in ("too_short", "too_long"):
        few = kind == "too_short"
        return f"at {'least' if few else 'most'} {context['min_length' if few else 'max_length']}"
    if kind == "tuple_type":
        return _list_wanted(detail["loc"], catalogue)
    if kind == "model_type":
        header = f": [{detail['loc'][0]}] in single brackets" if isinstance(came, list) else ""
        return f"one table with fields{header}"
    return WANTED.get(kind) or detail["msg"]


BOUNDS = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("of at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("of at most", "le"),
}

WANTED = {
    "string_type": 'text in quotes, "…"',
    "string_too_short": "some text",
    "float_type": "a number, without quotes",
    "int_type": "a whole number, without quotes",
    "int_from_float": "a whole number",
    "bool_type": "true or false, without quotes",
    "finite_number": "a number that is finite",
    "dict_type": "a table, { NAME = VALUE }",
}


def _slug(came: str) -> str:
    plain = re.sub(r"[^a-z0-9_-]+", "_", came.lower()).strip("_-")
    return f"; for example '{plain}'" if plain else ""


def _list_wanted(loc: Loc, catalogue: type[Row]) -> str:
    """A list; rows of a section, or of a row, begin with a header in two brackets."""
    if _row_at(catalogue, (*loc, 0)):
        header = ".".join(str(step) for step in loc if isinstance(step, str))
        return f"rows, each under a header of its own in two brackets: [[{header}]]"
    return "a list in square brackets, [ … ]"


def _stray(loc: Loc, catalogue: type[Row]) -> str:
    """Of a field of the row that slipped into a table of it: TOML gives a line to the header above it."""
    for n in range(len(loc) - 1, 1, -1):
        row = _row_at(catalogue, loc[: n - 1])
        if isinstance(loc[n], str) and row and loc[n - 1] in row.model_fields and loc[n] in row.model_fields:
            return f"; if it is the row's own field, move it above the header of the table '{loc[n - 1]}'"
    return ""


def _row_at(catalogue: type[Row], loc: Sequence[str | int]) -> type[Row] | None:
    """The class of the row that a path leads to; none inside a table of values."""
    at: Any = catalogue
    for step in loc:
        if isinstance(at, type) and issubclass(at, Row):
            at = at.model_fields[step].annotation if step in at.model_fields else None
        elif get_origin(at) in (tuple, dict):
            at = get_args(at)[0 if get_origin(at) is tuple else 1]
        at = next((kind for kind in get_args(at) if kind is not type(None)), at) if _is_optional(at) else at
    return at if isinstance(at, type) and issubclass(at, Row) else None


def _is_optional(kind: Any) -> bool:
    return type(None) in get_args(kind)


def shown(came: Any) -> str:
    """A value as a catalogue has it, cut to a length that fits a line."""
    if isinstance(came, bool):
        return str(came).lower()
    if isinstance(came, dict):
        return f"a table with {', '.join(came) or 'nothing in it'}"
    if isinstance(came, list) and came and all(isinstance(row, dict) for row in came):
        return f"{len(came)} row{'s' * (len(came) > 1)}"
    text = repr(came) if isinstance(came, str | int | float | list) else str(came)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]} …"

"""Tables for a spreadsheet."""

import csv
import io
from collections.abc import Sequence
from typing import Any


def as_csv(rows: Sequence[dict[str, Any]]) -> str:
    """Rows with one set of columns as a table for a spreadsheet, which takes none of their words for a formula."""
    out = io.StringIO()
    if rows:
        writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows({name: no_formula(value) for name, value in row.items()} for row in rows)
    return out.getvalue()


def no_formula(value: Any) -> Any:
    """The value of a cell, such that no spreadsheet takes a word for a formula."""
    return f"'{value}" if isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")) else value

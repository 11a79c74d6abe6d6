"""The control boxes that should come oftener, or count more: a JSON list with one value for each concept a row."""

import argparse
import json
from pathlib import Path

from classifier.taxonomy import CONTROL_BOX_CONCEPTS

SHARE = 0.5
"""Of the boxes that are of the given combinations, where some are; all others have any values."""


def read_combinations(path: str) -> tuple[dict[str, str], ...]:
    """The rows of a file, checked. Raises what argparse prints as its message: what came, and what is wanted."""
    wanted = ", ".join(f"{concept}: {'|'.join(values)}" for concept, values in CONTROL_BOX_CONCEPTS.items())
    try:
        rows = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise argparse.ArgumentTypeError(
            f"{path}: {problem}; a JSON list of rows is wanted, each with {wanted}"
        ) from None
    if not isinstance(rows, list) or not rows:
        raise argparse.ArgumentTypeError(f"{path} holds no list of rows; wanted is one row or more, {wanted}")
    for number, row in enumerate(rows, 1):
        if not isinstance(row, dict) or set(row) != set(CONTROL_BOX_CONCEPTS) or not all(map(_is_value, row.items())):
            raise argparse.ArgumentTypeError(f"{path}, row {number}: {row} came; wanted is {wanted}")
    return tuple(rows)


def _is_value(named: tuple[str, object]) -> bool:
    concept, value = named
    return value in CONTROL_BOX_CONCEPTS[concept]

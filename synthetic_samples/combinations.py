"""The control boxes that should come oftener, or count more: a JSON list with one value for each concept a row."""

import argparse
import json
from pathlib import Path

from classifier.taxonomy import CONTROL_BOX_CONCEPTS

SHARE = 0.5
"""Of the boxes that are of the given combinations, where some are; all others have any values."""


def read_combinations(path: str) -> tuple[dict[str, str], ...]:
    """Read and check the rows of a file; argparse turns the error into its message."""
    rows = json.loads(Path(path).read_text(encoding="utf-8"))
    for number, row in enumerate(rows, 1):
        wrong = {c: v for c, v in row.items() if v not in CONTROL_BOX_CONCEPTS.get(c, ())}
        if wrong or set(row) != set(CONTROL_BOX_CONCEPTS):
            wanted = {concept: "|".join(values) for concept, values in CONTROL_BOX_CONCEPTS.items()}
            raise argparse.ArgumentTypeError(f"{path}, row {number}: {row} came; wanted one value each of {wanted}")
    return tuple(rows)

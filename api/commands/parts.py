"""`hoistlore parts`: which spare fits, for a fault of one generation, as text, JSON, CSV or a sheet to print."""

import argparse
from pathlib import Path

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.parts.parts import as_csv, as_json, as_sheet, parts_for_fault

MISSING = 3


def run(arguments: argparse.Namespace) -> int:
    """Print the parts; status 3 when something must be confirmed before a number can be named."""
    catalogue = load(Path(arguments.catalogue) if arguments.catalogue else DEMO_CATALOGUE)
    parts = parts_for_fault(catalogue, arguments.fault, arguments.generation, arguments.lowering, arguments.role)
    if arguments.format == "json":
        print(as_json(parts))
    elif arguments.format == "csv":
        print(as_csv(parts), end="")
    else:
        title = f"Parts for {arguments.fault}" + (f", {arguments.generation}" if arguments.generation else "")
        print(as_sheet(parts, title), end="")
    return MISSING if any(row.part is None for row in parts) else 0

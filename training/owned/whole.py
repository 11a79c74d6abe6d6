"""Whether labels came whole: an export that was stopped, or copied in part, must not teach half of what was said."""

import re
from collections.abc import Collection, Mapping
from pathlib import Path

AN_EXPORTED_PICTURE = re.compile(r"photos/[0-9a-f]{24}\.jpg")
AGAIN = "export again, or copy the whole folder to a new place"


def without_table(pictures: Collection[str]) -> list[str]:
    """What is wrong with a folder that has no table, by the places of its pictures in it."""
    exported = [name for name in pictures if AN_EXPORTED_PICTURE.fullmatch(name)]
    if not exported:
        return []
    return [f"{exported[0]} and {len(exported) - 1} more pictures of an export lie here without its table; {AGAIN}"]


def cut_off(row: Mapping[str | None, object], where: str) -> list[str]:
    """What is wrong with a row of a table that has less in it than its first row names."""
    lacking = [name for name, value in row.items() if value is None]
    return [f"{where}: the row ends before {lacking[0]}; give every column, or {AGAIN}"] if lacking else []


def cut_table(text: str, columns: Collection[str], name: str) -> list[str]:
    """What is wrong with the end of a table of an export, which ends each row with a line break."""
    if "origin" in columns and not text.endswith("\n"):
        return [f"{name}: the last row has no end; {AGAIN}"]
    return []


def unnamed(folder: Path, pictures: Collection[Path], named: Collection[Path]) -> list[str]:
    """What is wrong with the table of an export, which names every picture that lies beside it."""
    lacking = sorted(str(path.relative_to(folder)) for path in set(pictures) - set(named))
    return [f"{lacking[0]} and {len(lacking) - 1} more pictures are in no row; {AGAIN}"] if lacking else []

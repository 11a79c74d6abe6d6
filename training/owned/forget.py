"""Take photos whose consent was withdrawn out of a store again, and name every model that learned from them."""

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import Path

from classifier.lineage import mark_withdrawn
from training.owned.labels import OwnedPhotoError
from training.owned.photos import photo_id, read_entries, write_entries

WITHDRAWN_FILE = "withdrawn.txt"
"""In the folder that `hoistlore photos export` writes: one origin a line."""

ORIGIN = re.compile("[0-9a-f]{24}|[0-9a-f]{20}")


@dataclass(frozen=True)
class Forgotten:
    """The photos that were taken out, and each model that learned from a withdrawn one, with those photos."""

    photos: tuple[str, ...]
    models: dict[str, list[str]]


def forget(origins: Collection[str], store: Path, weights: Path) -> Forgotten:
    """Delete the photos of these origins from a store and mark the models in a folder of weights that list them.

    The pictures go first: a run that was stopped leaves lines without pictures, and the same command again ends it.
    """
    entries = read_entries(store)
    gone = [entry for entry in entries if photo_id(entry) in origins]
    for entry in gone:
        (store / entry["file"]).unlink(missing_ok=True)
    if gone:
        write_entries(store, [entry for entry in entries if photo_id(entry) not in origins])
    return Forgotten(tuple(photo_id(entry) for entry in gone), mark_withdrawn(origins, weights))


def drop_lost(store: Path) -> int:
    """Take the lines out of a store whose picture is gone; how many. Nobody withdrew these, so no model is marked."""
    entries = read_entries(store)
    there = [entry for entry in entries if (store / entry["file"]).is_file()]
    if len(there) < len(entries):
        write_entries(store, there)
    return len(entries) - len(there)


def origins_named(named: Iterable[str]) -> set[str]:
    """The origins that a command names: as they are, or in a file or an exported folder.

    Raises `OwnedPhotoError` for what is none of these.
    """
    origins: set[str] = set()
    for name in named:
        path = Path(name)
        path = path / WITHDRAWN_FILE if path.is_dir() else path
        lines = path.read_text("utf-8").split() if path.is_file() else [name]
        if strange := [line for line in lines if not ORIGIN.fullmatch(line)]:
            raise OwnedPhotoError(
                [f"{name}: {strange[0]!r} is no origin; name origins, a {WITHDRAWN_FILE}, or a folder with one"]
            )
        origins.update(lines)
    return origins

"""Which models learned from which photos: by `learned_from` in their metadata, so that a withdrawn photo names them."""

import json
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

from classifier.recipe import write_whole

MARKS_FILE = "withdrawn.json"
"""Beside a model's metadata: for each version the photos that it learned from and that were withdrawn since."""

DIFFERENCES_FILE = "tried.jsonl"
"""Beside a model that waits: one line a live photo that it was tried on, without the photo, its name or its hash."""


def models_that_learned_from(photos: Collection[str], folder: Path) -> dict[str, list[str]]:
    """Of each model in a folder of weights, those before it included, its version and which of these photos it lists.

    `photos` are the names that an owner's store gives them. A file that is no metadata is passed over.
    """
    found: dict[str, set[str]] = {}
    for path in sorted(folder.rglob("*.json")):
        try:
            told = json.loads(path.read_bytes())
        except (OSError, ValueError):
            continue
        if isinstance(told, dict) and isinstance(told.get("version"), str):
            listed = {photo for names in _lists(told) for photo in names}
            if common := listed & set(photos):
                found.setdefault(told["version"], set()).update(common)
    return {version: sorted(names) for version, names in found.items()}


def mark_withdrawn(photos: Collection[str], folder: Path) -> dict[str, list[str]]:
    """Note beside the models that learned from these photos that they were withdrawn; those models and photos.

    Raises `OSError` where the folder cannot be written to.
    """
    models = models_that_learned_from(photos, folder)
    if models:
        marks = marked(folder)
        for version, names in models.items():
            marks[version] = sorted({*marks.get(version, ()), *names})
        write_whole(folder / MARKS_FILE, (json.dumps(marks, indent=1, sort_keys=True) + "\n").encode())
    return models


def marked(folder: Path) -> dict[str, list[str]]:
    """The models in a folder that learned from photos withdrawn since, with those photos."""
    path = folder / MARKS_FILE
    return json.loads(path.read_bytes()) if path.is_file() else {}


def withdrawn_since(learned_from: Collection[str], folder: Path) -> list[str]:
    """Which of these photos were withdrawn after a model in this folder had learned from them.

    So a model that was made of a marked one is known as well, although nobody marked it.
    """
    gone = {photo for names in marked(folder).values() for photo in names}
    return sorted(gone & set(learned_from))


def _lists(told: dict[str, Any]) -> Iterator[list[str]]:
    """Every list named `learned_from`, wherever it stands in the metadata."""
    for name, value in told.items():
        if name == "learned_from" and isinstance(value, list):
            yield [str(each) for each in value]
        elif isinstance(value, dict):
            yield from _lists(value)

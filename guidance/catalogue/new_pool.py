"""A folder to begin a catalogue of one's own in: it passes the check as it is, and comments say what to change."""

import json
from pathlib import Path

from classifier.errors import InputError
from guidance.catalogue.catalogue import DEMO_CATALOGUE
from guidance.catalogue.schema import catalogue_schema

SCAFFOLD = Path(__file__).parent / "scaffold"
"""What a pool writes itself, with placeholders."""

FROM_THE_DEMO = ("mechanisms.toml", "observations.toml", "safety.toml", "wording.toml")
"""What holds for lifts of any make: sentences of safety, questions and words, to be reviewed rather than written."""

SCHEMA_FILE = "catalogue.schema.json"
SCHEMA_LINE = f"#:schema ./{SCHEMA_FILE}\n"
"""By this first line an editor that knows TOML finds the schema."""


def new_pool(folder: Path) -> tuple[Path, ...]:
    """Write the scaffold and the schema into a new or empty folder; returns the files, sorted by name."""
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError(f"{folder} is not an empty folder. Name a new or an empty one; nothing was written.")
        folder.mkdir(parents=True, exist_ok=True)
        texts = {file.name: SCHEMA_LINE + file.read_text(encoding="utf-8") for file in _templates()}
        texts[SCHEMA_FILE] = json.dumps(catalogue_schema(), indent=2, ensure_ascii=False) + "\n"
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise InputError(f"{folder}: {error.strerror}. Name a folder that can be written to.") from error
    return tuple(folder / name for name in sorted(texts))


def _templates() -> tuple[Path, ...]:
    return (*sorted(SCAFFOLD.glob("*.toml")), *(DEMO_CATALOGUE / name for name in FROM_THE_DEMO))

"""Put a new model where the served one lies, whole or not at all, and go back by one command.

Its files are stored under names made of their hashes, beside those in use; then `model.json`, which names them, is
replaced in one step. So whatever stops a promotion (a full disk, a switched-off computer), the directory always holds
one whole model. The metadata of the models before lie in `previous/`, the latest with the highest number.
"""

import json
import os
import shutil
from pathlib import Path

from classifier.model import FILED, METADATA_FILE, SCHEMA_VERSION, Model

PREVIOUS = "previous"


class PromotionError(RuntimeError):
    """A promotion or a return that did not happen; the message says why and that the model in use is whole."""


def promote(candidate: Path, served: Path) -> None:
    """Serve the model that lies in `candidate` from now on.

    Raises a `ModelError` or a `PromotionError`, and then nothing has changed. A server that runs keeps the model that
    it has loaded until it is started again.
    """
    Model.load(candidate)
    Model.load(served)
    metadata = json.loads((candidate / METADATA_FILE).read_text())
    if json.loads((served / METADATA_FILE).read_text())["reader"]["sha256"] == metadata["reader"]["sha256"]:
        raise PromotionError(f"{candidate}: this model is in use already; nothing was changed")
    written: list[Path] = []
    try:
        for part in FILED:
            recipe = metadata[part]
            source = candidate / recipe["file"]
            recipe["file"] = f"{part}-{recipe['sha256'][:12]}{source.suffix}"
            if not (served / recipe["file"]).is_file():
                written.append(served / recipe["file"])
                _copy_whole(source, served / recipe["file"])
        kept = served / PREVIOUS / f"{_last_number(served) + 1:04d}.json"
        kept.parent.mkdir(exist_ok=True)
        written.append(kept)
        _copy_whole(served / METADATA_FILE, kept)
        _write_whole(served / METADATA_FILE, (json.dumps(metadata, indent=1) + "\n").encode())
    except OSError as problem:
        for path in written:
            path.unlink(missing_ok=True)
        reason = f"{problem.strerror or problem}; the model in use is whole, nothing changed"
        raise PromotionError(f"{served}: {reason}") from None
    _drop_unnamed(served)


def roll_back(served: Path) -> str:
    """Serve the model before the present one again; returns its version. Raises `PromotionError` without one."""
    number = _last_number(served)
    if not number:
        raise PromotionError(f"{served / PREVIOUS}: no model was promoted here, so there is none to go back to")
    kept = served / PREVIOUS / f"{number:04d}.json"
    metadata = json.loads(kept.read_text())
    if metadata["schema_version"] != SCHEMA_VERSION:
        raise PromotionError(f"{kept}: another version of this project wrote the model before; the present one stays")
    missing = [metadata[part]["file"] for part in FILED if not (served / metadata[part]["file"]).is_file()]
    if missing:
        raise PromotionError(f"{served}: {', '.join(missing)} of the model before are gone; the present one stays")
    try:
        _write_whole(served / METADATA_FILE, kept.read_bytes())
    except OSError as problem:
        raise PromotionError(f"{served}: {problem.strerror or problem}; the present model stays in use") from None
    kept.unlink()  # last: stopped before this, the same command again does the same
    Model.load(served)
    return metadata["version"]


def _last_number(served: Path) -> int:
    return max((int(path.stem) for path in (served / PREVIOUS).glob("*.json")), default=0)


def _drop_unnamed(served: Path) -> None:
    """Remove files that neither the present nor an earlier model names: left over from a return."""
    recipes = [served / METADATA_FILE, *(served / PREVIOUS).glob("*.json")]
    models = [json.loads(path.read_text()) for path in recipes]
    named = {model[part]["file"] for model in models for part in FILED if part in model}
    for path in [found for part in FILED for found in served.glob(f"{part}-????????????.*")]:
        if path.name not in named:
            path.unlink()


def _copy_whole(source: Path, target: Path) -> None:
    beside = target.with_name(target.name + ".part")
    try:
        with source.open("rb") as read, beside.open("wb") as written:
            shutil.copyfileobj(read, written)
            written.flush()
            os.fsync(written.fileno())
        os.replace(beside, target)
    finally:
        beside.unlink(missing_ok=True)


def _write_whole(path: Path, data: bytes) -> None:
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("wb") as written:
            written.write(data)
            written.flush()
            os.fsync(written.fileno())
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)

"""Put a new model where the served one lies, whole or not at all, and go back by one command.

Its files are stored under names made of their hashes, beside those in use; then `model.json`, which names them, is
replaced in one step. So whatever stops a promotion (a full disk, a switched-off computer), the directory always holds
one whole model. The metadata of the models before lie in `previous/`, the latest with the highest number. A model that
was learned waits in `shadow/` until a person promotes it.
"""

import json
import os
import shutil
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from classifier.errors import ModelError
from classifier.lineage import withdrawn_since
from classifier.model import Model
from classifier.recipe import FILED, METADATA_FILE, Recipe, write_whole

PREVIOUS = "previous"
SHADOW = "shadow"
HISTORY_FILE = "history.jsonl"
"""Beside the metadata: one line for each promotion and return, with who decided."""


class PromotionError(RuntimeError):
    """A promotion or a return that did not happen; the message says why and that the model in use is whole."""


def promote(candidate: Path, served: Path, by: str) -> str:
    """Serve the model that lies in `candidate` from now on, as `by` decided; returns its version.

    Raises a `ModelError` or a `PromotionError`, and then nothing has changed. A server that runs takes it within
    seconds.
    """
    if not (candidate / METADATA_FILE).is_file():
        raise PromotionError(f"{candidate}: no model waits there; let recalibrate, heads or finetune make one first")
    recipe, before = Model.load(candidate).recipe, Model.load(served).recipe
    if _serves_alike(before, recipe):
        raise PromotionError(f"{candidate}: this model is in use already; nothing was changed")
    check_lineage(recipe, served)
    moment = datetime.now(UTC).isoformat(timespec="seconds")
    recipe = recipe.with_(provenance=recipe.provenance.with_(promoted_by=by, promoted_at=moment))
    written: list[Path] = []
    try:
        for part in FILED:
            told = getattr(recipe, part)
            source = candidate / told.file
            target = served / f"{part}-{told.sha256[:12]}{source.suffix}"
            recipe = recipe.with_(**{part: told.with_(file=target.name)})
            if not target.is_file():
                written.append(target)
                _copy_whole(source, target)
        kept = served / PREVIOUS / f"{_last_number(served) + 1:04d}.json"
        kept.parent.mkdir(exist_ok=True)
        written.append(kept)
        _copy_whole(served / METADATA_FILE, kept)
        recipe.write(served)
    except OSError as problem:
        for path in written:
            path.unlink(missing_ok=True)
        reason = f"{problem.strerror or problem}; the model in use is whole, nothing changed"
        raise PromotionError(f"{served}: {reason}") from None
    _drop_unnamed(served)
    _note(served, "promoted", recipe.version, by)
    return recipe.version


def check_lineage(recipe: Recipe, served: Path) -> None:
    """Raise a `PromotionError` where this model, or one that it began with, learned from photos withdrawn since."""
    if gone := withdrawn_since(recipe.provenance.learned_from, served):
        raise PromotionError(
            f"{served}: {recipe.version} learned from {len(gone)} photos that were withdrawn since, as would every "
            "model that begins with it. Go back to one that did not (python -m training models lists them, python -m "
            "training roll-back goes back by one), then learn anew"
        )


def check_writable(shadow: Path) -> None:
    """Raise `PromotionError` where a model could not be left at the end of hours."""
    place = shadow.parent
    try:
        place.mkdir(parents=True, exist_ok=True)
        probe = place / f"{shadow.name}.probe"
        probe.write_bytes(b"\0")
        probe.unlink()
    except OSError as problem:
        raise PromotionError(
            f"{place}: {problem.strerror or problem}; copy the weights to a folder of your own, name it by "
            "--weights, and set HOISTLORE_WEIGHTS to it"
        ) from None


def leave_shadow(candidate: Path, shadow: Path) -> None:
    """Let the model in `candidate` wait in the folder `shadow`, whole or not at all, in place of one that waits there.

    Raises a `ModelError`, or a `PromotionError` where it cannot be written.
    """
    beside = shadow.with_name(f"{shadow.name}.part")
    try:
        shutil.rmtree(beside, ignore_errors=True)
        shutil.copytree(candidate, beside)
        Model.load(beside)
        shutil.rmtree(shadow, ignore_errors=True)
        beside.rename(shadow)
    except OSError as problem:
        raise PromotionError(f"{shadow}: {problem.strerror or problem}; the model in use is whole") from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def roll_back(served: Path, by: str = "") -> str:
    """Serve the model before the present one again, as `by` decided; returns its version.

    Raises `PromotionError` without one.
    """
    number = _last_number(served)
    if not number:
        raise PromotionError(f"{served / PREVIOUS}: no model was promoted here, so there is none to go back to")
    kept = served / PREVIOUS / f"{number:04d}.json"
    try:
        recipe = Recipe.parse(kept.read_bytes(), kept)
    except ModelError as problem:
        raise PromotionError(f"{problem} The present model stays in use") from None
    missing = [file for file, _ in recipe.files().values() if not (served / file).is_file()]
    if missing:
        raise PromotionError(f"{served}: {', '.join(missing)} of the model before are gone; the present one stays")
    try:
        write_whole(served / METADATA_FILE, kept.read_bytes())
    except OSError as problem:
        raise PromotionError(f"{served}: {problem.strerror or problem}; the present model stays in use") from None
    kept.unlink()  # last: stopped before this, the same command again does the same
    Model.load(served)
    _note(served, "went back to", recipe.version, by)
    return recipe.version


def _note(served: Path, did: str, version: str, by: str) -> None:
    """Write it down; where there is no room what was decided holds all the same."""
    line = {"at": datetime.now(UTC).isoformat(timespec="seconds"), "did": did, "version": version, "by": by}
    with suppress(OSError), (served / HISTORY_FILE).open("a", encoding="utf-8") as out:
        out.write(json.dumps(line) + "\n")


def _serves_alike(one: Recipe, other: Recipe) -> bool:
    """Whether two models answer alike: the same files, wherever they lie, and the same numbers beside them."""

    def answering(recipe: Recipe) -> list:
        return [getattr(recipe, part).with_(file="") for part in FILED]

    return answering(one) == answering(other)


def _last_number(served: Path) -> int:
    return max((int(path.stem) for path in (served / PREVIOUS).glob("*.json")), default=0)


def _drop_unnamed(served: Path) -> None:
    """Remove files that neither the present nor an earlier model names: left over from a return."""
    named = set()
    for path in [served / METADATA_FILE, *(served / PREVIOUS).glob("*.json")]:
        with suppress(ModelError):  # of a version that nobody can go back to any more
            named |= {file for file, _ in Recipe.parse(path.read_bytes(), path).files().values()}
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

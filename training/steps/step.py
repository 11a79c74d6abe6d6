"""One step from own photos to a model that waits as a shadow: check, learn, compare, leave. Serving is not touched."""

import hashlib
import json
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from classifier.model import Model
from classifier.reader import Reader
from guidance.catalogue.catalogue import Catalogue
from training.calibrate.merging import readings_of
from training.evaluate.evaluate import judge_readings
from training.owned.compare import Comparison, Outcomes, comparison_of, outcomes_of
from training.owned.promote import check_lineage, check_writable
from training.owned.versions import signed
from training.steps.heads import Head, as_stored, body_sha256, heads_of, with_heads
from training.steps.own import Own, check_store, read_own
from training.steps.recalibrate import recalibrated
from training.steps.replay import TAUGHT, Replay, with_logits_of
from training.steps.teach import Seen, teach

RENDERS = "renders"
COMPARISON_FILE = "comparison.json"
STEPS = ("recalibrate", "heads")
LEARNED, JUDGED = ("train", "calibration"), ("heldout",)
"""Splits of the store that a step learns from, and those that it is compared on."""


@dataclass(frozen=True)
class Sources:
    """Where everything lies: own photos, the replay set, the model in use, and where the new one is put."""

    store: Path
    replay: Path
    served: Path
    shadow: Path


@dataclass(frozen=True)
class Known:
    """All that a step works on: the model in use with its heads, own photos, and renders."""

    model: Model
    heads: Mapping[str, Head]
    own: Own
    replay: Replay
    before_on_renders: dict[str, Outcomes] = field(default_factory=dict)  # of the model in use; the same for all photos


@dataclass(frozen=True)
class Learned:
    """What a step made: the model that would be served, its heads, and how tightly each was held."""

    model: Model
    heads: Mapping[str, Head]
    held: dict[str, float]


def known(sources: Sources, step: str, workers: int) -> Known:
    """Everything checked, then the photos read.

    Raises a `ModelError`, a `DatasetError` or a `PromotionError` before anything is run.
    """
    check_store(sources.store, step)
    model = Model.load(sources.served)
    check_lineage(model.recipe, sources.served)
    _, heads, replay = networks_of(model, sources.served, sources.replay)
    check_writable(sources.shadow)
    return Known(model, heads, read_own(sources.store, sources.served, workers), replay)


def networks_of(model: Model, served: Path, replay: Path) -> tuple[bytes, Mapping[str, Head], Replay]:
    """The served reader, its heads, and the replay set read by them."""
    reader, finder = (_file(served, getattr(model.recipe, part).file) for part in ("reader", "finder"))
    heads = heads_of(reader)
    return reader, heads, Replay.load(replay, body_sha256(reader, finder), heads)


def learn(step: str, at: Known, reader: bytes) -> Learned:
    """The new model by own photos of the splits `LEARNED` and the renders that may be learned from."""
    own, taught = at.own.of(LEARNED), at.replay.of_style(TAUGHT)
    heads, held = at.heads, {}
    if step == "heads":
        watched = at.replay.watched()
        heads, held = teach(at.heads, (own.raw, own.records), (taught.raw, taught.records),
                            (watched.raw, watched.records))  # fmt: skip
        heads = as_stored(reader, heads)
    seen: Seen = [with_logits_of(photo, heads) for photo in own.raw], own.records
    reader_recipe = recalibrated(at.model, seen, (taught.by(heads), taught.records))
    before = at.model.recipe
    recipe = signed(before.with_(reader=reader_recipe), before, step, own.ids)
    return Learned(replace(at.model, reader=Reader(at.model.reader.session, reader_recipe), recipe=recipe), heads, held)


def compare(at: Known, new: Learned, boxed: set[Path] | None, catalogue: Catalogue) -> Comparison:
    """Both models over the same held-out own photos and renders, from features: no network runs again.

    `boxed` are the own photos whose boxes a person drew; None where all are.
    """
    held = at.own.of(JUDGED)
    renders = at.replay.compared()
    found = {}
    for pictures, records, raw, judging in (
        ("owned photos", held.records, held.raw, boxed),
        (RENDERS, renders.records, renders.raw, None),
    ):
        both = []
        for each in (at, new):
            known = at.before_on_renders if each is at and pictures == RENDERS else {}
            if not known:
                seen = [with_logits_of(photo, each.heads) for photo in raw]
                judged = judge_readings(records, readings_of(seen, records, each.model), catalogue, each.model)
                known |= outcomes_of(judged, judging, catalogue)
            both.append(known)
        found[pictures] = tuple(both)
    return comparison_of(at.model.info.version, new.model.recipe.version, found)


def write(new: Learned, comparison: Comparison, served: Path, out: Path) -> None:
    """Write the new model whole into `out`, with what it was compared by. Raises `OSError` where there is no room."""
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    recipe = new.model.recipe
    for part in ("finder", "in_distribution"):
        shutil.copyfile(served / getattr(recipe, part).file, out / getattr(recipe, part).file)
    reader = with_heads(_file(served, recipe.reader.file), new.heads)
    (out / recipe.reader.file).write_bytes(reader)
    recipe.with_(reader=recipe.reader.with_(sha256=hashlib.sha256(reader).hexdigest())).write(out)
    (out / COMPARISON_FILE).write_text(json.dumps(comparison.as_dict() | {"held": new.held}, indent=1) + "\n")
    Model.load(out)


def reader_of(model: Model, served: Path) -> bytes:
    """The served reader as it lies there."""
    return _file(served, model.recipe.reader.file)


def _file(served: Path, name: str) -> bytes:
    return (served / name).read_bytes()

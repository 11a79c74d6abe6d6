"""Run the served networks over a split, through the same code as a user's photo, and keep what calibration needs.

No torch in here: worker processes start quickly.
"""

import itertools
import multiprocessing
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from classifier.calibration import sigmoid
from classifier.distribution import logit
from classifier.finder import Finder, Found
from classifier.identify import PhotoReading, read_photo
from classifier.model import Model
from classifier.photo import PhotoLimits, open_photo
from classifier.quality import Quality, judge
from classifier.recipe import KINDS
from training.data.manifest import Box, Record
from training.measure.measures import box_ious

LOWEST_PROBABILITY = 0.02  # of a found box that calibration still looks at
MATCHING_IOU = 0.5


@dataclass(frozen=True)
class RawSubject:
    """One box that the finder proposes, or a look-alike's true box, with the reader's logits.

    `matched` is the number of the true subject of this kind that it overlaps by half, else -1; `touches` is its largest
    IoU with any true subject; `logits` holds `kind`, every concept and the `features`.
    """

    kind: str | None
    box: tuple[float, float, float, float]
    probability: float
    matched: int
    touches: float
    logits: dict[str, np.ndarray]

    @property
    def agreed(self) -> bool:
        """Whether the reader says the same kind as the finder."""
        return KINDS[int(np.argmax(self.logits["kind"]))] == self.kind


@dataclass(frozen=True)
class RawPhoto:
    """One picture as the networks see it before calibration; empty where the quality gate keeps it out."""

    quality: Quality
    found: tuple[RawSubject, ...]
    look_alikes: tuple[RawSubject, ...]


def collect_raw(weights: Path, records: Sequence[Record], workers: int) -> list[RawPhoto]:
    """What the uncalibrated networks make of each record's picture, in order."""
    return over_processes(_raw_photo, weights, records, workers)


def collect_proposed(weights: Path, records: Sequence[Record], workers: int) -> list[RawPhoto]:
    """The same, but only of boxes that serving would propose, and no look-alikes: a third of the time."""
    return over_processes(_proposed_photo, weights, records, workers)


def collect_readings(weights: Path, records: Sequence[Record], workers: int) -> list[PhotoReading]:
    """What `classifier.identify.read_photo` says of each record's picture, in order."""
    return over_processes(_reading, weights, records, workers)


def over_processes(work: Callable[[Model, Any], Any], weights: Path, items: Iterable, workers: int) -> list:
    """`work(model, item)` for each item, in order; every process loads the model once."""
    if workers <= 1:
        model = Model.load(weights)
        return [work(model, item) for item in items]
    context = multiprocessing.get_context("spawn")  # a fork would copy a process that holds a GPU
    with ProcessPoolExecutor(workers, context, _load, (weights,)) as pool:
        return list(pool.map(_apply, itertools.repeat(work), items, chunksize=8))


def match(found: Sequence[Found], record: Record) -> list[int]:
    """For each found box the number of the true subject of its kind with an IoU of at least one half, else -1.

    Each true subject is matched once, by the likeliest box.
    """
    matches = [-1] * len(found)
    if not record.subjects or not found:
        return matches
    ious = box_ious(np.array([f.box for f in found]), np.array([s.box for s in record.subjects]))
    taken: set[int] = set()
    for index in sorted(range(len(found)), key=lambda i: -found[i].probability):
        candidates = [
            (ious[index, n], n)
            for n, subject in enumerate(record.subjects)
            if n not in taken and subject.kind == found[index].kind and ious[index, n] >= MATCHING_IOU
        ]
        if candidates:
            matches[index] = max(candidates)[1]
            taken.add(matches[index])
    return matches


_MODEL: Model | None = None


def _load(weights: Path) -> None:
    global _MODEL
    _MODEL = Model.load(weights)


def _apply(work: Callable, item: Any) -> Any:
    return work(_MODEL, item)


def _reading(model: Model, record: Record) -> PhotoReading:
    return read_photo(record.path.read_bytes(), record.path.name, model, PhotoLimits())


def _raw_photo(model: Model, record: Record) -> RawPhoto:
    return _seen(model, record, dict.fromkeys(model.finder.recipe.kinds, LOWEST_PROBABILITY), record.look_alikes)


def _proposed_photo(model: Model, record: Record) -> RawPhoto:
    recipe = model.finder.recipe
    least = {kind: float(sigmoid(logit(at) * recipe.temperature, 1.0)) for kind, at in recipe.thresholds.items()}
    return _seen(model, record, least, ())


def _seen(model: Model, record: Record, least: dict[str, float], look_alikes: Sequence[Box]) -> RawPhoto:
    """`least`: for each kind the least uncalibrated probability of a box that is kept."""
    photo = open_photo(record.path.read_bytes(), record.path.name, PhotoLimits())
    quality = judge(photo)
    if not quality.usable:
        return RawPhoto(quality, (), ())
    recipe = model.finder.recipe
    eager = recipe.with_(temperature=1.0, thresholds=least)
    found = Finder(model.finder.session, eager)(photo)
    pseudo = [Found("look_alike", box, 0.0) for box in look_alikes]
    logits = model.reader(photo, [*found, *pseudo])
    matches, touches = match(found, record), _touches(found, record)
    subjects = [
        RawSubject(f.kind, f.box, f.probability, *facts)
        for f, *facts in zip(found, matches, touches, logits[: len(found)], strict=True)
    ]
    others = [RawSubject(None, f.box, 0.0, -1, 0.0, read) for f, read in zip(pseudo, logits[len(found) :], strict=True)]
    return RawPhoto(quality, tuple(subjects), tuple(others))


def _touches(found: list[Found], record: Record) -> list[float]:
    if not record.subjects or not found:
        return [0.0] * len(found)
    ious = box_ious(np.array([f.box for f in found]), np.array([s.box for s in record.subjects]))
    return ious.max(axis=1).tolist()

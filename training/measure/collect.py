"""Run the served networks over a split, through the same code as a user's photo, and keep what calibration needs.

No torch in here: worker processes start quickly.
"""

import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from classifier.calibration import sigmoid
from classifier.distribution import logit
from classifier.finder import Finder, Found
from classifier.identify import PhotoReading, read_photo
from classifier.model import Model
from classifier.photo import PhotoLimits, open_photo
from classifier.quality import Quality, judge
from classifier.recipe import KINDS, METADATA_FILE
from training.data.manifest import Box, Record
from training.measure.measures import box_ious
from workers.dispatch import WorkersError, results
from workers.places import check_worker, code_of, opened, versions_of

LOWEST_PROBABILITY = 0.02  # of a found box that calibration still looks at
MATCHING_IOU = 0.5
PIECE_PICTURES = 8
_ROOT = Path(__file__).parents[2]
_LIBRARIES = ("numpy", "onnxruntime", "pillow", "pillow-heif")


class Stored(Protocol):
    """Anything whose picture lies in a file."""

    @property
    def path(self) -> Path: ...


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


def collect_raw(
    weights: Path, records: Sequence[Record], workers: int | None, ray: str | None = None
) -> list[RawPhoto]:
    """What the uncalibrated networks make of each record's picture, in order."""
    return over_workers(_raw_photo, weights, records, workers, ray)


def collect_proposed(weights: Path, records: Sequence[Record], workers: int) -> list[RawPhoto]:
    """The same, but only of boxes that serving would propose, and no look-alikes: a third of the time."""
    return over_workers(_proposed_photo, weights, records, workers)


def collect_readings(weights: Path, photos: Sequence[Stored], workers: int) -> list[PhotoReading]:
    """What `classifier.identify.read_photo` says of each one's picture, in order."""
    return over_workers(_reading, weights, photos, workers)


def over_workers(
    work: Callable[[Model, Any, bytes], Any],
    weights: Path,
    items: Sequence[Stored],
    workers: int | None,
    ray: str | None = None,
) -> list:
    """`work(model, item, the bytes of its file)` for each item, in order.

    In this process, on `workers` processes, or on the cluster at `ray` (`workers` None: one a core), which need neither
    the weights nor the pictures: both are sent. Raises `WorkersError`, a `ModelError`, and what `work` raises.
    """
    model = Model.load(weights)
    if workers is not None and workers <= 1 and not ray:
        return [work(model, item, item.path.read_bytes()) for item in items]
    names = [METADATA_FILE, *(name for name, _ in model.recipe.files().values())]
    begin = _Measuring(work, {name: (weights / name).read_bytes() for name in names}, _made_by())
    done: list[Any] = [None] * len(items)
    with opened(begin, workers, ray) as opened_workers:
        for result in results(opened_workers, _pieces(items), _Piece.halves):
            piece = result.piece
            if result.given_up:
                raise WorkersError(f"Measuring {piece.items[0].path} ended its process, three times. Leave it out.")
            done[piece.start : piece.start + len(piece.items)] = result.value
    return done


@dataclass(frozen=True)
class _Piece:
    """Items from number `start` on, with the bytes of their files."""

    start: int
    items: tuple[Stored, ...]
    data: tuple[bytes, ...]

    def halves(self) -> "list[_Piece]":
        middle = len(self.items) // 2
        if not middle:
            return []
        first, second = slice(middle), slice(middle, None)
        return [
            _Piece(self.start, self.items[first], self.data[first]),
            _Piece(self.start + middle, self.items[second], self.data[second]),
        ]


def _pieces(items: Sequence[Stored]) -> Iterator[_Piece]:
    """Files are read no sooner than a worker is free."""
    for start in range(0, len(items), PIECE_PICTURES):
        some = tuple(items[start : start + PIECE_PICTURES])
        yield _Piece(start, some, tuple(item.path.read_bytes() for item in some))


@dataclass(frozen=True)
class _Measuring:
    """What a worker begins with: `files` are those of the weights, `expects` is what made this (`_made_by`)."""

    work: Callable[[Model, Any, bytes], Any]
    files: dict[str, bytes]
    expects: dict[str, str]

    def __call__(self) -> Callable[[_Piece], list]:
        check_worker(self.expects, _made_by())
        with tempfile.TemporaryDirectory() as folder:
            for name, data in self.files.items():
                (Path(folder) / name).write_bytes(data)
            return partial(_worked, self.work, Model.load(Path(folder)))


def _worked(work: Callable[[Model, Any, bytes], Any], model: Model, piece: _Piece) -> list:
    return [work(model, item, data) for item, data in zip(piece.items, piece.data, strict=True)]


def _made_by() -> dict[str, str]:
    """What a figure depends on beside weights and pictures: code and libraries, each with its version."""
    code = code_of(_ROOT / package for package in ("classifier", "training/data", "training/measure"))
    return {"code": code, **versions_of(*_LIBRARIES)}


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


def _reading(model: Model, photo: Stored, data: bytes) -> PhotoReading:
    return read_photo(data, photo.path.name, model, PhotoLimits())


def _raw_photo(model: Model, record: Record, data: bytes) -> RawPhoto:
    least = dict.fromkeys(model.finder.recipe.kinds, LOWEST_PROBABILITY)
    return _seen(model, record, data, least, record.look_alikes)


def _proposed_photo(model: Model, record: Record, data: bytes) -> RawPhoto:
    recipe = model.finder.recipe
    least = {kind: float(sigmoid(logit(at) * recipe.temperature, 1.0)) for kind, at in recipe.thresholds.items()}
    return _seen(model, record, data, least, ())


def _seen(model: Model, record: Record, data: bytes, least: dict[str, float], look_alikes: Sequence[Box]) -> RawPhoto:
    """`least`: for each kind the least uncalibrated probability of a box that is kept."""
    photo = open_photo(data, record.path.name, PhotoLimits())
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

"""The replay set: what the networks saw in renders, so that learning from own photos forgets nothing and needs none.

Of each render its truth is kept, and of each box that the finder proposed its place, probability and the reader's
features, in half precision. Logits follow from the features by whatever heads are asked. Pictures are not kept.
"""

import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from classifier.model import Model
from classifier.quality import Quality
from classifier.reader import FEATURES
from classifier.taxonomy import SUBJECTS
from training.data.manifest import DatasetError, Reading, Record, Subject
from training.measure.collect import RawPhoto, RawSubject, collect_proposed
from training.steps.heads import Head, body_sha256, read_by

REPLAY_FILE = "replay.npz"
LARGEST_BYTES = 5_000_000
TAUGHT, HELD = "calibration", "heldout"
"""Styles of the renders: what a step may learn from, and what it is only compared on."""


@dataclass(frozen=True)
class Replay:
    """Renders as the networks saw them; `body` is the hash of the networks whose features these are."""

    body: str
    records: tuple[Record, ...]
    raw: tuple[RawPhoto, ...]

    def of_style(self, style: str) -> "Replay":
        """The renders of one style."""
        chosen = [n for n, record in enumerate(self.records) if record.style == style]
        return Replay(self.body, tuple(self.records[n] for n in chosen), tuple(self.raw[n] for n in chosen))

    def watched(self) -> "Replay":
        """Every other lift of the held-out renders: by them it is chosen how tightly heads are held."""
        return self._lifts(0)

    def compared(self) -> "Replay":
        """The other lifts, by which nothing is chosen but whether a model may be promoted."""
        return self._lifts(1)

    def _lifts(self, rest: int) -> "Replay":
        held = self.of_style(HELD)
        numbers = {lift: n for n, lift in enumerate(dict.fromkeys(r.lift or r.path for r in held.records))}
        chosen = [n for n, r in enumerate(held.records) if numbers[r.lift or r.path] % 2 == rest]
        return Replay(self.body, tuple(held.records[n] for n in chosen), tuple(held.raw[n] for n in chosen))

    def by(self, heads: Mapping[str, Head]) -> list[RawPhoto]:
        """The same as a reader with these heads sees it."""
        return [with_logits_of(photo, heads) for photo in self.raw]

    @property
    def subjects(self) -> int:
        return sum(len(photo.found) for photo in self.raw)

    def save(self, path: Path) -> None:
        """Write it whole or not at all. Raises `DatasetError` where it would be larger than what may ship."""
        beside = path.with_name(f"{path.name}.part")
        boxes = [(n, s) for n, photo in enumerate(self.raw) for s in (*photo.found, *photo.look_alikes)]
        lifts = {lift: n for n, lift in enumerate(dict.fromkeys(record.lift for record in self.records))}
        told = [_told(*pair, lifts) for pair in zip(self.records, self.raw, strict=True)]
        told = json.dumps({"body": self.body, "records": told})
        try:
            with beside.open("wb") as out:
                np.savez_compressed(
                    out,
                    told=np.frombuffer(zlib.compress(told.encode(), 9), np.uint8),
                    photo=np.array([n for n, _ in boxes], np.int32),
                    kind=np.array([SUBJECTS.index(s.kind) if s.kind else -1 for _, s in boxes], np.int8),
                    box=np.array([s.box for _, s in boxes], np.float32).reshape(-1, 4),
                    numbers=np.array([(s.probability, s.touches) for _, s in boxes], np.float32).reshape(-1, 2),
                    matched=np.array([s.matched for _, s in boxes], np.int8),
                    features=np.array([s.logits[FEATURES] for _, s in boxes], np.float16),
                )
            if (size := beside.stat().st_size) > LARGEST_BYTES:
                raise DatasetError(f"{size} bytes, at most {LARGEST_BYTES} may ship: name fewer renders")
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)

    @classmethod
    def load(cls, path: Path, body: str, heads: Mapping[str, Head]) -> "Replay":
        """What `save` wrote, read by these heads. Raises `DatasetError` for one of other networks, or none at all."""
        if not path.is_file():
            raise DatasetError(f"{path}: no replay set there. {MAKE_ONE}")
        try:
            with np.load(path, allow_pickle=False) as stored:
                told = json.loads(zlib.decompress(stored["told"].tobytes()))
                found = cls(told["body"], *_taken_up(told["records"], {name: stored[name] for name in stored}, heads))
        except (OSError, ValueError, KeyError, zlib.error) as problem:
            raise DatasetError(f"{path}: no replay set that can be read ({problem}). {MAKE_ONE}") from None
        if found.body != body:
            raise DatasetError(f"{path} holds features of other networks than the model in use. {MAKE_ONE}")
        return found


def drawn_replay(weights: Path, records: Sequence[Record], workers: int) -> Replay:
    """The replay set of renders of the styles that it takes, run through the networks in a folder of weights."""
    if strange := {record.style for record in records} - {TAUGHT, HELD}:
        raise DatasetError(f"renders of style {', '.join(sorted(strange))} came; {TAUGHT} and {HELD} are wanted")
    recipe = Model.load(weights).recipe
    reader, finder = ((weights / getattr(recipe, part).file).read_bytes() for part in ("reader", "finder"))
    return Replay(body_sha256(reader, finder), tuple(records), tuple(collect_proposed(weights, records, workers)))


MAKE_ONE = (
    "Make one where the renders are: python -m training replay --data RENDERS --out FILE, and name it by --replay"
)


def with_logits_of(photo: RawPhoto, heads: Mapping[str, Head]) -> RawPhoto:
    """A photo as a reader with these heads on the same body sees it."""

    def anew(subjects: Sequence[RawSubject]) -> tuple[RawSubject, ...]:
        return tuple(
            RawSubject(s.kind, s.box, s.probability, s.matched, s.touches, read_by(heads, s.logits[FEATURES]))
            for s in subjects
        )

    return RawPhoto(photo.quality, anew(photo.found), anew(photo.look_alikes))


def _told(record: Record, photo: RawPhoto, lifts: dict) -> dict:
    """A record and its quality in plain values; what nobody asks of a render that is gone is left out."""
    return {
        "size": [record.width, record.height], "style": record.style, "framing": record.framing, "fair": record.fair,
        "lift": str(lifts[record.lift]) if record.lift else None, "problems": list(photo.quality.problems),
        "usable": photo.quality.usable, "look_alikes": record.look_alikes,
        "subjects": [asdict(subject) for subject in record.subjects],
    }  # fmt: skip


def _taken_up(told: list[dict], stored: dict, heads: Mapping[str, Head]) -> tuple[tuple, tuple]:
    found: list[list[RawSubject]] = [[] for _ in told]
    strange: list[list[RawSubject]] = [[] for _ in told]
    for n, kind, box, numbers, matched, features in zip(
        *(stored[name] for name in ("photo", "kind", "box", "numbers", "matched", "features")), strict=True
    ):
        read = read_by(heads, features.astype(np.float32))
        numbers, box = numbers.tolist(), tuple(box.tolist())
        subject = RawSubject(SUBJECTS[kind] if kind >= 0 else None, box, numbers[0], int(matched), numbers[1], read)
        (found if kind >= 0 else strange)[n].append(subject)
    raw = tuple(
        RawPhoto(Quality(each["usable"], tuple(each["problems"])), tuple(found[n]), tuple(strange[n]))
        for n, each in enumerate(told)
    )
    return tuple(_record(n, each) for n, each in enumerate(told)), raw


def _record(number: int, told: dict) -> Record:
    subjects = tuple(
        Subject(s["kind"], tuple(s["box"]), s["cut_off"],
                {c: Reading(r["value"], r["visible"], tuple(r["possible"]), r["evidence_px"])
                 for c, r in s["concepts"].items()})
        for s in told["subjects"]
    )  # fmt: skip
    lift = None if told["lift"] is None else (Path(), told["lift"])
    return Record(
        path=Path(f"render-{number}"), clean_path=None, width=told["size"][0], height=told["size"][1],
        style=told["style"], framing=told["framing"], conditions=(), fair=told["fair"], distance_m=None,
        subjects=subjects, look_alikes=tuple(tuple(box) for box in told["look_alikes"]), lift=lift,
    )  # fmt: skip

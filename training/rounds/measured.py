"""A round: pictures that somebody drew who has seen none of our shapes, named blind by a second person, measured.

A folder of pictures and a `labels.csv` as `training/OWNED_PHOTOS.md` has it, with two columns more: `view` (`pair`, two
pictures of one lift; `framing`, as a caregiver frames it; `foreign`, no lift part), and `named`, what the second person
read of the part of that row: a mechanism, or four values of a box as in `label`, one that is not seen `not_visible`;
empty where it could not be named or was guessed. A head is readable where its mechanism shows and was named, a box
where all four values show and were named; of other boxes that were named each value is asked that shows.
"""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from classifier.identify import PhotoReading, SubjectReading
from classifier.model import Model
from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS, CONTROL_BOX, CONTROL_BOX_CONCEPTS, NOT_VISIBLE, UNLISTED
from experiments.runs import Metric
from guidance.catalogue.catalogue import Catalogue
from guidance.documents.answer import Answer
from training.evaluate.two_photos import answered
from training.measure.collect import MATCHING_IOU, collect_readings
from training.measure.measures import Share, box_ious, share
from training.owned.labels import Labelled, LabelledPhoto, OwnedPhotoError, meaning, read_labels

VIEWS = ("pair", "framing", "foreign")
LABELS = "labels.csv"
PICTURES = "pictures"
_OWN_COLUMNS = ("view", "named")
_LEFT_OUT = (*_OWN_COLUMNS, "conditions")  # a round's drawer has words of his own for how a picture was taken
_TOLD = {"pair": "two views a lift", "framing": "as a caregiver frames it"}


@dataclass(frozen=True)
class RoundPhoto:
    """One picture: what is true of it, its view, and by kind what the second person read of that part."""

    photo: LabelledPhoto
    view: str
    named: dict[str, str]

    def asked(self, kind: str) -> Labelled | None:
        """The part of this kind, where it could be named; a head only where its mechanism shows."""
        part = next((part for part in self.photo.subjects if part.kind == kind and self.named.get(kind)), None)
        return part if part is None or kind != ACTUATOR_HEAD or not part.hidden else None

    def readable(self, kind: str) -> Labelled | None:
        """The part of this kind, where everything of it shows and was named."""
        part = self.asked(kind)
        return part if part and not part.hidden and NOT_VISIBLE not in self.named[kind] else None


@dataclass(frozen=True)
class Read:
    """A picture with what the product read and answers, were it the only one of its lift."""

    shown: RoundPhoto
    reading: PhotoReading
    answer: Answer


def read_round(folder: Path, catalogue: Catalogue, passing: Path) -> list[RoundPhoto]:
    """The pictures of a round; `passing` is a folder for the labels without what only a round has.

    They lie beside the labels or in a folder `pictures` there. Raises `OwnedPhotoError` with every problem at once.
    """
    rows, columns = _rows(folder / LABELS)
    plain = io.StringIO()
    writer = csv.DictWriter(plain, [name for name in columns if name not in _LEFT_OUT], extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    (passing / LABELS).write_text(plain.getvalue(), encoding="utf-8")
    folder = folder / PICTURES if (folder / PICTURES).is_dir() else folder
    photos, _ = read_labels(folder, passing / LABELS, catalogue, "measured only", "not kept")
    shown, problems = [], []
    for photo in photos:
        own = [row for row in rows if folder / row["file"].strip() == photo.path]
        views = {row["view"].strip() for row in own}
        if len(views) > 1 or not views <= set(VIEWS) or (views == {"foreign"} and photo.subjects):
            wanted = f"one of {', '.join(VIEWS)} is wanted, and `foreign` for what is labelled nothing"
            problems.append(f"{photo.where}: view {', '.join(sorted(views))} came; {wanted}")
            continue
        kinds = {read[0]: row["named"].strip() for row in own if (read := meaning(row["label"].strip(), catalogue))}
        shown.append(RoundPhoto(photo, views.pop(), kinds))
    if problems:
        raise OwnedPhotoError(problems)
    return shown


def _rows(labels: Path) -> tuple[list[dict[str, str]], list[str]]:
    try:
        reader = csv.DictReader(labels.read_text(encoding="utf-8-sig").splitlines())
    except (OSError, UnicodeDecodeError) as problem:
        raise OwnedPhotoError([f"{labels}: cannot be read ({problem}); a round needs its labels there"]) from None
    columns = list(reader.fieldnames or ())
    if lacking := {"file", "label", *_OWN_COLUMNS} - set(columns):
        named = ", ".join(sorted(lacking))
        raise OwnedPhotoError([f"{labels}: no column {named}; a round needs file, label, view, named"])
    return [{name: value or "" for name, value in row.items() if name} for row in reader], columns


def measure_round(weights: Path, photos: Sequence[RoundPhoto], catalogue: Catalogue, workers: int) -> list[Read]:
    """Every picture read and answered by the served code."""
    model = Model.load(weights)
    readings = collect_readings(weights, [photo.photo for photo in photos], workers)
    return [
        Read(photo, reading, answered([reading], catalogue, model))
        for photo, reading in zip(photos, readings, strict=True)
    ]


# Figures --------------------------------------------------------------------------------------------------------------


def round_metrics(split: str, photos: Sequence[Read], catalogue: Catalogue, model: Model) -> list[Metric]:
    """Every row of a round's table that has a case."""
    rows = [*_favourites(photos, catalogue), *_sets(photos), *_foreign(photos), *_confirmed(photos, catalogue)]
    rows += [*_two_views(photos, catalogue, model), *_viewer(photos, catalogue)]
    return [_metric(split, name, found) for name, found in rows if found.n]


def _metric(split: str, name: str, found: Share) -> Metric:
    low, high = (round(100 * end, 1) for end in found.interval)
    value = round(100 * found.value, 1)
    return Metric(split=split, name=name, value=value, unit="%", interval_95=(low, high), n=found.n)


def _favourites(photos: Sequence[Read], catalogue: Catalogue) -> Iterator[tuple[str, Share]]:
    """The likeliest answer of what could be named, whether or not it was decided for; what is not seen is not right."""
    for view, told in _TOLD.items():
        own = [each for each in photos if each.shown.view == view]
        heads = [(part, each) for each in own if (part := each.shown.asked(ACTUATOR_HEAD))]
        boxes = [(part, each) for each in own if (part := each.shown.asked(CONTROL_BOX))]
        yield f"readable heads, favourite right, {told}", share([_head_right(*each) for each in heads])
        for value in CONCEPTS["lowering"]:
            of_value = [_head_right(*each) for each in heads if each[0].values["lowering"] == value]
            yield f"readable heads, favourite right, {told}: {value}", share(of_value)
        yield f"readable heads accepted, {told}", share([_read_of(*each) is not None for each in heads])
        whole = [(part, each) for part, each in boxes if each.shown.readable(CONTROL_BOX)]
        right = [each.answer.control_box.favourite == generation(part, catalogue) for part, each in whole]
        yield f"readable boxes, favourite right, {told}", share(right)
        yield f"readable boxes accepted, {told}", share([_read_of(*each) is not None for each in whole])
        for concept in CONTROL_BOX_CONCEPTS:
            read = [_likeliest(*each, concept) == each[0].values[concept] for each in boxes if _shows(each[0], concept)]
            yield f"named boxes, {concept} right where it shows, {told}", share(read)


def _head_right(part: Labelled, each: Read) -> bool:
    return each.answer.actuator.favourite == part.values["lowering"]


def generation(part: Labelled, catalogue: Catalogue) -> str:
    """The catalogue's generation with the values of this box, or `unlisted`."""
    rows = (row.id for row in catalogue.generations if all(getattr(row, c) == v for c, v in part.values.items()))
    return next(rows, UNLISTED)


def _shows(part: Labelled, concept: str) -> bool:
    return concept not in (part.hidden or ())


def _read_of(part: Labelled, each: Read) -> SubjectReading | None:
    """What was read at this part: the likeliest reading of its kind that overlaps its box by half, where it has one."""
    own = [read for read in each.reading.subjects if read.kind == part.kind]
    if part.box is not None and own:
        ious = box_ious(np.array([read.box for read in own]), np.array([part.box]))[:, 0]
        own = [read for read, iou in zip(own, ious, strict=True) if iou >= MATCHING_IOU]
    return max(own, key=lambda read: read.probability, default=None)


def _likeliest(part: Labelled, each: Read, concept: str) -> str | None:
    read = _read_of(part, each)
    return max(read.concepts[concept].probabilities.items(), key=lambda item: item[1])[0] if read else None


def _sets(photos: Sequence[Read]) -> Iterator[tuple[str, Share]]:
    """Whether the true value is in the set of what was accepted, for each value that shows."""
    inside: dict[str, list[bool]] = {concept: [] for concept in CONCEPTS}
    for each in photos:
        for part in each.shown.photo.subjects:
            read = _read_of(part, each) if each.shown.asked(part.kind) else None
            for concept in part.values if read else ():
                if _shows(part, concept):
                    inside[concept].append(part.values[concept] in read.concepts[concept].prediction_set)
    yield "true value inside the 95 % set, all concepts", share([hit for hits in inside.values() for hit in hits])
    for concept, hits in inside.items():
        yield f"true value inside the 95 % set, {concept}", share(hits)


def _foreign(photos: Sequence[Read]) -> Iterator[tuple[str, Share]]:
    own = [each for each in photos if each.shown.view == "foreign"]
    yield "no lift part, taken for one", share([bool(each.reading.subjects) for each in own])
    yield "no lift part, confirmed as one", share(["confirmed" in _decisions(each.answer) for each in own])


def _decisions(answer: Answer) -> tuple[str, str]:
    return answer.control_box.decision, answer.actuator.decision


def _wrong(parts: Sequence[Labelled], answer: Answer, catalogue: Catalogue) -> dict[str, bool]:
    """For each kind that is confirmed whether that is wrong; of a kind that is not there it always is."""
    by_kind, found = {part.kind: part for part in parts}, {}
    box, head = by_kind.get(CONTROL_BOX), by_kind.get(ACTUATOR_HEAD)
    if answer.control_box.decision == "confirmed":
        found[CONTROL_BOX] = box is None or answer.control_box.generation != generation(box, catalogue)
    if answer.actuator.decision == "confirmed":
        found[ACTUATOR_HEAD] = head is None or answer.actuator.lowering != head.values["lowering"]
    return found


def _confirmed(photos: Sequence[Read], catalogue: Catalogue) -> Iterator[tuple[str, Share]]:
    wrong = [_wrong(each.shown.photo.subjects, each.answer, catalogue) for each in photos]
    yield "confirmed by one picture and wrong", share([bad for found in wrong for bad in found.values()])
    heads = [found[ACTUATOR_HEAD] for found in wrong if ACTUATOR_HEAD in found]
    yield "lowering confirmed by one picture and wrong", share(heads)
    for view, told in _TOLD.items():
        own = [each for each in photos if each.shown.view == view]
        heads = [each.answer.actuator.decision == "confirmed" for each in own if each.shown.asked(ACTUATOR_HEAD)]
        yield f"readable heads confirmed, {told}", share(heads)
        yield f"readable listed boxes confirmed, {told}", share([
            each.answer.control_box.decision == "confirmed"
            for each in own if (part := each.shown.readable(CONTROL_BOX)) and generation(part, catalogue) != UNLISTED
        ])  # fmt: skip


def _two_views(photos: Sequence[Read], catalogue: Catalogue, model: Model) -> Iterator[tuple[str, Share]]:
    """Lifts of which both pictures are there: confirmed by the first, by both, and wrongly by both."""
    lifts: dict[str, list[Read]] = {}
    for each in photos:
        if each.shown.view == "pair" and each.shown.photo.lift:
            lifts.setdefault(each.shown.photo.lift, []).append(each)
    found: dict[str, list[bool]] = {}
    for pair in lifts.values():
        if len(pair) != 2:
            continue
        parts = [part for each in pair for part in each.shown.photo.subjects]
        both = answered([each.reading for each in pair], catalogue, model)
        wrong = _wrong(parts, both, catalogue)
        for kind, part in {part.kind: part for part in parts}.items():
            name = {CONTROL_BOX: "listed boxes", ACTUATOR_HEAD: "heads"}.get(kind)
            if name is None or (kind == CONTROL_BOX and generation(part, catalogue) == UNLISTED):
                continue
            place = 0 if kind == CONTROL_BOX else 1
            found.setdefault(f"lifts: {name} confirmed by the first of two views", []).append(
                _decisions(pair[0].answer)[place] == "confirmed"
            )
            found.setdefault(f"lifts: {name} confirmed by two views together", []).append(kind in wrong)
        found.setdefault("lifts: confirmed by two views together and wrong", []).extend(wrong.values())
    yield from ((name, share(hits)) for name, hits in found.items())


def _viewer(photos: Sequence[Read], catalogue: Catalogue) -> Iterator[tuple[str, Share]]:
    """How often the second person named rightly what he named: what the reader is held against."""
    right: dict[str, list[bool]] = {ACTUATOR_HEAD: [], CONTROL_BOX: []}
    for each in photos:
        for kind, hits in right.items():
            if (part := each.shown.readable(kind)) is not None:
                hits.append(_named_values(each.shown.named[kind], catalogue) == part.values)
    yield "the viewer: readable heads, named rightly", share(right[ACTUATOR_HEAD])
    yield "the viewer: readable boxes, all four named rightly", share(right[CONTROL_BOX])


def _named_values(named: str, catalogue: Catalogue) -> dict[str, str]:
    """Values by concept as a viewer wrote them: a mechanism alone, a label, or what is no label value by value."""
    if named in CONCEPTS["lowering"]:
        return {"lowering": named}
    try:
        read = meaning(named, catalogue)
    except ValueError:
        return dict(part.strip().partition("=")[::2] for part in named.replace(";", "+").split("+"))
    return read[1] if read else {}

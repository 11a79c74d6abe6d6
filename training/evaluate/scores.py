"""Judged photos to figures, each with its number of cases and a 95 % interval."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from classifier.identify import PhotoReading, SubjectReading
from classifier.recipe import CLASSES
from classifier.taxonomy import (
    ACTUATOR_HEAD,
    CONCEPTS,
    CONTROL_BOX,
    CONTROL_BOX_CONCEPTS,
    FAIR_SUBJECT_FRACTION,
    SUBJECTS,
    UNLISTED,
)
from guidance.catalogue.catalogue import Catalogue
from guidance.documents.answer import Answer
from training.config import COVERAGE
from training.data.manifest import Reading, Record, Subject
from training.measure.collect import match
from training.measure.measures import Share, calibration_error, calibration_error_by_chance, confusion, share


@dataclass(frozen=True)
class Judged:
    """One picture: the truth, what was read, the answer for it as a lift of its own, and which box is which subject."""

    record: Record
    reading: PhotoReading
    answer: Answer
    matches: tuple[int, ...]  # for each subject that was read the number of the true one, or -1
    asked_from: float = 0.0  # the share of the picture from which on a subject's values are asked

    def true_subject(self, kind: str) -> Subject | None:
        """The only subject of a kind; None where the picture shows none or several."""
        subjects = [subject for subject in self.record.subjects if subject.kind == kind]
        return subjects[0] if len(subjects) == 1 else None

    def asked_subject(self, kind: str) -> Subject | None:
        """The only subject of a kind, where its values are asked."""
        subject = self.true_subject(kind)
        return subject if subject and subject.area >= self.asked_from else None


def judged(record: Record, reading: PhotoReading, answer: Answer) -> Judged:
    """Match what was read with the truth."""
    return Judged(record, reading, answer, tuple(match(reading.subjects, record)))


def fair_ones(photos: Sequence[Judged]) -> list[Judged]:
    """The fair close photos, asked only about what stands in front: of the background no evidence is promised."""
    return [replace(photo, asked_from=FAIR_SUBJECT_FRACTION) for photo in photos if photo.record.fair]


def figures(photos: Sequence[Judged], catalogue: Catalogue) -> dict:
    """Every figure over these photos, as plain values for JSON."""
    return {
        "photos": len(photos),
        "usable": share([photo.reading.quality.usable for photo in photos]).as_dict(),
        "finder": {kind: _finder(photos, kind) for kind in ("all", *SUBJECTS)},
        "concepts": {concept: _concept(photos, concept) for concept in CONCEPTS},
        "generation": generation_figures(photos, catalogue),
        "lowering": lowering_figures(photos),
        "confirmed": confirmed_figures(photos, catalogue),
        "not_seen_without_a_lift": share(
            [not photo.reading.subjects for photo in photos if not photo.record.subjects]
        ).as_dict(),
    }


def generation_figures(photos: Sequence[Judged], catalogue: Catalogue) -> dict:
    """How often the likeliest generation is the true one (`unlisted` included), and what was decided."""
    boxes = [photo for photo in photos if photo.asked_subject(CONTROL_BOX)]
    outcome = {id(p): p.answer.control_box.favourite == true_generation(p, catalogue) for p in boxes}
    listed = [p for p in boxes if true_generation(p, catalogue) != UNLISTED]
    shown = [p for p in boxes if all(r.visible for r in p.true_subject(CONTROL_BOX).concepts.values())]
    unlisted = [p for p in boxes if true_generation(p, catalogue) == UNLISTED]
    careful = ("unlisted", "undecided", "not_seen")
    return {
        "right": _shares(boxes, outcome),
        "right_when_listed": _shares(listed, outcome),
        "right_when_all_is_visible": _shares(shown, outcome),
        "unlisted_answered_with_care": share([p.answer.control_box.decision in careful for p in unlisted]).as_dict(),
        "decisions": _counts(photo.answer.control_box.decision for photo in boxes),
    }


def lowering_figures(photos: Sequence[Judged]) -> dict:
    """How often the likeliest mechanism is the true one where the picture settles it, and the set open where not."""
    shown = [p for p in photos if p.asked_subject(ACTUATOR_HEAD) and _lowering(p).visible]
    settled = [p for p in shown if len(_lowering(p).possible) == 1]
    open_ones = [p for p in shown if len(_lowering(p).possible) > 1]
    outcome = {id(p): p.answer.actuator.favourite == _lowering(p).value for p in settled}
    sets_hold = [set(_lowering(p).possible) <= set(p.answer.actuator.values) for p in open_ones]
    return {
        "right": _shares(settled, outcome),
        "open_ones_left_open": share(sets_hold).as_dict(),
        "decisions": _counts(photo.answer.actuator.decision for photo in shown),
    }


def confirmed_figures(photos: Sequence[Judged], catalogue: Catalogue) -> dict:
    """How many are confirmed, and how many of those are wrong."""
    wrong, boxes, heads = [], [], []
    for photo in photos:
        wrong.append(confirmed_and_wrong(photo, catalogue))
        if photo.asked_subject(CONTROL_BOX) and true_generation(photo, catalogue) != UNLISTED:
            boxes.append(photo.answer.control_box.decision == "confirmed")
        if photo.asked_subject(ACTUATOR_HEAD):
            heads.append(photo.answer.actuator.decision == "confirmed")

    def wrong_of(*kinds: str) -> dict:
        return share([by_kind[kind] for by_kind in wrong for kind in kinds if kind in by_kind]).as_dict()

    return {
        "wrong": wrong_of(CONTROL_BOX, ACTUATOR_HEAD),
        "boxes_wrong": wrong_of(CONTROL_BOX),
        "actuators_wrong": wrong_of(ACTUATOR_HEAD),
        "listed_boxes_confirmed": share(boxes).as_dict(),
        "actuators_confirmed": share(heads).as_dict(),
    }


def true_generation(photo: Judged, catalogue: Catalogue) -> str:
    """The catalogue's generation with these concept values, whether or not the picture shows them all."""
    readings = photo.true_subject(CONTROL_BOX).concepts
    for row in catalogue.generations:
        if all(getattr(row, concept) == readings[concept].value for concept in CONTROL_BOX_CONCEPTS):
            return row.id
    return UNLISTED


def confirmed_and_wrong(photo: Judged, catalogue: Catalogue) -> dict[str, bool]:
    """For each kind that is confirmed whether that is wrong; a confirmed part that is not there is wrong too."""
    box, head, wrong = photo.answer.control_box, photo.answer.actuator, {}
    if box.decision == "confirmed":
        truly_there = photo.true_subject(CONTROL_BOX)
        wrong[CONTROL_BOX] = not truly_there or box.generation != true_generation(photo, catalogue)
    if head.decision == "confirmed":
        wrong[ACTUATOR_HEAD] = not _lowering(photo) or head.lowering != _lowering(photo).value
    return wrong


def _finder(photos: Sequence[Judged], kind: str) -> dict:
    """Recall over true subjects and precision over reported ones, at an IoU of one half."""
    wanted, reported = [], []
    for photo in photos:
        hit = {number for number in photo.matches if number >= 0}
        wanted += [n in hit for n, subject in enumerate(photo.record.subjects) if kind in ("all", subject.kind)]
        pairs = zip(photo.reading.subjects, photo.matches, strict=True)
        reported += [number >= 0 for subject, number in pairs if kind in ("all", subject.kind)]
    return {"recall": share(wanted).as_dict(), "precision": share(reported).as_dict()}


def _concept(photos: Sequence[Judged], concept: str) -> dict:
    """Accuracy, confusion, calibration, and coverage of the sets for each class, over the subjects that were found."""
    classes = CLASSES[concept]
    cases = [case for photo in photos for case in _read(photo, concept)]
    probabilities = np.array([[read.concepts[concept].probabilities[v] for v in classes] for read, _ in cases])
    probabilities = probabilities.reshape(-1, len(classes))
    truths = np.array([classes.index(truth.truth) for _, truth in cases], dtype=int)
    settled = np.array([len(truth.possible) == 1 or not truth.visible for _, truth in cases], dtype=bool)
    answers = probabilities.argmax(axis=1) if len(cases) else np.zeros(0, dtype=int)
    sure = probabilities.max(axis=1, initial=0)
    covered = np.array([truth.truth in read.concepts[concept].prediction_set for read, truth in cases], dtype=bool)
    sizes = [len(read.concepts[concept].prediction_set) for read, _ in cases]
    visible = settled & (truths < len(classes) - 1)
    return {
        "accuracy": share((answers == truths)[settled]).as_dict(),
        "accuracy_when_visible": share((answers == truths)[visible]).as_dict(),
        "classes": list(classes),
        "confusion": confusion(truths[settled], answers[settled], len(classes)).tolist(),
        "calibration_error": calibration_error(sure, answers == truths),
        "calibration_error_by_chance": calibration_error_by_chance(sure),
        "coverage": {value: _coverage(share(covered[truths == number])) for number, value in enumerate(classes)},
        "mean_set_size": float(np.mean(sizes)) if sizes else None,
    }


def _coverage(found: Share) -> dict:
    low, high = found.interval
    return found.as_dict() | {"interval_holds_target": low <= COVERAGE <= high, "at_least_target": high >= COVERAGE}


def _read(photo: Judged, concept: str) -> list[tuple[SubjectReading, Reading]]:
    pairs = zip(photo.reading.subjects, photo.matches, strict=True)
    subjects = [(read, photo.record.subjects[number]) for read, number in pairs if number >= 0]
    return [
        (read, true.concepts[concept])
        for read, true in subjects
        if concept in read.concepts and true.area >= photo.asked_from
    ]


def _lowering(photo: Judged) -> Reading | None:
    subject = photo.true_subject(ACTUATOR_HEAD)
    return subject.concepts["lowering"] if subject else None


def _shares(photos: Sequence[Judged], outcome: dict[int, bool]) -> dict:
    return share([outcome[id(photo)] for photo in photos]).as_dict()


def _counts(decisions: Callable) -> dict[str, int]:
    names, counts = np.unique(list(decisions), return_counts=True)
    return dict(zip(names.tolist(), counts.tolist(), strict=True))

"""What a photo has to show, and what is wrong with one that does not: a survey's, or a frame of the guiding camera."""

from collections.abc import Sequence
from dataclasses import dataclass

from classifier.identify import SubjectReading
from classifier.photo import Box
from classifier.taxonomy import FAIR_SUBJECT_FRACTION, NOT_VISIBLE


@dataclass(frozen=True)
class View:
    """One wanted photo: what it is called, how it is taken, and the part and the concepts that it has to show.

    `kind` is empty for the rating plate, whose code is read instead.
    """

    id: str
    name: str
    framing: str
    kind: str = ""
    concepts: tuple[str, ...] = ()


ON_EVERY_BOX = ("stop_position", "battery")
"""What every box has and either front corner shows; buttons may be on the far side."""

NOTHING, TOO_FAR, WRONG_SIDE = "nothing", "too_far", "wrong_side"


def problem_of(subjects: Sequence[SubjectReading], view: View) -> str:
    """What is wrong with a usable photo as this view; empty when it shows what it has to."""
    own = [subject for subject in subjects if subject.kind == view.kind]
    if not own:
        return NOTHING
    largest = max(own, key=lambda subject: share(subject.box))
    if any(largest.concepts[concept].likeliest == NOT_VISIBLE for concept in view.concepts):
        return TOO_FAR if share(largest.box) < FAIR_SUBJECT_FRACTION else WRONG_SIDE
    return ""


def share(box: Box) -> float:
    """Of the picture."""
    left, top, right, bottom = box
    return (right - left) * (bottom - top)

"""Start here: the bytes of a photo to what it shows and how sure that is. Decode, find, read, decide."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from classifier.calibration import named_probabilities, prediction_set
from classifier.finder import Found, overlap
from classifier.model import Model
from classifier.photo import Box, Photo, PhotoLimits, open_photo
from classifier.quality import Quality, judge
from classifier.reader import FEATURES
from classifier.taxonomy import CONCEPTS_OF

WEIGHTS_DIR = Path(__file__).parent / "weights"
"""The weights that are installed with the project."""

ONE_THING_IOU = 0.7
"""Two boxes of different kinds that overlap more than this are one thing; the likelier kind stays."""


@dataclass(frozen=True)
class ConceptReading:
    """Calibrated probability of each value and of `not_visible` (they sum to 1), and the set not ruled out."""

    probabilities: dict[str, float]
    prediction_set: tuple[str, ...]


@dataclass(frozen=True)
class SubjectReading:
    """One subject in a photo; `box` in fractions of the upright photo, `concepts` those of its kind.

    `probability` is that of its being one of ours at all, and of this kind.
    """

    kind: str
    box: Box
    probability: float
    concepts: dict[str, ConceptReading]


@dataclass(frozen=True)
class PhotoReading:
    """What one photo shows. `subjects` is empty when it shows none of them or was not usable."""

    name: str
    width: int
    height: int
    quality: Quality
    subjects: tuple[SubjectReading, ...]


def read_photo(data: bytes, name: str, model: Model, limits: PhotoLimits) -> PhotoReading:
    """Read one photo. Raises a `PhotoError` when it cannot be decoded whole; of a poor photo it is said that it is."""
    photo = open_photo(data, name, limits)
    quality = judge(photo)
    subjects = _subjects(photo, model) if quality.usable else ()
    return PhotoReading(name, photo.width, photo.height, quality, subjects)


def _subjects(photo: Photo, model: Model) -> tuple[SubjectReading, ...]:
    found = model.finder(photo)
    return decide(found, model.reader(photo, found), model)


def decide(
    found: Sequence[Found], read: Sequence[Mapping[str, np.ndarray]], model: Model
) -> tuple[SubjectReading, ...]:
    """What the finder's boxes are, by the reader's logits and features, likeliest first; without what is not ours."""
    kept: list[SubjectReading] = []
    readings = [_decide(f, logits, model) for f, logits in zip(found, read, strict=True)]
    for subject in sorted((r for r in readings if r is not None), key=lambda r: -r.probability):
        if all(overlap(subject.box, other.box) <= ONE_THING_IOU for other in kept):
            kept.append(subject)
    return tuple(kept)


def _decide(found: Found, logits: Mapping[str, np.ndarray], model: Model) -> SubjectReading | None:
    """Both networks must say the same kind, and that it is one of ours must be probable enough for that kind."""
    recipe = model.reader.recipe
    if recipe["kinds"][int(np.argmax(logits["kind"]))] != found.kind:
        return None
    likely = model.ours.probability(logits["kind"][None], logits[FEATURES][None], np.array([found.probability]))
    probability = float(likely[0])
    if probability < model.ours.recipe["thresholds"][found.kind]:
        return None
    concepts = {}
    for concept in CONCEPTS_OF[found.kind]:
        probabilities = named_probabilities(logits[concept], concept, recipe)
        concepts[concept] = ConceptReading(
            probabilities, prediction_set(probabilities, recipe["set_thresholds"][concept])
        )
    return SubjectReading(found.kind, found.box, probability, concepts)

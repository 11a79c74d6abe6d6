"""Start here: the bytes of a photo to what it shows and how sure that is. Decode, find, read, decide."""

from dataclasses import dataclass
from pathlib import Path

from classifier.calibration import named_probabilities, prediction_set
from classifier.finder import Found, overlap
from classifier.model import Model
from classifier.photo import Box, Photo, PhotoLimits, open_photo
from classifier.quality import Quality, judge
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
    """One subject in a photo; `box` in fractions of the upright photo, `concepts` those of its kind."""

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
    read = [_decide(f, logits, model) for f, logits in zip(found, model.reader(photo, found), strict=True)]
    kept: list[SubjectReading] = []
    for subject in sorted((r for r in read if r is not None), key=lambda r: -r.probability):
        if all(overlap(subject.box, other.box) <= ONE_THING_IOU for other in kept):
            kept.append(subject)
    return tuple(kept)


def _decide(found: Found, logits: dict, model: Model) -> SubjectReading | None:
    """Both networks must say the same kind, or the thing is not one of ours; the probability is the product of both."""
    recipe = model.reader.recipe
    kinds = named_probabilities(logits["kind"], recipe["kinds"], recipe["temperatures"]["kind"])
    if max(kinds, key=kinds.__getitem__) != found.kind:
        return None
    concepts = {}
    for concept in CONCEPTS_OF[found.kind]:
        probabilities = named_probabilities(
            logits[concept], recipe["concepts"][concept], recipe["temperatures"][concept]
        )
        concepts[concept] = ConceptReading(
            probabilities, prediction_set(probabilities, recipe["set_thresholds"][concept])
        )
    return SubjectReading(found.kind, found.box, found.probability * kinds[found.kind], concepts)

"""Start here: the bytes of a photo to what it shows and how sure that is. Decode, find, read, decide."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from classifier.calibration import named_probabilities, prediction_set
from classifier.finder import Found
from classifier.model import Model
from classifier.photo import Box, Photo, PhotoLimits, open_photo
from classifier.quality import Quality, judge
from classifier.taxonomy import CONCEPTS_OF

WEIGHTS_DIR = Path(__file__).parent / "weights"
"""The weights that are installed with the project."""


@dataclass(frozen=True)
class ConceptReading:
    """Calibrated probability of each value and of `not_visible` (they sum to 1), and the set not ruled out."""

    probabilities: dict[str, float]
    prediction_set: tuple[str, ...]

    @property
    def likeliest(self) -> str:
        """The value, or `not_visible`, of the highest probability; the first of equal ones."""
        return max(self.probabilities, key=self.probabilities.__getitem__)

    @property
    def doubt_bits(self) -> float:
        """The entropy of the probabilities: how much it would tell to know the value."""
        shares = np.array(list(self.probabilities.values()))
        return float(-(shares * np.log2(np.maximum(shares, 1e-12))).sum())


@dataclass(frozen=True)
class SubjectReading:
    """One subject in a photo; `box` in fractions of the upright photo, `concepts` those of its kind.

    `probability` is that of its being in distribution at all, and of this kind.
    """

    kind: str
    box: Box
    probability: float
    concepts: dict[str, ConceptReading]

    @property
    def doubt_bits(self) -> float:
        """How much it would tell to know all its values, were they independent."""
        return sum(reading.doubt_bits for reading in self.concepts.values())


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
    """What the finder's boxes are, by the reader's logits and features, likeliest first; only what is accepted."""
    return tuple(
        _read(found[each.place], each.probability, read[each.place], model)
        for each in model.acceptance.accepted(found, read)
    )


def _read(found: Found, probability: float, logits: Mapping[str, np.ndarray], model: Model) -> SubjectReading:
    return SubjectReading(found.kind, found.box, probability, _concepts(found, logits, model))


def _concepts(found: Found, logits: Mapping[str, np.ndarray], model: Model) -> dict[str, ConceptReading]:
    concepts = {}
    for concept in CONCEPTS_OF[found.kind]:
        recipe = model.reader.recipe.concepts[concept]
        probabilities = named_probabilities(logits[concept], concept, recipe)
        concepts[concept] = ConceptReading(probabilities, prediction_set(probabilities, recipe.set_thresholds))
    return concepts

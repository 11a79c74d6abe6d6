"""The one acceptance rule: which of the finder's boxes are answered. Serving, calibration and evaluation all use it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from classifier.calibration import sigmoid
from classifier.distribution import FeatureSpace, logit
from classifier.finder import Found, overlap
from classifier.reader import FEATURES
from classifier.recipe import KINDS, DistributionRecipe

ONE_THING_IOU = 0.7
"""Two boxes of different kinds that overlap more than this are one thing; the likelier kind stays."""

Read = Mapping[str, np.ndarray]
"""What the reader says of one box: logits of `kind` and of every concept, and the features."""


@dataclass(frozen=True)
class Accepted:
    """A box that is answered: its place among those proposed, and how probable it is to be what it is taken for."""

    place: int
    probability: float


@dataclass(frozen=True)
class Acceptance:
    """Both networks say the same kind, that is probable enough, and one thing is answered once."""

    recipe: DistributionRecipe
    space: FeatureSpace

    def accepted(self, found: Sequence[Found], read: Sequence[Read]) -> list[Accepted]:
        """The boxes that are answered, likeliest first."""
        enough = [
            each for each in self.agreed(found, read)
            if each.probability >= self.recipe.thresholds[found[each.place].kind]
        ]  # fmt: skip
        return one_thing_once(enough, found)

    def agreed(self, found: Sequence[Found], read: Sequence[Read]) -> list[Accepted]:
        """The boxes on whose kind both networks agree, however probable, likeliest first."""
        same = [place for place, each in enumerate(found) if says_the_same(each, read[place])]
        judged = [Accepted(place, self._probability(found[place], read[place])) for place in same]
        return sorted(judged, key=lambda each: -each.probability)

    def probability(self, features: np.ndarray, found: np.ndarray) -> np.ndarray:
        """The joint in-distribution probability (n,) of features (n, F) and the finder's probabilities (n,)."""
        return sigmoid(self.log_odds(features, found), 1.0)

    def log_odds(self, features: np.ndarray, found: np.ndarray) -> np.ndarray:
        """The same as log odds (n,)."""
        offset, of_finder, of_distance = self.recipe.weights
        return offset + of_finder * logit(found) + of_distance * self.space.relative_nearness(features)

    def _probability(self, found: Found, read: Read) -> float:
        return float(self.probability(read[FEATURES][None], np.array([found.probability]))[0])


def says_the_same(found: Found, read: Read) -> bool:
    """Whether the reader gives a box the finder's kind."""
    return KINDS[int(np.argmax(read["kind"]))] == found.kind


def one_thing_once(judged: Sequence[Accepted], found: Sequence[Found]) -> list[Accepted]:
    """Of boxes, likeliest first, those that no likelier one covers."""
    kept: list[Accepted] = []
    for each in judged:
        box = found[each.place].box
        if all(overlap(box, found[other.place].box) <= ONE_THING_IOU for other in kept):
            kept.append(each)
    return kept

"""Is it one of ours? A number from the reader, joined with the finder's, says how probable that is.

`SCORES` are numbers that tell lift parts from look-alikes; calibration compares them all and serves the best one.
References from memory.
"""

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from classifier.calibration import sigmoid, softmax
from classifier.taxonomy import SUBJECTS

OURS = len(SUBJECTS)  # the reader's kinds are the subjects, then `other`
SMALLEST_PROBABILITY = 1e-9


@dataclass(frozen=True)
class FeatureSpace:
    """Where the reader's features of each kind lie, and those of everything that was found.

    `means` (K, F) of the kinds; `factor` (F, F) is A in the shared inverse covariance A A'; `all_mean` (F,) and
    `all_factor` (F, F) are the same over everything. Without any kind (K = 0) it was never fitted.
    """

    means: np.ndarray
    factor: np.ndarray
    all_mean: np.ndarray
    all_factor: np.ndarray

    @property
    def fitted(self) -> bool:
        return bool(len(self.means))

    @classmethod
    def unfitted(cls) -> "FeatureSpace":
        """A space of no kinds, which no score may use."""
        return cls(np.zeros((0, 1)), np.eye(1), np.zeros(1), np.eye(1))

    @classmethod
    def from_bytes(cls, data: bytes) -> "FeatureSpace":
        """What `to_bytes` gave. Raises ValueError for an array of another shape."""
        rows = np.load(io.BytesIO(data), allow_pickle=False).astype(np.float64)
        width = rows.shape[1] if rows.ndim == 2 else 0
        kinds = len(rows) - 1 - 2 * width
        if not width or not 0 <= kinds <= OURS:
            raise ValueError(f"an array {rows.shape} came, (kinds + 1 + 2 F, F) is wanted")
        means, all_mean, factor, all_factor = np.split(rows, [kinds, kinds + 1, kinds + 1 + width])
        return cls(means, factor, all_mean[0], all_factor)

    def to_bytes(self) -> bytes:
        """One float16 array (K + 1 + 2 F, F) in NumPy's own format."""
        rows = np.vstack([self.means, self.all_mean[None], self.factor, self.all_factor])
        buffer = io.BytesIO()
        np.save(buffer, rows.astype(np.float16))
        return buffer.getvalue()

    def nearness(self, features: np.ndarray) -> np.ndarray:
        """Minus the squared Mahalanobis distance (n,) of features (n, F) to the nearest kind."""
        gaps = (features[:, None, :] - self.means[None]) @ self.factor  # (n, K, F)
        return -(gaps**2).sum(axis=2).min(axis=1)

    def relative_nearness(self, features: np.ndarray) -> np.ndarray:
        """The same, and how far (n,) the features (n, F) lie from the middle of everything."""
        return self.nearness(features) + (((features - self.all_mean) @ self.all_factor) ** 2).sum(axis=1)


def _logsumexp(logits: np.ndarray) -> np.ndarray:
    highest = logits.max(axis=1)
    return highest + np.log(np.exp(logits - highest[:, None]).sum(axis=1))


Score = Callable[[np.ndarray, np.ndarray, float, FeatureSpace], np.ndarray]
"""Kind logits (n, K + 1), features (n, F), the kinds' temperature and the feature space -> (n,), high for ours."""

SCORES: Mapping[str, Score] = MappingProxyType(
    {
        "max_softmax": lambda kinds, _, t, __: softmax(kinds, t)[:, :OURS].max(axis=1),
        "energy": lambda kinds, *_: _logsumexp(kinds[:, :OURS]),
        "odds_against_other": lambda kinds, *_: _logsumexp(kinds[:, :OURS]) - kinds[:, OURS],
        "feature_distance": lambda _, features, __, space: space.nearness(features),
        "relative_distance": lambda _, features, __, space: space.relative_nearness(features),
    }
)
"""The highest probability of a kind (Hendrycks & Gimpel 2017), the energy of the kinds' logits (Liu et al. 2020), the
same less the logit of `other`, the distance of the features to the nearest kind (Lee et al. 2018), and that less their
distance to the middle of everything (Ren et al. 2021). The simplest come first."""

NEED_FEATURES = frozenset({"feature_distance", "relative_distance"})


@dataclass(frozen=True)
class Ours:
    """The score that serves, and how it becomes a probability.

    `recipe` is the metadata's `ours`: `score`, for each score `weights` (offset, of the finder's logit, of the score)
    and for each kind the probability from which on it is taken for one, `thresholds`. `temperature` is that of kinds.
    """

    recipe: Mapping[str, Any]
    temperature: float
    space: FeatureSpace

    def probability(self, kind_logits: np.ndarray, features: np.ndarray, found: np.ndarray) -> np.ndarray:
        """How probable it is (n,) that things are what finder and reader agree on.

        From kind logits (n, K + 1), features (n, F) and the finder's probabilities (n,).
        """
        return sigmoid(self.log_odds(self.recipe["score"], kind_logits, features, found), 1.0)

    def log_odds(self, score: str, kind_logits: np.ndarray, features: np.ndarray, found: np.ndarray) -> np.ndarray:
        """The same by any score, as log odds (n,)."""
        offset, of_finder, of_score = self.recipe["weights"][score]
        return offset + of_finder * logit(found) + of_score * self.number(score, kind_logits, features)

    def number(self, score: str, kind_logits: np.ndarray, features: np.ndarray) -> np.ndarray:
        """The bare score (n,)."""
        kinds, features = np.asarray(kind_logits, np.float64), np.asarray(features, np.float64)
        return SCORES[score](kinds, features, self.temperature, self.space)


def logit(probability: np.ndarray) -> np.ndarray:
    """Log odds of probabilities, which are kept off 0 and 1."""
    clipped = np.clip(np.asarray(probability, np.float64), SMALLEST_PROBABILITY, 1 - SMALLEST_PROBABILITY)
    return np.log(clipped) - np.log1p(-clipped)

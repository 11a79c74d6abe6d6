"""In distribution or not: where the reader's features of lift parts lie, and how far a thing is from there."""

import io
from dataclasses import dataclass

import numpy as np

from classifier.taxonomy import SUBJECTS

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
        """A space of no kinds, in which everything is equally near."""
        return cls(np.zeros((0, 1)), np.eye(1), np.zeros(1), np.eye(1))

    @classmethod
    def from_bytes(cls, data: bytes) -> "FeatureSpace":
        """What `to_bytes` gave. Raises ValueError for an array of another shape."""
        rows = np.load(io.BytesIO(data), allow_pickle=False).astype(np.float64)
        width = rows.shape[1] if rows.ndim == 2 else 0
        kinds = len(rows) - 1 - 2 * width
        if not width or not 0 <= kinds <= len(SUBJECTS):
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
        """Minus the squared Mahalanobis distance (n,) of features (n, F) to the nearest kind (Lee et al. 2018)."""
        gaps = (features[:, None, :] - self.means[None]) @ self.factor  # (n, K, F)
        return -(gaps**2).sum(axis=2).min(axis=1)

    def relative_nearness(self, features: np.ndarray) -> np.ndarray:
        """The same, and how far (n,) the features (n, F) lie from the middle of everything (Ren et al. 2021).

        Both references from memory. 0 for a space that was never fitted.
        """
        features = np.asarray(features, np.float64)
        if not self.fitted:
            return np.zeros(len(features))
        return self.nearness(features) + (((features - self.all_mean) @ self.all_factor) ** 2).sum(axis=1)


def logit(probability: np.ndarray) -> np.ndarray:
    """Log odds of probabilities, which are kept off 0 and 1."""
    clipped = np.clip(np.asarray(probability, np.float64), SMALLEST_PROBABILITY, 1 - SMALLEST_PROBABILITY)
    return np.log(clipped) - np.log1p(-clipped)

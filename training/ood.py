"""Not one of ours: three numbers that tell lift parts from look-alikes, compared on the same pictures.

The highest probability of a subject kind (Hendrycks & Gimpel 2017), the energy of the kinds' logits (Liu et al. 2020)
and the distance of the pooled features to the nearest kind (Lee et al. 2018); the last is fitted on training pictures.
References from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import logsumexp

from classifier.calibration import softmax
from classifier.taxonomy import SUBJECTS
from training.collect import RawPhoto, RawSubject
from training.measures import area_under_roc, false_positives_at_recall

RIDGE = 0.05  # of the mean variance, added to the shared covariance: features outnumber what the sample can settle
TOUCHES_NOTHING = 0.2  # IoU under which a found box holds no subject


@dataclass(frozen=True)
class FeatureSpace:
    """The kinds' mean features (K, F) and the inverse of their shared covariance (F, F)."""

    means: np.ndarray
    precision: np.ndarray

    def nearness(self, features: np.ndarray) -> np.ndarray:
        """Minus the squared Mahalanobis distance (n,) of features (n, F) to the nearest kind."""
        gaps = features[:, None, :] - self.means[None]  # (n, K, F)
        return -((gaps @ self.precision) * gaps).sum(axis=2).min(axis=1)


def fit_feature_space(raw: Sequence[RawPhoto]) -> FeatureSpace:
    """Means and shared covariance over the subjects that were found in these pictures."""
    ours = [subject for photo in raw for subject in photo.found if subject.matched >= 0]
    if not ours:
        return FeatureSpace(np.zeros((0, 0)), np.zeros((0, 0)))
    features = np.array([subject.logits["features"] for subject in ours], dtype=np.float64)  # (n, F)
    kinds = np.array([SUBJECTS.index(subject.kind) for subject in ours])
    present = np.unique(kinds).tolist()
    means = np.array([features[kinds == kind].mean(axis=0) for kind in present])
    gaps = features - means[[present.index(kind) for kind in kinds]]
    covariance = gaps.T @ gaps / len(gaps)
    covariance += np.eye(len(covariance)) * (RIDGE * np.trace(covariance) / len(covariance) + 1e-9)
    return FeatureSpace(means, np.linalg.inv(covariance))


def write_feature_space(path: Path, space: FeatureSpace) -> None:
    """Keep a feature space beside a run's checkpoints."""
    np.savez(path, means=space.means.astype(np.float32), precision=space.precision.astype(np.float32))


def read_feature_space(path: Path) -> FeatureSpace:
    """What `write_feature_space` kept."""
    with np.load(path) as kept:
        return FeatureSpace(kept["means"], kept["precision"])


def compare(raw: Sequence[RawPhoto], space: FeatureSpace, kind_temperature: float, lowest: dict[str, float]) -> dict:
    """AUROC and false positives at 95 % recall of each number: subjects found against look-alikes and false alarms.

    `lowest` is the finder's bar a kind, under which a found box does not count.
    """
    ours, foreign = [], []
    for photo in raw:
        seen = [s for s in photo.found if s.probability >= lowest[s.kind]]
        ours += [s for s in seen if s.matched >= 0]
        foreign += [s for s in seen if s.touches < TOUCHES_NOTHING]
        foreign += photo.look_alikes
    result: dict = {"subjects": len(ours), "look_alikes_and_false_alarms": len(foreign)}
    if not ours or not foreign:
        return result | {"scores": {}}
    positive = np.arange(len(ours) + len(foreign)) < len(ours)
    for name, values in _numbers([*ours, *foreign], space, kind_temperature).items():
        result.setdefault("scores", {})[name] = {
            "auroc": area_under_roc(values, positive),
            "false_positives_at_95_recall": false_positives_at_recall(values, positive),
        }
    return result


def _numbers(subjects: list[RawSubject], space: FeatureSpace, temperature: float) -> dict[str, np.ndarray]:
    kinds = np.array([subject.logits["kind"] for subject in subjects])
    numbers = {
        "max_softmax": softmax(kinds, temperature)[:, : len(SUBJECTS)].max(axis=1),
        "energy": logsumexp(kinds[:, : len(SUBJECTS)], axis=1),
    }
    if space.means.size:
        numbers["feature_distance"] = space.nearness(np.array([subject.logits["features"] for subject in subjects]))
    return numbers

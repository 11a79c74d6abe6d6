"""The feature space's file beside the networks."""

import hashlib
from pathlib import Path

from classifier.distribution import FeatureSpace

FEATURES_FILE = "features.npy"
FINDER_ALONE = (0.0, 1.0, 0.0)
"""Weights with which the finder's probability is the joint one."""


def store_feature_space(weights: Path, space: FeatureSpace) -> dict[str, str]:
    """Write a feature space beside the networks; returns what the metadata says of its file."""
    data = space.to_bytes()
    (weights / FEATURES_FILE).write_bytes(data)
    return {"file": FEATURES_FILE, "sha256": hashlib.sha256(data).hexdigest()}

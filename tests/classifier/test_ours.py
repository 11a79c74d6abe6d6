"""What tells ours from others: each number by hand or by somebody else, the feature space as a file, and the gate."""

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis
from scipy.special import logsumexp

from classifier.errors import WeightsAltered, WeightsMalformed, WeightsMissing
from classifier.finder import Found
from classifier.identify import decide
from classifier.model import Model
from classifier.ours import NEED_FEATURES, SCORES, FeatureSpace, Ours
from classifier.taxonomy import CONCEPTS

WIDTH = 5


@pytest.fixture(scope="module")
def space() -> FeatureSpace:
    rng = np.random.default_rng(0)
    factor, all_factor = (np.tril(rng.normal(0, 1, (WIDTH, WIDTH))) + 2 * np.eye(WIDTH) for _ in range(2))
    return FeatureSpace(rng.normal(0, 1, (4, WIDTH)), factor, rng.normal(0, 1, WIDTH), all_factor)


def test_every_score_is_what_it_says(space: FeatureSpace) -> None:
    """Sources: SciPy's `logsumexp` and `mahalanobis`; the highest of a softmax by its definition."""
    rng = np.random.default_rng(1)
    kinds, features, temperature = rng.normal(0, 3, (20, 5)), rng.normal(0, 2, (20, WIDTH)), 1.7
    came = {name: score(kinds, features, temperature, space) for name, score in SCORES.items()}
    shares = np.exp(kinds / temperature) / np.exp(kinds / temperature).sum(axis=1, keepdims=True)
    inverse, all_inverse = space.factor @ space.factor.T, space.all_factor @ space.all_factor.T
    near = [-min(mahalanobis(row, mean, inverse) ** 2 for mean in space.means) for row in features]
    away = [mahalanobis(row, space.all_mean, all_inverse) ** 2 for row in features]
    wanted = {
        "max_softmax": shares[:, :4].max(axis=1),
        "energy": logsumexp(kinds[:, :4], axis=1),
        "odds_against_other": logsumexp(kinds[:, :4], axis=1) - kinds[:, 4],
        "feature_distance": near,
        "relative_distance": np.add(near, away),
    }
    assert came.keys() == wanted.keys()
    for name in wanted:
        assert came[name] == pytest.approx(wanted[name], rel=1e-9, abs=1e-9), name


def test_a_feature_space_comes_back_from_its_file(space: FeatureSpace) -> None:
    again = FeatureSpace.from_bytes(space.to_bytes())
    assert again.fitted and again.means.shape == (4, WIDTH)
    for name in ("means", "factor", "all_mean", "all_factor"):
        assert getattr(again, name) == pytest.approx(getattr(space, name), rel=1e-3, abs=1e-3)
    assert again.to_bytes() == space.to_bytes()
    assert not FeatureSpace.from_bytes(FeatureSpace.unfitted().to_bytes()).fitted


def test_an_array_of_another_shape_is_refused(tmp_path: Path) -> None:
    np.save(tmp_path / "x.npy", np.zeros((4, 7), np.float16))
    with pytest.raises(ValueError, match="came, .* is wanted"):
        FeatureSpace.from_bytes((tmp_path / "x.npy").read_bytes())


def test_the_probability_is_a_logistic_of_both_networks(space: FeatureSpace) -> None:
    """Offset 1, twice the finder's log odds, minus the energy: by hand with a finder at 0.8 and an energy of log 4."""
    ours = Ours({"score": "energy", "weights": {"energy": [1.0, 2.0, -1.0]}}, 1.0, space)
    came = ours.probability(np.zeros((1, 5)), np.zeros((1, WIDTH)), np.array([0.8]))
    odds = np.exp(1.0) * 4.0**2 / 4.0
    assert came[0] == pytest.approx(odds / (1 + odds), abs=1e-9)


@pytest.fixture
def own_copy(toy_model_dir: Path, tmp_path: Path) -> Path:
    return shutil.copytree(toy_model_dir, tmp_path / "model")


def changed(folder: Path, **recipe) -> None:
    metadata = json.loads((folder / "model.json").read_text())
    metadata["ours"] |= recipe
    (folder / "model.json").write_text(json.dumps(metadata))


def logits(kind: int) -> dict[str, np.ndarray]:
    read = {concept: np.zeros(len(values) + 1) for concept, values in CONCEPTS.items()}
    return read | {"kind": np.where(np.arange(5) == kind, 3.0, 0.0), "features": np.zeros(1)}


def test_what_is_not_probable_enough_is_not_answered(own_copy: Path) -> None:
    box = Found("control_box", (0.1, 0.1, 0.5, 0.5), 0.6)
    for threshold, seen in ((0.59, 1), (0.61, 0)):
        changed(own_copy, thresholds={"control_box": threshold, "actuator_head": 0, "hand_control": 0, "charger": 0})
        assert len(decide([box], [logits(0)], Model.load(own_copy))) == seen
    assert not decide([box], [logits(1)], Model.load(own_copy)), "both networks must say the same kind"
    assert not decide([box], [logits(4)], Model.load(own_copy))


@pytest.mark.parametrize("score", list(SCORES))
def test_the_score_that_the_metadata_names_serves(score: str, own_copy: Path, space: FeatureSpace) -> None:
    """A weight that turns it round turns the answer round."""
    narrow = FeatureSpace(np.zeros((4, 1)), np.eye(1), np.ones(1), 3 * np.eye(1))
    (own_copy / "features.npy").write_bytes(narrow.to_bytes())
    digest = hashlib.sha256(narrow.to_bytes()).hexdigest()
    far = logits(0) | {"features": np.array([2.0])}
    box = Found("control_box", (0.1, 0.1, 0.5, 0.5), 0.5)
    number = SCORES[score](far["kind"][None], far["features"][None], 1.0, narrow)[0]
    for sign in (1.0, -1.0):
        changed(own_copy, sha256=digest, score=score, weights={score: [0.0, 0.0, sign * np.sign(number)]})
        assert len(decide([box], [far], Model.load(own_copy))) == (sign > 0)


def test_a_feature_space_that_is_altered_missing_malformed_or_never_fitted_is_refused(own_copy: Path) -> None:
    whole = (own_copy / "features.npy").read_bytes()
    changed(own_copy, score="feature_distance", weights=dict.fromkeys(NEED_FEATURES, [0.0, 1.0, 1.0]))
    with pytest.raises(WeightsMalformed, match="never fitted"):
        Model.load(own_copy)
    for data in (b"no array", whole[:-1]):
        (own_copy / "features.npy").write_bytes(data)
        with pytest.raises(WeightsAltered, match="features.npy"):
            Model.load(own_copy)
        changed(own_copy, sha256=hashlib.sha256(data).hexdigest())
        with pytest.raises(WeightsMalformed, match="holds no feature space"):
            Model.load(own_copy)
    (own_copy / "features.npy").unlink()
    with pytest.raises(WeightsMissing, match="features.npy"):
        Model.load(own_copy)

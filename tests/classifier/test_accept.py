"""In distribution or not, and the one acceptance rule: by hand, by somebody else, and on the toy networks."""

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis

from classifier.accept import Acceptance
from classifier.distribution import FeatureSpace
from classifier.errors import WeightsAltered, WeightsMalformed, WeightsMissing
from classifier.finder import Found
from classifier.identify import decide
from classifier.model import Model
from classifier.recipe import DistributionRecipe
from classifier.taxonomy import CONCEPTS, SUBJECTS

WIDTH = 5


@pytest.fixture(scope="module")
def space() -> FeatureSpace:
    rng = np.random.default_rng(0)
    factor, all_factor = (np.tril(rng.normal(0, 1, (WIDTH, WIDTH))) + 2 * np.eye(WIDTH) for _ in range(2))
    return FeatureSpace(rng.normal(0, 1, (4, WIDTH)), factor, rng.normal(0, 1, WIDTH), all_factor)


def test_the_relative_distance_is_what_it_says(space: FeatureSpace) -> None:
    """Source: SciPy's `mahalanobis`, a library."""
    features = np.random.default_rng(1).normal(0, 2, (20, WIDTH))
    inverse, all_inverse = space.factor @ space.factor.T, space.all_factor @ space.all_factor.T
    near = [-min(mahalanobis(row, mean, inverse) ** 2 for mean in space.means) for row in features]
    away = [mahalanobis(row, space.all_mean, all_inverse) ** 2 for row in features]
    assert space.nearness(features) == pytest.approx(near, rel=1e-9, abs=1e-9)
    assert space.relative_nearness(features) == pytest.approx(np.add(near, away), rel=1e-9, abs=1e-9)
    assert FeatureSpace.unfitted().relative_nearness(features[:, :1]).tolist() == [0.0] * 20


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


def recipe(weights: tuple[float, float, float]) -> DistributionRecipe:
    return DistributionRecipe(file="", sha256="", weights=weights, thresholds=dict.fromkeys(SUBJECTS, 0.5))


def test_the_probability_is_a_logistic_of_both_networks() -> None:
    """Offset 1, twice the finder's log odds, minus the distance: by hand, a finder at 0.8, a relative distance of 8.

    Features 2 away from the only kind and 6 from the middle of everything, in units of 1 and 2: -4 + 12 = 8, say.
    """
    narrow = FeatureSpace(np.zeros((1, 1)), np.eye(1), np.full(1, 2 + np.sqrt(12)), np.eye(1))
    came = Acceptance(recipe((1.0, 2.0, -1.0)), narrow).probability(np.array([[2.0]]), np.array([0.8]))
    odds = np.exp(1.0) * 4.0**2 * np.exp(-8.0)
    assert came[0] == pytest.approx(odds / (1 + odds), abs=1e-9)


@pytest.fixture
def own_copy(toy_model_dir: Path, tmp_path: Path) -> Path:
    return shutil.copytree(toy_model_dir, tmp_path / "model")


def changed(folder: Path, **recipe) -> None:
    metadata = json.loads((folder / "model.json").read_text())
    metadata["in_distribution"] |= recipe
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


def test_a_weight_that_turns_the_distance_round_turns_the_answer_round(own_copy: Path) -> None:
    narrow = FeatureSpace(np.zeros((4, 1)), np.eye(1), np.ones(1), 3 * np.eye(1))
    (own_copy / "features.npy").write_bytes(narrow.to_bytes())
    digest = hashlib.sha256(narrow.to_bytes()).hexdigest()
    far = logits(0) | {"features": np.array([2.0])}
    box = Found("control_box", (0.1, 0.1, 0.5, 0.5), 0.5)
    number = narrow.relative_nearness(far["features"][None])[0]
    for sign in (1.0, -1.0):
        changed(own_copy, sha256=digest, weights=[0.0, 0.0, sign * float(np.sign(number))])
        assert len(decide([box], [far], Model.load(own_copy))) == (sign > 0)


def test_one_thing_is_answered_once_as_the_likelier_kind(own_copy: Path) -> None:
    """Two kinds on one box; then the same two side by side."""
    model = Model.load(own_copy)
    likely, other = Found("charger", (0.1, 0.1, 0.5, 0.5), 0.9), Found("control_box", (0.1, 0.1, 0.5, 0.52), 0.8)
    assert [s.kind for s in decide([other, likely], [logits(0), logits(3)], model)] == ["charger"]
    beside = Found("control_box", (0.5, 0.1, 0.9, 0.5), 0.8)
    assert [s.kind for s in decide([beside, likely], [logits(0), logits(3)], model)] == ["charger", "control_box"]


def test_a_feature_space_that_is_altered_missing_malformed_or_never_fitted_is_refused(own_copy: Path) -> None:
    whole = (own_copy / "features.npy").read_bytes()
    changed(own_copy, weights=[0.0, 1.0, 1.0])
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

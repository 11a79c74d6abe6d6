"""Numbers that tell ours from others: fitted, compared, and the best one chosen, on cases whose answer is known."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from sklearn.covariance import empirical_covariance
from sklearn.linear_model import LogisticRegression

from classifier.model import Model
from classifier.ours import SCORES, FeatureSpace, Ours
from classifier.quality import Quality
from classifier.taxonomy import SUBJECTS
from tests.toy_networks import blob_photo, encoded
from tests.training.test_calibrate import USABLE, raw, record
from training.calibrate.collect import RawPhoto, RawSubject, collect_raw, collect_readings
from training.calibrate.merging import readings_of
from training.config import OTHER
from training.ood.gate import PENALTY, RIDGE, SMALLEST_RIDGE, Gate, compare, fit_feature_space, fit_logistic, fit_ours


def shifted(probability: float, matched: int, features: np.ndarray, kind: str = "actuator_head") -> RawSubject:
    return raw(probability, matched, kind, features=features)


def finder() -> dict:
    return {"temperature": 1.0, "thresholds": dict.fromkeys(SUBJECTS, 0.1)}


def photos_where_features_tell(seed: int, count: int = 150) -> list[RawPhoto]:
    """Nothing but the features tells subjects from false alarms, which lie away from every kind."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        found.append(shifted(float(rng.uniform(0.3, 0.9)), 0, rng.normal(0, 1, 3)))
        found.append(shifted(float(rng.uniform(0.3, 0.9)), -1, rng.normal(4, 1, 3)))
    return [RawPhoto(USABLE, (subject,), ()) for subject in found]


def test_the_logistic_regression_equals_scikit_learns():
    """Source: scikit-learn's `LogisticRegression` on the same standardised columns with the same penalty."""
    rng = np.random.default_rng(0)
    columns = rng.normal((3, -2), (4, 0.5), (400, 2))
    truths = rng.random(400) < 1 / (1 + np.exp(-(columns[:, 0] - 3 + 2 * (columns[:, 1] + 2))))
    offset, *weights = fit_logistic(columns, truths)
    middle, spread = columns.mean(axis=0), columns.std(axis=0)
    theirs = LogisticRegression(C=1 / (2 * PENALTY * len(columns)), tol=1e-10).fit((columns - middle) / spread, truths)
    slopes = theirs.coef_[0] / spread
    assert weights == pytest.approx(slopes.tolist(), rel=1e-3)
    assert offset == pytest.approx(float(theirs.intercept_[0] - slopes @ middle), rel=1e-3)


def test_the_feature_space_holds_means_and_inverse_covariances():
    """Source: scikit-learn's `empirical_covariance`, the ridge added by hand."""
    rng = np.random.default_rng(1)
    boxes, heads = rng.normal(0, 1, (60, 3)), rng.normal((2, 0, 1), (1, 2, 0.5), (60, 3))
    alarms = rng.normal(5, 1, (30, 3))
    subjects = [shifted(0.9, 0, f, "control_box") for f in boxes] + [shifted(0.9, 0, f) for f in heads]
    space = fit_feature_space([RawPhoto(USABLE, (*subjects, *(shifted(0.9, -1, f) for f in alarms)), ())])
    gaps = np.vstack([boxes - boxes.mean(axis=0), heads - heads.mean(axis=0)])
    covariance = empirical_covariance(gaps, assume_centered=True)
    covariance += np.eye(3) * (RIDGE * np.trace(covariance) / 3 + SMALLEST_RIDGE)
    assert space.means == pytest.approx(np.array([boxes.mean(axis=0), heads.mean(axis=0)]), abs=2e-3)
    assert space.factor @ space.factor.T == pytest.approx(np.linalg.inv(covariance), rel=0.01, abs=1e-3)
    assert space.all_mean == pytest.approx(np.vstack([boxes, heads, alarms]).mean(axis=0), abs=4e-3)


def test_the_score_that_tells_best_is_chosen():
    space = fit_feature_space(photos_where_features_tell(0))
    recipe = fit_ours(photos_where_features_tell(1), finder(), 1.0, space)
    assert recipe["score"] in ("feature_distance", "relative_distance")
    assert set(recipe["weights"]) == set(SCORES)
    gate = Gate(finder(), Ours(recipe, 1.0, space))
    seen = photos_where_features_tell(2)
    found = compare(seen, [photo.found[0].matched >= 0 for photo in seen], gate)
    assert found["served"] == recipe["score"]
    for task in ("alone", "joined", "whole_photos"):
        assert found["scores"][recipe["score"]][task]["auroc"] > 0.97
        assert found["scores"]["max_softmax"][task]["auroc"] < 0.65
    assert found["scores"]["energy"]["joined"]["ours"] == found["scores"]["energy"]["joined"]["others"] == 150


def test_where_scores_tie_the_simplest_serves_and_without_a_space_none_needs_one():
    found = [raw(0.8, 0) for _ in range(20)] + [raw(0.2, -1) for _ in range(20)]
    recipe = fit_ours([RawPhoto(USABLE, tuple(found), ())], finder(), 1.0, FeatureSpace.unfitted())
    assert recipe["score"] == "max_softmax"
    assert set(recipe["weights"]) == {"max_softmax", "energy", "odds_against_other"}


def test_look_alikes_count_as_crops_and_half_held_subjects_nowhere():
    half = replace(raw(0.9, -1), touches=0.4)
    photo = RawPhoto(USABLE, (raw(0.9, 0), raw(0.8, -1), half), (raw(0.0, -1, reader=OTHER),))
    gate = Gate(finder(), Ours(fit_ours([photo], finder(), 1.0, FeatureSpace.unfitted()), 1.0, FeatureSpace.unfitted()))
    tasks = compare([photo, RawPhoto(Quality(False, ("blurred",)), (), ())], [True, False], gate)["scores"][
        "max_softmax"
    ]
    assert [(tasks[t]["ours"], tasks[t]["others"]) for t in ("alone", "joined", "whole_photos")] == [
        (1, 2),
        (1, 1),
        (1, 1),
    ]


def test_without_any_subject_nothing_is_fitted_and_nothing_fails():
    assert fit_feature_space([RawPhoto(USABLE, (raw(0.9, -1),), ())]) is None
    space = FeatureSpace.unfitted()
    recipe = fit_ours([RawPhoto(Quality(False, ("blurred",)), (), ())], finder(), 1.0, space)
    found = compare([RawPhoto(Quality(False, ("blurred",)), (), ())], [False], Gate(finder(), Ours(recipe, 1.0, space)))
    assert all(np.isnan(row["joined"]["auroc"]) for row in found["scores"].values())


def test_kept_outputs_give_the_readings_that_serving_gives(toy_model_dir: Path, tmp_path: Path):
    """Every box, every probability: what is fitted on kept outputs holds for what is served."""
    records = []
    for number, kinds in enumerate([("control_box",), ("control_box", "actuator_head"), ("look_alike",), ()]):
        blobs = [(kind, (0.3 + 0.4 * place, 0.5), 0.25, {"black": "above"}) for place, kind in enumerate(kinds)]
        path = tmp_path / f"{number}.jpg"
        path.write_bytes(encoded(blob_photo(*blobs)))
        records.append(replace(record(), path=path, width=640, height=480))
    dark = tmp_path / "dark.jpg"
    dark.write_bytes(encoded(Image.new("RGB", (640, 480))))
    records.append(replace(records[0], path=dark))
    kept = readings_of(collect_raw(toy_model_dir, records, 1), records, Model.load(toy_model_dir))
    served = collect_readings(toy_model_dir, records, 1)
    assert [len(reading.subjects) for reading in served] == [1, 2, 0, 0, 0]
    assert served[-1].quality == Quality(False, ("too_dark",))
    for ours, theirs in zip(kept, served, strict=True):
        assert (ours.name, ours.width, ours.quality) == (theirs.name, theirs.width, theirs.quality)
        for one, other in zip(ours.subjects, theirs.subjects, strict=True):
            assert (one.kind, one.box, one.concepts) == (other.kind, other.box, other.concepts)
            assert one.probability == pytest.approx(other.probability, abs=1e-6)


def test_a_run_stores_its_choice_and_its_comparison(small_run: Path):
    metadata = json.loads((small_run / "weights" / "model.json").read_text())
    compared = metadata["metrics"]["calibration_split"]["not_one_of_ours"]
    assert compared["served"] == metadata["ours"]["score"]
    report = json.loads((small_run / "evaluation" / "evaluation.json").read_text())
    assert set(compared["scores"]) == set(metadata["ours"]["weights"]) == set(report["not_one_of_ours"]["scores"])
    assert metadata["metrics"]["calibration_split"]["merging"]["correlation_is_measured"] is False

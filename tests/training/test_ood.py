"""In distribution or not: fitted and judged on cases whose answer is known."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from sklearn.covariance import empirical_covariance
from sklearn.linear_model import LogisticRegression

from classifier.accept import Acceptance
from classifier.distribution import FeatureSpace
from classifier.model import Model
from classifier.quality import Quality
from classifier.recipe import OTHER, Recipe
from tests.support.raw_boxes import USABLE, apart, finder, raw, record
from tests.support.toy_networks import blob_photo, encoded
from training.calibrate.merging import readings_of
from training.measure.collect import RawPhoto, RawSubject, collect_raw, collect_readings
from training.nets.features import FINDER_ALONE
from training.ood.gate import (
    PENALTY,
    RIDGE,
    SMALLEST_RIDGE,
    Gate,
    fit_feature_space,
    fit_joint,
    fit_logistic,
    separations,
    undecided,
)


def shifted(probability: float, matched: int, features: np.ndarray, kind: str = "actuator_head") -> RawSubject:
    return raw(probability, matched, kind, features=features)


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


def fitted(photos: list[RawPhoto], space: FeatureSpace) -> Gate:
    joint = undecided(finder()).with_(weights=fit_joint(photos, finder(), space))
    return Gate(finder(), Acceptance(joint, space))


def test_features_that_tell_are_weighed_beside_the_finder():
    space = fit_feature_space(photos_where_features_tell(0))
    gate, seen = fitted(photos_where_features_tell(1), space), photos_where_features_tell(2)
    found = separations(seen, [photo.found[0].matched >= 0 for photo in seen], gate)
    alone = separations(seen, [photo.found[0].matched >= 0 for photo in seen], fitted([], space))
    for task in ("alone", "joined", "whole_photos"):
        assert found[task]["auroc"] > 0.97
    assert alone["joined"]["auroc"] < 0.65 and alone["whole_photos"]["auroc"] < 0.65  # the finder by itself
    assert found["joined"]["inside"] == found["joined"]["outside"] == 150


def test_without_a_space_or_with_cases_of_one_sort_the_finder_decides():
    found = [raw(0.8, 0) for _ in range(20)] + [raw(0.2, -1) for _ in range(20)]
    assert fit_joint([RawPhoto(USABLE, tuple(found), ())], finder(), FeatureSpace.unfitted()) == FINDER_ALONE
    space = fit_feature_space(photos_where_features_tell(0))
    assert fit_joint([RawPhoto(USABLE, tuple(found[:20]), ())], finder(), space) == FINDER_ALONE


def test_look_alikes_count_as_crops_and_half_held_subjects_nowhere():
    half = replace(raw(0.9, -1), touches=0.4)
    photo = RawPhoto(USABLE, apart(raw(0.9, 0), raw(0.8, -1), half), (raw(0.0, -1, reader=OTHER),))
    gate = fitted([photo], FeatureSpace.unfitted())
    tasks = separations([photo, RawPhoto(Quality(False, ("blurred",)), (), ())], [True, False], gate)
    counted = [(tasks[task]["inside"], tasks[task]["outside"]) for task in ("alone", "joined", "whole_photos")]
    assert counted == [(1, 2), (1, 1), (1, 1)]


def test_without_any_subject_nothing_is_fitted_and_nothing_fails():
    assert fit_feature_space([RawPhoto(USABLE, (raw(0.9, -1),), ())]) is None
    nothing = [RawPhoto(Quality(False, ("blurred",)), (), ())]
    found = separations(nothing, [False], fitted(nothing, FeatureSpace.unfitted()))
    assert np.isnan(found["joined"]["auroc"])


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
    for fitted_on, given in zip(kept, served, strict=True):
        assert (fitted_on.name, fitted_on.width, fitted_on.quality) == (given.name, given.width, given.quality)
        for one, other in zip(fitted_on.subjects, given.subjects, strict=True):
            assert (one.kind, one.box, one.concepts) == (other.kind, other.box, other.concepts)
            assert one.probability == pytest.approx(other.probability, abs=1e-6)


def test_a_run_stores_what_it_fitted(small_run: Path):
    recipe, _ = Recipe.read(small_run / "weights")
    split = recipe.metrics["calibration_split"]
    report = json.loads((small_run / "evaluation" / "evaluation.json").read_text())
    assert (
        set(split["out_of_distribution"]) == set(report["out_of_distribution"]) == {"alone", "joined", "whole_photos"}
    )
    assert split["merging"]["correlation_is_measured"] is False

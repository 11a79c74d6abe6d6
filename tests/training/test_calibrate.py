"""From raw boxes to bars and scores, on cases made by hand, and the collection over processes."""

from pathlib import Path

import numpy as np
import pytest

from training.calibrate import accepted, calibrated_finder, concept_cases, finder_thresholds, raw_bars
from training.collect import RawPhoto, RawSubject, collect_readings, match
from training.config import CLASSES, KINDS, OTHER
from training.manifest import Reading, Record, Subject, read_manifests
from training.ood import compare, fit_feature_space, read_feature_space, write_feature_space

BOX = (0.1, 0.1, 0.5, 0.5)
HEAD = Subject("actuator_head", BOX, False, {"lowering": Reading("none", True, ("none",), 90.0)})


def record(*subjects: Subject) -> Record:
    return Record(Path("x.jpg"), None, 100, 100, "calibration", "close", (), True, None, subjects, ())


def raw(
    probability: float, matched: int, kind: str = "actuator_head", reader: str | None = None, **features
) -> RawSubject:
    logits = {"kind": np.where(np.array(KINDS) == (reader or kind), 4.0, 0.0)}
    logits |= {concept: np.arange(len(values), dtype=float) for concept, values in CLASSES.items()}
    logits["features"] = features.get("features", np.zeros(3))
    return RawSubject(kind, BOX, probability, matched, 1.0 if matched >= 0 else 0.0, logits)


def test_the_finders_bar_lies_between_true_and_false_boxes():
    photos = [RawPhoto(True, (raw(0.9, 0), raw(0.3, -1)), ()), RawPhoto(True, (raw(0.6, 0),), ())]
    thresholds = finder_thresholds(photos, [record(HEAD), record(HEAD)], temperature=1.0)
    assert thresholds["actuator_head"] == pytest.approx(0.45)
    assert thresholds["charger"] == 0.5  # nothing to go by


def test_boxes_that_the_reader_disowns_raise_no_bar():
    photos = [RawPhoto(True, (raw(0.6, 0), raw(0.8, -1, reader=OTHER)), ())]
    assert finder_thresholds(photos, [record(HEAD)], 1.0)["actuator_head"] < 0.6


def test_bars_are_the_same_before_and_after_calibration():
    bars = raw_bars({"actuator_head": 0.4}, temperature=2.5)
    assert calibrated_finder([bars["actuator_head"]], 2.5)[0] == pytest.approx(0.4)


def test_only_accepted_and_matched_boxes_are_cases():
    bars = dict.fromkeys(KINDS, 0.5)
    photo = RawPhoto(True, (raw(0.9, 0), raw(0.4, -1), raw(0.8, -1), raw(0.9, -1, reader=OTHER)), ())
    assert len(accepted(photo, bars)) == 2
    logits, targets, truths = concept_cases([photo], [record(HEAD)], "lowering", bars)
    assert logits.shape == (1, 5) and truths.tolist() == [0] and targets[0].tolist() == [1, 0, 0, 0, 0]


def test_each_true_subject_is_matched_once_by_the_likeliest_box():
    found = [raw(0.5, -1), raw(0.9, -1), raw(0.7, -1, kind="charger")]
    assert match(found, record(HEAD)) == [-1, 0, -1]
    assert match([], record(HEAD)) == [] and match(found, record()) == [-1, -1, -1]


def test_numbers_tell_subjects_from_look_alikes(tmp_path: Path):
    rng = np.random.default_rng(0)
    ours = tuple(raw(0.9, 0, features=rng.normal(0, 1, 3)) for _ in range(50))
    foreign = tuple(raw(0.9, -1, reader=OTHER, features=rng.normal(8, 1, 3)) for _ in range(50))
    photos = [RawPhoto(True, ours, foreign)]
    space = fit_feature_space(photos)
    write_feature_space(tmp_path / "space.npz", space)
    found = compare(photos, read_feature_space(tmp_path / "space.npz"), 1.0, dict.fromkeys(KINDS, 0.1))
    assert found["subjects"] == 50 and found["look_alikes_and_false_alarms"] == 50
    assert {name: s["auroc"] for name, s in found["scores"].items()} == dict.fromkeys(found["scores"], 1.0)
    assert set(found["scores"]) == {"max_softmax", "energy", "feature_distance"}


def test_without_any_subject_nothing_is_compared():
    space = fit_feature_space([])
    assert compare([RawPhoto(False, (), ())], space, 1.0, {})["scores"] == {}


def test_processes_change_nothing(small_run: Path, drawn: dict[str, Path]):
    records = read_manifests([drawn["heldout"]], "heldout")[:6]
    assert collect_readings(small_run / "weights", records, 1) == collect_readings(small_run / "weights", records, 2)

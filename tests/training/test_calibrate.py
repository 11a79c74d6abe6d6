"""From raw boxes to bars and cases, by hand, and the collection over processes."""

from pathlib import Path

import numpy as np
import pytest

from classifier.ours import FeatureSpace, Ours
from classifier.quality import Quality
from classifier.taxonomy import SUBJECTS
from training.calibrate.calibrate import (
    HIGHEST_BAR,
    _mix,
    _wanted_mix,
    concept_cases,
    finder_bars,
    hidden_shares,
    thresholds,
)
from training.calibrate.collect import RawPhoto, RawSubject, collect_readings, match
from training.config import CLASSES, KINDS, OTHER
from training.data.manifest import Reading, Record, Subject, read_manifests
from training.ood.gate import Gate

USABLE = Quality(True, ())
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


def gate(**recipe) -> Gate:
    """A gate that believes the finder, with bars of one half, but for what is given."""
    finder = {"temperature": 1.0, "thresholds": dict.fromkeys(SUBJECTS, recipe.get("bar", 0.1))}
    ours = {
        "score": "max_softmax",
        "weights": {"max_softmax": [0.0, 1.0, 0.0]},
        "thresholds": dict.fromkeys(SUBJECTS, 0.5),
    }
    return Gate(finder, Ours(ours, 1.0, FeatureSpace.unfitted()))


def test_the_finders_bar_keeps_what_it_rightly_finds():
    hits = [raw(p, 0) for p in np.linspace(0.2, 0.9, 200)]
    photos = [RawPhoto(USABLE, (*hits, raw(0.03, 0, reader=OTHER), raw(0.02, -1)), ())]
    bars = finder_bars(photos, temperature=1.0)
    assert bars["actuator_head"] == pytest.approx(np.linspace(0.2, 0.9, 200)[2])
    assert bars["charger"] == HIGHEST_BAR  # nothing to go by


def test_what_is_answered_lies_between_true_and_false_boxes():
    photos = [RawPhoto(USABLE, (raw(0.9, 0), raw(0.3, -1)), ()), RawPhoto(USABLE, (raw(0.6, 0),), ())]
    found = thresholds(photos, [record(HEAD), record(HEAD)], gate())
    assert found["actuator_head"] == pytest.approx(0.45)
    assert found["charger"] == 0.5  # nothing to go by


def test_boxes_that_the_reader_disowns_raise_no_threshold():
    photos = [RawPhoto(USABLE, (raw(0.6, 0), raw(0.8, -1, reader=OTHER)), ())]
    assert thresholds(photos, [record(HEAD)], gate())["actuator_head"] < 0.6


def test_only_answered_and_matched_boxes_are_cases():
    photo = RawPhoto(USABLE, (raw(0.9, 0), raw(0.4, -1), raw(0.8, -1), raw(0.9, -1, reader=OTHER)), ())
    assert len(gate().accepted(photo)) == 2
    logits, truths, values = concept_cases([photo], [record(HEAD)], "lowering", gate())
    assert logits.shape == (1, 5) and truths.tolist() == [0] and values == ["none"]


def test_what_a_picture_leaves_open_counts_by_what_is_true():
    """Half-and-half targets had made the reader modest: it sees more than the label says that anybody can."""
    knobs = Reading("pull_twist_knob", True, ("twist_knob", "pull_twist_knob"), 900.0)
    head = Subject("actuator_head", BOX, False, {"lowering": knobs})
    photo = RawPhoto(USABLE, (raw(0.9, 0),), ())
    assert concept_cases([photo], [record(head)], "lowering", gate())[1].tolist() == [3]


def test_a_value_is_met_as_often_when_it_is_out_of_view():
    """By hand: two with tabs, of which one hides them, and one without; one more of each of the four."""
    tabs = {view: {"lowering": Reading("squeeze_tabs", view, ("squeeze_tabs",), 90.0)} for view in (True, False)}
    heads = [HEAD, *(Subject("actuator_head", BOX, False, concepts) for concepts in tabs.values())]
    met = _mix("lowering", [record(head) for head in heads])
    assert met == pytest.approx({"none": 2 / 7, "squeeze_tabs": 3 / 7, "twist_knob": 1 / 7, "pull_twist_knob": 1 / 7})
    hidden = hidden_shares("lowering", [record(head) for head in heads])
    assert hidden == pytest.approx(
        dict.fromkeys(("squeeze_tabs", "twist_knob", "pull_twist_knob"), 1 / 2) | {"none": 1 / 3}
    )


def test_half_of_the_boxes_count_as_those_that_are_asked_for():
    """By hand: of two rows one has a gauge and one lamps; the other half of the boxes has any display."""
    rows = [
        {"stop_position": "top", "battery": "built_in", "service_buttons": "none", "charge_display": display}
        for display in ("gauge", "lamp_row")
    ]
    wanted = {"gauge": 1 / 6 + 1 / 4, "lamp_row": 1 / 6 + 1 / 4, "none": 1 / 6}
    assert _wanted_mix("charge_display", rows) == pytest.approx(wanted)
    assert _wanted_mix("lowering", rows) == {} == _wanted_mix("charge_display", ())  # the pictures decide


def test_each_true_subject_is_matched_once_by_the_likeliest_box():
    found = [raw(0.5, -1), raw(0.9, -1), raw(0.7, -1, kind="charger")]
    assert match(found, record(HEAD)) == [-1, 0, -1]
    assert match([], record(HEAD)) == [] and match(found, record()) == [-1, -1, -1]


def test_processes_change_nothing(small_run: Path, drawn: dict[str, Path]):
    records = read_manifests([drawn["heldout"]], "heldout")[:6]
    assert collect_readings(small_run / "weights", records, 1) == collect_readings(small_run / "weights", records, 2)

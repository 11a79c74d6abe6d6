"""From raw boxes to thresholds and cases, by hand, and the collection over processes."""

import numpy as np
import pytest

from classifier.accept import Acceptance
from classifier.distribution import FeatureSpace
from classifier.recipe import OTHER
from classifier.taxonomy import SUBJECTS
from tests.support.raw_boxes import BOX, HEAD, USABLE, apart, finder, raw, record
from training.calibrate.calibrate import (
    HIGHEST_OF_FINDER,
    _priors,
    _target_priors,
    concept_cases,
    finder_thresholds,
    hidden_shares,
    thresholds,
    thresholds_that_matter,
)
from training.data.manifest import Reading, Subject
from training.measure.collect import RawPhoto, match
from training.ood.gate import Gate, undecided


def gate() -> Gate:
    """A gate that believes the finder, with thresholds of one half."""
    halves = undecided(finder()).with_(thresholds=dict.fromkeys(SUBJECTS, 0.5))
    return Gate(finder(), Acceptance(halves, FeatureSpace.unfitted()))


def test_the_finders_threshold_keeps_what_it_rightly_finds():
    hits = [raw(p, 0) for p in np.linspace(0.2, 0.9, 200)]
    photos = [RawPhoto(USABLE, (*hits, raw(0.03, 0, reader=OTHER), raw(0.02, -1)), ())]
    found = finder_thresholds(photos, temperature=1.0)
    assert found["actuator_head"] == pytest.approx(np.linspace(0.2, 0.9, 200)[2])
    assert found["charger"] == HIGHEST_OF_FINDER  # nothing to go by


def test_what_is_answered_lies_between_true_and_false_boxes():
    photos = [RawPhoto(USABLE, apart(raw(0.9, 0), raw(0.3, -1)), ()), RawPhoto(USABLE, (raw(0.6, 0),), ())]
    found = thresholds(photos, [record(HEAD), record(HEAD)], gate())
    assert found["actuator_head"] == pytest.approx(0.45)
    assert found["charger"] == 0.5  # nothing to go by


def test_boxes_that_the_reader_disowns_raise_no_threshold():
    photos = [RawPhoto(USABLE, (raw(0.6, 0), raw(0.8, -1, reader=OTHER)), ())]
    assert thresholds(photos, [record(HEAD)], gate())["actuator_head"] < 0.6


def test_only_answered_and_matched_boxes_are_cases():
    photo = RawPhoto(USABLE, apart(raw(0.9, 0), raw(0.4, -1), raw(0.8, -1), raw(0.9, -1, reader=OTHER)), ())
    assert len(gate().accepted(photo)) == 2
    logits, truths, values = concept_cases([photo], [record(HEAD)], "lowering", gate())
    assert logits.shape == (1, 5) and truths.tolist() == [0] and values == ["none"]


def test_one_thing_is_a_case_once_and_under_its_likelier_kind():
    """The overlap rule of serving holds where thresholds and recipes are fitted, too."""
    photo = RawPhoto(USABLE, (raw(0.9, 0), raw(0.8, -1, kind="charger")), ())
    assert [box.kind for box in gate().accepted(photo)] == ["actuator_head"]
    assert [box.kind for box, _ in gate().candidates(photo)] == ["actuator_head"]
    assert thresholds([photo], [record(HEAD)], gate())["charger"] == 0.5  # no charger of its own to go by


def test_what_a_picture_leaves_open_counts_by_what_is_true():
    """Half-and-half targets had made the reader underconfident: it sees more than the label says that anybody can."""
    knobs = Reading("pull_twist_knob", True, ("twist_knob", "pull_twist_knob"), 900.0)
    head = Subject("actuator_head", BOX, False, {"lowering": knobs})
    photo = RawPhoto(USABLE, (raw(0.9, 0),), ())
    assert concept_cases([photo], [record(head)], "lowering", gate())[1].tolist() == [3]


def test_a_value_is_met_as_often_when_it_is_out_of_view():
    """By hand: two with tabs, of which one hides them, and one without; one more of each of the four."""
    tabs = {view: {"lowering": Reading("squeeze_tabs", view, ("squeeze_tabs",), 90.0)} for view in (True, False)}
    heads = [HEAD, *(Subject("actuator_head", BOX, False, concepts) for concepts in tabs.values())]
    met = _priors("lowering", [record(head) for head in heads])
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
    assert _target_priors("charge_display", rows) == pytest.approx(wanted)
    assert _target_priors("lowering", rows) == {} == _target_priors("charge_display", ())  # the pictures decide


def test_each_true_subject_is_matched_once_by_the_likeliest_box():
    found = [raw(0.5, -1), raw(0.9, -1), raw(0.7, -1, kind="charger")]
    assert match(found, record(HEAD)) == [-1, 0, -1]
    assert match([], record(HEAD)) == [] and match(found, record()) == [-1, -1, -1]


def test_what_would_be_turned_away_is_hardly_read():
    """Things that are answered raise the finder's own threshold where nothing is read of their kind; it never falls."""
    likely = np.linspace(0.2, 0.9, 701)
    photos = [RawPhoto(USABLE, apart(raw(p, 0, kind="charger"), raw(p, 0)), ()) for p in likely]
    rule = gate().acceptance.recipe.with_(thresholds=dict.fromkeys(SUBJECTS, 0.3))
    wide = Gate(finder(), Acceptance(rule, FeatureSpace.unfitted()))
    answered = likely[likely >= 0.3]
    found = thresholds_that_matter(photos, wide)
    assert found["charger"] == pytest.approx(answered[int(0.005 * len(answered))])
    assert all(found[kind] == wide.finder.thresholds[kind] for kind in ("actuator_head", "hand_control"))
    high = Gate(wide.finder.with_(thresholds=dict.fromkeys(SUBJECTS, 0.45)), wide.acceptance)
    assert all(value >= 0.45 for value in thresholds_that_matter(photos, high).values())
    assert thresholds_that_matter(photos[500:], wide)["charger"] == HIGHEST_OF_FINDER

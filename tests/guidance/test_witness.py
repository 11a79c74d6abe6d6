"""One witness counts once: one person's second answer about one look makes nothing surer; another person's does."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.taxonomy import CONCEPTS
from guidance.advise.answer import answer
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.identify.sources import Observed
from tests.guidance.lifts import FACTS, MODEL, ask, head_photo, rows_of
from tests.guidance.test_answer import PHOTOS

pytestmark = pytest.mark.walk

DEMO = load(DEMO_CATALOGUE)
ABOUT = {
    feature: [o for o in DEMO.observations_by_id.values() if o.about == feature and o.look is None]
    for feature in ("generation", *CONCEPTS, *DEMO.trait_values)
}
"""The questions and the correction about each feature whose look is the thing itself."""

LOWERING = ABOUT["lowering"]


def found(*observed: Observed, photos=(), role="caregiver"):
    return answer(photos, list(observed), DEMO, MODEL, FACTS, role)


@st.composite
def two_answers(draw):
    """Two answers of one person about one look; a correction only without photos, which it may set aside."""
    rows = draw(st.sampled_from([rows for rows in ABOUT.values() if len(rows) > 1]))
    pair = draw(st.lists(st.sampled_from(rows), min_size=2, max_size=2, unique_by=lambda row: row.id))
    return [(Observed(row.id, draw(st.sampled_from(sorted(row.options)))), row.correction) for row in pair]


@settings(max_examples=200, deadline=None)
@given(two_answers(), PHOTOS)
def test_a_second_answer_about_one_look_makes_nothing_surer_than_the_surest_single_one(pair, photos):
    """For every generation and mechanism, and so for the favourite, with any photos beside it."""
    (first, _), (second, _) = pair
    photos = [] if any(correction for _, correction in pair) else photos
    one, other, both = (found(*said, photos=photos) for said in ((first,), (second,), (first, second)))
    for component in ("control_box", "actuator"):
        single = [getattr(document, component).probabilities for document in (one, other)]
        for value, probability in getattr(both, component).probabilities.items():
            bounds = [p[value] for p in single]
            assert min(bounds) - 1e-9 <= probability <= max(bounds) + 1e-9, (component, value)


@pytest.mark.parametrize("by", ["caregiver", "agent", "technician"])
def test_one_person_confirms_no_lowering_action_by_answers_about_the_shape_alone(by):
    """Every way to answer every question about it, and to correct it: each of them is about the one look."""
    for chosen in product(*((None, *row.options) for row in LOWERING)):
        said = [Observed(row.id, a, by) for row, a in zip(LOWERING, chosen, strict=True) if a is not None]
        assert found(*said).actuator.decision != "confirmed", said


def test_an_answer_and_a_correction_that_agree_leave_what_the_surer_one_leaves():
    alone = found(Observed("lowering", "pull_twist_knob")).actuator.probabilities
    both = found(Observed("lowering", "pull_twist_knob"), Observed("motor_end_shape", "pull_twist_knob"))
    assert both.actuator.probabilities == pytest.approx(alone, abs=1e-12)
    assert alone["pull_twist_knob"] == pytest.approx(0.985, abs=1e-12)


def test_answers_of_one_person_that_contradict_bring_doubt_and_are_named():
    both = found(Observed("lowering", "twist_knob"), Observed("motor_end_shape", "squeeze_tabs")).actuator
    assert both.probabilities["twist_knob"] == pytest.approx((0.985 + 0.02 / 0.98) / 2, abs=0.01)
    assert both.decision == "undecided" and both.contradictions
    assert {"twist_knob", "squeeze_tabs"} <= set(both.values)
    gap = found(Observed("motor_end_shape", "pull_twist_knob"), Observed("knob_slides", "no")).actuator
    assert gap.probabilities["pull_twist_knob"] < 0.6 and gap.contradictions


def test_the_more_telling_of_two_answers_speaks():
    """That a battery comes off leaves two kinds open; how it sits tells which."""
    sits, off = Observed("how_battery_sits", "stacked_pack"), Observed("battery_comes_off", "yes")
    assert found(sits, off).control_box.probabilities == pytest.approx(found(sits).control_box.probabilities)


def test_an_agent_writes_down_what_the_person_at_the_lift_says():
    said = [Observed("motor_end_shape", "pull_twist_knob", by) for by in ("caregiver", "agent")]
    assert found(*said).actuator.probabilities == pytest.approx(found(said[0]).actuator.probabilities)


def test_another_person_another_look_and_a_photo_are_other_witnesses():
    shape = Observed("motor_end_shape", "pull_twist_knob", "caregiver")
    single = found(shape).actuator
    assert single.decision != "confirmed"
    others = {
        "a technician": found(shape, Observed("lowering", "pull_twist_knob", "technician")),
        "the label": found(shape, Observed("label_shows_lowering", "pull_twist_knob", "caregiver")),
        "a photo": found(shape, photos=[head_photo(pull_twist_knob=0.99)]),
    }
    for who, document in others.items():
        assert document.actuator.decision == "confirmed", who


def test_who_asks_is_who_looked_unless_somebody_else_is_named():
    said = [Observed("motor_end_shape", "twist_knob", "caregiver"), Observed("lowering", "twist_knob")]
    assert found(*said, role="caregiver").actuator.decision != "confirmed"
    assert found(*said, role="technician").actuator.decision == "confirmed"


def test_a_question_about_a_look_that_was_answered_on_is_not_asked_for_what_it_repeats():
    """After the shape was named, whether the knob slides tells nothing new of the same look; the label does."""
    rows = rows_of(DEMO)
    rows["views"] = []
    talk = type(DEMO).model_validate(rows)
    wanted = ask(talk, [], ("person_in_sling", "yes"), ("motor_end_shape", "pull_twist_knob")).next
    assert wanted.id == "label_shows_lowering"
    nobody_up = [("person_in_sling", "no"), ("motor_end_shape", "pull_twist_knob"), ("label_shows_lowering", "unsure")]
    boxes = [("where_is_stop", "top"), ("how_battery_sits", "hung_pack"), ("buttons_on_box", "front")]
    wanted = ask(talk, [], *nobody_up, *boxes, ("how_charge_shows", "gauge")).next
    assert wanted is None or wanted.id != "knob_slides"

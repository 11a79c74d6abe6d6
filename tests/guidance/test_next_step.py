"""What is asked next: information by hand, never twice, never with somebody in the sling, and enough within three."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.rows import ROLES
from tests.guidance.lifts import HUNG_TOP, ask, box_photo, head_photo, photo, rows_of
from tests.guidance.simulate_callers import STARTS, exact_share_right, simulate, without_views


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def only(catalogue: Catalogue, *questions: str, views: tuple = ()) -> Catalogue:
    """The catalogue with none but these questions and views."""
    rows = rows_of(catalogue)
    rows["observations"] = [o for o in rows["observations"] if o["id"] in questions]
    rows["views"] = [v for v in rows["views"] if v["id"] in views]
    rows["which_box"]["effort_min"] = {"technician": 1.0}  # so that a caregiver is not asked it
    for row in rows["generations"]:
        row["traits"] = {}
    return Catalogue.model_validate(rows)


def only_box_questions(catalogue: Catalogue) -> Catalogue:
    """The catalogue without photos and without questions about the actuator: every question is about the box."""
    rows = rows_of(without_views(catalogue))
    rows["observations"] = [o for o in rows["observations"] if o.get("about") not in (None, "lowering")]
    return Catalogue.model_validate(rows)


def bits(*p: float) -> float:
    return -sum(x * math.log2(x) for x in p if x)


def test_information_of_one_question_by_hand(catalogue):
    """Before: 4 x 0.175 and 0.3 unlisted. Either answer, each at 0.5, leaves 2 x 0.34475, 2 x 0.00525, 0.3."""
    wanted = ask(only(catalogue, "where_is_stop"), [photo()]).next
    expected = bits(*[0.175] * 4, 0.3) - bits(*[0.34475] * 2, *[0.00525] * 2, 0.3)
    assert (wanted.kind, wanted.id) == ("question", "where_is_stop")
    assert wanted.expected_gain_bits == pytest.approx(expected, abs=1e-12)


def test_information_of_one_photo_by_hand(catalogue):
    """Visible 0.85, read rightly 0.97: 2 bits of four mechanisms fall by 0.85 * (2 - those of one reading)."""
    confirmed = box_photo(0.999, **HUNG_TOP)
    wanted = ask(only(catalogue, views=("motor_end_from_side",)), [confirmed]).next
    assert (wanted.kind, wanted.id) == ("photo", "motor_end_from_side")
    assert wanted.expected_gain_bits == pytest.approx(0.85 * (2 - bits(0.97, 0.01, 0.01, 0.01)), abs=1e-9)


def test_least_effort_wins_between_like_questions(catalogue):
    """`battery_comes_off` tells fewer bits than `how_battery_sits`; an agent's minutes decide between them."""
    rows = rows_of(only(catalogue, "battery_comes_off", "how_battery_sits"))
    for minutes, expected in ((1.0, "how_battery_sits"), (60.0, "battery_comes_off")):
        question = next(o for o in rows["observations"] if o["id"] == "how_battery_sits")
        question["effort_min"]["agent"] = minutes
        assert ask(Catalogue.model_validate(rows), [photo()], role="agent").next.id == expected


def test_an_agent_asks_before_wanting_a_photo_and_a_technician_photographs(catalogue):
    assert ask(catalogue, [photo()], role="agent").next.kind == "question"
    assert ask(only(catalogue, views=("box_from_corner",)), [photo()], role="technician").next.kind == "photo"


def test_nothing_is_asked_when_both_components_are_confirmed(catalogue):
    found = ask(catalogue, [box_photo(0.999, **HUNG_TOP), head_photo(squeeze_tabs=0.999)])
    assert (found.control_box.decision, found.actuator.decision) == ("confirmed", "confirmed")
    assert found.next is None


def test_nothing_is_asked_when_nothing_is_left_to_ask(catalogue):
    poor = only(catalogue, "where_is_stop")
    assert ask(poor, [photo()], ("where_is_stop", "unsure")).next is None


def test_an_answer_even_a_dont_know_is_not_asked_for_again(catalogue):
    asked, answers = set(), []
    talk = without_views(catalogue)
    while (wanted := ask(talk, [photo()], *answers).next) is not None:
        assert wanted.id not in asked
        asked.add(wanted.id)
        answers.append((wanted.id, "unsure"))
    assert {"which_box", "where_is_stop", "how_battery_sits", "motor_end_shape"} <= asked


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("shape", ["none", "squeeze_tabs", "twist_knob", "pull_twist_knob"])
def test_who_named_what_is_at_the_motor_end_is_asked_no_more_of_that_look(catalogue, role, shape):
    """After "Nothing" a question about the metal behind the knob would show that nobody listened; a label is new."""
    head = head_photo(none=0.4, squeeze_tabs=0.2, twist_knob=0.2, pull_twist_knob=0.2)
    answers, asked = [("person_in_sling", "no"), ("motor_end_shape", shape)], []
    while (wanted := ask(without_views(catalogue), [head], *answers, role=role).next) is not None:
        asked.append(wanted.id)
        answers.append((wanted.id, "unsure"))
    assert "knob_slides" not in asked and "label_shows_lowering" in asked
    unsure = [("person_in_sling", "no"), ("motor_end_shape", "unsure")]
    while (wanted := ask(without_views(catalogue), [head], *unsure, role=role).next) is not None:
        unsure.append((wanted.id, "unsure"))
    assert ("knob_slides", "unsure") in unsure


def test_a_corrected_concept_is_not_asked_about(catalogue):
    assert ask(only(catalogue, "where_is_stop"), [photo()], ("stop_position", "top")).next is None


def test_the_knob_is_never_asked_about_with_somebody_or_perhaps_somebody_in_the_sling(catalogue):
    box, knob = box_photo(0.999, **HUNG_TOP), head_photo(twist_knob=0.5, pull_twist_knob=0.5)
    only_knob = only(catalogue, "knob_slides", "person_in_sling")
    assert ask(only_knob, [box, knob], ("person_in_sling", "yes")).next is None
    assert ask(only_knob, [box, knob], ("person_in_sling", "unsure")).next is None
    assert ask(only_knob, [box, knob], ("person_in_sling", "no")).next.id == "knob_slides"
    assert ask(only_knob, [box, knob]).next.id == "person_in_sling"


def test_with_somebody_in_the_sling_the_lowering_mechanism_comes_first(catalogue):
    assert "lowering mechanism" in ask(catalogue, [photo()], ("person_in_sling", "yes")).next.why
    assert "control box" in ask(catalogue, [photo()], ("person_in_sling", "no")).next.why


def test_an_undecided_knob_is_settled_before_a_box_that_nobody_looked_at(catalogue):
    wanted = ask(catalogue, [head_photo(twist_knob=0.5, pull_twist_knob=0.48)]).next
    assert wanted.id in ("motor_end_shape", "motor_end_from_side", "knob_slides", "person_in_sling")


def test_a_view_that_failed_is_worth_less_the_next_time(catalogue):
    views = only(catalogue, views=("box_from_corner",))
    gains = [ask(views, [box_photo(stop_position="top")] * n).next.expected_gain_bits for n in (1, 2, 3)]
    assert gains == sorted(gains, reverse=True) and gains[2] < 0.6 * gains[0]


DEMO = load(DEMO_CATALOGUE)
CHOICES = {o.id: (*o.options, "unsure") for o in DEMO.observations_by_id.values()}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(sorted(CHOICES)), unique=True), st.data())
def test_what_is_asked_is_new_and_worth_its_while(ids, data):
    answers = [(i, data.draw(st.sampled_from(CHOICES[i]))) for i in ids]
    wanted = ask(DEMO, [photo()], *answers).next
    if wanted is not None:
        assert wanted.id not in ids
        assert wanted.expected_gain_bits >= DEMO.next_step.least_gain_bits
        assert wanted.kind == "photo" or wanted.answers == DEMO.observations_by_id[wanted.id].options


def test_three_questions_on_the_telephone_name_the_generation(catalogue):
    """No sampling: every way that the answers can go, weighed by the stated reliabilities."""
    assert exact_share_right(only_box_questions(catalogue), "agent") >= 0.97


@pytest.mark.parametrize("start", STARTS)
def test_three_steps_name_the_generation_from_any_start(catalogue, start):
    """The bar is 97 %; with this few callers, fail when the interval of what was measured lies below it."""
    found = simulate(catalogue, start, "caregiver", True, True, 120, np.random.default_rng(7))
    assert found.interval()[1] >= 0.97, found
    assert found.confirmed_wrong <= 1, found


def test_callers_with_an_unlisted_box_are_not_told_a_listed_one(catalogue):
    found = simulate(catalogue, "nothing", "caregiver", True, False, 120, np.random.default_rng(7))
    assert found.verdicts["unlisted"] + found.verdicts["undecided"] >= 0.95 * found.count, found

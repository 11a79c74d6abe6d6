"""The decision of least expected cost, by hand, and what no cost can buy."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from classifier.taxonomy import UNLISTED
from guidance.catalogue.rows import DecisionCosts
from guidance.identify.decision import Standing, decide, expected_costs_min

COSTS = DecisionCosts(
    ordering_threshold=0.99,
    feature_threshold=0.95,
    wrong_action_min=400,
    wrong_lead_min=80,
    question_min=3,
    undecided_min=7,
)
PROBABILITIES = st.floats(0.0, 1.0)


def standing(p: float, values=("a",), favourite="a", belief=1.0, seen=True) -> Standing:
    return Standing(seen, favourite, p, frozenset(values), belief)


def test_expected_costs_by_hand():
    costs = expected_costs_min(standing(0.995), COSTS)
    assert costs == pytest.approx({"undecided": 7.0, "likely": 0.005 * 80 + 3, "confirmed": 0.005 * 400})


@pytest.mark.parametrize(
    ("given", "verdict"),
    [
        (standing(0.995), "confirmed"),
        (standing(0.9901), "likely"),  # 3.96 to act, 3.79 to ask once more
        (standing(0.96), "likely"),
        (standing(0.94), "undecided"),  # 7.8 to lead, 7 to ask first
        (standing(0.999, values=("a", "b")), "likely"),
        (standing(0.999, belief=0.9), "likely"),
        (standing(0.96, values=(UNLISTED,), favourite=UNLISTED), "unlisted"),
        (standing(0.94, values=(UNLISTED, "a"), favourite=UNLISTED), "undecided"),
        (standing(0.999, seen=False), "not_seen"),
    ],
)
def test_verdicts_by_hand(given, verdict):
    assert decide(given, COSTS) == verdict


def test_a_cheap_wrong_part_does_not_lower_the_ordering_threshold():
    careless = COSTS.model_copy(update={"wrong_action_min": 80.0})
    assert decide(standing(0.985), careless) == "likely"


@given(PROBABILITIES, PROBABILITIES, st.floats(80, 10_000), st.floats(1, 10))
def test_a_dearer_mistake_never_makes_bolder(p, belief, wrong_action_min, factor):
    boldness = ["undecided", "likely", "confirmed"]
    cheap = COSTS.model_copy(update={"wrong_action_min": wrong_action_min})
    dear = COSTS.model_copy(update={"wrong_action_min": wrong_action_min * factor})
    before, after = (decide(standing(p, belief=belief), c) for c in (cheap, dear))
    assert boldness.index(after) <= boldness.index(before)


@given(PROBABILITIES, PROBABILITIES, st.sets(st.sampled_from("abc"), min_size=1))
def test_confirmed_always_means_one_value_over_both_thresholds(p, belief, values):
    given = standing(p, values=values, belief=belief)
    if decide(given, COSTS) == "confirmed":
        assert given.values == {"a"} and p >= COSTS.ordering_threshold and belief >= COSTS.feature_threshold

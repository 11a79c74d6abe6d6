"""Probabilities and prediction sets: by hand, against SciPy, and over random cases."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit
from scipy.special import softmax as scipy_softmax

from classifier.calibration import named_probabilities, prediction_set, sigmoid, softmax, told_apart

NAMES = ("a", "b", "c")


def recipe(values, temperature=1.0, offsets=None, concept="x", apart=0.0) -> dict:
    """Of a reader of one concept."""
    moved = dict.fromkeys(values, 0.0) | (offsets or {})
    told = {"concepts": values, "temperatures": temperature, "offsets": moved, "apart": apart}
    return {key: {concept: value} for key, value in told.items()}


LOGITS = st.lists(st.floats(-30, 30), min_size=2, max_size=6)


@given(logits=LOGITS, temperature=st.floats(0.2, 5))
def test_softmax_is_scipys_on_divided_logits(logits: list[float], temperature: float) -> None:
    came = softmax(np.array(logits), temperature)
    assert np.allclose(came, scipy_softmax(np.array(logits) / temperature), atol=1e-12)


@given(logits=LOGITS, temperature=st.floats(0.2, 5))
def test_sigmoid_is_scipys_on_divided_logits(logits: list[float], temperature: float) -> None:
    assert np.allclose(sigmoid(np.array(logits), temperature), expit(np.array(logits) / temperature), atol=1e-12)


def test_huge_logits_do_not_overflow() -> None:
    with np.errstate(over="raise", invalid="raise"):
        assert softmax(np.array([1e4, 0.0]), 1.0).tolist() == [1.0, 0.0]
        assert sigmoid(np.array([-1e6, 1e6]), 1.0) == pytest.approx([0.0, 1.0])


def test_a_higher_temperature_is_less_sure_and_keeps_the_order() -> None:
    cold, hot = (named_probabilities(np.array([2.0, 1.0, -1.0]), "x", recipe(NAMES, t)) for t in (1.0, 3.0))
    assert cold["a"] > hot["a"] > hot["b"] > hot["c"] > cold["c"]
    assert sum(hot.values()) == pytest.approx(1.0)


def test_an_offset_multiplies_the_odds_of_its_class_alone() -> None:
    less = {"a": -np.log(3)}
    plain, moved = (named_probabilities(np.array([2.0, 1.0, -1.0]), "x", recipe(NAMES, 2.0, o)) for o in ({}, less))
    assert moved["b"] / moved["c"] == pytest.approx(plain["b"] / plain["c"])
    assert moved["a"] / moved["b"] == pytest.approx(plain["a"] / plain["b"] / 3)


def test_logits_of_another_shape_are_refused() -> None:
    with pytest.raises(ValueError, match=r"\(2,\) came, \(..., 3\) is wanted"):
        named_probabilities(np.zeros(2), "x", recipe(NAMES))


@given(logits=st.lists(st.floats(-30, 30), min_size=5, max_size=5), by=st.floats(0, 6))
def test_telling_two_apart_widens_their_margin_alone(logits: list[float], by: float) -> None:
    plain, told = np.array(logits), told_apart(np.array(logits), (2, 3), by)
    assert np.allclose(told[[0, 1, 4]], plain[[0, 1, 4]], atol=0)
    assert np.logaddexp(told[2], told[3]) == pytest.approx(np.logaddexp(plain[2], plain[3]), abs=1e-9)
    margin, wider = plain[2] - plain[3], told[2] - told[3]
    assert wider == pytest.approx(margin + by * np.tanh(4 * margin), abs=1e-6)
    assert abs(wider) >= abs(margin) - 1e-6 and told_apart(plain, (2, 3), 0.0) == pytest.approx(plain, abs=1e-9)


def test_the_two_knobs_and_nothing_else_are_told_apart() -> None:
    values, logits = ("none", "squeeze_tabs", "twist_knob", "pull_twist_knob", "not_visible"), np.zeros(5)
    logits[2] = 0.5  # a lean to one of them
    plain, told = (
        named_probabilities(logits, "lowering", recipe(values, concept="lowering", apart=by)) for by in (0.0, 2.0)
    )
    assert told["twist_knob"] / told["pull_twist_knob"] == pytest.approx(np.exp(0.5 + 2 * np.tanh(2)))
    both = [p["twist_knob"] + p["pull_twist_knob"] for p in (plain, told)]
    assert both[0] == pytest.approx(both[1]) and plain["none"] == pytest.approx(told["none"])


# Least ambiguous sets (LAC): a value is in when 1 - p <= threshold of its class. Worked by hand.
@pytest.mark.parametrize(
    ("probabilities", "thresholds", "want"),
    [
        ({"a": 0.90, "b": 0.07, "c": 0.03}, {"a": 0.5, "b": 0.5, "c": 0.5}, ("a",)),
        ({"a": 0.50, "b": 0.40, "c": 0.10}, {"a": 0.5, "b": 0.6, "c": 0.5}, ("a", "b")),
        ({"a": 0.10, "b": 0.40, "c": 0.50}, {"a": 0.9, "b": 0.6, "c": 0.5}, ("c", "b", "a")),
        ({"a": 0.34, "b": 0.33, "c": 0.33}, {"a": 0.1, "b": 0.1, "c": 0.1}, ("a",)),
        ({"a": 0.60, "b": 0.30, "c": 0.10}, {"a": 0.1, "b": 0.7, "c": 0.1}, ("a", "b")),
    ],
)
def test_sets_worked_by_hand(probabilities: dict, thresholds: dict, want: tuple) -> None:
    assert prediction_set(probabilities, thresholds) == want


@given(logits=LOGITS, loose=st.floats(0, 1), looser=st.floats(0, 1))
def test_a_looser_threshold_never_shrinks_the_set(logits: list[float], loose: float, looser: float) -> None:
    names = [str(n) for n in range(len(logits))]
    probabilities = named_probabilities(np.array(logits), "x", recipe(names))
    low, high = sorted((loose, looser))
    small, large = (prediction_set(probabilities, dict.fromkeys(names, t)) for t in (low, high))
    assert set(small) <= set(large)
    assert small[0] == max(probabilities, key=probabilities.__getitem__)


def test_the_promised_coverage_holds_for_each_class() -> None:
    """Thresholds at the conformal quantile of 500 cases a class cover fresh cases of that class at 90 %."""
    rng = np.random.default_rng(11)
    centres = rng.normal(0, 2.0, (3, 3))

    def cases(n: int) -> tuple[np.ndarray, np.ndarray]:
        truth = np.arange(n) % 3
        return truth, centres[truth] + rng.normal(0, 1.5, (n, 3))

    truth, logits = cases(1500)
    nonconformity = 1 - softmax(logits, 1.0)[np.arange(len(truth)), truth]
    rank = int(np.ceil((500 + 1) * 0.9))
    thresholds = {str(c): float(np.sort(nonconformity[truth == c])[rank - 1]) for c in range(3)}
    truth, logits = cases(6000)
    covered = np.array(
        [str(t) in prediction_set(named_probabilities(row, "x", recipe("012")), thresholds)
         for t, row in zip(truth, logits, strict=True)]
    )  # fmt: skip
    for c in range(3):
        assert 0.86 < covered[truth == c].mean() < 0.96

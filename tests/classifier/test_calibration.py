"""Probabilities and prediction sets: by hand, against SciPy, and over random cases."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit
from scipy.special import softmax as scipy_softmax

from classifier.calibration import named_probabilities, prediction_set, sigmoid, softmax

EVEN = {"a": 0.0, "b": 0.0, "c": 0.0}
LESS = {"a": -np.log(3)}
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
    cold, hot = (named_probabilities(np.array([2.0, 1.0, -1.0]), ["a", "b", "c"], t, EVEN) for t in (1.0, 3.0))
    assert cold["a"] > hot["a"] > hot["b"] > hot["c"] > cold["c"]
    assert sum(hot.values()) == pytest.approx(1.0)


def test_an_offset_multiplies_the_odds_of_its_class_alone() -> None:
    plain, moved = (named_probabilities(np.array([2.0, 1.0, -1.0]), ["a", "b", "c"], 2.0, EVEN | o) for o in ({}, LESS))
    assert moved["b"] / moved["c"] == pytest.approx(plain["b"] / plain["c"])
    assert moved["a"] / moved["b"] == pytest.approx(plain["a"] / plain["b"] / 3)


def test_logits_of_another_shape_are_refused() -> None:
    with pytest.raises(ValueError, match=r"\(2,\) came, \(3,\) is wanted"):
        named_probabilities(np.zeros(2), ["a", "b", "c"], 1.0, EVEN)


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
    probabilities = named_probabilities(np.array(logits), names, 1.0, dict.fromkeys(names, 0.0))
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
        [str(t) in prediction_set(named_probabilities(row, ["0", "1", "2"], 1.0, dict.fromkeys("012", 0.0)), thresholds)
         for t, row in zip(truth, logits, strict=True)]
    )  # fmt: skip
    for c in range(3):
        assert 0.86 < covered[truth == c].mean() < 0.96

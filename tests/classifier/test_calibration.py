"""Probabilities and prediction sets: by hand, against SciPy, and over random cases."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit
from scipy.special import softmax as scipy_softmax

from classifier.calibration import named_probabilities, pairwise_calibrated, prediction_set, sigmoid, softmax
from classifier.recipe import CLASSES, Scaling

TOP, FRONT, HIDDEN = CLASSES["stop_position"]


def scaling(concept="stop_position", temperature=1.0, offsets=None, pairwise=0.0) -> Scaling:
    """Of a concept whose offsets are 0 but for those given."""
    moved = dict.fromkeys(CLASSES[concept], 0.0) | (offsets or {})
    return Scaling(temperature=temperature, offsets=moved, pairwise=pairwise)


def stop(*logits: float, **changes) -> dict[str, float]:
    return named_probabilities(np.array(logits), "stop_position", scaling(**changes))


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
    cold, hot = (stop(2.0, 1.0, -1.0, temperature=t) for t in (1.0, 3.0))
    assert cold[TOP] > hot[TOP] > hot[FRONT] > hot[HIDDEN] > cold[HIDDEN]
    assert sum(hot.values()) == pytest.approx(1.0)


def test_an_offset_multiplies_the_odds_of_its_class_alone() -> None:
    less = {TOP: -np.log(3)}
    plain, moved = (stop(2.0, 1.0, -1.0, temperature=2.0, offsets=offsets) for offsets in ({}, less))
    assert moved[FRONT] / moved[HIDDEN] == pytest.approx(plain[FRONT] / plain[HIDDEN])
    assert moved[TOP] / moved[FRONT] == pytest.approx(plain[TOP] / plain[FRONT] / 3)


def test_logits_of_another_shape_are_refused() -> None:
    with pytest.raises(ValueError, match=r"\(2,\) came, \(..., 3\) is wanted"):
        stop(0.0, 0.0)


@given(logits=st.lists(st.floats(-30, 30), min_size=5, max_size=5), by=st.floats(0, 6))
def test_pairwise_calibration_widens_the_margin_of_two_alone(logits: list[float], by: float) -> None:
    plain, told = np.array(logits), pairwise_calibrated(np.array(logits), (2, 3), by)
    assert np.allclose(told[[0, 1, 4]], plain[[0, 1, 4]], atol=0)
    assert np.logaddexp(told[2], told[3]) == pytest.approx(np.logaddexp(plain[2], plain[3]), abs=1e-9)
    margin, wider = plain[2] - plain[3], told[2] - told[3]
    assert wider == pytest.approx(margin + by * np.tanh(4 * margin), abs=1e-6)
    assert abs(wider) >= abs(margin) - 1e-6
    assert pairwise_calibrated(plain, (2, 3), 0.0) == pytest.approx(plain, abs=1e-9)


def test_the_two_knobs_alone_are_calibrated_pairwise() -> None:
    logits = np.array([0.0, 0.0, 0.5, 0.0, 0.0])  # one of the two is a little likelier
    plain, told = (named_probabilities(logits, "lowering", scaling("lowering", pairwise=by)) for by in (0.0, 2.0))
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
    probabilities = dict(zip(names, softmax(np.array(logits), 1.0).tolist(), strict=True))
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
        [str(t) in prediction_set(dict(zip("012", softmax(row, 1.0), strict=True)), thresholds)
         for t, row in zip(truth, logits, strict=True)]
    )  # fmt: skip
    for c in range(3):
        assert 0.86 < covered[truth == c].mean() < 0.96

"""The alarm over confirmed answers: against its definition, closed forms, a textbook's example and simulated years."""

import itertools
import math

import numpy as np
import pytest

from guidance.monitor.alarm import CONFIRMED_WRONG, Alarm, watch
from tests.bench.drift_alarm import HALF_A_YEAR, YEAR, alarms_in_a_year, best_median, delays

DOUBLE_OR_HALF = Alarm(promised=1 / 3, noticed=2 / 3, head_start=0, alarm_at=64)
"""A wrong answer doubles a stake, a right one halves it."""


def likelihood_ratio(wrong: bool, alarm: Alarm) -> float:
    if wrong:
        return alarm.noticed / alarm.promised
    return (1 - alarm.noticed) / (1 - alarm.promised)


def by_definition(wrong: list[bool], alarm: Alarm) -> float:
    """Every stake of its own: those of the head start since the first answer, then one before each answer."""
    ratios = [likelihood_ratio(each, alarm) for each in wrong]
    return alarm.head_start * math.prod(ratios) + sum(math.prod(ratios[start:]) for start in range(len(ratios)))


def test_the_suspicion_is_what_all_stakes_are_worth_together() -> None:
    wrong = list(np.random.default_rng(1).random(300) < 0.05)
    assert watch(wrong).suspicion == pytest.approx(by_definition(wrong, CONFIRMED_WRONG), rel=1e-9)
    assert watch([]).suspicion == CONFIRMED_WRONG.head_start


def test_a_row_of_right_answers_is_reckoned_at_once() -> None:
    one_by_one = watch([False] * 40).suspicion
    assert CONFIRMED_WRONG.after_right(CONFIRMED_WRONG.head_start, 40) == pytest.approx(one_by_one, rel=1e-12)


@pytest.mark.parametrize("share, gains", [(1 / 3, 0.0), (0.2, -1.0), (0.5, 1.0)])
def test_no_bet_is_expected_to_gain_while_the_promise_is_kept(share: float, gains: float) -> None:
    """Over all 2^10 courses: the mean is the stakes put down when as many are wrong as promised, less when fewer."""
    mean = 0.0
    for wrong in itertools.product((False, True), repeat=10):
        probability = math.prod(share if each else 1 - share for each in wrong)
        mean += probability * watch(wrong, DOUBLE_OR_HALF).suspicion
    assert np.sign(round(mean - 10, 9)) == gains


def test_one_stake_reaches_a_height_as_seldom_as_a_gambler_does() -> None:
    """Ville 1939: at most 1 in c; exactly, by the gambler's ruin of Feller's book (from memory): (p/q)^k = 2^-k."""
    rng, k, runs = np.random.default_rng(2), 4, 20_000
    steps = np.where(rng.random((runs, 200)) < DOUBLE_OR_HALF.promised, 1, -1)
    assert math.log2(DOUBLE_OR_HALF.by_wrong) == pytest.approx(1) and math.log2(DOUBLE_OR_HALF.by_right) == -1
    reached = (steps.cumsum(axis=1) >= k).any(axis=1).mean()
    assert reached == pytest.approx(2.0**-k, abs=3 * math.sqrt(2.0**-k / runs))


def test_the_mean_time_to_a_false_alarm_is_the_mean_suspicion_at_it() -> None:
    """Doob's optional stopping (from memory): suspicion less answers is a martingale while the promise is just kept."""
    rng = np.random.default_rng(3)
    runs = [watch_until_alarm(rng) for _ in range(1500)]
    answers, suspicion = np.array(runs).T
    error = (suspicion - answers).std() / len(runs) ** 0.5
    assert abs((suspicion - answers).mean()) < 3 * error
    assert answers.mean() > DOUBLE_OR_HALF.alarm_at - 3 * error


def watch_until_alarm(rng: np.random.Generator) -> tuple[int, float]:
    suspicion, answers = 0.0, 0
    while suspicion < DOUBLE_OR_HALF.alarm_at:
        is_wrong = rng.random() < DOUBLE_OR_HALF.promised
        suspicion = (DOUBLE_OR_HALF.after_wrong if is_wrong else DOUBLE_OR_HALF.after_right)(suspicion)
        answers += 1
    return answers, suspicion


def test_one_stake_takes_as_long_as_wald_says() -> None:
    """Wald 1947 (from memory): E[answers] * E[log ratio of one answer] = E[log stake at the end], overshoot and all."""
    rng, alarm, share = np.random.default_rng(4), CONFIRMED_WRONG, 0.04
    gain = share * math.log(alarm.by_wrong) + (1 - share) * math.log(alarm.by_right)
    answers, ends = np.zeros(4000), np.zeros(4000)
    for run in range(4000):
        while ends[run] < math.log(1000):
            gap = rng.geometric(share)
            answers[run] += gap
            ends[run] += (gap - 1) * math.log(alarm.by_right) + math.log(alarm.by_wrong)
    errors = ends - gain * answers
    assert abs(errors.mean()) < 3 * errors.std() / len(errors) ** 0.5
    assert math.log(1000) <= gain * answers.mean() <= math.log(1000) + math.log(alarm.by_wrong)


def test_the_bet_rejects_where_a_textbooks_plan_does() -> None:
    """Montgomery's item-by-item plan for 1 % against 6 %, risks 5 % and 10 % (from memory): reject at 1.57 + 0.028 n.

    A stake of 1 is then worth (1 - 0.10) / 0.05 = 18.
    """
    alarm = Alarm(promised=0.01, noticed=0.06, head_start=0, alarm_at=18)
    step = math.log(alarm.by_wrong / alarm.by_right)
    assert math.log(18) / step == pytest.approx(1.57, abs=0.005)
    assert -math.log(alarm.by_right) / step == pytest.approx(0.028, abs=0.0005)


def test_an_alarm_stays_one_and_says_after_how_many_answers_it_came() -> None:
    seen = watch([False] * 50 + [True] * 6 + [False] * 500)
    assert seen.alarm_after is not None and 50 < seen.alarm_after <= 56
    assert (seen.answers, seen.wrong) == (556, 6) and seen.suspicion < CONFIRMED_WRONG.alarm_at


def test_at_first_two_wrong_ones_are_no_alarm_and_a_third_is() -> None:
    assert watch([True] * 2).alarm_after is None
    assert watch([True] * 3).alarm_after == 3


def test_false_alarms_in_a_year_are_at_most_one_in_twenty() -> None:
    """Proven for one component whatever hangs together with what; for both together, simulated."""
    assert CONFIRMED_WRONG.false_within(YEAR) <= 0.05
    years = alarms_in_a_year(CONFIRMED_WRONG, CONFIRMED_WRONG.promised, 6000, np.random.default_rng(21))
    assert years.interval[1] < 0.05


@pytest.mark.parametrize("before", [0, HALF_A_YEAR], ids=["at first", "after half a year"])
def test_three_per_cent_wrong_are_noticed_within_150_answers_at_the_median(before: int) -> None:
    taken = delays(CONFIRMED_WRONG, 0.03, before, 6000, np.random.default_rng(22))
    assert len(taken) > 5800 and np.median(taken) <= 150


def test_the_simulation_walks_as_the_alarm_does() -> None:
    """A change at the start, drawn gap by gap, comes as late as when every answer is judged by itself."""
    rng = np.random.default_rng(23)
    single = [watch(rng.random(1500) < 0.03).alarm_after for _ in range(300)]
    drawn = delays(CONFIRMED_WRONG, 0.03, 0, 6000, rng)
    assert np.mean([s or 1500 for s in single]) == pytest.approx(drawn.mean(), rel=0.15)


def test_a_promise_of_five_in_a_thousand_could_not_be_watched_as_closely() -> None:
    assert best_median(0.002) < 150 < best_median(0.005)

"""How often the alarm over confirmed answers is false, and after how many checked answers it comes, in simulated years.

Run: `python -m tests.bench.drift_alarm --years 40000 --seed 101`. A year has 50 checked answers a day of each of two
components; an alarm of either is one too many. Wrong answers come independently. "at first": wrong from the first
answer on; "half a year": after that many answers as promised. `--best` reckons exactly, for other promises, the median
delay of Page's sum test with the same false alarms: no test has a shorter worst mean delay (Moustakides 1986).
"""

import argparse
from math import log

import numpy as np

from guidance.monitor.alarm import CONFIRMED_WRONG, Alarm
from guidance.monitor.shares import Share

A_DAY = 50
YEAR, HALF_A_YEAR = 365 * A_DAY, 182 * A_DAY
COMPONENTS = 2
NOTICED_WRONG = 0.03
FALSE_ALARMS = 0.05


def main() -> None:
    """Print one line a figure: what, n, value, 95 % interval."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=4_000)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--best", action="store_true", help="also the best there is for other promises (a minute)")
    arguments = parser.parse_args()
    rng = np.random.default_rng(arguments.seed)
    for share in (CONFIRMED_WRONG.promised, 0.001, 0.003, 0.005):
        years = alarms_in_a_year(CONFIRMED_WRONG, share, arguments.years, rng)
        print(f"{share:.1%} wrong: years with an alarm {years}")
    for share in (NOTICED_WRONG, 0.1):
        for name, before in (("at first", 0), ("half a year", HALF_A_YEAR)):
            print(
                f"{share:.0%} wrong, {name}: {_in_words(delays(CONFIRMED_WRONG, share, before, arguments.years, rng))}"
            )
    for promised in (0.001, 0.002, 0.0025, 0.003, 0.005, 0.01) if arguments.best else ():
        print(f"best for {promised:.2%} promised: median {best_median(promised)}", flush=True)


def alarms_in_a_year(alarm: Alarm, share_wrong: float, years: int, rng: np.random.Generator) -> Share:
    """In how many of some simulated years either component gives an alarm."""
    first = [_first_alarm(alarm, _fresh(alarm, years), share_wrong, YEAR, rng) for _ in range(COMPONENTS)]
    return Share(int((np.minimum(*first) <= YEAR).sum()), years)


def delays(alarm: Alarm, share_wrong: float, before: int, runs: int, rng: np.random.Generator) -> np.ndarray:
    """Answers from the change to the alarm, (runs or fewer,): without the runs that had an alarm before it."""
    suspicion = _kept_promise(alarm, before, runs, rng)
    return _first_alarm(alarm, suspicion[suspicion < alarm.alarm_at], share_wrong, 10**7, rng)


def _fresh(alarm: Alarm, runs: int) -> np.ndarray:
    return np.full(runs, float(alarm.head_start))


def _first_alarm(
    alarm: Alarm, suspicion: np.ndarray, share_wrong: float, answers: int, rng: np.random.Generator
) -> np.ndarray:
    """After how many answers each run has its alarm, (R,); more than `answers` for those without one till then."""
    at, first = np.zeros(len(suspicion), dtype=int), np.full(len(suspicion), answers + 1)
    while ((at < answers) & (first > answers)).any():
        gap = rng.geometric(share_wrong, len(suspicion))  # (R,) the right answers before the next wrong one, and it
        suspicion, at = alarm.after_wrong(alarm.after_right(suspicion, gap - 1)), at + gap
        first = np.where((first > answers) & (suspicion >= alarm.alarm_at), np.minimum(at, answers + 1), first)
    return first


def _kept_promise(alarm: Alarm, answers: int, runs: int, rng: np.random.Generator) -> np.ndarray:
    """The suspicion of each run after so many answers of which as many are wrong as promised, (R,)."""
    suspicion, left, had_alarm = _fresh(alarm, runs), np.full(runs, answers), np.zeros(runs, dtype=bool)
    while (left > 0).any():
        gap = rng.geometric(alarm.promised, runs)
        right = alarm.after_right(suspicion, np.minimum(gap - 1, left))
        suspicion = np.where(gap <= left, alarm.after_wrong(right), right)
        had_alarm |= suspicion >= alarm.alarm_at
        left = np.maximum(0, left - gap)
    return np.where(had_alarm, np.inf, suspicion)


def _in_words(taken: np.ndarray) -> str:
    """The median with its 95 % interval by the ranks of the order statistics, and the 90th percentile."""
    half = 0.98 * len(taken) ** 0.5
    ranks = np.clip([len(taken) / 2 - half, len(taken) / 2 + half], 0, len(taken) - 1).astype(int)
    low, high = np.sort(taken)[ranks]
    within = Share(int((taken <= 150).sum()), len(taken))
    return (
        f"median {np.median(taken):.0f} ({low}–{high}), 90 % within {np.quantile(taken, 0.9):.0f}, within 150 {within}"
    )


def best_median(promised: float) -> int:
    """The median delay of Page's test, started at 0, whose false alarms in a year of one component are as allowed."""
    step = round(log(NOTICED_WRONG / promised) / log((1 - promised) / (1 - NOTICED_WRONG)))
    low, high = step + 1, 12 * step
    while low < high:  # the lowest bound with few enough false alarms
        middle = (low + high) // 2
        kept = np.linalg.matrix_power(_moves(promised, step, middle), YEAR)[0].sum()
        low, high = (low, middle) if 1 - kept <= FALSE_ALARMS else (middle + 1, high)
    moves, where, answers = _moves(NOTICED_WRONG, step, low), np.eye(low)[0], 0
    while where.sum() > 0.5:
        where, answers = where @ moves, answers + 1
    return answers


def _moves(share_wrong: float, step: int, bound: int) -> np.ndarray:
    """The chain (bound, bound) of a sum that falls by 1, to 0 at least, or rises by `step`, and ends at the bound."""
    moves = np.zeros((bound, bound))
    for now in range(bound):
        moves[now, max(0, now - 1)] += 1 - share_wrong
        if now + step < bound:
            moves[now, now + step] += share_wrong
    return moves


if __name__ == "__main__":
    main()

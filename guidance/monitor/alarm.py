"""A sequential test: are confirmed answers wrong more often than promised?

The test bets on it, answer by answer, in the order in which people checked them. Against "at most `promised` of them
are wrong" a bet on "`noticed` of them are" multiplies its stake by the likelihood ratio: by (1 - noticed) /
(1 - promised) for a right answer, by noticed / promised for a wrong one. While the promise is kept no bet is expected
to gain, however the answers hang together. Since nobody knows when a change comes, a stake of 1 is put down before
every answer, and the suspicion is what all stakes are worth together (Shiryaev and Roberts; an e-detector in the words
of Shin, Ramdas and Rinaldo, arXiv 2203.03532):

    suspicion after = (suspicion before + 1) * likelihood ratio

Its mean grows by 1 an answer at most, so that it reaches `alarm_at` within n answers with a probability of at most
(n + head_start) / alarm_at, by Doob's inequality, whatever hangs together with what. With the numbers below that is
1 in 20 in a year of 50 checked answers a day. Simulated figures: `python -m tests.bench.drift_alarm`.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

Suspicion = float | np.ndarray
"""What the stakes are worth together; an array where many years are simulated side by side."""


@dataclass(frozen=True)
class Alarm:
    """The promise, what is bet on, the stakes that lie on the table at first, and when it is an alarm."""

    promised: float
    noticed: float
    head_start: float
    alarm_at: float

    @property
    def by_right(self) -> float:
        return (1 - self.noticed) / (1 - self.promised)

    @property
    def by_wrong(self) -> float:
        return self.noticed / self.promised

    def after_right(self, suspicion: Suspicion, answers: int | np.ndarray = 1) -> Suspicion:
        """The suspicion after so many right answers in a row: the sum of a geometric series."""
        shrunk = self.by_right**answers
        return suspicion * shrunk + self.by_right * (1 - shrunk) / (1 - self.by_right)

    def after_wrong(self, suspicion: Suspicion) -> Suspicion:
        """The suspicion after one wrong answer."""
        return (suspicion + 1) * self.by_wrong

    def false_within(self, answers: int) -> float:
        """The most that the probability of an alarm within so many answers can be while the promise is kept."""
        return min(1.0, (answers + self.head_start) / self.alarm_at)


CONFIRMED_WRONG = Alarm(promised=0.002, noticed=0.04, head_start=500, alarm_at=375_000)
"""The one in use for each component.

Promised are 2 wrong in 1,000, the most that can be watched closely: with 5 in 1,000 no test at all notices 3 % within
150 answers at the median with as few false alarms (`--best` of `tests/bench/drift_alarm.py` reckons it). `noticed` and
`head_start` were chosen on simulated years of seeds 11 to 13; figures are reported on others.
"""


@dataclass(frozen=True)
class Watched:
    """What the test says of checked answers; `alarm_after` counts those up to the alarm and is None without one."""

    answers: int
    wrong: int
    suspicion: float
    alarm_after: int | None


def watch(wrong: Iterable[bool], alarm: Alarm = CONFIRMED_WRONG) -> Watched:
    """Judge answers in the order in which they were checked. Once there was an alarm it stays one."""
    suspicion, count, mistakes, alarm_after = float(alarm.head_start), 0, 0, None
    for each in wrong:
        suspicion = float(alarm.after_wrong(suspicion) if each else alarm.after_right(suspicion))
        count, mistakes = count + 1, mistakes + each
        if alarm_after is None and suspicion >= alarm.alarm_at:
            alarm_after = count
    return Watched(count, mistakes, suspicion, alarm_after)

"""Which lifts to look at next so that the number of those asked for becomes sure with the least effort.

The number is the sum of N doubts, z = 1 for a lift that is one. Given the pool's mix and confusion (a drawn pool s) the
doubts are independent with probabilities p[s]; over the drawn pools these move together, since one mix is behind them.
So Cov(z) = diag(E p (1 - p)) + Cov(p), and looking at lift i takes Cov(number, z[i])² / Var(z[i]) off the variance of
the number: exactly for one look, and to second moments for more (the best linear guess). The next look is the one that
takes off most a minute; what it tells of the others is taken out of them before the next is chosen.

Why greedy: without a common part what looks take off adds up, so the order by variance a minute is the best one for
every amount of effort that it ends at. With a common part it is near the best (Das and Kempe 2011); on small pools a
test compares it with all orders.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

MINUTES = 10.0
"""Effort to look at a lift of which none is stated."""

NO_DOUBT = 1e-9


@dataclass(frozen=True)
class Look:
    """One lift to look at: how probable it is that it is one, minutes, and the number's standard deviation after."""

    lift: int
    probability: float
    minutes: float
    deviation_after: float


@dataclass(frozen=True)
class Plan:
    """The expected number of lifts asked for, its standard deviation now, and the looks in their order."""

    expected: float
    deviation: float
    visits: tuple[Look, ...]


def looks_for(probabilities: np.ndarray, minutes: Sequence[float | None], most: int) -> Plan:
    """Plan up to `most` looks by probabilities (S, N) in drawn pools; ends where nothing is in doubt."""
    effort = np.array([MINUTES if each is None else each for each in minutes])
    each = probabilities.mean(axis=0)
    moves = (probabilities - each) / sqrt(len(probabilities))  # (S, N): their products sum to the common covariance
    own = (probabilities * (1 - probabilities)).mean(axis=0)  # (N,)
    doubt = own + (moves**2).sum(axis=0)
    with_sum = own + moves.T @ moves.sum(axis=1)  # Cov(number, z), (N,)
    variance = float(with_sum.sum())
    plan, taken = Plan(float(each.sum()), sqrt(max(variance, 0.0)), ()), np.zeros((0, len(own)))
    looks: list[Look] = []
    while len(looks) < min(most, len(own)):
        gain = np.where(doubt > NO_DOUBT, with_sum**2 / np.maximum(doubt, NO_DOUBT), 0.0)
        best = int((gain / effort).argmax())
        if gain[best] <= NO_DOUBT:
            break
        variance = max(variance - float(gain[best]), 0.0)
        looks.append(Look(best, float(each[best]), float(effort[best]), sqrt(variance)))
        with_best = moves.T @ moves[:, best] + own[best] * (np.arange(len(own)) == best) - taken.T @ taken[:, best]
        step = with_best / sqrt(doubt[best])
        taken = np.vstack([taken, step])
        with_sum = with_sum - step * step.sum()
        doubt = np.maximum(doubt - step**2, 0.0)
    return Plan(plan.expected, plan.deviation, tuple(looks))

"""How many lifts of each class a pool has, corrected for misreading, with intervals that hold.

The model: the pool's shares are unknown, every mix alike probable (Dirichlet, 1 each). Of a class's lifts each outcome
(`readings.py`) comes with an unknown probability (Dirichlet, 1/2 each, after Jeffreys), of which measured cases tell;
while fewer than `BELIEVED` of a class were measured, imagined cases make up for them that fall as the calibrated
probabilities themselves say. What a lift is that nobody confirmed is unknown, too. All three are drawn in turn (Gibbs),
so that a drawn pool is one that can be, and counts in the drawn pools are the counts' distribution. Confirmed lifts are
known and stay what they are.

Assumed: a class's lifts are read in the pool as they were in the measurement (label shift: the mix may differ, the
misreading of each class may not), and lifts of which no photo tells are like the others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from guidance.pool.readings import NOBODY_SAID, NOT_SEEN, Readings
from guidance.pool.shift import likeliest_shares

BELIEVED = 40.0
"""As many measured cases of a class as its calibrated probabilities are worth."""

ANY_OUTCOME = 0.5
"""Imagined cases of each outcome of each class: what was never measured can be, after all."""

BURN_IN, KEPT = 300, 2000
COVERAGE = 0.95


@dataclass(frozen=True, eq=False)
class Drawn:
    """S drawn pools: `counts` (S, K), `shares` (S, K), `confusions` (S, K, D), and the confusion believed (K, D)."""

    readings: Readings
    counts: np.ndarray
    shares: np.ndarray
    confusions: np.ndarray
    believed: np.ndarray
    lifts: int


@dataclass(frozen=True)
class Count:
    """One class of one component. `favourites`: lifts of which it is the favourite; the interval holds with 95 %."""

    component: str
    value: str
    confirmed: int
    favourites: int
    expected: float
    low: int
    high: int
    lifts: int

    @property
    def share(self) -> tuple[float, float, float]:
        """The expected share and both ends of its interval."""
        return self.expected / self.lifts, self.low / self.lifts, self.high / self.lifts


def drawn_pools(
    readings: Readings, measured: Readings, rng: np.random.Generator, pool_size: int = 0, kept: int = KEPT
) -> Drawn:
    """Draw pools. `measured`: lifts elsewhere, read and confirmed; `pool_size`: lifts owned, if not all were read."""
    state = _Start.of(readings, measured)
    open_ = max(pool_size - len(readings.known), 0) + state.untold
    shares, confusion = state.shares, state.believed
    found: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
    for sweep in range(BURN_IN + kept):
        divided = _divided(shares, confusion, state.counts, rng)  # (D, K)
        told = state.known + divided.sum(axis=0)
        shares = _dirichlet(1.0 + told, rng)
        confusion = _dirichlet(state.cases + divided.T, rng)
        if sweep >= BURN_IN:
            found.append((told + rng.multinomial(open_, shares), shares, confusion))
    counts, drawn_shares, confusions = (np.array(column) for column in zip(*found, strict=True))
    return Drawn(readings, counts, drawn_shares, confusions, state.believed, len(readings.known) + open_ - state.untold)


@dataclass(frozen=True, eq=False)
class _Start:
    """What stays: `counts` (D,) of open lifts by outcome, `known` (K,), `cases` (K, D); where to begin."""

    counts: np.ndarray
    known: np.ndarray
    untold: int
    cases: np.ndarray
    believed: np.ndarray
    shares: np.ndarray

    @classmethod
    def of(cls, readings: Readings, measured: Readings) -> _Start:
        nobody, seen = readings.known == NOBODY_SAID, readings.outcomes != NOT_SEEN
        counts = np.bincount(readings.outcomes[nobody & seen], minlength=readings.kinds_of_outcome)
        known = np.bincount(readings.known[~nobody], minlength=len(readings.classes))
        shares = likeliest_shares(readings.likelihoods[nobody & seen], known=known)
        shares = (shares * len(readings.known) + 1) / (len(readings.known) + len(readings.classes))
        cases = measured.confusion() + readings.confusion()
        believed = believed_confusion(readings, measured, shares)
        imagined = np.maximum(0.0, BELIEVED - cases.sum(axis=1, keepdims=True)) * believed + ANY_OUTCOME
        return cls(counts, known, int((nobody & ~seen).sum()), cases + imagined, believed, shares)


def believed_confusion(readings: Readings, measured: Readings, shares: np.ndarray) -> np.ndarray:
    """How often each outcome comes of each class if the calibrated probabilities are right, (K, D)."""
    both = [part.outcomes != NOT_SEEN for part in (readings, measured)]
    likelihoods = np.concatenate([readings.likelihoods[both[0]], measured.likelihoods[both[1]]])
    outcomes = np.concatenate([readings.outcomes[both[0]], measured.outcomes[both[1]]])
    mix = both[0].sum() * shares + np.bincount(measured.known[both[1]], minlength=len(shares))
    divided = likelihoods * (mix + 1e-9)
    divided /= divided.sum(axis=1, keepdims=True)
    found = np.zeros((readings.kinds_of_outcome, len(readings.classes)))
    np.add.at(found, outcomes, divided)
    found = found.T + 1e-9
    return found / found.sum(axis=1, keepdims=True)


def _divided(shares: np.ndarray, confusion: np.ndarray, counts: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Divide the lifts of each outcome among the classes, (D, K)."""
    weights = (confusion * shares[:, None]).T + 1e-300  # (D, K)
    return rng.multinomial(counts, weights / weights.sum(axis=1, keepdims=True))


def _dirichlet(cases: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    drawn = rng.standard_gamma(cases) + 1e-300
    return drawn / drawn.sum(axis=-1, keepdims=True)


def counts_of(drawn: Drawn, component: str) -> tuple[Count, ...]:
    """Every class with its expected number and the shortest interval that holds 95 of 100 drawn pools."""
    readings = drawn.readings
    favourites = np.bincount(readings.favourites[readings.favourites >= 0], minlength=len(readings.classes))
    known = np.bincount(readings.known[readings.known >= 0], minlength=len(readings.classes))
    return tuple(
        Count(
            component, value, int(known[k]), int(favourites[k]), float(drawn.counts[:, k].mean()),
            *shortest_interval(drawn.counts[:, k]), drawn.lifts,
        )
        for k, value in enumerate(readings.classes)
    )  # fmt: skip


def shortest_interval(drawn: np.ndarray, coverage: float = COVERAGE) -> tuple[int, int]:
    """The shortest span of whole numbers that holds so many of the draws; it reaches 0 where 0 is likeliest.

    Whole numbers seldom hold just so many: a span that is shorter by one is taken where it comes nearer.
    """
    ordered = np.sort(drawn)
    inside = int(np.ceil(coverage * len(ordered)))
    width = int((ordered[inside - 1 :] - ordered[: len(ordered) - inside + 1]).min()) + 1
    upto = np.concatenate([np.zeros(1), np.cumsum(np.bincount(ordered - ordered[0]))]) / len(ordered)
    best, nearest = (int(ordered[0]), int(ordered[-1])), 1.0
    for wide in dict.fromkeys((width, max(width - 1, 1))):
        held = upto[wide:] - upto[:-wide]
        if abs(held.max() - coverage) < nearest:
            first = int(ordered[0]) + int(held.argmax())
            best, nearest = (first, first + wide - 1), abs(float(held.max()) - coverage)
    return best


def by_lift(drawn: Drawn, draws: int, part: slice = slice(None)) -> np.ndarray:
    """Probabilities of each lift of a part in `draws` of the drawn pools, (draws, N, K): by the mix and the confusion.

    The confusion measured beside the one believed corrects how far the lift's own probabilities are followed.
    """
    readings, chosen = drawn.readings, np.linspace(0, len(drawn.counts) - 1, draws).astype(int)
    outcomes, classes = readings.outcomes[part], readings.known[part]
    seen, known = outcomes != NOT_SEEN, classes != NOBODY_SAID
    found = np.repeat(drawn.shares[chosen][:, None, :], len(known), axis=1)  # (draws, N, K)
    own = readings.likelihoods[part][seen] / drawn.believed[:, outcomes[seen]].T  # (N seen, K)
    found[:, seen] *= own * np.swapaxes(drawn.confusions[chosen][:, :, outcomes[seen]], 1, 2)
    found /= found.sum(axis=2, keepdims=True)
    found[:, known] = np.eye(len(readings.classes))[classes[known]]
    return found

"""How many pieces are asked for during a lead time: compound Poisson, mixed over a rate that is not known for sure.

Jobs come as a Poisson process, each takes one or more pieces, and the sum is had by Panjer's recursion (1981). The rate
is as uncertain as its draws are (products and sums of Gamma distributions, since calls, shares of faults and lifts are
counted), and the distribution is the mean over them: negative binomial where they are one Gamma distribution. With
orders placed one for one, the pieces on order at any moment are those asked for during the last lead time (Palm's
theorem), so this distribution says what lies on the shelf.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

GROUPS = 2000
"""Draws of the rate are taken together, the like ones, in so many groups."""

TOO_LARGE = 1e250
"""The recursion begins at 1 instead of e^-mean, which would vanish, and is scaled down where it passes this."""


@dataclass(frozen=True, eq=False)
class Demand:
    """Jobs in one lead time: `means` (S,) that are possible, with `weights` (S,); `sizes[k - 1]`: P(k pieces a job)."""

    means: np.ndarray
    weights: np.ndarray
    sizes: tuple[float, ...] = (1.0,)

    @classmethod
    def of(cls, rates: np.ndarray, lead_days: float, sizes: Sequence[float] = (1.0,)) -> Demand:
        """From draws of the rate, jobs a day."""
        groups = np.array_split(np.sort(rates), min(len(rates), GROUPS))
        means = np.array([group.mean() for group in groups]) * lead_days
        return cls(means, np.array([len(group) for group in groups]) / len(rates), tuple(sizes))

    @property
    def jobs(self) -> float:
        """Jobs expected in a lead time."""
        return float(self.weights @ self.means)

    @property
    def pieces(self) -> float:
        """Pieces expected in a lead time."""
        return self.jobs * sum(k * share for k, share in enumerate(self.sizes, 1))

    def as_jobs_see_it(self) -> Demand:
        """The same, weighted by the rate: more jobs come where the rate is high, and find more on order."""
        weights = self.weights * self.means
        return replace(self, weights=weights / weights.sum()) if weights.sum() else self

    def top(self) -> int:
        """A number of pieces that is as good as never exceeded."""
        most = float(self.means.max())
        return int((most + 10 * np.sqrt(most) + 30) * len(self.sizes))

    def pmf(self, top: int) -> np.ndarray:
        """P(0 … top pieces), (top + 1,)."""
        found = np.zeros((top + 1, len(self.means)))  # pieces by possible means
        found[0] = 1.0
        per_piece = np.array(self.sizes) * np.arange(1, len(self.sizes) + 1)
        for n in range(1, top + 1):
            k = min(n, len(per_piece))
            found[n] = self.means / n * (per_piece[:k] @ found[n - k : n][::-1])
            large = found[n] > TOO_LARGE
            if large.any():
                found[: n + 1, large] /= TOO_LARGE
        return (found / found.sum(axis=0)) @ self.weights

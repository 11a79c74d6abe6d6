"""What the photos said of one component of many lifts, as numbers: likelihoods, outcomes, what is known.

An outcome is the favourite together with how sure it is, in bands: what a confusion matrix counts. Bands keep most of
what the probabilities tell, and let the matrix correct them where they are surer than they should be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.pool.lifts import PoolLift, classes_of

BANDS = (0.9,)
"""Where a favourite's probability passes into the next band. More bands would want more measured cases."""

NOBODY_SAID, NOT_SEEN = -1, -1
LEAST_LIKELIHOOD = 1e-6
"""No reading excludes a class altogether, whatever was rounded to 0."""


@dataclass(frozen=True, eq=False)
class Readings:
    """N lifts by K classes: `likelihoods` (N, K), largest 1; `outcomes` (N,) or -1; `known` class (N,) or -1."""

    classes: tuple[str, ...]
    likelihoods: np.ndarray
    outcomes: np.ndarray
    known: np.ndarray

    @property
    def kinds_of_outcome(self) -> int:
        return len(self.classes) * (len(BANDS) + 1)

    @property
    def favourites(self) -> np.ndarray:
        """The favourite of each lift (N,), -1 where nothing was seen: what a count without correction would take."""
        return np.where(self.outcomes == NOT_SEEN, NOT_SEEN, self.outcomes // (len(BANDS) + 1))

    def confusion(self) -> np.ndarray:
        """How often each outcome came of each known class, (K, D)."""
        both = (self.known != NOBODY_SAID) & (self.outcomes != NOT_SEEN)
        counted = np.zeros((len(self.classes), self.kinds_of_outcome))
        np.add.at(counted, (self.known[both], self.outcomes[both]), 1.0)
        return counted


def printed_shares(component: str, catalogue: Catalogue) -> np.ndarray:
    """The catalogue's own shares of a component's classes, (K,): what every probability was made with."""
    hypotheses = catalogue.hypotheses
    of_generation, of_lowering = hypotheses.marginals(hypotheses.prior)
    found = of_generation if component == "generation" else of_lowering
    return np.array([found[value] for value in classes_of(component, catalogue)])


def readings_of(lifts: Sequence[PoolLift], component: str, catalogue: Catalogue) -> Readings:
    """The readings of one component, `generation` or `lowering`, divided by the catalogue's own prior."""
    classes = classes_of(component, catalogue)
    prior = printed_shares(component, catalogue)
    told = [lift.told(component) for lift in lifts]
    rows = [[row.probabilities.get(v, 0.0) for v in classes] if row.probabilities else prior for row in told]
    posteriors = np.array(rows, dtype=float).reshape(-1, len(classes))
    likelihoods = np.where(prior > 0, posteriors / np.where(prior > 0, prior, 1.0), 0.0)
    likelihoods = np.maximum(likelihoods / likelihoods.max(axis=1, keepdims=True), LEAST_LIKELIHOOD)
    seen = np.array([bool(row.probabilities) for row in told], dtype=bool)
    favourite, highest = posteriors.argmax(axis=1), posteriors.max(axis=1)
    outcomes = favourite * (len(BANDS) + 1) + np.searchsorted(BANDS, highest, side="right")
    known = [classes.index(row.confirmed) if row.confirmed is not None else NOBODY_SAID for row in told]
    return Readings(classes, likelihoods, np.where(seen, outcomes, NOT_SEEN), np.array(known, dtype=int))


def measured_readings(calibration: Sequence[PoolLift], component: str, catalogue: Catalogue) -> Readings:
    """The readings of lifts elsewhere that photos read and a person confirmed; lifts that lack either are left out."""
    told = [(lift, lift.told(component)) for lift in calibration]
    return readings_of([lift for lift, row in told if row.probabilities and row.confirmed], component, catalogue)

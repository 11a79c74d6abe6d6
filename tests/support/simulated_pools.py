"""Pools of which the truth is known: lifts drawn of a mix, and read by a reader whose posteriors are exact or not.

A lift of class k gives a vector drawn from a normal distribution around `apart` at place k and 0 elsewhere; its
posterior under the catalogue's own prior follows in closed form. `sharpness` other than 1 makes it too sure or too
unsure, as a network is that was never calibrated for these photos.
"""

from dataclasses import dataclass

import numpy as np

from guidance.catalogue.catalogue import Catalogue
from guidance.pool.lifts import PoolLift, Told, classes_of

UNSEEN = Told({})


@dataclass(frozen=True)
class Reader:
    """How far apart the classes are read, and how sure the reader says that it is."""

    apart: float = 2.5
    sharpness: float = 1.0


@dataclass(frozen=True)
class World:
    """One component of a catalogue's lifts, and the reader."""

    catalogue: Catalogue
    component: str = "generation"
    reader: Reader = Reader()

    @property
    def classes(self) -> tuple[str, ...]:
        return classes_of(self.component, self.catalogue)

    @property
    def prior(self) -> np.ndarray:
        hypotheses = self.catalogue.hypotheses
        found = hypotheses.marginals(hypotheses.prior)[self.component == "lowering"]
        return np.array([found[value] for value in self.classes])

    def lifts(self, truths: np.ndarray, rng: np.random.Generator, confirmed: bool = False) -> list[PoolLift]:
        """Lifts of these classes (N,), read; with `confirmed` a person has said what each is."""
        seen = rng.normal(size=(len(truths), len(self.classes))) + self.reader.apart * np.eye(len(self.classes))[truths]
        log_odds = self.reader.sharpness * self.reader.apart * seen + np.log(self.prior)
        posteriors = np.exp(log_odds - log_odds.max(axis=1, keepdims=True))
        posteriors /= posteriors.sum(axis=1, keepdims=True)
        found = []
        for number, (truth, row) in enumerate(zip(truths, posteriors, strict=True)):
            order = np.argsort(-row)
            members = order[: int(np.searchsorted(np.cumsum(row[order]), 0.95)) + 1]
            told = Told(
                dict(zip(self.classes, row.tolist(), strict=True)),
                tuple(self.classes[k] for k in members),
                self.classes[truth] if confirmed else None,
            )
            told_of = (told, UNSEEN) if self.component == "generation" else (UNSEEN, told)
            found.append(PoolLift(f"lift {number}", *told_of))
        return found

    def calibration(self, of_each: int, rng: np.random.Generator) -> list[PoolLift]:
        """Confirmed lifts, so many of each class."""
        return self.lifts(np.repeat(np.arange(len(self.classes)), of_each), rng, confirmed=True)

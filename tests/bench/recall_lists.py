"""How often a recall list misses a lift that is concerned, over simulated pools of other mixes, and how long it is.

Run: `python -m tests.bench.recall_lists --pools 200 --seed 401`. The pools are those of `pool_intervals.py`: 400 lifts,
200 confirmed ones of each class beside them. Concerned are the lifts of one generation. `favourites`: a list of those
lifts alone of which that generation is the favourite.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.monitor.shares import Share
from guidance.pool.counts import drawn_pools
from guidance.pool.questions import Question, probabilities_of, recall_list
from guidance.pool.readings import measured_readings, readings_of
from tests.bench.pool_intervals import LIFTS, MIXES, OF_EACH, mix
from tests.support.simulated_pools import Reader, World

RISKS = (0.01, 0.05, 0.2)
CONCERNED = 2


@dataclass(frozen=True)
class Listed:
    """One list: lifts named, concerned, and missed."""

    named: int
    concerned: int
    missed: int


def main() -> None:
    """Print one line a kind of list."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pools", type=int, default=200)
    parser.add_argument("--apart", type=float, default=2.5)
    parser.add_argument("--sharpness", type=float, default=1.0)
    parser.add_argument("--seed", type=int, required=True)
    given = parser.parse_args()
    world = World(load(Path(DEMO_CATALOGUE)), reader=Reader(given.apart, given.sharpness))
    found = lists(world, given.pools, np.random.default_rng(given.seed))
    for name, rows in found.items():
        one_missed = Share(sum(row.missed > 0 for row in rows), len(rows))
        missed = Share(sum(row.missed for row in rows), sum(row.concerned for row in rows))
        named, concerned = np.mean([row.named for row in rows]), np.mean([row.concerned for row in rows])
        print(
            f"{name:<16} lists that miss one {one_missed}; lifts missed {missed}; named {named:.0f} of {concerned:.0f}"
        )


def lists(world: World, pools: int, rng: np.random.Generator) -> dict[str, list[Listed]]:
    """The lists of each pool, by the risk that was asked."""
    asked = Question({"generation": frozenset({world.classes[CONCERNED]})})
    found: dict[str, list[Listed]] = {}
    for number in range(pools):
        truths = rng.choice(len(world.classes), LIFTS, p=mix(MIXES[number % len(MIXES)], world, rng))
        lifts = world.lifts(truths, rng)
        readings = readings_of(lifts, "generation", world.catalogue)
        measured = measured_readings(world.calibration(OF_EACH, rng), "generation", world.catalogue)
        probabilities = probabilities_of(asked, {"generation": drawn_pools(readings, measured, rng)})
        concerned = set(np.flatnonzero(truths == CONCERNED))
        named = {"favourites": set(np.flatnonzero(readings.favourites == CONCERNED))}
        for risk in RISKS:
            named[f"risk {risk}"] = set(recall_list(asked, lifts, probabilities, risk))
            named[f"each lift {risk}"] = set(recall_list(asked, lifts, probabilities, risk, each_lift=True))
        for name, chosen in named.items():
            found.setdefault(name, []).append(Listed(len(chosen), len(concerned), len(concerned - chosen)))
    return found


if __name__ == "__main__":
    main()

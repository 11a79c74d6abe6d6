"""How fast looks make the answer to a question sure: planned, by the favourite's doubt, and by lot.

Run: `python -m tests.bench.visits --pools 60 --seed 701`. Pools of 400 lifts as in `pool_intervals.py`; a look takes 5
to 40 minutes and says what the lift is. The question is how many are of one generation. The figure is the standard
deviation of that number that is left after 600 minutes, by the model's own covariance; `doubt` looks first at the lift
whose probability is nearest to one half, whatever it takes.
"""

import argparse
from pathlib import Path

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.pool.counts import drawn_pools
from guidance.pool.questions import Question, probabilities_of
from guidance.pool.readings import measured_readings, readings_of
from guidance.pool.visits import looks_for
from tests.bench.pool_intervals import LIFTS, MIXES, OF_EACH, mix
from tests.support.simulated_pools import World

MINUTES = 600.0
ASKED = 2


def main() -> None:
    """Print the mean standard deviation that is left after the minutes, in each order."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pools", type=int, default=60)
    parser.add_argument("--seed", type=int, required=True)
    given = parser.parse_args()
    world, rng = World(load(Path(DEMO_CATALOGUE))), np.random.default_rng(given.seed)
    left = np.array([one_pool(world, MIXES[n % len(MIXES)], rng) for n in range(given.pools)])
    for name, column in zip(("before", "planned", "doubt", "by lot"), left.T, strict=True):
        half = 1.96 * column.std(ddof=1) / len(column) ** 0.5
        print(f"{name:<8} {column.mean():.2f} lifts, 95 % ± {half:.2f}, n = {len(column)}")


def one_pool(world: World, kind: str, rng: np.random.Generator) -> tuple[float, float, float, float]:
    """Standard deviations before, and after the minutes in each of the three orders."""
    truths = rng.choice(len(world.classes), LIFTS, p=mix(kind, world, rng))
    readings = readings_of(world.lifts(truths, rng), "generation", world.catalogue)
    measured = measured_readings(world.calibration(OF_EACH, rng), "generation", world.catalogue)
    asked = Question({"generation": frozenset({world.classes[ASKED]})})
    probabilities = probabilities_of(asked, {"generation": drawn_pools(readings, measured, rng)})
    minutes = rng.uniform(5, 40, LIFTS)
    planned = [look.lift for look in looks_for(probabilities, list(minutes), LIFTS).visits]
    doubtful = np.argsort(np.abs(probabilities.mean(axis=0) - 0.5))
    before = looks_for(probabilities, list(minutes), 1).deviation
    orders = (planned, doubtful, rng.permutation(LIFTS))
    return (before, *(left_after(probabilities, minutes, order) for order in orders))


def left_after(probabilities: np.ndarray, minutes: np.ndarray, order: np.ndarray | list[int]) -> float:
    """The number's standard deviation when the first lifts of an order were looked at: by all at once, not in steps."""
    looked = np.array(order)[np.cumsum(minutes[order]) <= MINUTES]
    covariance = np.diag((probabilities * (1 - probabilities)).mean(axis=0)) + np.cov(probabilities.T, bias=True)
    with_sum = covariance.sum(axis=1)[looked]
    taken = with_sum @ np.linalg.lstsq(covariance[np.ix_(looked, looked)], with_sum, rcond=1e-12)[0]
    return float(max(covariance.sum() - taken, 0.0)) ** 0.5


if __name__ == "__main__":
    main()

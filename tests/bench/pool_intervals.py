"""How often the 95 % intervals of the counts of a pool hold what is there, over simulated pools of other mixes.

Run: `python -m tests.bench.pool_intervals --pools 500 --seed 101`. Each pool has 400 lifts of a mix drawn anew; the
confusion was measured on 200 lifts of each class. Every fifth pool is of each kind in `MIXES`. `--sharpness 1.5`: the
reader is surer than it should be. The sums count each class of each pool.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.monitor.shares import Share
from guidance.pool.counts import counts_of, drawn_pools
from guidance.pool.readings import measured_readings, readings_of
from tests.support.simulated_pools import Reader, World

LIFTS, OF_EACH = 400, 200
MIXES = ("as printed", "any mix", "one rules", "one is rare", "one is absent")


def main() -> None:
    """Print one line a kind of mix: intervals that hold, and how wide they are."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pools", type=int, default=500)
    parser.add_argument("--apart", type=float, default=2.5)
    parser.add_argument("--sharpness", type=float, default=1.0)
    parser.add_argument("--of-each", type=int, default=OF_EACH)
    parser.add_argument("--component", default="generation", choices=("generation", "lowering"))
    parser.add_argument("--seed", type=int, required=True)
    given = parser.parse_args()
    world = World(load(Path(DEMO_CATALOGUE)), given.component, Reader(given.apart, given.sharpness))
    found = simulate(world, given.pools, given.of_each, np.random.default_rng(given.seed))
    for name in (*MIXES, "all"):
        rows = [row for row in found if name in (row[0], "all")]
        held = Share(sum(row[1] for row in rows), sum(row[2] for row in rows))
        naive = Share(sum(row[3] for row in rows), sum(row[2] for row in rows))
        print(f"{name:<14} hold {held}; wide {np.mean([row[4] for row in rows]):.1f} lifts; naive counts in it {naive}")


def simulate(
    world: World, pools: int, of_each: int, rng: np.random.Generator
) -> Sequence[tuple[str, int, int, int, float]]:
    """Per pool: its kind, intervals that hold the truth, classes, naive counts inside the interval, mean width."""
    found = []
    for number in range(pools):
        kind = MIXES[number % len(MIXES)]
        truths = rng.choice(len(world.classes), LIFTS, p=mix(kind, world, rng))
        measured = measured_readings(world.calibration(of_each, rng), world.component, world.catalogue)
        readings = readings_of(world.lifts(truths, rng), world.component, world.catalogue)
        counts = counts_of(drawn_pools(readings, measured, rng), world.component)
        there = np.bincount(truths, minlength=len(world.classes))
        held = sum(count.low <= true <= count.high for count, true in zip(counts, there, strict=True))
        naive = sum(count.low <= count.favourites <= count.high for count in counts)
        found.append((kind, held, len(counts), naive, float(np.mean([count.high - count.low for count in counts]))))
    return found


def mix(kind: str, world: World, rng: np.random.Generator) -> np.ndarray:
    """The shares (K,) of a pool of this kind."""
    classes = len(world.classes)
    shares = rng.dirichlet(np.ones(classes))
    chosen = rng.integers(classes)
    if kind == "as printed":
        return world.prior
    if kind == "one rules":
        return 0.25 * shares + 0.75 * np.eye(classes)[chosen]
    if kind in ("one is rare", "one is absent"):
        shares[chosen] = 0.0
        rare = 0.02 if kind == "one is rare" else 0.0
        return (1 - rare) * shares / shares.sum() + rare * np.eye(classes)[chosen]
    return shares


if __name__ == "__main__":
    main()

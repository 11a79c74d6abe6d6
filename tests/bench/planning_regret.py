"""Expected minutes of the planner over the exact optimum, on random dependent problems.

Run: `python -m tests.bench.planning_regret --count 10000 --seed 1`.
"""

import argparse

import numpy as np

from guidance.diagnose.sequencing import look_ahead, ratio_minutes, start
from tests.guidance.exact_planning import optimum, policy_minutes, random_dependent_problem


def main() -> None:
    """Print mean with 95 % interval and worst ratio, of the planner and of the updated ratio rule alone."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, required=True)
    arguments = parser.parse_args()
    planner, rule = [], []
    for child in np.random.SeedSequence(arguments.seed).spawn(arguments.count):
        problem, belief = random_dependent_problem(np.random.default_rng(child))
        best, first = optimum(problem, belief), start(problem, belief)

        def choose(now, problem=problem):
            return int(look_ahead(problem, now)[1][0].argmin())

        planner.append(policy_minutes(problem, first, choose) / best)
        rule.append(ratio_minutes(problem, first)[0] / best)
    for name, ratios in (("look-ahead", np.array(planner)), ("ratio rule alone", np.array(rule))):
        half = 1.96 * ratios.std(ddof=1) / len(ratios) ** 0.5
        print(f"{name}: n {len(ratios)}, mean {ratios.mean():.5f} ± {half:.5f}, worst {ratios.max():.4f}")


if __name__ == "__main__":
    main()

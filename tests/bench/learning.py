"""Whether learning from closed cases finds the rates that the cases were drawn with, at full size.

Run: `python -m tests.bench.learning --cases 20000 --seeds 1 2 3`. "own": cases of the demo catalogue's own model;
"other": of a catalogue with other rates and multiples by generation, learned from the demo catalogue as it is printed.
Some hundred and twenty rates are tested at once: of the pointwise 95 % bands about one in twenty misses by chance, so
that the threshold is the simultaneous band (Bonferroni over the rates of all seeds). "habit": a part of the unproven
half of the labels is one and the same fault instead.
"""

import argparse

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.learning.closed_cases import ClosedCase
from guidance.learning.learning import learn
from tests.guidance.closed_cases import (
    draw_closed_cases,
    labelled_by_habit,
    other_rates,
    outside,
    rates_of,
    simultaneous,
)

HABITUAL = "hand_control_faulty"
HALF_PROVEN = {"measured": 0.3, "exchanged": 0.2, "mended": 0.5}


def main() -> None:
    """Print one line for each truth, seed and habit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seeds", type=int, nargs="+", required=True)
    arguments = parser.parse_args()
    catalogue = load(DEMO_CATALOGUE)
    for name, truth in (("own", catalogue), ("other", other_rates(catalogue, np.random.default_rng(5)))):
        missed = rates = 0
        for seed in arguments.seeds:
            cases = draw_closed_cases(truth, arguments.cases, np.random.default_rng(seed))
            counts = _report(f"{name}, seed {seed}", cases, truth, catalogue, len(arguments.seeds))
            missed, rates = missed + counts[0], rates + counts[1]
        print(f"{name}: pointwise 95 % bands hold {rates - missed} of {rates} rates ({1 - missed / rates:.1%})")
    for part in (0.1, 0.2, 0.4, 0.6):
        rng = np.random.default_rng(arguments.seeds[0])
        cases = draw_closed_cases(catalogue, arguments.cases, rng, HALF_PROVEN)
        habitual = labelled_by_habit(cases, HABITUAL, part, rng, proof="mended")
        _report(f"habit in {part:.0%} of the unproven half", habitual, catalogue, catalogue, 1)


def _report(name: str, cases: list[ClosedCase], truth: Catalogue, printed: Catalogue, seeds: int) -> tuple[int, int]:
    """Print how many rates miss their bands; returns those outside the pointwise ones, and all."""
    found = learn(cases, printed)
    rates = len(rates_of(found))
    pointwise, together = (outside(found, truth, z) for z in (1.96, simultaneous(rates * seeds)))
    habitual = next(row for row in found.by_setting if row.fault == HABITUAL)
    print(
        f"{name}: n={len(cases)}, {rates} rates, outside simultaneous bands {len(together)}, outside pointwise "
        f"ones {len(pointwise)}; {HABITUAL} {habitual.share_before:.4f} -> {habitual.share_now:.4f} "
        f"±{habitual.deviation:.4f}",
        flush=True,
    )
    return len(pointwise), rates


if __name__ == "__main__":
    main()

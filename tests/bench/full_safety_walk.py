"""The safety walk without shortcuts: every box with every actuator, every symptom, every step that can be proposed.

Run: `python -m tests.bench.full_safety_walk [--part NUMBER --of COUNT]`. The tests walk a part of this. It takes some
hours of processor time; with `--of` the states are dealt out to so many runs.
"""

import argparse
import itertools
import sys
from collections import Counter
from collections.abc import Callable, Hashable, Mapping

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.rows import ROLES
from guidance.diagnose import troubleshoot as troubleshooting
from guidance.diagnose.one_core import one_core
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case
from tests.guidance import safety_walk
from tests.guidance.safety_rules import violations
from tests.guidance.safety_walk import (
    Walk,
    actuators,
    boxes,
    circumstances,
    conversation,
    gate_cases,
    on_the_way_down,
    said_differently,
    steps,
    two_findings,
)


def walks(catalogue: Catalogue, part: int, of: int) -> dict[str, Walk]:
    """Every walk by name; of what can be dealt out only this part's share, the rest in part 0."""
    symptoms = tuple(catalogue.symptoms_by_id)
    gates = itertools.islice(gate_cases(catalogue, actuators(), boxes(), symptoms), part, None, of)
    pairs = list(itertools.product(boxes(), actuators()))[part::of]
    starts = [
        Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom, control_box=box)
        for role, symptom, box in itertools.product(ROLES, symptoms, boxes())
    ][part::of]
    found = {
        "before the first check": ((case, troubleshoot(case, catalogue)) for case in gates),
        "any step that can be proposed": steps(catalogue, pairs, symptoms),
        "every answer, two steps deep": itertools.chain(*(conversation(catalogue, start, 2) for start in starts)),
        "every circumstance with every step": circumstances(catalogue, symptoms[part::of]),
        "every two findings, or one and a repair": two_findings(catalogue, symptoms, every=of, at=part),
    }
    if part == 0:
        found["said differently, or not understood"] = said_differently(catalogue)
        found["every step of the way down, answered"] = on_the_way_down(catalogue, actuators())
    return found


MOST_REMEMBERED = 200


def remember(catalogue: Catalogue) -> None:
    """Compute once what many states share: the prior over a circumstance, an identification, a diagnosis."""
    space = catalogue.fault_space
    object.__setattr__(space, "over_hypotheses", _once(space.over_hypotheses, lambda w: (w.shape, w.tobytes())))
    for module in (troubleshooting, safety_walk):
        module.identified = _once(module.identified, lambda case, _: (_lift(case), case.role, case.observations))
        module.diagnose = _once(module.diagnose, _what_was_found)


def _what_was_found(case: Case, _: Catalogue, likelihood: np.ndarray, measured: Mapping) -> tuple:
    return case.symptom, case.done, *sorted(case.context.items()), likelihood.tobytes(), str(measured)


def _lift(case: Case) -> str:
    return f"{case.control_box} {case.actuator}"


def _once(compute: Callable, key: Callable[..., Hashable]) -> Callable:
    kept: dict[Hashable, object] = {}

    def remembered(*given: object) -> object:
        at = key(*given)
        if at not in kept:
            if len(kept) >= MOST_REMEMBERED:
                kept.clear()
            kept[at] = compute(*given)
        return kept[at]

    return remembered


def main() -> int:
    """Print how many states were walked and every rule that one of them breaks; status 1 when there is one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--of", type=int, default=1)
    arguments = parser.parse_args()
    broken: Counter[str] = Counter()
    catalogue = load(DEMO_CATALOGUE)
    remember(catalogue)
    for name, walk in walks(catalogue, arguments.part, arguments.of).items():
        count = 0
        with one_core():
            for case, answer in walk:
                count += 1
                broken.update(violations(case, answer))
        print(f"{name}: {count} states", flush=True)
    return verdict(broken)


def verdict(broken: Counter[str]) -> int:
    """Print every rule that was broken and how often; status 1 when there is one."""
    for rule, times in broken.most_common():
        print(f"BROKEN {times} times: {rule}")
    print("no unsafe state" if not broken else f"{len(broken)} rules broken")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())

"""The safety walk without shortcuts: every box with every actuator, every symptom, every step that can be proposed.

Run: `python -m tests.bench.full_safety_walk`. The tests walk a part of this; it takes some minutes.
"""

import itertools
import sys
from collections import Counter

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.rows import ROLES
from guidance.diagnose.one_core import one_core
from guidance.documents.case import Case
from tests.guidance.safety_rules import violations
from tests.guidance.safety_walk import actuators, boxes, conversation, gates, steps


def main() -> int:
    """Print how many states were walked and every rule that one of them breaks; status 1 when there is one."""
    catalogue = load(DEMO_CATALOGUE)
    pairs = list(itertools.product(boxes(), actuators()))
    starts = [
        Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom, control_box=box)
        for role, symptom, box in itertools.product(ROLES, catalogue.symptoms_by_id, boxes())
    ]
    walks = {
        "before the first check": gates(catalogue, actuators(), boxes(), catalogue.symptoms_by_id),
        "any step that can be proposed": steps(catalogue, pairs, catalogue.symptoms_by_id),
        "every answer, three steps deep": itertools.chain(*(conversation(catalogue, start, 3) for start in starts)),
    }
    broken: Counter[str] = Counter()
    for name, walk in walks.items():
        count = 0
        with one_core():
            for case, answer in walk:
                count += 1
                broken.update(violations(case, answer))
        print(f"{name}: {count} states", flush=True)
    for rule, times in broken.most_common():
        print(f"BROKEN {times} times: {rule}")
    print("no unsafe state" if not broken else f"{len(broken)} rules broken")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())

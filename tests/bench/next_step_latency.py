"""How long one next step takes on the demo catalogue, along random conversations of every role, symptom and box.

Run: `python -m tests.bench.next_step_latency --conversations 84 --seed 1`. Wall time is what a person
waits; processor time is what one core needs, whatever else the machine does.
"""

import argparse
import platform
import time

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.rows import ROLES
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case, Done, Seen


def main() -> None:
    """Print processor, versions and percentiles."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--conversations", type=int, default=84)
    parser.add_argument("--seed", type=int, required=True)
    arguments = parser.parse_args()
    rng = np.random.default_rng(arguments.seed)
    catalogue = load(DEMO_CATALOGUE)
    started = time.perf_counter()
    troubleshoot(Case(person_in_sling="no", danger_signs=(), symptom="dead"), catalogue)
    first_ms = 1000 * (time.perf_counter() - started)
    wall_ms, core_ms = [], []
    for number in range(arguments.conversations):
        case = _start(catalogue, number)
        for _ in range(12):
            wall, core = time.perf_counter(), time.process_time()
            answer = troubleshoot(case, catalogue)
            wall_ms.append(1000 * (time.perf_counter() - wall))
            core_ms.append(1000 * (time.process_time() - core))
            if answer.state != "next_step":
                break
            case = _answered(case, answer.next, rng)
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
    print(f"first call with the network compiled: {first_ms:.0f} ms")
    for name, values in (("wall", wall_ms), ("processor", core_ms)):
        p50, p95, p99 = np.percentile(values, [50, 95, 99])
        print(f"{name:<10} n {len(values)}  p50 {p50:.1f}  p95 {p95:.1f}  p99 {p99:.1f} ms  worst {max(values):.1f} ms")


def _start(catalogue, number: int) -> Case:
    roles, symptoms = list(ROLES), list(catalogue.symptoms_by_id)
    boxes = [None, *catalogue.generations_by_id]
    box = boxes[number // (len(roles) * len(symptoms)) % len(boxes)]
    seen = box and Seen(decision="confirmed", probabilities={box: 1.0}, values=(box,))
    role, symptom = roles[number % len(roles)], symptoms[number // len(roles) % len(symptoms)]
    return Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom, control_box=seen)


def _answered(case: Case, step, rng: np.random.Generator) -> Case:
    chances = np.array([outcome.probability for outcome in step.outcomes])
    if step.kind in ("adjust", "replace"):
        outcome = "still"
    else:
        outcome = step.outcomes[int(rng.choice(len(chances), p=chances / chances.sum()))].id
    if step.kind == "context":
        return case.model_copy(update={"context": {**case.context, step.id: outcome}})
    return case.model_copy(update={"done": (*case.done, Done(id=step.id, outcome=outcome))})


if __name__ == "__main__":
    main()

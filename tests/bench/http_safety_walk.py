"""Random states over HTTP, each answer held against the safety rules.

Run: `python -m tests.bench.http_safety_walk --count 20000 --seed 1`. The application runs in this process, without
weights: what is asked is POST /v1/troubleshooting alone, with the body, status and JSON that every client meets.
"""

import argparse
import random
import sys
from collections import Counter
from types import SimpleNamespace

from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.http import problems, troubleshooting
from api.http.slots import Slots
from api.servers.rate import OwnRate
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.rows import ROLES, UNSURE
from guidance.documents.case import DOWN, SKIPPED, STILL, WORKS, WORSE, Case, Troubleshooting
from guidance.safety.way_down import lowering_sentences
from tests.bench.full_safety_walk import verdict
from tests.guidance.safety_rules import violations
from tests.guidance.safety_walk import actuators, boxes

MOST_DONE = 4
"""Steps done in one random state."""


def application(catalogue: Catalogue) -> FastAPI:
    """The route with its limits and its problem documents, without photos and cases."""
    app = FastAPI()
    app.state.slots, app.state.rate = Slots(2, 16), OwnRate(0)
    app.state.resources = SimpleNamespace(catalogue=catalogue)
    app.include_router(troubleshooting.router)
    problems.install(app)
    return app


def random_case(catalogue: Catalogue, rng: random.Random) -> dict:
    """Any role, sling, signs, identification, symptom, circumstances, steps done and steps of the way down."""
    case = {
        "role": rng.choice(ROLES),
        "person_in_sling": rng.choice(("yes", "unsure", "no", "no", "no")),
        "danger_signs": rng.choice((None, [], [], [], rng.sample([*catalogue.stop_signs_by_id], rng.randint(1, 3)))),
        "symptom": rng.choice((None, *catalogue.symptoms_by_id)),
        "context": {row.id: rng.choice((*row.options, UNSURE)) for row in catalogue.contexts if rng.random() < 0.2},
        "done": [_done(catalogue, rng) for _ in range(rng.randint(0, MOST_DONE))],
        "lowered": [
            {"id": row.id, "outcome": rng.choice((STILL, WORSE, DOWN, UNSURE))}
            for row in rng.sample([*lowering_sentences(catalogue)], rng.randint(0, 3))
        ],
        "could_hurt": rng.choice((None, True, False)),
    }
    if rng.random() < 0.2:
        case["observations"] = [{"id": "person_in_sling", "answer": rng.choice(("yes", "no", UNSURE))}]
    for field, seen in (("control_box", rng.choice(boxes())), ("actuator", rng.choice(actuators()))):
        case[field] = seen.model_dump(by_alias=True) if seen else None
    return case


def _done(catalogue: Catalogue, rng: random.Random) -> dict[str, str]:
    row = rng.choice((*catalogue.checks, *catalogue.repairs))
    outcomes = (WORKS, STILL)
    if row.id in catalogue.checks_by_id:
        outcomes = tuple(catalogue.findings_by_id[row.finding].outcomes)
    return {"id": row.id, "outcome": rng.choice((*outcomes, *outcomes, UNSURE, SKIPPED))}


def main() -> int:
    """Print how many states were asked about and every rule that an answer breaks; status 1 when there is one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    catalogue, rng = load(DEMO_CATALOGUE), random.Random(arguments.seed)
    broken: Counter[str] = Counter()
    states: Counter[str] = Counter()
    with TestClient(application(catalogue)) as client:
        for _ in range(arguments.count):
            case = random_case(catalogue, rng)
            answered = client.post("/v1/troubleshooting", json=case)
            if answered.status_code != 200:
                broken[f"status {answered.status_code}: {answered.text[:200]}"] += 1
                continue
            document = Troubleshooting.model_validate_json(answered.content)
            states[document.state] += 1
            broken.update(violations(Case.model_validate(case), document))
    print(f"{arguments.count} random states, seed {arguments.seed}: {dict(states)}")
    return verdict(broken)


if __name__ == "__main__":
    sys.exit(main())

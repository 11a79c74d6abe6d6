"""Minutes stated at the first step against minutes realised, for callers drawn from the catalogue's own model.

Run: `OMP_NUM_THREADS=1 python -m tests.bench.stated_minutes --cases 1000 --seed 1`. Each caller follows the advice to
the end; of every other one the control box is known. This measures whether the statement keeps what it says, nothing
of the real world.
"""

import argparse
from dataclasses import dataclass

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.fault_network import GENERATION
from guidance.catalogue.rows import ROLES, Role
from guidance.diagnose.diagnosis import Diagnosis, diagnose, generation_likelihood
from guidance.diagnose.one_core import one_core
from guidance.diagnose.planning import Choice, choose
from guidance.diagnose.simulate import Lift, Step, play
from guidance.documents.case import Case, Seen
from guidance.identify.identified import identified


@dataclass(frozen=True)
class Minutes:
    """Of the same callers, (cases,) each: what was stated first, and what it took."""

    stated: np.ndarray
    realised: np.ndarray

    @property
    def ratio(self) -> float:
        """Stated over realised, of the means."""
        return float(self.stated.mean() / self.realised.mean())

    @property
    def half_width(self) -> float:
        """Half of the ratio's 95 % interval (delta method on the paired differences)."""
        off = self.stated - self.ratio * self.realised
        return float(1.96 * off.std(ddof=1) / len(off) ** 0.5 / self.realised.mean())


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1000, help="callers per role")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--role", choices=ROLES)
    arguments = parser.parse_args()
    catalogue = load(DEMO_CATALOGUE)
    for role in (arguments.role,) if arguments.role else ROLES:
        with one_core():
            found = measure(catalogue, role, arguments.cases, np.random.default_rng(arguments.seed))
        means = f"stated {found.stated.mean():.1f}, realised {found.realised.mean():.1f}"
        ratio = f"ratio {found.ratio:.3f} ± {found.half_width:.3f}"
        print(f"{role:<12} n {len(found.stated)}, {means}, {ratio}", flush=True)


def measure(catalogue: Catalogue, role: Role, cases: int, rng: np.random.Generator) -> Minutes:
    """Callers of one role; symptoms take turns, lift and circumstances are drawn from the model given the symptom."""
    policy = _Advice(catalogue, role)
    stated, realised = [], []
    symptoms = list(catalogue.symptoms_by_id)
    for number in range(cases):
        start, lift = _caller(catalogue, role, symptoms[number % len(symptoms)], number // len(symptoms) % 2 == 0, rng)
        stated.append(policy.choice(start, diagnose(start, catalogue, policy.likelihood(start), {})).expected_minutes)
        realised.append(play(catalogue, start, lift, policy))
    return Minutes(np.array(stated), np.array(realised))


class _Advice:
    """What the tool advises, kept for cases that come again."""

    def __init__(self, catalogue: Catalogue, role: Role) -> None:
        self.catalogue, self.role = catalogue, role
        self.kept: dict[tuple, Choice] = {}

    def __call__(self, case: Case, diagnosis: Diagnosis) -> Step:
        return self.choice(case, diagnosis).step

    def choice(self, case: Case, diagnosis: Diagnosis) -> Choice:
        key = (case.symptom, tuple(case.control_box.values), case.done, tuple(case.context.items()))
        if key not in self.kept:
            generations = identified(case, self.catalogue).generations
            self.kept[key] = choose(diagnosis, self.catalogue, self.role, case.symptom, generations)
        return self.kept[key]

    def likelihood(self, case: Case) -> np.ndarray:
        return generation_likelihood(case.control_box.probabilities, self.catalogue)


def _caller(
    catalogue: Catalogue, role: Role, symptom: str, box_known: bool, rng: np.random.Generator
) -> tuple[Case, Lift]:
    space = catalogue.fault_space
    joint = space.believe(catalogue.symptoms_by_id[symptom].findings).joint()  # (C, H)
    context, truth = divmod(int(rng.choice(joint.size, p=joint.ravel() / joint.sum())), joint.shape[1])
    position = [node.id for node in space.context_nodes].index(GENERATION)
    generation = space.context_nodes[position].states[space.contexts[context, position]]
    box = Seen(decision="not_seen")
    if box_known and generation in catalogue.generations_by_id:
        box = Seen(decision="confirmed", probabilities={generation: 1.0}, values=(generation,))
    case = Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom, control_box=box)
    return case, Lift(truth, context, np.random.default_rng(int(rng.integers(2**63))))


if __name__ == "__main__":
    main()

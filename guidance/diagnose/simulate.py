"""Repairs played through on invented lifts: the computed order against a printed list and against most-probable-first.

`python -m guidance.diagnose.simulate --cases 200 --seed 1 --role technician` prints expected minutes per symptom with
intervals.
The lifts come from the catalogue's own model, so that this measures the order of steps and nothing of the real world.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.fault_network import GENERATION
from guidance.catalogue.fault_rows import LAST_RESORT, Check, Context, Repair
from guidance.catalogue.rows import ROLES, Role
from guidance.diagnose.diagnosis import Diagnosis, diagnose, generation_likelihood
from guidance.diagnose.one_core import one_core
from guidance.diagnose.planning import choose
from guidance.documents.case import STILL, WORKS, Case, Done, Seen, complaint_of
from guidance.safety.sentences import may_do

Step = Check | Repair | Context
Policy = Callable[[Case, Diagnosis], Step]


@dataclass
class Lift:
    """One lift with its true faults (an index of the space's hypotheses) and circumstances; draws are kept."""

    truth: int
    context: int
    rng: np.random.Generator
    seen: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Compared:
    """Minutes (cases,) of one symptom by policy; the same lifts for each."""

    symptom: str
    minutes: dict[str, np.ndarray]


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200, help="lifts per symptom")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--role", default="technician", choices=ROLES)
    parser.add_argument("--generation", default="hung-top")
    parser.add_argument("--catalogue", type=Path, default=DEMO_CATALOGUE)
    arguments = parser.parse_args(argv)
    catalogue = load(arguments.catalogue)
    print(f"role {arguments.role}, {arguments.generation}, {arguments.cases} lifts a symptom, seed {arguments.seed}")
    print(f"{'symptom':<18}{'computed':>10}{'printed':>10}{'probable':>10}   fewer than printed      than probable")
    every = []
    for number, symptom in enumerate(catalogue.symptoms_by_id):
        rng = np.random.default_rng((arguments.seed, number))
        with one_core():
            compared = compare(catalogue, symptom, arguments.role, arguments.generation, arguments.cases, rng)
        every.append(compared)
        print(_row(symptom, compared.minutes), flush=True)
    together = {name: np.concatenate([c.minutes[name] for c in every]) for name in every[0].minutes}
    print(_row("all", together))
    return 0


def compare(
    catalogue: Catalogue, symptom: str, role: Role, generation: str, cases: int, rng: np.random.Generator
) -> Compared:
    """Play the same lifts through under each policy."""
    policies = {
        "computed": _computed(catalogue, role, generation),
        "printed": _printed(catalogue, role, generation),
        "probable": _most_probable(catalogue, role, generation),
    }
    seen = Seen(decision="confirmed", probabilities={generation: 1.0}, values=(generation,))
    start = Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom, control_box=seen)
    known = {GENERATION: generation, **catalogue.symptoms_by_id[symptom].findings}
    joint = catalogue.fault_space.believe(known).joint()  # (C, H)
    draws = rng.choice(joint.size, size=cases, p=joint.ravel() / joint.sum())
    minutes: dict[str, list[float]] = {name: [] for name in policies}
    for draw in draws:
        context, truth = divmod(int(draw), joint.shape[1])
        seed = int(rng.integers(2**63))
        for name, policy in policies.items():
            lift = Lift(truth, context, np.random.default_rng(seed))
            minutes[name].append(play(catalogue, start, lift, policy))
    return Compared(symptom, {name: np.array(values) for name, values in minutes.items()})


def play(catalogue: Catalogue, case: Case, lift: Lift, policy: Policy) -> float:
    """Minutes until the trouble is gone or the lift is handed over."""
    likelihood = generation_likelihood(case.control_box.probabilities if case.control_box else {}, catalogue)
    total, opened = 0.0, set()
    while True:
        step = policy(case, diagnose(case, catalogue, likelihood, {}))
        total += step.minutes[case.role]
        area = getattr(step, "area", None)
        if area is not None and area not in opened:
            opened.add(area)
            total += catalogue.fault_model.opening_min[area]
        if isinstance(step, Context):
            case = case.model_copy(update={"context": {**case.context, step.id: _circumstance(catalogue, lift, step)}})
            continue
        if isinstance(step, Repair):
            outcome = _repair(catalogue, lift, step, catalogue.symptoms_by_id[complaint_of(case)].gone)
            if outcome == WORKS:
                return total
        else:
            outcome = _look(catalogue, lift, step)
        case = case.model_copy(update={"done": (*case.done, Done(id=step.id, outcome=outcome))})


def _circumstance(catalogue: Catalogue, lift: Lift, row: Context) -> str:
    space = catalogue.fault_space
    position = [node.id for node in space.context_nodes].index(row.id)
    return list(row.options)[space.contexts[lift.context, position]]


def _look(catalogue: Catalogue, lift: Lift, check: Check) -> str:
    """What the check shows of this lift; the same each time until a repair changes the lift."""
    if check.finding not in lift.seen:
        column = catalogue.fault_space.columns[check.finding][:, lift.truth]
        outcomes = list(catalogue.findings_by_id[check.finding].outcomes)
        lift.seen[check.finding] = outcomes[int(lift.rng.choice(len(outcomes), p=column / column.sum()))]
    return lift.seen[check.finding]


def _repair(catalogue: Catalogue, lift: Lift, repair: Repair, gone: str) -> str:
    if repair.kind == LAST_RESORT:
        return WORKS
    space, before = catalogue.fault_space, lift.truth
    for position, node in enumerate(space.cause_nodes):
        has, without = space.without[position]
        at = np.flatnonzero(has == lift.truth)
        if len(at) and lift.rng.random() < repair.mends.get(node.id, 0.0):
            lift.truth = int(without[at[0]])
    if lift.truth == before:
        return STILL
    lift.seen.clear()
    normal = space.columns[gone][0]
    rid = (normal[lift.truth] - normal[before]) / (1.0 - normal[before])
    return WORKS if lift.rng.random() < rid else STILL


def _computed(catalogue: Catalogue, role: Role, generation: str) -> Policy:
    chosen: dict[tuple[object, ...], Step] = {}

    def policy(case: Case, diagnosis: Diagnosis) -> Step:
        key = (case.done, tuple(case.context.items()))
        if key not in chosen:
            chosen[key] = choose(diagnosis, catalogue, role, complaint_of(case), (generation,)).step
        return chosen[key]

    return policy


def _printed(catalogue: Catalogue, role: Role, generation: str) -> Policy:
    """The printed rows from top to bottom; where a row has a check, its repair only when the check is not normal."""

    def fits(step: Check | Repair) -> bool:
        return may_do(step, role) and (not step.generations or generation in step.generations)

    def policy(case: Case, _: Diagnosis) -> Step:
        done = {step.id: step.outcome for step in case.done}
        for row in catalogue.symptoms_by_id[complaint_of(case)].printed:
            repair, check = catalogue.repairs_by_id[row.repair], catalogue.checks_by_id.get(row.check or "")
            if repair.id in done or not fits(repair):
                continue
            if check is not None and fits(check):
                if check.id not in done:
                    return check
                if done[check.id] == next(iter(catalogue.findings_by_id[check.finding].outcomes)):
                    continue
            return repair
        return _last_resort(catalogue, role)

    return policy


def _most_probable(catalogue: Catalogue, role: Role, generation: str) -> Policy:
    """Always the repair of the fault that is most probable by now; no questions."""

    def policy(case: Case, diagnosis: Diagnosis) -> Step:
        probability = diagnosis.weights @ catalogue.fault_space.hypotheses
        for position in np.argsort(-probability, kind="stable"):
            fault = catalogue.fault_space.cause_nodes[position].id
            mending = [
                row
                for row in catalogue.repairs
                if row.mends.get(fault, 0.0) > 0
                and row.id not in diagnosis.done
                and may_do(row, role)
                and (not row.generations or generation in row.generations)
            ]
            if mending and probability[position] > 0.01:
                return max(mending, key=lambda row: row.mends[fault])
        return _last_resort(catalogue, role)

    return policy


def _last_resort(catalogue: Catalogue, role: Role) -> Repair:
    return next(row for row in catalogue.repairs if row.kind == LAST_RESORT and may_do(row, role))


def _row(name: str, minutes: dict[str, np.ndarray]) -> str:
    means = "".join(f"{values.mean():>10.1f}" for values in minutes.values())
    fewer = [_fewer(minutes[other] - minutes["computed"]) for other in ("printed", "probable")]
    return f"{name:<18}{means}   {fewer[0]:<24}{fewer[1]}"


def _fewer(difference: np.ndarray) -> str:
    """Mean of paired differences with its 95 % interval."""
    half = 1.96 * difference.std(ddof=1) / len(difference) ** 0.5
    return f"{difference.mean():.1f} ({difference.mean() - half:.1f} to {difference.mean() + half:.1f})"


if __name__ == "__main__":
    raise SystemExit(main())

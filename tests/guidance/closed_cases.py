"""Closed cases drawn from a catalogue's own model, for the tests and the measurement of learning."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.stats import norm

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_network import GENERATION
from guidance.learning.closed_cases import ClosedCase
from guidance.learning.expected_labels import ExpectedLabels
from guidance.learning.learning import Learned, Learning, OfGeneration
from tests.guidance.lifts import rows_of

ALL_PROVEN = {"measured": 0.6, "exchanged": 0.4}


def draw_closed_cases(
    catalogue: Catalogue, count: int, rng: np.random.Generator, proofs: Mapping[str, float] = ALL_PROVEN
) -> list[ClosedCase]:
    """Lifts with a fault, of every complaint as many; the label is one of their faults.

    The compiled network is drawn from, not what learning computes with.
    """
    space = catalogue.fault_space
    contexts = [node.id for node in space.context_nodes]
    setting, generation = contexts.index(catalogue.fault_settings.setting), contexts.index(GENERATION)
    faulty = space.hypotheses.any(axis=1)
    joints = [space.believe(row.findings).joint() * faulty for row in catalogue.symptoms]
    drawn = rng.integers(len(joints), size=count)
    cases = []
    for number, symptom in enumerate(catalogue.symptoms):
        joint = joints[number]
        flat = rng.choice(joint.size, size=int((drawn == number).sum()), p=joint.ravel() / joint.sum())
        for context, hypothesis in zip(*np.unravel_index(flat, joint.shape), strict=True):
            fault = int(rng.choice(np.flatnonzero(space.hypotheses[hypothesis])))
            state = space.contexts[context]
            cases.append(
                ClosedCase(
                    setting=space.context_nodes[setting].states[state[setting]],
                    fault=space.cause_nodes[fault].id,
                    generation=space.context_nodes[generation].states[state[generation]],
                    symptom=symptom.id,
                    proof=str(rng.choice(list(proofs), p=list(proofs.values()))),
                )
            )
    return cases


def other_rates(catalogue: Catalogue, rng: np.random.Generator) -> Catalogue:
    """The same faults with other rates: each a factor of about 1.5 off, and about 1.15 by generation."""
    faults = []
    for row in catalogue.faults:
        calls = {s: rate * float(rng.lognormal(0.0, 0.4)) for s, rate in row.calls_per_1000.items()}
        can = row.generations or tuple(catalogue.generations_by_id)
        times = {g: float(rng.lognormal(0.0, 0.14)) for g in can}
        faults.append(row.model_copy(update={"calls_per_1000": calls, "by_generation": times}))
    return Catalogue.model_validate({**rows_of(catalogue), "faults": faults})


def labelled_by_habit(
    cases: Sequence[ClosedCase], habitual: str, part: float, rng: np.random.Generator, proof: str | None = None
) -> list[ClosedCase]:
    """Give a part of the labels, or of those with one kind of proof, the habitual fault instead."""
    return [
        replace(case, fault=habitual) if proof in (None, case.proof) and rng.random() < part else case for case in cases
    ]


def truth_of(catalogue: Catalogue) -> dict[tuple[str, str], float]:
    """The rates that cases of this catalogue should teach, by (setting or generation, fault).

    A generation's multiple is over the mean of those that can have the fault; what they have in common is the share's.
    """
    model = ExpectedLabels(catalogue)
    mean = (model.printed.times * model.can).sum(axis=0) / model.can.sum(axis=0)
    shares = model.printed.shares * mean
    shares = shares / shares.sum(axis=1, keepdims=True)
    true = {(s, f): shares[i, j] for i, s in enumerate(model.settings) for j, f in enumerate(model.faults)}
    for i, generation in enumerate(model.listed):
        for j, fault in enumerate(model.faults):
            if model.can[i, j]:
                true[generation, fault] = model.printed.times[i, j] / mean[j]
    return true


def rates_of(found: Learning) -> list[Learned | OfGeneration]:
    return [*found.by_setting, *found.by_generation]


def outside(found: Learning, truth: Catalogue, deviations: float) -> list[tuple[tuple[str, str], float]]:
    """The rates, with their true values, whose band of so many deviations does not hold the truth."""
    true, missed = truth_of(truth), []
    for row in rates_of(found):
        key = (row.setting if isinstance(row, Learned) else row.generation, row.fault)
        low, high = row.interval(deviations)
        if not low <= true[key] <= high:
            missed.append((key, true[key]))
    return missed


def simultaneous(count: int) -> float:
    """How many deviations hold all of `count` rates together with 95 %: Bonferroni's inequality."""
    return float(norm.ppf(1 - 0.025 / count))

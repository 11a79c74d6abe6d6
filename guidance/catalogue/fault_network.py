"""From catalogue rows to the Bayesian network: circumstances and generation shift faults, faults bring findings."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from classifier.taxonomy import UNLISTED
from guidance.catalogue.fault_rows import Fault, Finding
from guidance.catalogue.sections import Sections
from guidance.network.inference import Space, compile_space
from guidance.network.network import ByContext, Network, Node, Scaled, Table, WorstOf

GENERATION = "generation"
"""The context node of what the control box is; its prior is the fleet's, its evidence the identification."""

PRESENT = ("absent", "present")


def compile_faults(catalogue: Sections) -> Space:
    """The network of a catalogue, ready to compute with."""
    return compile_space(fault_network(catalogue), at_most=catalogue.fault_model.faults_at_once)


def fault_network(catalogue: Sections) -> Network:
    """Contexts, faults and findings as nodes; raises `NetworkError` on probabilities that are none."""
    findings = (_finding(row, catalogue) for row in catalogue.findings)
    return Network.of([*_contexts(catalogue), *_faults(catalogue), *findings])


def generation_prior(catalogue: Sections) -> np.ndarray:
    """Shares of the listed generations and, last, of unlisted boxes; the order of the generation node."""
    listed = np.array([row.fleet_share for row in catalogue.generations])
    unlisted = catalogue.pool.unlisted_share
    return np.append(listed / listed.sum() * (1 - unlisted), unlisted)


def _contexts(catalogue: Sections) -> list[Node]:
    generations = (*(row.id for row in catalogue.generations), UNLISTED)
    nodes = [Node(GENERATION, "context", generations, (), Table(generation_prior(catalogue)))]
    for row in catalogue.contexts:
        shares = np.array([row.shares.get(option, 0.0) for option in row.options])
        nodes.append(Node(row.id, "context", tuple(row.options), (), Table(shares)))
    return nodes


def _faults(catalogue: Sections) -> list[Node]:
    settings = catalogue.fault_model
    setting = catalogue.contexts_by_id[settings.setting]
    calls = {option: sum(row.calls_per_1000.get(option, 0.0) for row in catalogue.faults) for option in setting.options}
    nodes = []
    for row in catalogue.faults:
        shares = [row.calls_per_1000.get(option, 0.0) / max(calls[option], 1e-300) for option in setting.options]
        factors = [np.array(shares), _fits(row, catalogue)]
        parents = [setting.id, GENERATION]
        for context, by_answer in row.factors.items():
            parents.append(context)
            options = catalogue.contexts_by_id[context].options
            factors.append(np.array([by_answer.get(option, 1.0) for option in options]))
        scaled = Scaled(settings.other_faults, tuple(factors))
        nodes.append(Node(row.id, "cause", PRESENT, tuple(parents), scaled))
    return nodes


def _fits(row: Fault, catalogue: Sections) -> np.ndarray:
    """What a generation multiplies by: 0 where it cannot have the fault; the fleet's mean for an unlisted box."""
    times = np.array(
        [
            row.by_generation.get(generation.id, 1.0)
            if not row.generations or generation.id in row.generations
            else 0.0
            for generation in catalogue.generations
        ]
    )
    shares = np.array([generation.fleet_share for generation in catalogue.generations])
    return np.append(times, (times * shares).sum() / shares.sum())


def _finding(row: Finding, catalogue: Sections) -> Node:
    """The node of a finding; where it shows differently by generation it hangs on the generation as well."""
    every = {fault for effects in (row.effects, *row.effects_of.values()) for fault in effects}
    known = tuple(fault for fault in catalogue.faults_by_id if fault in every)
    common = _worst(row, known, row.effects)
    outcomes = tuple(row.outcomes)
    if not row.effects_of:
        return Node(row.id, "finding", outcomes, known, common)
    # Generations with equal effects share one object, and so one group.
    own: list[tuple[Mapping[str, tuple[float, ...]], WorstOf]] = []
    cases = []
    for generation in (*catalogue.generations_by_id, UNLISTED):
        effects = row.effects_of.get(generation, {})
        if effects not in [seen for seen, _ in own]:
            own.append((effects, _worst(row, known, {**row.effects, **effects}) if effects else common))
        cases.append(next(worst for seen, worst in own if seen == effects))
    return Node(row.id, "finding", outcomes, (GENERATION, *known), ByContext(tuple(cases)))


def _worst(row: Finding, faults: tuple[str, ...], effects: Mapping[str, tuple[float, ...]]) -> WorstOf:
    """The noisy-MAX of a finding; a fault without an effect leaves it as it is."""
    none = np.eye(len(row.outcomes))[0]
    return WorstOf(np.array(row.background), tuple(np.array([none, effects.get(fault, none)]) for fault in faults))

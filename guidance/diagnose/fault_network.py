"""From catalogue rows to the Bayesian network: circumstances and generation shift faults, faults bring findings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from classifier.taxonomy import UNLISTED
from guidance.diagnose.inference import Space, compile_space
from guidance.diagnose.network import Network, Node, Scaled, Table, WorstOf

if TYPE_CHECKING:
    from guidance.catalogue.catalogue import Catalogue
    from guidance.catalogue.fault_rows import Fault, Finding

GENERATION = "generation"
"""The context node of what the control box is; its prior is the fleet's, its evidence the identification."""

PRESENT = ("absent", "present")


def compile_faults(catalogue: Catalogue) -> Space:
    """The network of a catalogue, ready to compute with."""
    return compile_space(fault_network(catalogue), at_most=catalogue.fault_settings.faults_at_once)


def fault_network(catalogue: Catalogue) -> Network:
    """Contexts, faults and findings as nodes; raises `NetworkError` on probabilities that are none."""
    findings = (_finding(row, catalogue) for row in catalogue.findings)
    return Network.of([*_contexts(catalogue), *_faults(catalogue), *findings])


def generation_prior(catalogue: Catalogue) -> np.ndarray:
    """Shares of the listed generations and, last, of unlisted boxes; the order of the generation node."""
    listed = np.array([row.fleet_share for row in catalogue.generations])
    unlisted = catalogue.pool.unlisted_share
    return np.append(listed / listed.sum() * (1 - unlisted), unlisted)


def _contexts(catalogue: Catalogue) -> list[Node]:
    generations = (*(row.id for row in catalogue.generations), UNLISTED)
    nodes = [Node(GENERATION, "context", generations, (), Table(generation_prior(catalogue)))]
    for row in catalogue.contexts:
        shares = np.array([row.shares.get(option, 0.0) for option in row.options])
        nodes.append(Node(row.id, "context", tuple(row.options), (), Table(shares)))
    return nodes


def _faults(catalogue: Catalogue) -> list[Node]:
    settings = catalogue.fault_settings
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


def _fits(row: Fault, catalogue: Catalogue) -> np.ndarray:
    """1 for a generation that can have the fault, 0 for one that cannot, the fleet's share for an unlisted box."""
    can = np.array([not row.generations or generation.id in row.generations for generation in catalogue.generations])
    shares = np.array([generation.fleet_share for generation in catalogue.generations])
    return np.append(can.astype(float), (can * shares).sum() / shares.sum())


def _finding(row: Finding, catalogue: Catalogue) -> Node:
    known = [fault for fault in row.effects if fault in catalogue.faults_by_id]
    none = np.eye(len(row.outcomes))[0]
    effects = tuple(np.array([none, row.effects[fault]]) for fault in known)
    return Node(row.id, "finding", tuple(row.outcomes), tuple(known), WorstOf(np.array(row.background), effects))

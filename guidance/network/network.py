"""A Bayesian network in three layers: context, causes, findings.

Contexts (how old is the battery) shift causes (the battery is worn); causes bring about findings (the lift is dead).
Every row of data is checked here: references, cycles, probabilities. `inference.py` computes with it.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from classifier.errors import NetworkError

LAYERS = ("context", "cause", "finding")
SUM_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Table:
    """A full conditional table, shape (states of each parent …, own states)."""

    values: np.ndarray

    def rows(self, parent_states: np.ndarray) -> np.ndarray:
        """Distributions (N, own states) for parent states (N, parents)."""
        return (
            self.values[tuple(parent_states.T)]
            if parent_states.shape[1]
            else np.broadcast_to(self.values, (len(parent_states), self.values.shape[-1]))
        )


@dataclass(frozen=True, eq=False)
class WorstOf:
    """Noisy-MAX: every present cause draws an outcome of its own and the worst (the last state) shows.

    `effects[i]` has shape (states of parent i, own states); the row of a parent's first state is "no effect".
    For two states this is the noisy-OR. Source: Díez and Druzdzel's canonical models, from memory.
    """

    background: np.ndarray
    effects: tuple[np.ndarray, ...]

    def rows(self, parent_states: np.ndarray) -> np.ndarray:
        """Distributions (N, own states) for parent states (N, parents)."""
        at_most = np.broadcast_to(np.cumsum(self.background), (len(parent_states), len(self.background))).copy()
        for position, effect in enumerate(self.effects):
            at_most *= np.cumsum(effect, axis=1)[parent_states[:, position]]
        at_most[:, -1] = 1.0  # the sum of a distribution, without the rounding of its additions
        return np.diff(at_most, axis=1, prepend=0.0)


@dataclass(frozen=True, eq=False)
class ByContext:
    """A finding that shows differently in different contexts: one noisy-MAX for each state of its first parent.

    The first parent is a context, the others are causes. States that share one object of `cases` are alike.
    """

    cases: tuple[WorstOf, ...]

    def rows(self, parent_states: np.ndarray) -> np.ndarray:
        """Distributions (N, own states) for parent states (N, parents)."""
        of_case = [case.rows(parent_states[:, 1:]) for case in self.cases]  # each (N, own states)
        return np.stack(of_case)[parent_states[:, 0], np.arange(len(parent_states))]


@dataclass(frozen=True, eq=False)
class Scaled:
    """A two-state cause whose probability is `rate` times one factor a parent state.

    `factors[i]` has shape (states of parent i,). Factors belong to contexts alone.
    """

    rate: float
    factors: tuple[np.ndarray, ...]

    def rows(self, parent_states: np.ndarray) -> np.ndarray:
        """Distributions (N, 2) for parent states (N, parents)."""
        present = np.full(len(parent_states), self.rate)
        for position, factor in enumerate(self.factors):
            present *= factor[parent_states[:, position]]
        return np.stack([1.0 - present, present], axis=1)


@dataclass(frozen=True, eq=False)
class Node:
    """One variable: its layer, its states (the first is the normal one), its parents and its distribution."""

    id: str
    layer: str
    states: tuple[str, ...]
    parents: tuple[str, ...]
    distribution: Table | WorstOf | ByContext | Scaled

    def state(self, name: str) -> int:
        """Index of a state; refuses a name that the node has not."""
        if name not in self.states:
            raise NetworkError(f"{self.id}: got {name!r}, want one of {', '.join(self.states)}")
        return self.states.index(name)


@dataclass(frozen=True, eq=False)
class Network:
    """Nodes with every parent before its children."""

    nodes: tuple[Node, ...]

    @staticmethod
    def of(nodes: Sequence[Node]) -> Network:
        """Check references, layers, cycles and probabilities, and order the nodes."""
        by_id = {node.id: node for node in nodes}
        if not nodes:
            raise NetworkError("the network has no nodes: give at least one cause")
        if len(by_id) < len(nodes):
            twice = Counter(node.id for node in nodes).most_common(1)[0][0]
            raise NetworkError(f"{twice}: the id is used twice; give every node an id of its own")
        for node in nodes:
            _check_parents(node, by_id)
        ordered = _parents_first(by_id)
        for node in ordered:
            _check_probabilities(node, by_id)
        return Network(ordered)

    def node(self, node_id: str) -> Node:
        """The node of that id; refuses an id that the network has not."""
        for node in self.nodes:
            if node.id == node_id:
                return node
        raise NetworkError(f"unknown id {node_id!r}; known are {', '.join(node.id for node in self.nodes)}")

    def layer(self, layer: str) -> tuple[Node, ...]:
        """The nodes of one layer, parents first."""
        return tuple(node for node in self.nodes if node.layer == layer)


def load_network(path: Path) -> Network:
    """Read `[[context]]`, `[[cause]]` and `[[finding]]` rows with full tables from a TOML file."""
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    return network_from_rows(document)


def network_from_rows(document: Mapping[str, Sequence[Mapping[str, Any]]]) -> Network:
    """Build a network from rows `id, states, parents, table`, listed by layer."""
    nodes = []
    for layer in LAYERS:
        for row in document.get(layer, ()):
            missing = [key for key in ("id", "table") if key not in row]
            if missing:
                raise NetworkError(f"[[{layer}]] {row.get('id', '?')}: {missing[0]!r} is missing")
            table = Table(np.array(row["table"], dtype=float))
            states = tuple(row.get("states", ("no", "yes")))
            nodes.append(Node(row["id"], layer, states, tuple(row.get("parents", ())), table))
    return Network.of(nodes)


def _check_parents(node: Node, by_id: Mapping[str, Node]) -> None:
    allowed = {"context": ("context",), "cause": ("context", "cause"), "finding": ("cause",)}
    if node.layer not in allowed:
        raise NetworkError(f"{node.id}: got layer {node.layer!r}, want one of {', '.join(LAYERS)}")
    if len(node.states) < 2 or len(set(node.states)) < len(node.states):
        raise NetworkError(f"{node.id}: got states {list(node.states)}, want two or more different ones")
    for position, parent in enumerate(node.parents):
        if parent not in by_id:
            raise NetworkError(f"{node.id}: parent {parent!r} is not in the network; add it or correct the reference")
        if isinstance(node.distribution, ByContext) and position == 0 and by_id[parent].layer == "context":
            continue
        if by_id[parent].layer not in allowed[node.layer]:
            raise NetworkError(
                f"{node.id}: a {node.layer} cannot hang on {parent!r}, a {by_id[parent].layer}; "
                f"want a {' or '.join(allowed[node.layer])}"
            )


def _parents_first(by_id: Mapping[str, Node]) -> tuple[Node, ...]:
    """Depth first over parents; a node met again on its own path closes a cycle, and the path is named."""
    ordered: dict[str, Node] = {}

    def visit(node_id: str, path: tuple[str, ...]) -> None:
        if node_id in path:
            raise NetworkError(
                f"cycle: {' <- '.join((*path[path.index(node_id) :], node_id))}; remove one of the links"
            )
        if node_id not in ordered:
            for parent in by_id[node_id].parents:
                visit(parent, (*path, node_id))
            ordered[node_id] = by_id[node_id]

    for layer in LAYERS:
        for node_id, node in by_id.items():
            if node.layer == layer:
                visit(node_id, ())
    return tuple(ordered.values())


def _check_probabilities(node: Node, by_id: Mapping[str, Node]) -> None:
    sizes = tuple(len(by_id[parent].states) for parent in node.parents)
    own = len(node.states)
    match node.distribution:
        case Table(values):
            _want_shape(node, values, (*sizes, own))
            _want_distributions(node, values)
        case WorstOf():
            _check_worst(node, node.distribution, node.parents, sizes)
        case ByContext(cases):
            if not sizes or len(cases) != sizes[0]:
                raise NetworkError(f"{node.id}: got {len(cases)} cases, want one for each state of its first parent")
            for case in {id(case): case for case in cases}.values():
                _check_worst(node, case, node.parents[1:], sizes[1:])
        case Scaled(rate, factors):
            highest = rate * float(np.prod([factor.max() for factor in factors])) if factors else rate
            lowest = min([rate, *(float(factor.min()) for factor in factors)])
            for size, factor in zip(sizes, factors, strict=True):
                _want_shape(node, factor, (size,))
            if lowest < 0 or highest > 1 or own != 2:
                raise NetworkError(
                    f"{node.id}: rate {rate:g} with its factors reaches {highest:g}; want a probability from 0 to 1"
                )


def _check_worst(node: Node, worst: WorstOf, parents: Sequence[str], sizes: Sequence[int]) -> None:
    own = len(node.states)
    _want_shape(node, worst.background, (own,))
    _want_distributions(node, worst.background)
    for parent, size, effect in zip(parents, sizes, worst.effects, strict=True):
        _want_shape(node, effect, (size, own))
        _want_distributions(node, effect)
        if effect[0, 0] != 1.0:
            raise NetworkError(f"{node.id}: {parent!r} in its first state must have no effect")


def _want_shape(node: Node, values: np.ndarray, shape: tuple[int, ...]) -> None:
    if values.shape != shape:
        raise NetworkError(f"{node.id}: got a table shaped {values.shape}, want {shape}: parents' states, own states")


def _want_distributions(node: Node, values: np.ndarray) -> None:
    if not np.isfinite(values).all() or values.min() < 0 or values.max() > 1:
        got = f"{values.min():g} to {values.max():g}"
        raise NetworkError(f"{node.id}: probabilities must lie between 0 and 1, got {got}")
    sums = values.sum(axis=-1)
    if np.abs(sums - 1.0).max() > SUM_TOLERANCE:
        worst = sums.flat[np.abs(sums - 1.0).argmax()]
        raise NetworkError(f"{node.id}: probabilities {values.tolist()} must add up to 1, one row adds up to {worst:g}")

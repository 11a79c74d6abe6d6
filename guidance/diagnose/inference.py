"""Exact posteriors of a three-layer network, by listing every combination of causes once.

A lift has few faults at a time. Under `at_most` simultaneous causes the combinations number hundreds, not 2**n, so the
joint distribution fits in one small array and a finding is one multiplication. Nothing is sampled or cut: the limit is
part of the model, as if a node "no more than `at_most` causes" had been observed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, product

import numpy as np

from classifier.errors import NetworkError
from guidance.diagnose.network import Network, Node

LARGEST_JOINT = 2_000_000
"""More entries than this and a catalogue is refused, with the way out named."""

Evidence = Mapping[str, "str | np.ndarray"]
"""What is known of a node: the name of its state, or a likelihood for each state."""


@dataclass(frozen=True, eq=False)
class Space:
    """The compiled network.

    contexts (C, context nodes) and hypotheses (H, cause nodes) hold state indices; prior (C, H) sums to 1;
    columns[finding] has shape (states, H): the probability of each outcome under each hypothesis.
    """

    network: Network
    context_nodes: tuple[Node, ...]
    cause_nodes: tuple[Node, ...]
    contexts: np.ndarray
    hypotheses: np.ndarray
    prior: np.ndarray
    columns: Mapping[str, np.ndarray]
    mass_within_limit: float

    @cached_property
    def without(self) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        """For each cause: the hypotheses in which it left its first state, and the same hypotheses without it."""
        index = {row.tobytes(): position for position, row in enumerate(self.hypotheses)}
        pairs = []
        for cause in range(len(self.cause_nodes)):
            has = np.flatnonzero(self.hypotheses[:, cause])
            reduced = self.hypotheses[has]
            reduced[:, cause] = 0
            pairs.append((has, np.array([index[row.tobytes()] for row in reduced], dtype=np.intp)))
        return tuple(pairs)

    def believe(self, evidence: Evidence) -> Belief:
        """Posterior, given states or likelihoods of any nodes; refuses evidence that cannot be true together."""
        context_weights, cause_weights = np.ones(len(self.contexts)), np.ones(len(self.hypotheses))
        for node_id, known in evidence.items():
            layer, likelihood = self.likelihood(node_id, known)
            if layer == "context":
                context_weights = context_weights * likelihood
            else:
                cause_weights = cause_weights * likelihood
        over_causes = (context_weights @ self.prior) * cause_weights
        total = over_causes.sum()
        if not total > 0:
            raise NetworkError(f"these findings cannot all be true together: {_said(evidence)}; check them one by one")
        return Belief(self, context_weights, cause_weights / total, over_causes / total)

    def likelihood(self, node_id: str, known: str | np.ndarray) -> tuple[str, np.ndarray]:
        """What one piece of evidence says: ("context", (C,)) or ("cause", (H,)), the axis that it speaks of."""
        node = self.network.node(node_id)
        weight = _state_weights(node, known)
        if node.layer == "finding":
            return "cause", weight @ self.columns[node_id]
        states = self.contexts if node.layer == "context" else self.hypotheses
        return node.layer, weight[states[:, self._position(node)]]

    def column(self, finding: str, outcome: str) -> np.ndarray:
        """Probability (H,) of one outcome of a finding under each hypothesis."""
        return self.columns[finding][self.network.node(finding).state(outcome)]

    def _position(self, node: Node) -> int:
        return (self.context_nodes if node.layer == "context" else self.cause_nodes).index(node)


@dataclass(frozen=True, eq=False)
class Belief:
    """A posterior in factors: joint[c, h] = context_weights[c] * space.prior[c, h] * cause_weights[h].

    over_causes (H,) is the joint summed over contexts; it sums to 1.
    """

    space: Space
    context_weights: np.ndarray
    cause_weights: np.ndarray
    over_causes: np.ndarray

    def marginal(self, node_id: str) -> np.ndarray:
        """Distribution (states,) of one node."""
        node = self.space.network.node(node_id)
        if node.layer == "finding":
            return self.space.columns[node_id] @ self.over_causes
        if node.layer == "context":
            return self.with_context(node_id).sum(axis=1)
        states = self.space.hypotheses[:, self.space.cause_nodes.index(node)]
        return np.bincount(states, weights=self.over_causes, minlength=len(node.states))

    def with_context(self, node_id: str) -> np.ndarray:
        """Joint (states, H) of a context and the hypotheses: what each answer of a question about it would leave."""
        node = self.space.network.node(node_id)
        states = self.space.contexts[:, self.space.context_nodes.index(node)]
        by_state = self.context_weights * (states == np.arange(len(node.states))[:, None])  # (states, C)
        return (by_state @ self.space.prior) * self.cause_weights

    def joint(self) -> np.ndarray:
        """The whole posterior (C, H)."""
        return self.context_weights[:, None] * self.space.prior * self.cause_weights


def compile_space(network: Network, at_most: int | None = None) -> Space:
    """List contexts and hypotheses with their prior.

    `at_most` limits how many causes leave their first state together; None lists every combination.
    """
    context_nodes, cause_nodes = network.layer("context"), network.layer("cause")
    if not cause_nodes:
        raise NetworkError("the network has no causes: give at least one")
    contexts = _assignments([len(node.states) for node in context_nodes], None)
    hypotheses = _assignments([len(node.states) for node in cause_nodes], at_most)
    if len(contexts) * len(hypotheses) > LARGEST_JOINT:
        raise NetworkError(
            f"{len(contexts)} contexts times {len(hypotheses)} combinations of causes is more than {LARGEST_JOINT}; "
            "merge faults that no check tells apart, or lower the number of faults at once"
        )
    prior = _prior(context_nodes, cause_nodes, contexts, hypotheses)
    within = float(prior.sum())
    columns = {node.id: _column(node, cause_nodes, hypotheses) for node in network.layer("finding")}
    return Space(network, context_nodes, cause_nodes, contexts, hypotheses, prior / within, columns, within)


def _assignments(sizes: list[int], at_most: int | None) -> np.ndarray:
    """All state combinations, (N, nodes); with a limit, those with at most so many nodes off their first state."""
    if at_most is None or at_most >= len(sizes):
        if np.prod([float(size) for size in sizes]) > LARGEST_JOINT:
            raise NetworkError(f"{len(sizes)} causes without a limit on how many at once are too many to list")
        rows = list(product(*(range(size) for size in sizes)))
        return np.array(rows, dtype=np.intp).reshape(len(rows), len(sizes))
    rows = []
    for count in range(at_most + 1):
        for chosen in combinations(range(len(sizes)), count):
            for states in product(*(range(1, sizes[node]) for node in chosen)):
                row = [0] * len(sizes)
                for node, state in zip(chosen, states, strict=True):
                    row[node] = state
                rows.append(row)
    return np.array(rows, dtype=np.intp)


def _prior(
    context_nodes: tuple[Node, ...], cause_nodes: tuple[Node, ...], contexts: np.ndarray, hypotheses: np.ndarray
) -> np.ndarray:
    context_position = {node.id: position for position, node in enumerate(context_nodes)}
    weights = np.ones((len(contexts), 1))
    for position, node in enumerate(context_nodes):
        rows = node.distribution.rows(contexts[:, [context_position[parent] for parent in node.parents]])
        weights = weights * rows[np.arange(len(contexts)), contexts[:, position]][:, None]
    weights = np.repeat(weights, len(hypotheses), axis=1)
    cause_position = {node.id: position for position, node in enumerate(cause_nodes)}
    for position, node in enumerate(cause_nodes):
        own = hypotheses[:, position]
        if all(parent in context_position for parent in node.parents):
            rows = node.distribution.rows(contexts[:, [context_position[parent] for parent in node.parents]])
            weights *= rows[:, own]
            continue
        # Mixed parents: one row a combination of context and hypothesis.
        parents = np.stack(
            [
                np.broadcast_to(contexts[:, None, context_position[parent]], weights.shape).ravel()
                if parent in context_position
                else np.broadcast_to(hypotheses[None, :, cause_position[parent]], weights.shape).ravel()
                for parent in node.parents
            ],
            axis=1,
        )
        rows = node.distribution.rows(parents).reshape(*weights.shape, -1)  # (C, H, states)
        weights *= np.take_along_axis(rows, np.broadcast_to(own[None, :, None], (*weights.shape, 1)), axis=2)[..., 0]
    return weights


def _column(node: Node, cause_nodes: tuple[Node, ...], hypotheses: np.ndarray) -> np.ndarray:
    positions = [next(i for i, cause in enumerate(cause_nodes) if cause.id == parent) for parent in node.parents]
    return np.ascontiguousarray(node.distribution.rows(hypotheses[:, positions]).T)


def _state_weights(node: Node, known: str | np.ndarray) -> np.ndarray:
    if isinstance(known, str):
        weight = np.zeros(len(node.states))
        weight[node.state(known)] = 1.0
        return weight
    weight = np.asarray(known, dtype=float)
    if weight.shape != (len(node.states),) or not np.isfinite(weight).all() or weight.min() < 0 or weight.max() <= 0:
        raise NetworkError(f"{node.id}: got {weight.tolist()}, want {len(node.states)} likelihoods of 0 or more")
    return weight


def _said(evidence: Evidence) -> str:
    return ", ".join(f"{node_id}={known if isinstance(known, str) else 'soft'}" for node_id, known in evidence.items())

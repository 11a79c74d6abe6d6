"""Exact posteriors of a three-layer network, by listing every combination of causes once.

A lift has few faults at a time. Under `at_most` simultaneous causes the combinations number hundreds, not 2**n, so the
joint distribution fits in one small array and a finding is one multiplication. Nothing is sampled or cut: the limit is
part of the model, as if a node "no more than `at_most` causes" had been observed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations, product

import numpy as np

from classifier.errors import NetworkError
from guidance.network.network import ByContext, Network, Node

LARGEST_JOINT = 4_000_000
"""More entries than this and a catalogue is refused, with the way out named."""

Evidence = Mapping[str, "str | np.ndarray"]
"""What is known of a node: the name of its state, or a likelihood for each state."""


Known = tuple[tuple[str, "str | tuple[float, ...]"], ...]
"""The same, such that it can be remembered."""


@dataclass(frozen=True, eq=False)
class Space:
    """The compiled network.

    contexts (C, context nodes) and combinations (H, cause nodes) hold state indices; prior (C, H) sums to 1.
    Contexts in which every finding shows alike form a group; `groups` are their slices of C, K in all. A hypothesis is
    one combination in a group, index k * H + h; columns[finding] has shape (states, K * H): the probability of
    each outcome under each hypothesis.
    """

    network: Network
    context_nodes: tuple[Node, ...]
    cause_nodes: tuple[Node, ...]
    contexts: np.ndarray
    groups: tuple[slice, ...]
    combinations: np.ndarray
    prior: np.ndarray
    columns: Mapping[str, np.ndarray]
    mass_within_limit: float

    @cached_property
    def hypotheses(self) -> np.ndarray:
        """The combination of causes of each hypothesis, (K * H, cause nodes)."""
        return np.tile(self.combinations, (len(self.groups), 1))

    @cached_property
    def without(self) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        """For each cause: the hypotheses in which it left its first state, and the same hypotheses without it."""
        steps = np.arange(len(self.groups))[:, None] * len(self.combinations)
        return tuple(((steps + has).ravel(), (steps + less).ravel()) for has, less in self.without_of_combinations)

    @cached_property
    def without_of_combinations(self) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        """The same for combinations, whatever the group."""
        index = {row.tobytes(): position for position, row in enumerate(self.combinations)}
        pairs = []
        for cause in range(len(self.cause_nodes)):
            has = np.flatnonzero(self.combinations[:, cause])
            reduced = self.combinations[has]
            reduced[:, cause] = 0
            pairs.append((has, np.array([index[row.tobytes()] for row in reduced], dtype=np.intp)))
        return tuple(pairs)

    @cached_property
    def without_cause(self) -> np.ndarray:
        """Which hypotheses have no cause at all, (K * H,) flags."""
        return np.all(self.hypotheses == 0, axis=1)

    @cached_property
    def has_cause(self) -> np.ndarray:
        """The hypotheses as floats, (K * H, causes): to be summed over."""
        return self.hypotheses.astype(float)

    def by_group(self, rows: np.ndarray) -> np.ndarray:
        """An array over hypotheses (..., K * H) as (..., K, H)."""
        return rows.reshape(*rows.shape[:-1], len(self.groups), len(self.combinations))

    def over_hypotheses(self, context_weights: np.ndarray) -> np.ndarray:
        """The prior summed over weighted contexts, (..., C) to (..., K * H)."""
        return np.concatenate([context_weights[..., own] @ self.prior[own] for own in self.groups], axis=-1)

    def believe(self, evidence: Evidence) -> Belief:
        """Posterior, given states or likelihoods of any nodes; refuses evidence that cannot be true together."""
        context_weights, cause_weights = np.ones(len(self.contexts)), np.ones(len(self.hypotheses))
        for node_id, known in evidence.items():
            layer, likelihood = self.likelihood(node_id, known)
            if layer == "context":
                context_weights = context_weights * likelihood
            else:
                cause_weights = cause_weights * likelihood
        over_causes = self.over_hypotheses(context_weights) * cause_weights
        total = over_causes.sum()
        if not total > 0:
            raise NetworkError(f"these findings cannot all be true together: {_said(evidence)}; check them one by one")
        return Belief(self, context_weights, cause_weights / total, over_causes / total)

    def likelihood(self, node_id: str, known: str | np.ndarray) -> tuple[str, np.ndarray]:
        """What one piece of evidence says: ("context", (C,)) or ("cause", (K * H,)), the axis that it speaks of."""
        node = self.network.node(node_id)
        weight = _state_weights(node, known)
        if node.layer == "finding":
            return "cause", weight @ self.columns[node_id]
        states = self.contexts if node.layer == "context" else self.hypotheses
        return node.layer, weight[states[:, self._position(node)]]

    @cached_property
    def rows_given(self) -> Callable[[Known, tuple[str, ...]], np.ndarray]:
        """The posterior given states or likelihoods, and its joint with each of some contexts, (1 + answers, K * H).

        The last few are remembered, as long as this network is: 1.3 MB each for the demo pool. Not to be written to.
        """
        return lru_cache(maxsize=8)(self._rows_given)

    def _rows_given(self, known: Known, contexts: tuple[str, ...]) -> np.ndarray:
        belief = self.believe({node: np.array(said) if isinstance(said, tuple) else said for node, said in known})
        rows = np.vstack([belief.over_causes, *belief.with_contexts(contexts)])
        rows.flags.writeable = False
        return rows

    def column(self, finding: str, outcome: str) -> np.ndarray:
        """Probability (K * H,) of one outcome of a finding under each hypothesis."""
        return self.columns[finding][self.network.node(finding).state(outcome)]

    def _position(self, node: Node) -> int:
        return (self.context_nodes if node.layer == "context" else self.cause_nodes).index(node)


@dataclass(frozen=True, eq=False)
class Belief:
    """A posterior in factors: joint[c, h] = context_weights[c] * prior[c, h] * cause_weights[h].

    over_causes (K * H,) is the joint summed over contexts; it sums to 1.
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
            return self.with_contexts([node_id])[0].sum(axis=1)
        states = self.space.hypotheses[:, self.space.cause_nodes.index(node)]
        return np.bincount(states, weights=self.over_causes, minlength=len(node.states))

    def with_contexts(self, node_ids: Sequence[str]) -> list[np.ndarray]:
        """Joint (states, K * H) of each of these contexts and the hypotheses: what each answer to it would leave.

        All in one product: the prior is far larger than its rows, and is read once.
        """
        space, by_state = self.space, []
        for node_id in node_ids:
            node = space.network.node(node_id)
            states = space.contexts[:, space.context_nodes.index(node)]
            by_state.append(self.context_weights * (states == np.arange(len(node.states))[:, None]))  # (states, C)
        if not by_state:
            return []
        joint = space.over_hypotheses(np.vstack(by_state)) * self.cause_weights
        return np.split(joint, np.cumsum([len(rows) for rows in by_state])[:-1])

    def joint(self) -> np.ndarray:
        """The whole posterior (C, K * H); a context has no hypothesis of another group."""
        space = self.space
        whole = np.zeros((len(space.contexts), len(space.groups), len(space.combinations)))
        for group, own in enumerate(space.groups):
            whole[own, group] = self.context_weights[own, None] * space.prior[own]
        return whole.reshape(len(space.contexts), -1) * self.cause_weights


def compile_space(network: Network, at_most: int | None = None) -> Space:
    """List contexts and hypotheses with their prior.

    `at_most` limits how many causes leave their first state together; None lists every combination.
    """
    context_nodes, cause_nodes = network.layer("context"), network.layer("cause")
    if not cause_nodes:
        raise NetworkError("the network has no causes: give at least one")
    findings = network.layer("finding")
    every = _assignments([len(node.states) for node in context_nodes], None)
    contexts, groups = _grouped(every, context_nodes, findings)
    combinations = _assignments([len(node.states) for node in cause_nodes], at_most)
    if len(contexts) * len(combinations) > LARGEST_JOINT:
        raise NetworkError(
            f"{len(contexts)} contexts times {len(combinations)} combinations of causes is more than {LARGEST_JOINT}; "
            "merge faults that no check tells apart, or lower the number of faults at once"
        )
    prior = _prior(context_nodes, cause_nodes, contexts, combinations)
    within = float(prior.sum())
    first = contexts[[own.start for own in groups]]  # (K, context nodes)
    columns = {node.id: _column(node, context_nodes, cause_nodes, first, combinations) for node in findings}
    return Space(network, context_nodes, cause_nodes, contexts, groups, combinations, prior / within, columns, within)


def _grouped(
    contexts: np.ndarray, context_nodes: tuple[Node, ...], findings: tuple[Node, ...]
) -> tuple[np.ndarray, tuple[slice, ...]]:
    """The contexts sorted so that those in which every finding shows alike follow each other, and their slices."""
    names, alike = [node.id for node in context_nodes], np.zeros((len(contexts), 1), dtype=np.intp)
    for node in findings:
        if isinstance(node.distribution, ByContext):
            cases = [id(case) for case in node.distribution.cases]
            case_of_state = np.array([cases.index(case) for case in cases])
            case = case_of_state[contexts[:, names.index(node.parents[0])]]
            alike = np.column_stack([alike, case])
    rows = [tuple(row) for row in alike.tolist()]
    number = {row: place for place, row in enumerate(sorted(set(rows)))}
    group = np.array([number[row] for row in rows])  # (C,)
    order = np.argsort(group, kind="stable")
    ends = np.cumsum(np.bincount(group))
    return contexts[order], tuple(slice(int(a), int(b)) for a, b in zip([0, *ends[:-1]], ends, strict=True))


def _assignments(sizes: list[int], at_most: int | None) -> np.ndarray:
    """All state combinations, (N, nodes); with a limit, those with at most so many nodes off their first state."""
    if at_most is None or at_most >= len(sizes):
        if np.prod([float(size) for size in sizes]) > LARGEST_JOINT:
            raise NetworkError(f"{len(sizes)} causes without a limit on how many at once are too many to list")
        every = list(product(*(range(size) for size in sizes)))
        return np.array(every, dtype=np.intp).reshape(len(every), len(sizes))
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


def _column(
    node: Node,
    context_nodes: tuple[Node, ...],
    cause_nodes: tuple[Node, ...],
    group_contexts: np.ndarray,
    combinations: np.ndarray,
) -> np.ndarray:
    """Probabilities (states, K * H), one context (K, context nodes) standing for its group."""
    causes = [cause.id for cause in cause_nodes]
    context_names = [context.id for context in context_nodes]
    columns = []
    for context in group_contexts:
        states = [
            combinations[:, causes.index(parent)]
            if parent in causes
            else np.full(len(combinations), context[context_names.index(parent)])
            for parent in node.parents
        ]
        columns.append(node.distribution.rows(np.array(states, dtype=np.intp).reshape(len(states), -1).T).T)
    return np.ascontiguousarray(np.hstack(columns))


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

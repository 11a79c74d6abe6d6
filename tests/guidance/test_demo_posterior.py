"""The demo catalogue's whole network in another engine: the same posteriors to 1e-9."""

import itertools

import numpy as np
import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.fault_network import fault_network
from guidance.diagnose.inference import compile_space


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def test_posterior_of_the_demo_catalogue_equals_pyagrum(catalogue):
    """The whole demo network rebuilt in pyAgrum: noisy-MAX as chains, the limit on faults as a counted node."""
    gum = pytest.importorskip("pyagrum")
    network = fault_network(catalogue)
    evidence = {"setting": "in_service", "generation": "hung-top", "moves": "dead", "beeps": "yes", "stop": "released"}
    limit = 2
    net = _in_pyagrum(gum, network, [f for f in evidence if network.node(f).layer == "finding"], limit)
    inference = gum.LazyPropagation(net)
    inference.setEvidence({**evidence, "within_limit": "yes"})
    inference.makeInference()
    belief = compile_space(network, at_most=limit).believe(evidence)
    for node in network.layer("cause"):
        assert abs(belief.marginal(node.id)[1] - inference.posterior(node.id)[1]) <= 1e-9
    for context in ("battery_age", "last_charge"):
        assert np.abs(belief.marginal(context) - np.array(inference.posterior(context).tolist())).max() <= 1e-9


def _in_pyagrum(gum, network, findings, limit):
    net = gum.BayesNet()
    for node in (*network.layer("context"), *network.layer("cause")):
        _add(gum, net, node.id, node.states, node.parents, lambda *s, n=node: n.distribution.rows(np.array([s]))[0])
    count = None
    for node in network.layer("cause"):  # how many faults so far, one more than the limit meaning too many
        name, states = f"count_{node.id}", [str(i) for i in range(limit + 2)]
        parents = (node.id,) if count is None else (count, node.id)

        def counted(*s):
            return np.eye(limit + 2)[min(sum(s), limit + 1)]

        _add(gum, net, name, states, parents, counted)
        count = name
    _add(gum, net, "within_limit", ("no", "yes"), (count,), lambda s: np.eye(2)[int(s <= limit)])
    for finding in findings:
        node = network.node(finding)
        sofar, size = None, len(node.states)
        for i, (parent, effect) in enumerate(zip(node.parents, node.distribution.effects, strict=True)):
            background = node.distribution.background

            def worst(*s, effect=effect, background=background, size=size, first=sofar is None):
                before = background if first else np.eye(size)[s[0]]
                own = effect[s[-1]]
                at_most = np.cumsum(before) * np.cumsum(own)
                return np.diff(at_most, prepend=0.0)

            last = i == len(node.parents) - 1
            name = finding if last else f"{finding}_{i}"
            _add(gum, net, name, node.states, (parent,) if sofar is None else (sofar, parent), worst)
            sofar = name
    return net


def _add(gum, net, name, states, parents, row):
    net.add(gum.LabelizedVariable(name, "", list(states)))
    for parent in parents:
        net.addArc(parent, name)
    sizes = [net.variable(parent).domainSize() for parent in parents]
    for indices in itertools.product(*map(range, sizes)):
        values = np.asarray(row(*indices) if parents else row(), dtype=float)
        if parents:
            net.cpt(name)[dict(zip(parents, indices, strict=True))] = values.tolist()
        else:
            net.cpt(name).fillWith(values.tolist())

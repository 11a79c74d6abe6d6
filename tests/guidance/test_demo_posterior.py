"""The demo catalogue's whole network in another engine: the same posteriors to 1e-9."""

import itertools

import numpy as np
import pytest

from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.fault_network import fault_network
from guidance.network.inference import compile_space
from guidance.network.network import ByContext


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


@pytest.mark.parametrize(
    "evidence",
    [
        {"setting": "in_service", "generation": "hung-top", "moves": "dead", "beeps": "yes", "stop": "released"},
        {"setting": "in_service", "moves": "dead", "display": "dark"},
    ],
    ids=["one generation", "a finding that differs by generation"],
)
def test_posterior_of_the_demo_catalogue_equals_pyagrum(catalogue, evidence):
    """The whole demo network rebuilt in pyAgrum: noisy-MAX as chains, the limit on faults as a counted node."""
    gum = pytest.importorskip("pyagrum")
    network = fault_network(catalogue)
    limit = 2
    net = _in_pyagrum(gum, network, [f for f in evidence if network.node(f).layer == "finding"], limit)
    inference = gum.LazyPropagation(net)
    inference.setEvidence({**evidence, "within_limit": "yes"})
    inference.makeInference()
    belief = compile_space(network, at_most=limit).believe(evidence)
    for node in network.layer("cause"):
        assert abs(belief.marginal(node.id)[1] - inference.posterior(node.id)[1]) <= 1e-9
    for context in ("battery_age", "last_charge", *({"generation"} - evidence.keys())):
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
        _add_finding(gum, net, network.node(finding))
    return net


def _add_finding(gum, net, node):
    """A noisy-MAX as a chain, one fault after another; by generation, every link hangs on the generation as well."""
    differs = isinstance(node.distribution, ByContext)
    cases = node.distribution.cases if differs else (node.distribution,)
    by, faults = (node.parents[:1], node.parents[1:]) if differs else ((), node.parents)
    sofar, size = None, len(node.states)
    for i, fault in enumerate(faults):

        def worst(*s, i=i, first=sofar is None):
            case = cases[s[0] if differs else 0]
            before = case.background if first else np.eye(size)[s[-2]]
            return np.diff(np.cumsum(before) * np.cumsum(case.effects[i][s[-1]]), prepend=0.0)

        name = node.id if i == len(faults) - 1 else f"{node.id}_{i}"
        _add(gum, net, name, node.states, (*by, *([sofar] if sofar else []), fault), worst)
        sofar = name


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

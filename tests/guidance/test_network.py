"""The network loader and exact inference, against textbooks' networks (from memory) and two independent engines."""

from itertools import product
from pathlib import Path

import numpy as np
import pytest

from classifier.errors import NetworkError
from guidance.network.inference import compile_space
from guidance.network.network import ByContext, Network, Node, Scaled, Table, WorstOf, load_network, network_from_rows

NETWORKS = Path(__file__).parent / "networks"

# Lauritzen and Spiegelhalter 1988; sprinkler: Murphy's tutorial; Bishop PRML 8.2; Russell and Norvig. Tables
# from memory, posteriors recomputed exactly.
PUBLISHED = [
    ("asia", {}, "tuberculosis", "yes", 0.0104),
    ("asia", {}, "lung_cancer", "yes", 0.055),
    ("asia", {}, "bronchitis", "yes", 0.45),
    ("asia", {}, "either", "yes", 0.064828),
    ("asia", {}, "x_ray", "yes", 0.11029),
    ("asia", {}, "dyspnoea", "yes", 0.435971),
    ("asia", {"asia": "yes", "dyspnoea": "yes"}, "tuberculosis", "yes", 0.087751),
    ("asia", {"asia": "yes", "dyspnoea": "yes"}, "lung_cancer", "yes", 0.099525),
    ("asia", {"asia": "yes", "dyspnoea": "yes"}, "bronchitis", "yes", 0.811402),
    ("asia", {"asia": "yes", "dyspnoea": "yes"}, "x_ray", "yes", 0.219539),
    ("asia", {"asia": "yes", "x_ray": "yes", "dyspnoea": "yes"}, "tuberculosis", "yes", 0.391712),
    ("asia", {"asia": "yes", "x_ray": "yes", "dyspnoea": "yes"}, "lung_cancer", "yes", 0.444271),
    ("asia", {"asia": "yes", "x_ray": "yes", "dyspnoea": "yes"}, "bronchitis", "yes", 0.628822),
    ("sprinkler", {}, "wet", "yes", 0.6471),
    ("sprinkler", {"wet": "yes"}, "sprinkler", "yes", 0.429764),
    ("sprinkler", {"wet": "yes"}, "rain", "yes", 0.707928),
    ("sprinkler", {"wet": "yes", "rain": "yes"}, "sprinkler", "yes", 0.194499),
    ("fuel_gauge", {}, "gauge", "empty", 0.315),
    ("fuel_gauge", {"gauge": "empty"}, "fuel", "empty", 0.257),
    ("fuel_gauge", {"gauge": "empty", "battery": "flat"}, "fuel", "empty", 0.111),
    ("burglary", {"john_calls": "yes", "mary_calls": "yes"}, "burglary", "yes", 0.284172),
]


@pytest.mark.parametrize(("name", "evidence", "node", "state", "published"), PUBLISHED)
def test_published_posterior(name, evidence, node, state, published):
    network = load_network(NETWORKS / f"{name}.toml")
    space = compile_space(network)
    computed = space.believe(evidence).marginal(node)[network.node(node).state(state)]
    digits = len(str(published).split(".")[1])
    assert computed == pytest.approx(published, abs=0.5001 * 10**-digits)


@pytest.mark.parametrize("name", ["asia", "sprinkler", "fuel_gauge", "burglary"])
@pytest.mark.parametrize("engine", ["pyagrum", "pgmpy"])
def test_every_posterior_equals_an_independent_engine(name, engine):
    network = load_network(NETWORKS / f"{name}.toml")
    space = compile_space(network)
    query = {"pyagrum": _pyagrum, "pgmpy": _pgmpy}[engine](network)
    seen = [node.id for node in network.nodes if node.layer != "cause"][:3]
    compared = 0
    for states in product(*((None, *network.node(node).states) for node in seen)):
        evidence = {node: state for node, state in zip(seen, states, strict=True) if state is not None}
        belief = space.believe(evidence)
        for node in network.nodes:
            if node.id not in evidence:
                assert np.abs(belief.marginal(node.id) - query(node.id, evidence)).max() <= 1e-9
                compared += 1
    assert compared >= 7


def _pyagrum(network: Network):
    gum = pytest.importorskip("pyagrum")
    net = gum.BayesNet()
    for node in network.nodes:
        net.add(gum.LabelizedVariable(node.id, "", list(node.states)))
    for node in network.nodes:
        for parent in node.parents:
            net.addArc(parent, node.id)
    for node in network.nodes:
        for states in product(*(range(len(network.node(parent).states)) for parent in node.parents)):
            row = node.distribution.rows(np.array([states], dtype=np.intp).reshape(1, -1))[0]
            if states:
                net.cpt(node.id)[dict(zip(node.parents, states, strict=True))] = row.tolist()
            else:
                net.cpt(node.id).fillWith(row.tolist())

    def query(node: str, evidence: dict[str, str]) -> np.ndarray:
        inference = gum.LazyPropagation(net)
        inference.setEvidence(evidence)
        inference.makeInference()
        return np.array(inference.posterior(node).tolist())

    return query


def _pgmpy(network: Network):
    pytest.importorskip("pgmpy")
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    model = DiscreteBayesianNetwork()
    model.add_nodes_from([node.id for node in network.nodes])
    model.add_edges_from([(parent, node.id) for node in network.nodes for parent in node.parents])
    for node in network.nodes:
        sizes = [len(network.node(parent).states) for parent in node.parents]
        states = np.array(list(product(*map(range, sizes))), dtype=np.intp).reshape(int(np.prod(sizes)), len(sizes))
        names = {node.id: list(node.states)} | {parent: list(network.node(parent).states) for parent in node.parents}
        columns = node.distribution.rows(states).T
        model.add_cpds(TabularCPD(node.id, len(node.states), columns, list(node.parents), sizes, state_names=names))
    inference = VariableElimination(model)

    def query(node: str, evidence: dict[str, str]) -> np.ndarray:
        factor = inference.query([node], evidence=evidence, show_progress=False)
        return np.array([factor.get_value(**{node: state}) for state in network.node(node).states])

    return query


def _random_layered(rng: np.random.Generator, by_context: bool = False) -> Network:
    """Contexts, scaled and tabled causes, noisy-MAX findings, some by context: the shapes that a catalogue uses."""
    nodes = [Node(f"c{i}", "context", ("a", "b", "c"), (), Table(rng.dirichlet(np.ones(3)))) for i in range(2)]
    for i in range(4):
        factors = tuple(rng.uniform(0.2, 2.0, 3) for _ in range(2))
        nodes.append(Node(f"f{i}", "cause", ("no", "yes"), ("c0", "c1"), Scaled(rng.uniform(0.01, 0.2), factors)))
    table = rng.dirichlet(np.ones(2), size=(2, 3))
    nodes.append(Node("f4", "cause", ("no", "yes"), ("f0", "c1"), Table(table)))
    for i in range(3):
        effects = tuple(np.vstack([[1.0, 0.0, 0.0], rng.dirichlet(np.ones(3))]) for _ in range(5))
        background = rng.dirichlet(np.array([20.0, 1.0, 1.0]))
        parents = tuple(f"f{j}" for j in range(5))
        nodes.append(Node(f"x{i}", "finding", ("fine", "odd", "bad"), parents, WorstOf(background, effects)))
    if not by_context:
        return Network.of(nodes)
    usual, other = (_worst_of_two(rng) for _ in range(2))
    nodes.append(Node("x3", "finding", ("fine", "bad"), ("c0", "f0", "f2"), ByContext((usual, other, usual))))
    nodes.append(Node("x4", "finding", ("fine", "bad"), ("c1", "f1", "f4"), ByContext((other, other, usual))))
    return Network.of(nodes)


def _worst_of_two(rng: np.random.Generator) -> WorstOf:
    effects = tuple(np.vstack([[1.0, 0.0], rng.dirichlet(np.ones(2))]) for _ in range(2))
    return WorstOf(rng.dirichlet(np.array([20.0, 1.0])), effects)


def test_contexts_in_which_every_finding_shows_alike_share_a_group():
    space = compile_space(_random_layered(np.random.default_rng(0), by_context=True))
    assert len(space.contexts) == 9 and len(space.groups) == 4
    assert len(space.hypotheses) == 4 * len(space.combinations) == space.columns["x3"].shape[1]


def test_a_finding_hangs_on_a_context_only_with_a_case_for_each_of_its_states():
    network = _random_layered(np.random.default_rng(0), by_context=True)
    nodes = [node for node in network.nodes if node.id != "x3"]
    one = _worst_of_two(np.random.default_rng(1))
    with pytest.raises(NetworkError, match="x3: got 2 cases"):
        Network.of([*nodes, Node("x3", "finding", ("fine", "bad"), ("c0", "f0", "f2"), ByContext((one, one)))])
    with pytest.raises(NetworkError, match="x3: a finding cannot hang on 'c1'"):
        Network.of([*nodes, Node("x3", "finding", ("fine", "bad"), ("c0", "c1", "f2"), ByContext((one, one, one)))])


@pytest.mark.parametrize("seed", range(6))
def test_random_noisy_networks_equal_pyagrum(seed):
    rng = np.random.default_rng(seed)
    network = _random_layered(rng, by_context=seed % 2 == 1)
    space, query = compile_space(network), _pyagrum(network)
    for _ in range(10):
        evidence = {}
        for node in rng.permutation([node.id for node in network.nodes])[:4]:
            evidence[str(node)] = str(rng.choice(network.node(str(node)).states))
        belief = space.believe(evidence)
        for node in network.nodes:
            if node.id not in evidence:
                assert np.abs(belief.marginal(node.id) - query(node.id, evidence)).max() <= 1e-9


def test_limit_on_causes_is_a_node_that_was_observed():
    """The limited space equals the full space with "no more than two causes" as evidence."""
    network = _random_layered(np.random.default_rng(3))
    full, limited = compile_space(network), compile_space(network, at_most=2)
    within = (full.hypotheses > 0).sum(axis=1) <= 2
    weights = full.believe({"x0": "bad"}).joint()[:, within]
    weights /= weights.sum()
    belief = limited.believe({"x0": "bad"})
    assert sorted(map(tuple, limited.hypotheses)) == sorted(map(tuple, full.hypotheses[within]))
    order = [list(map(tuple, limited.hypotheses)).index(tuple(row)) for row in full.hypotheses[within]]
    assert np.abs(belief.joint()[:, order] - weights).max() <= 1e-12
    assert limited.mass_within_limit == pytest.approx(full.prior[:, within].sum(), abs=1e-12)


def test_soft_evidence_is_a_likelihood():
    network = load_network(NETWORKS / "fuel_gauge.toml")
    space = compile_space(network)
    certain = space.believe({"gauge": "empty"}).joint()
    soft = space.believe({"gauge": np.array([0.0, 0.4])}).joint()
    assert np.allclose(certain, soft, atol=1e-15)
    nothing = space.believe({"gauge": np.array([0.7, 0.7])}).joint()
    assert np.allclose(nothing, space.prior, atol=1e-15)


def test_a_context_as_a_question_has_the_posterior_of_each_hypothesis():
    network = load_network(NETWORKS / "asia.toml")
    space = compile_space(network)
    belief = space.believe({"dyspnoea": "yes"})
    (by_answer,) = belief.with_contexts(["smoking"])
    assert by_answer.sum(axis=0) == pytest.approx(belief.over_causes, abs=1e-12)
    answered = space.believe({"dyspnoea": "yes", "smoking": "yes"}).over_causes
    assert by_answer[1] / by_answer[1].sum() == pytest.approx(answered, abs=1e-12)


def _cause(node_id="a", table=(0.9, 0.1), **more):
    return {"id": node_id, "table": table, **more}


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ({}, "no nodes"),
        ({"finding": [_cause()]}, "no causes"),
        ({"cause": [_cause(table=(0.9, 0.2))]}, "add up to 1"),
        ({"cause": [_cause(table=(1.1, -0.1))]}, "between 0 and 1"),
        ({"cause": [_cause(table=(float("nan"), 0.1))]}, "between 0 and 1"),
        ({"cause": [_cause(), _cause()]}, "used twice"),
        ({"cause": [_cause(parents=["b"])]}, "'b' is not in the network"),
        ({"cause": [_cause(table=(0.2, 0.3, 0.5))]}, "shape"),
        ({"cause": [{"id": "a"}]}, "'table' is missing"),
        ({"cause": [_cause(states=["only"], table=[1.0])]}, "two or more"),
        (
            {"cause": [_cause("a", [[0.9, 0.1]] * 2, parents=["b"]), _cause("b", [[0.9, 0.1]] * 2, parents=["a"])]},
            "cycle: a <- b <- a",
        ),
        ({"context": [_cause("c", [[0.9, 0.1]] * 2, parents=["a"])], "cause": [_cause()]}, "cannot hang on"),
    ],
)
def test_bad_rows_are_refused_by_name(rows, says):
    with pytest.raises(NetworkError, match=says):
        compile_space(network_from_rows(rows))


def test_evidence_that_cannot_be_is_named():
    network = load_network(NETWORKS / "asia.toml")
    space = compile_space(network)
    with pytest.raises(NetworkError, match="either=no, tuberculosis=yes"):
        space.believe({"either": "no", "tuberculosis": "yes"})
    with pytest.raises(NetworkError, match="want one of no, yes"):
        space.believe({"asia": "perhaps"})
    with pytest.raises(NetworkError, match="unknown id 'africa'"):
        space.believe({"africa": "yes"})


def test_a_space_too_large_is_refused_with_the_way_out():
    nodes = [Node(f"f{i}", "cause", ("no", "yes"), (), Scaled(0.1, ())) for i in range(40)]
    with pytest.raises(NetworkError, match="without a limit"):
        compile_space(Network.of(nodes))
    assert len(compile_space(Network.of(nodes), at_most=2).hypotheses) == 1 + 40 + 780


def test_a_rate_pushed_past_one_by_its_factors_is_refused():
    nodes = [
        Node("c", "context", ("a", "b"), (), Table(np.array([0.5, 0.5]))),
        Node("f", "cause", ("no", "yes"), ("c",), Scaled(0.4, (np.array([1.0, 3.0]),))),
    ]
    with pytest.raises(NetworkError, match="reaches 1.2"):
        Network.of(nodes)

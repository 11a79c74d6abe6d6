"""The posterior by hand, against an independent exact engine, and what must hold whatever is read."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from classifier.errors import ObservationError
from classifier.taxonomy import ACTUATOR_HEAD, CONCEPTS, CONTROL_BOX, CONTROL_BOX_CONCEPTS, UNLISTED
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.identify.evidence import posterior
from guidance.identify.sources import Observed, gather, likely_set
from tests.guidance.lifts import EVEN_PRIORS, FACTS, ask, box_photo, changed_demo, head_photo, photo, reading, subject


@pytest.fixture(scope="module")
def catalogue():
    return load(DEMO_CATALOGUE)


def after(catalogue, readings=(), *observed, facts=FACTS):
    sources = gather(readings, [Observed(*o) for o in observed], catalogue, facts)
    return posterior(sources, catalogue.hypotheses)


def test_the_prior_is_the_fleet_and_the_unlisted_share(catalogue):
    now = after(catalogue)
    assert now.generation == pytest.approx({g.id: 0.7 * 0.25 for g in catalogue.generations} | {UNLISTED: 0.3})
    assert now.lowering == pytest.approx(dict.fromkeys(CONCEPTS["lowering"], 0.25))
    assert len(now.hypotheses.prior) == 4 + 50 * 2  # four rows; fifty other combinations by two ways to charge


def test_one_answer_by_hand(catalogue):
    """P(top) = 0.35 * 0.985 + 0.35 * 0.015 + 0.3 * 25 / 50 = 0.5: half of the fifty others have it on top."""
    now = after(catalogue, [], ("where_is_stop", "top")).generation
    assert now["hung-top"] == pytest.approx(0.175 * 0.985 / 0.5, abs=1e-12)
    assert now["sealed-front"] == pytest.approx(0.175 * 0.015 / 0.5, abs=1e-12)
    assert now[UNLISTED] == pytest.approx(0.15 / 0.5, abs=1e-12)


def test_one_photo_by_hand(catalogue):
    """L(v) = 0.998 * p(v) / 0.5 + 1 - 0.998 * 0.9 with a doubt of 0.002: 1.6986 for top, 0.3014 for front."""
    seen = photo(subject(CONTROL_BOX, {"stop_position": reading("stop_position", top=0.8, front=0.1)}))
    now = after(catalogue, [seen]).generation
    evidence = 0.35 * 1.6986 + 0.35 * 0.3014 + 0.3 * (1.6986 + 0.3014) / 2
    assert now["sealed-top"] == pytest.approx(0.175 * 1.6986 / evidence, abs=1e-12)
    assert now["stacked-front"] == pytest.approx(0.175 * 0.3014 / evidence, abs=1e-12)


def test_the_training_prior_is_divided_out(catalogue):
    """A network trained on three tops to one front that says 75 % top has seen nothing."""
    facts = replace(FACTS, priors=EVEN_PRIORS | {"stop_position": {"top": 0.75, "front": 0.25}})
    seen = photo(subject(CONTROL_BOX, {"stop_position": reading("stop_position", top=0.75, front=0.25)}))
    assert after(catalogue, [seen], facts=facts).generation == pytest.approx(after(catalogue).generation)


def test_a_head_that_hides_its_mechanism_more_likely_has_the_one_that_is_hidden_more_often(catalogue):
    """Bayes' rule by hand: 0.25 * 0.6 against three times 0.25 * 0.2 is half; a doubt of 0.002 makes 1.998 of L = 2."""
    hidden = FACTS.hidden | {"lowering": dict.fromkeys(CONCEPTS["lowering"], 0.2) | {"none": 0.6}}
    now = after(catalogue, [head_photo(not_visible=1.0)], facts=replace(FACTS, hidden=hidden)).lowering
    assert now["none"] == pytest.approx(0.25 * (0.998 * 2 + 0.002), abs=1e-12)
    assert now["twist_knob"] == pytest.approx(0.25 * (0.998 * 2 / 3 + 0.002), abs=1e-12)
    assert after(catalogue, [head_photo(not_visible=1.0)]).lowering == pytest.approx(after(catalogue).lowering)


def test_a_doubtful_subject_says_less(catalogue):
    """With subject probability 0.5: L(tabs) = 0.5 * 0.998 * 4 + 0.501, the others 0.501."""
    read = {"lowering": reading("lowering", squeeze_tabs=1.0)}
    now = after(catalogue, [photo(subject(ACTUATOR_HEAD, read, probability=0.5))]).lowering
    assert now["squeeze_tabs"] == pytest.approx((1.996 + 0.501) / (1.996 + 4 * 0.501), abs=1e-12)


def test_of_two_boxes_in_one_photo_the_likelier_speaks(catalogue):
    top = subject(CONTROL_BOX, {"stop_position": reading("stop_position", top=0.99)}, probability=0.9)
    front = subject(CONTROL_BOX, {"stop_position": reading("stop_position", front=0.99)}, probability=0.8)
    assert after(catalogue, [photo(front, top)]).generation == after(catalogue, [photo(top)]).generation


def test_two_like_photos_count_for_less_than_two(catalogue):
    """Log odds grow by n / (1 + (n - 1) * correlation), however sure the photos are: Kish's design effect."""
    for sure in (0.6, 0.9, 0.999):
        for correlation, wanted in ((0.0, 2.0), (0.5, 4 / 3), (1.0, 1.0)):
            seen = photo(subject(CONTROL_BOX, {"stop_position": reading("stop_position", top=sure, front=1 - sure)}))
            facts = replace(FACTS, correlation=correlation)
            one, two = (log_odds(after(catalogue, [seen] * n, facts=facts)) for n in (1, 2))
            assert two / one == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("weak", [0.5, 0.55, 0.7, 0.9, 0.99])
def test_a_weaker_photo_that_agrees_makes_nothing_less_sure(catalogue, weak):
    strong = box_photo(0.99, stop_position="top")
    agrees = photo(subject(CONTROL_BOX, {"stop_position": reading("stop_position", top=weak, front=1 - weak)}))
    assert log_odds(after(catalogue, [strong, agrees])) >= log_odds(after(catalogue, [strong])) - 1e-12


def log_odds(now):
    """Top against front, as two generations have it."""
    return math.log(now.generation["hung-top"] / now.generation["stacked-front"])


def test_a_photo_that_says_nothing_weakens_no_other(catalogue):
    sure = box_photo(0.99, stop_position="top")
    vague = photo(subject(CONTROL_BOX, {"stop_position": reading("stop_position", top=0.5, front=0.5)}))
    assert after(catalogue, [sure, vague]).generation == pytest.approx(after(catalogue, [sure]).generation, abs=1e-12)


def test_a_trait_that_no_photo_shows_tells_boxes_apart(catalogue):
    now = after(catalogue, [], ("how_battery_sits", "built_in"), ("charger_lead", "adapter")).generation
    assert now["sealed-front"] / now["sealed-top"] == pytest.approx(0.95 / 0.05)


def test_a_generation_paired_with_one_mechanism_tells_of_it_but_never_confirms_it(tmp_path):
    paired = changed_demo(
        tmp_path,
        "generations.toml",
        'charger_connection = "direct" }',
        'charger_connection = "direct" }\nlowering_shares = { squeeze_tabs = 1.0 }',
    )
    box = box_photo(stop_position="top", battery="built_in", service_buttons="none", charge_display="lamp_row")
    found = ask(load(paired), [box, head_photo(squeeze_tabs=0.5, none=0.5)])
    assert found.control_box.generation == "sealed-top"
    assert found.actuator.probabilities["squeeze_tabs"] > 0.95
    assert found.actuator.decision != "confirmed"
    assert ask(load(paired), [box]).actuator.decision == "not_seen"


@pytest.mark.parametrize(
    ("observed", "said"),
    [
        ([("battery_come_off", "yes")], "did you mean 'battery_comes_off'"),
        ([("battery_comes_off", "yess")], "did you mean 'yes'"),
        ([("battery_comes_off", "yes"), ("battery_comes_off", "no")], "two answers"),
    ],
)
def test_an_unknown_observation_is_refused_with_what_is_known(catalogue, observed, said):
    with pytest.raises(ObservationError, match=said):
        after(catalogue, [], *observed)


def test_the_same_answer_twice_counts_once(catalogue):
    once, twice = (after(catalogue, [], *[("where_is_stop", "top")] * n).generation for n in (1, 2))
    assert once == twice


def test_likely_set_by_hand():
    p = {"a": 0.5, "b": 0.3, "c": 0.15, "d": 0.05}
    assert likely_set(p, 0.5) == {"a"}
    assert likely_set(p, 0.51) == {"a", "b"}
    assert likely_set(p, 0.95) == {"a", "b", "c"}
    assert likely_set({"a": 0.5, "b": 0.5}, 0.4) == {"a", "b"}, "values that tie are not told apart"


@pytest.mark.parametrize("engine", ["pyagrum", "pgmpy"])
@pytest.mark.parametrize("seed", range(12))
def test_the_posterior_equals_an_independent_exact_engine(catalogue, engine, seed):
    """The same network, built from the catalogue's rows: generation -> combination -> concepts -> answers.

    What one person says of one look is one node: with equal chances it repeats one of the answers that may speak. Of
    every concept its value may be corrected too, to what the photos favour or to any other.
    """
    rng = np.random.default_rng(seed)
    readings, messages = _random_photos(rng)
    asked = [o for o in catalogue.questions if o.about and rng.random() < 0.4]
    observed = {o.id: str(rng.choice(list(o.options))) for o in asked}
    for concept, values in CONCEPTS.items():
        if rng.random() < 0.6:
            agrees = rng.random() < 0.7
            observed[concept] = values[int(np.argmax(messages[concept]))] if agrees else str(rng.choice(values))
    now = after(catalogue, readings, *observed.items())
    messages, looks = _heard(messages, _looks(catalogue, observed), observed)
    nodes, said = _tables(catalogue, looks)
    expected = {"pyagrum": _by_pyagrum, "pgmpy": _by_pgmpy}[engine](nodes, messages, said)
    assert now.generation == pytest.approx(expected["generation"], abs=1e-9)
    assert now.lowering == pytest.approx(expected["lowering"], abs=1e-9)


def _random_photos(rng):
    """One or two photos, and what they say together of each value, by the formulas of the documentation."""
    photos, said = [], []
    for _ in range(rng.integers(1, 3)):
        one, messages = _random_photo(rng)
        photos.append(one)
        said.append(messages)
    together = {}
    for concept in CONCEPTS:
        likelihoods = [np.array(messages[concept]) for messages in said]
        strong = [math.log(x.max() / x.min()) or 1.0 for x in likelihoods]  # what says nothing may weigh anything
        tempered = [
            x ** (1 / (1 + FACTS.correlation * sum(min(1, other / own) for k, other in enumerate(strong) if k != i)))
            for i, (x, own) in enumerate(zip(likelihoods, strong, strict=True))
        ]
        together[concept] = np.prod(tempered, axis=0).tolist()
    return photos, together


def _random_photo(rng):
    """A photo with random readings, some of them sure, and the likelihood of each value that one photo gives."""
    read, messages, there = {}, {}, float(rng.choice([0.9, 0.999]))
    for concept, values in CONCEPTS.items():
        p = rng.dirichlet(np.full(len(values) + 1, rng.choice([0.05, 1.0])))
        read[concept] = reading(concept, **dict(zip((*values, "not_visible"), p.tolist(), strict=True)))
        trust = there ** (1 / (1 if concept == "lowering" else 4)) * (1 - 0.002)
        messages[concept] = [trust * x * len(values) + 1 - trust * (1 - p[-1]) for x in p[:-1]]
    box = subject(CONTROL_BOX, {c: read[c] for c in CONTROL_BOX_CONCEPTS}, probability=there)
    head = subject(ACTUATOR_HEAD, {"lowering": read["lowering"]}, probability=there)
    return photo(box, head), messages


def _looks(catalogue, observed):
    """Of each look at a feature the answers given, as columns P(answer | value) that sum to 1."""
    looks = {}
    for question, answer in observed.items():
        row = catalogue.observations_by_id[question]
        column = np.array([answers[answer] for answers in row.reliability.values()])
        looks.setdefault((row.about, row.look or row.about), {})[question] = column / column.sum()
    return looks


def _heard(messages, looks, observed):
    """What speaks of each concept, by the rule in words: messages of photos, and answers of each look.

    A correction to another value than the photos' favourite: the photos are silent. To their favourite: its probability
    is the larger one of what photos and answers say without the correction and of what people say without the photos;
    the other values share what is left as they do without the correction.
    """
    messages, looks = dict(messages), dict(looks)
    for concept in set(CONCEPTS) & set(observed):
        place = CONCEPTS[concept].index(observed[concept])
        photos = np.array(messages.pop(concept))
        if (photos > photos[place] - 1e-9).sum() > 1:
            continue
        own = [look for look in looks if look[0] == concept]
        people, without = np.ones(len(photos)), photos
        for answers in (looks.pop(look) for look in own):
            others = [column for question, column in answers.items() if question != concept]
            people = people * np.mean(_speaking(list(answers.values())), axis=0)
            without = without * (np.mean(_speaking(others), axis=0) if others else 1.0)
        people, without = people / people.sum(), without / without.sum()
        surer = max(people[place], without[place])
        rest = np.delete(without, place)
        messages[concept] = np.insert((1 - surer) * rest / rest.sum(), place, surer).tolist()
    return messages, looks


def _tables(catalogue, looks):
    """Give every node as (name, states, parents, table), the table's last axis being the node's own state."""
    generations = [*(g.id for g in catalogue.generations), UNLISTED]
    combinations = np.array(np.meshgrid(*CONTROL_BOX_CONCEPTS.values(), indexing="ij")).reshape(4, -1).T.tolist()
    listed = [[getattr(g, c) for c in CONTROL_BOX_CONCEPTS] for g in catalogue.generations]
    rows = [[float(c == row) for c in combinations] for row in listed]
    rows.append([0.0 if c in listed else 1 / (len(combinations) - len(listed)) for c in combinations])
    nodes = [
        ("generation", generations, [], [0.7 * g.fleet_share for g in catalogue.generations] + [0.3]),
        ("combination", [str(i) for i in range(len(combinations))], ["generation"], rows),
    ]
    for i, (concept, values) in enumerate(CONTROL_BOX_CONCEPTS.items()):
        nodes.append((concept, values, ["combination"], [[float(v == c[i]) for v in values] for c in combinations]))
    for trait, values in catalogue.trait_values.items():
        known = [[float(v == g.traits[trait]) for v in values] for g in catalogue.generations]
        nodes.append((trait, values, ["generation"], [*known, [1 / len(values)] * len(values)]))
    shares = [catalogue.mechanisms_by_id[v].fleet_share for v in CONCEPTS["lowering"]]
    nodes.append(("lowering", CONCEPTS["lowering"], [], shares))
    states = {name: values for name, values, _, _ in nodes}
    said = {f"said of {feature} by its {look}": "this" for feature, look in looks}
    for (feature, look), answers in looks.items():
        name = f"said of {feature} by its {look}"
        speaking = _speaking(list(answers.values()))
        equally = [1 / len(speaking)] * len(speaking)
        nodes.append((f"chosen for {name}", [f"a{i}" for i in range(len(speaking))], [], equally))
        table = [[[column[v], 1 - column[v]] for column in speaking] for v in range(len(states[feature]))]
        nodes.append((name, ["this", "other"], [feature, f"chosen for {name}"], table))
    return nodes, said


def _speaking(columns):
    """For each answer the least uncertain one that names a value it names: within a third of the largest likelihood."""
    chosen = set()
    for column in columns:
        meeting = [i for i, o in enumerate(columns) if ((3 * o > o.max()) & (3 * column > column.max())).any()]
        least = min(scipy.stats.entropy(columns[i]) for i in meeting)
        chosen |= {i for i in meeting if scipy.stats.entropy(columns[i]) < least + 1e-9}
    return [columns[i] for i in sorted(chosen)]


def _by_pyagrum(nodes, messages, observed):
    gum = pytest.importorskip("pyagrum")
    network = gum.BayesNet()
    for name, states, _, _ in nodes:
        network.add(gum.LabelizedVariable(name, name, list(states)))
    for name, _, parents, table in nodes:
        for parent in parents:
            network.addArc(parent, name)
        table = np.array(table)
        for given in np.ndindex(table.shape[:-1]):
            network.cpt(name)[dict(zip(parents, map(int, given), strict=True))] = table[given].tolist()
    engine = gum.LazyPropagation(network)
    engine.setEvidence({**messages, **observed})
    states = {name: values for name, values, _, _ in nodes}
    return {
        target: dict(zip(states[target], engine.posterior(target).tolist(), strict=True))
        for target in ("generation", "lowering")
    }


def _by_pgmpy(nodes, messages, observed):
    pytest.importorskip("pgmpy")
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    states = {name: list(values) for name, values, _, _ in nodes}
    network = DiscreteBayesianNetwork([(parent, name) for name, _, parents, _ in nodes for parent in parents])
    network.add_nodes_from(states)
    for name, values, parents, table in nodes:
        columns = np.array(table).reshape(-1, len(values)).T
        cards, names = [len(states[p]) for p in parents], {n: states[n] for n in (name, *parents)}
        network.add_cpds(TabularCPD(name, len(values), columns, parents or None, cards or None, names))
    virtual = [
        TabularCPD(c, len(m), [[x / sum(m)] for x in m], state_names={c: states[c]}) for c, m in messages.items()
    ]
    engine = VariableElimination(network)
    result = {}
    for target in ("generation", "lowering"):
        found = engine.query([target], evidence=observed, virtual_evidence=virtual, show_progress=False)
        result[target] = dict(zip(found.state_names[target], found.values.tolist(), strict=True))
    return result

"""Every state of role, person in the sling, identification, symptom and answers, with any step that can be proposed."""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import combinations_with_replacement, cycle, product

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import ROLES
from guidance.diagnose import troubleshoot as module
from guidance.diagnose.diagnosis import diagnose, generation_likelihood
from guidance.diagnose.planning import Choice, make_plan
from guidance.documents.case import DOWN, STILL, WORKS, WORSE, Case, Done, Observation, Seen, Troubleshooting
from guidance.identify.identified import identified

MECHANISMS = ("none", "squeeze_tabs", "twist_knob", "pull_twist_knob")
GENERATIONS = ("sealed-top", "stacked-front", "hung-top", "sealed-front")


def seen(decision: str, *values: str, share: float = 1.0) -> Seen:
    probabilities = {value: share / len(values) for value in values}
    return Seen(decision=decision, probabilities=probabilities, values=values)


def actuators() -> list[Seen | None]:
    """Not seen, confirmed as each, likely, undecided."""
    return [
        None,
        *(seen("confirmed", mechanism) for mechanism in MECHANISMS),
        *(seen("likely", mechanism) for mechanism in MECHANISMS),
        seen("undecided", "twist_knob", "pull_twist_knob"),
        seen("undecided", "squeeze_tabs", "none"),
    ]


def boxes() -> list[Seen | None]:
    """Not seen, confirmed as each, likely, undecided, unlisted."""
    return [
        None,
        *(seen("confirmed", generation) for generation in GENERATIONS),
        seen("likely", "hung-top"),
        seen("undecided", "hung-top", "sealed-top"),
        seen("unlisted", "unlisted"),
    ]


Walk = Iterator[tuple[Case, Troubleshooting]]
"""Cases with their answers."""


def gates(catalogue: Catalogue, heads: list, some_boxes: list, symptoms) -> Walk:
    """All states before the first check: role, occupied, danger signs, identification, symptom."""
    for case in gate_cases(catalogue, heads, some_boxes, symptoms):
        yield case, module.troubleshoot(case, catalogue)


def gate_cases(catalogue: Catalogue, heads: list, some_boxes: list, symptoms) -> Iterator[Case]:
    """The cases of `gates`."""
    pairs = (("smoke", "failed_lowering"), ("moves_unasked", "smoke"), ("wet_parts", "heat"))
    signs = [None, (), *((sign.id,) for sign in catalogue.stop_signs), *pairs]
    for role, occupied, danger, head, box, symptom in product(
        ROLES, ("yes", "unsure", "no"), signs, heads, some_boxes, (None, *symptoms)
    ):
        if occupied == "no" and danger == () and symptom is not None:
            continue  # walked in `steps`
        yield Case(
            role=role, person_in_sling=occupied, danger_signs=danger, symptom=symptom, actuator=head, control_box=box
        )


def on_the_way_down(catalogue: Catalogue, heads: list) -> Walk:
    """Each step of each way down, answered: those before it left somebody up, this one so, worse or down."""
    signs = [(), *((sign.id,) for sign in catalogue.stop_signs)]
    for role, danger, head in product(ROLES, signs, heads):
        case = Case(role=role, person_in_sling="yes", danger_signs=danger, actuator=head)
        first = module.troubleshoot(case, catalogue)
        yield case, first
        steps = first.lowering.steps if first.lowering else ()
        for number, step in enumerate(steps):
            for outcome in (STILL, WORSE, DOWN):
                tried = *(Done(id=s.id, outcome=STILL) for s in steps[:number]), Done(id=step.id, outcome=outcome)
                answered = case.model_copy(update={"lowered": tried})
                yield answered, module.troubleshoot(answered, catalogue)


def said_differently(catalogue: Catalogue) -> Walk:
    """The case and an observation say whether somebody is up; not all that was said is understood."""
    for role, said, observed in product(ROLES, ("yes", "unsure", "no"), ("yes", "unsure", "no")):
        seen = (Observation(id="person_in_sling", answer=observed),)
        case = Case(role=role, person_in_sling=said, danger_signs=(), symptom="dead", observations=seen)
        yield case, module.troubleshoot(case, catalogue)
    for role, said in product(ROLES, ("yes", "unsure")):
        strange = {"symptom": "ded", "context": {"weather": "wet"}, "done": (Done(id="look", outcome="odd"),)}
        case = Case(role=role, person_in_sling=said, **strange)
        yield case, module.troubleshoot(case, catalogue)


def two_findings(catalogue: Catalogue, symptoms, every: int = 1, at: int = 0) -> Walk:
    """Every two findings, and every repair that worked with one found before or after, in every `every`-th state.

    From one pair and symptom to the next the identification is another.
    """
    found = [
        Done(id=row.id, outcome=o) for row in catalogue.checks for o in catalogue.findings_by_id[row.finding].outcomes
    ]
    worked = [Done(id=row.id, outcome=WORKS) for row in catalogue.repairs]
    done = [*combinations_with_replacement(found, 2), *product(found, worked), *product(worked, found)]
    identified_as = cycle(product(boxes(), actuators()))
    for number, (steps, symptom, role) in enumerate(product(done, symptoms, ROLES)):
        if role == ROLES[0]:
            box, head = next(identified_as)
        if number // len(ROLES) % every == at:
            known = {"symptom": symptom, "done": steps, "control_box": box, "actuator": head}
            case = Case(role=role, person_in_sling="no", danger_signs=(), **known)
            yield case, module.troubleshoot(case, catalogue)


def circumstances(catalogue: Catalogue, symptoms) -> Walk:
    """Every answer about the circumstances, with each step that could be proposed then."""
    for context in catalogue.contexts:
        for role, symptom, answer in product(ROLES, symptoms, context.options):
            start = Case(
                role=role, person_in_sling="no", danger_signs=(), symptom=symptom, context={context.id: answer}
            )
            yield from _any_step(start, catalogue)


def steps(catalogue: Catalogue, pairs: list[tuple[Seen | None, Seen | None]], symptoms) -> Walk:
    """From each start, every step that this role could be proposed under any numbers, and each of its outcomes."""
    for role, (box, head), symptom in product(ROLES, pairs, symptoms):
        case = Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom, control_box=box, actuator=head)
        yield from _any_step(case, catalogue)


def _any_step(case: Case, catalogue: Catalogue) -> Walk:
    for step in proposable(case, catalogue):
        with proposing(step, case.role):
            answer = module.troubleshoot(case, catalogue)
        yield case, answer
        if step.id in catalogue.repairs_by_id:
            repaired = case.model_copy(update={"done": (Done(id=step.id, outcome=WORKS),)})
            yield repaired, module.troubleshoot(repaired, catalogue)


def proposable(case: Case, catalogue: Catalogue) -> list:
    """What the plan could choose from, whatever it thinks best."""
    lift = identified(case, catalogue)
    diagnosis = diagnose(case, catalogue, generation_likelihood(lift.generation_probabilities, catalogue), {})
    plan = make_plan(diagnosis, catalogue, case.role, case.symptom, lift.generations)
    return [*plan.repairs, *plan.questions]


@contextmanager
def proposing(step, role: str):
    """Let the plan choose this step."""
    kept = module.choose
    module.choose = lambda *_: Choice(step, step.minutes[role], 0.0, 1.0, 1.0)
    try:
        yield
    finally:
        module.choose = kept


def conversation(catalogue: Catalogue, start: Case, depth: int) -> Walk:
    """The plan's own steps with every outcome of each, to a depth."""
    answer = module.troubleshoot(start, catalogue)
    yield start, answer
    if depth and answer.next is not None and answer.state in ("next_step", "hand_over"):
        for outcome in [o.id for o in answer.next.outcomes] + ["unsure"]:
            if answer.next.kind == "context":
                further = start.model_copy(update={"context": {**start.context, answer.next.id: outcome}})
            else:
                further = start.model_copy(update={"done": (*start.done, Done(id=answer.next.id, outcome=outcome))})
            yield from conversation(catalogue, further, depth - 1)

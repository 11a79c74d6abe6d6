"""Every state of role, person in the sling, identification, symptom and answers, with any step that can be proposed."""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import product

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import ROLES
from guidance.diagnose import troubleshoot as module
from guidance.diagnose.diagnosis import diagnose, generation_likelihood
from guidance.diagnose.planning import Choice, make_plan
from guidance.documents.case import Case, Done, Seen, Troubleshooting
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


def gates(catalogue: Catalogue, heads: list, some_boxes: list, symptoms) -> Iterator[tuple[Case, Troubleshooting]]:
    """All states before the first check: role, occupied, danger signs, identification, symptom."""
    signs = [None, (), *((sign.id,) for sign in catalogue.stop_signs), ("smoke", "failed_lowering")]
    for role, occupied, danger, head, box, symptom in product(
        ROLES, ("yes", "unsure", "no"), signs, heads, some_boxes, (None, *symptoms)
    ):
        if occupied == "no" and danger == () and symptom is not None:
            continue  # walked in `steps`
        case = Case(
            role=role, person_in_sling=occupied, danger_signs=danger, symptom=symptom, actuator=head, control_box=box
        )
        yield case, module.troubleshoot(case, catalogue)


def steps(catalogue: Catalogue, pairs: list[tuple[Seen | None, Seen | None]], symptoms) -> Iterator:
    """From each start, every step that this role could be proposed under any numbers, and each of its outcomes."""
    for role, (box, head), symptom in product(ROLES, pairs, symptoms):
        case = Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom, control_box=box, actuator=head)
        for step in proposable(case, catalogue):
            with proposing(step, role):
                answer = module.troubleshoot(case, catalogue)
            yield case, answer
            if step.id in catalogue.repairs_by_id:
                repaired = case.model_copy(update={"done": (Done(id=step.id, outcome="works"),)})
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


def conversation(catalogue: Catalogue, start: Case, depth: int) -> Iterator[tuple[Case, Troubleshooting]]:
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

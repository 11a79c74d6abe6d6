"""What is said first, and who may do which step. Nothing here looks at a photo or a probability."""

from collections.abc import Collection

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import Moment, Step
from guidance.catalogue.rows import ROLES, Role
from guidance.documents.answer import Advice
from guidance.documents.case import Case, Complaint, OutcomeOut, StepOut
from guidance.safety.lowering import advice
from guidance.safety.way_down import signs_in_order

NO_SIGN = "none"
"""The answer to the question about danger signs when there is none."""

HURT = "reported as having hurt or nearly hurt somebody"
"""Why a case is to be reported when somebody said so."""

ASK_SLING = StepOut(
    kind="safety_question",
    id="person_in_sling",
    text="Is somebody in the sling or off the floor now?",
    source="common practice, no source",
    roles=ROLES,
    outcomes=tuple(
        OutcomeOut(id=answer, words=words, probability=1 / 3)
        for answer, words in (("no", "No, nobody"), ("yes", "Yes"), ("unsure", "I don't know"))
    ),
    why="Bringing a person down comes before everything else.",
)


ASK_HURT = StepOut(
    kind="safety_question",
    id="could_hurt",
    text="Was anybody hurt, or nearly hurt?",
    source="common practice, no source",
    roles=ROLES,
    outcomes=tuple(
        OutcomeOut(id=answer, words=words, probability=1 / 2) for answer, words in (("no", "No"), ("yes", "Yes"))
    ),
    why="Such a case is reported, whatever was found.",
)
"""Asked last, when the lift works again or is out of use."""


def may_do(step: Step, role: Role) -> bool:
    """Whether a role may do a step: it is listed, and what is not outside work is a technician's alone."""
    return role in step.minutes and (step.access == "outside" or role == "technician")


def say(catalogue: Catalogue, moment: Moment, role: Role) -> tuple[Advice, ...]:
    """The catalogue's sentences of one moment that this role is told."""
    return advice((row for row in catalogue.cautions if row.moment == moment), role)


def first_lines(catalogue: Catalogue, role: Role, occupied: str) -> tuple[Advice, ...]:
    """What stands on top: bringing the person down unless nobody is up, then what always holds."""
    if occupied == "no":
        return say(catalogue, "always", role)
    return say(catalogue, "occupied", role) + say(catalogue, "emergency", role)


def signs_advice(catalogue: Catalogue, signs: Collection[str], role: Role) -> tuple[Advice, ...]:
    """What to do about the danger signs that were seen."""
    return advice(signs_in_order(catalogue, signs), role)


def ask_signs(catalogue: Catalogue) -> StepOut:
    """The question that comes second, always: is there a sign after which the lift is left alone?"""
    words = [(NO_SIGN, "None of these"), *((row.id, row.name) for row in catalogue.stop_signs)]
    return StepOut(
        kind="safety_question",
        id="danger_signs",
        text="Is there any of these?",
        source="common practice, no source",
        roles=ROLES,
        outcomes=tuple(OutcomeOut(id=sign, words=text, probability=1 / len(words)) for sign, text in words),
        why="After any of these the lift is taken out of use and not tried again.",
    )


def complaint(catalogue: Catalogue, case: Case) -> Complaint:
    """Flag a case that hurt or could have hurt somebody: said so, or a sign that could have."""
    signs = (catalogue.stop_signs_by_id[sign] for sign in case.danger_signs or ())
    because = [sign.name for sign in signs if sign.could_hurt]
    if case.could_hurt:
        because.insert(0, HURT)
    if not because:
        return Complaint(flagged=False)
    return Complaint(flagged=True, because=tuple(because), say=say(catalogue, "complaint", case.role))

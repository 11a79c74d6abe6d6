"""The answer to "what is this, and what do I do now?", from photo readings and answers to plain questions."""

from collections.abc import Sequence
from dataclasses import replace

from classifier.identify import PhotoReading
from classifier.model import ReadingFacts
from classifier.taxonomy import UNLISTED
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE, Role
from guidance.documents.answer import (
    Actuator,
    Advice,
    Answer,
    CatalogueInfo,
    CheckAdvice,
    ConceptOut,
    ControlBox,
    Guidance,
    ModelInfo,
    Next,
    ObservedOut,
    PhotoOut,
    QualityOut,
    SubjectOut,
    Verdict,
)
from guidance.identify.components import actuator, control_box
from guidance.identify.evidence import evidence_of
from guidance.identify.next_step import next_step
from guidance.identify.sources import Observed
from guidance.parts.options import ask_first, options_of, other_aid, sockets_of
from guidance.parts.parts import parts_for
from guidance.safety.lowering import lowering_advice, placed
from guidance.safety.sentences import first_lines, may_do


def answer(
    readings: Sequence[PhotoReading],
    observations: Sequence[Observed],
    catalogue: Catalogue,
    model: ModelInfo,
    facts: ReadingFacts,
    role: Role = "caregiver",
) -> Answer:
    """Combine up to six photos of one lift and any answers into the answer document.

    `facts` are what the readings' model knows of itself; `role` is who asks, and looked unless an observation says who.
    Raises `ObservationError` for an observation that the catalogue does not know.
    """
    observations = _looked_by(role, observations)
    evidence = evidence_of(readings, observations, catalogue, facts, model.coverage)
    box, head = control_box(evidence, catalogue), actuator(evidence, catalogue)
    return Answer(
        catalogue=CatalogueInfo(id=catalogue.pool.id, version=catalogue.pool.version),
        model=model,
        role=role,
        photos=tuple(_photo(r) for r in readings),
        observations=tuple(ObservedOut(id=o.id, answer=o.answer) for o in observations),
        control_box=box,
        actuator=head,
        next=next_step(
            evidence,
            observations,
            {"generation": box.decision, "lowering": head.decision},
            catalogue,
            role,
            shown=_shown(readings),
        ),
        guidance=_guidance(box, head, observations, catalogue, role),
    )


def next_about_box(
    readings: Sequence[PhotoReading],
    observations: Sequence[Observed],
    catalogue: Catalogue,
    coverage: float,
    facts: ReadingFacts,
    role: Role,
) -> Next | None:
    """What settles the control box best, whatever is open of the mechanism: for who stands at the box; as `answer`."""
    observations = _looked_by(role, observations)
    evidence = evidence_of(readings, observations, catalogue, facts, coverage)
    verdicts: dict[str, Verdict] = {"generation": control_box(evidence, catalogue).decision, "lowering": "confirmed"}
    return next_step(evidence, observations, verdicts, catalogue, role, shown=_shown(readings))


def _looked_by(role: Role, observations: Sequence[Observed]) -> list[Observed]:
    """Each with who looked: whoever asks, unless it says who."""
    return [observed if observed.by else replace(observed, by=role) for observed in observations]


def _shown(readings: Sequence[PhotoReading]) -> set[str]:
    """The kinds of subject that the photos show."""
    return {subject.kind for reading in readings for subject in reading.subjects}


def _photo(reading: PhotoReading) -> PhotoOut:
    subjects = tuple(
        SubjectOut(
            kind=s.kind,
            box=s.box,
            probability=s.probability,
            concepts={
                name: ConceptOut(probabilities=c.probabilities, values=c.prediction_set)
                for name, c in s.concepts.items()
            },
        )
        for s in reading.subjects
    )
    quality = QualityOut(usable=reading.quality.usable, problems=tuple(reading.quality.problems))
    return PhotoOut(name=reading.name, width=reading.width, height=reading.height, quality=quality, subjects=subjects)


def _guidance(
    box: ControlBox, head: Actuator, observations: Sequence[Observed], catalogue: Catalogue, role: Role
) -> Guidance:
    """Safety first, then how to come down, then checks and parts; only what is confirmed gets an action or a number."""
    occupied = next((o.answer for o in observations if o.id == PERSON_IN_SLING), UNSURE)
    lowering = head.lowering if head.decision == "confirmed" else None
    return Guidance(
        safety=_safety(occupied, catalogue, role),
        lowering=lowering_advice(catalogue, lowering, head.values, role),
        **(_of_the_lift(box, lowering, observations, catalogue, role) if occupied != "yes" else _NOT_NOW),
    )


_NOT_NOW = {"checks": (), "parts": ()}
"""With somebody up nothing is said but how they come down."""


def _of_the_lift(
    box: ControlBox, lowering: str | None, observations: Sequence[Observed], catalogue: Catalogue, role: Role
) -> dict[str, object]:
    """Checks, parts and what goes with the lift; of another kind of aid only that it is one."""
    aid = other_aid(catalogue, ((o.id, o.answer) for o in observations), role)
    if aid is not None:
        return {**_NOT_NOW, "not_this_tool": aid}
    generation = box.generation if box.decision == "confirmed" else None
    # Of a box that nobody saw everything is possible.
    possible = box.values or (*catalogue.generations_by_id, UNLISTED)
    return {
        "checks": _checks(box, catalogue, role),
        "parts": parts_for(catalogue, generation, lowering, role),
        "options": options_of(catalogue, possible, generation, role),
        "sockets": sockets_of(catalogue, possible),
        "ask_first": ask_first(catalogue, {o.id for o in observations}, possible, role),
    }


def _safety(occupied: str, catalogue: Catalogue, role: Role) -> tuple[Advice, ...]:
    """Put the person first; while nobody has said whether somebody is up, ask, and say what always holds as well."""
    lines = first_lines(catalogue, role, occupied)
    if occupied != UNSURE:
        return lines
    return (*placed(catalogue, "occupied_unknown", role), *lines, *first_lines(catalogue, role, "no"))


def _checks(box: ControlBox, catalogue: Catalogue, role: Role) -> tuple[CheckAdvice, ...]:
    """List the checks that this role may do and that fit a box still in the set, in the catalogue's order."""
    return tuple(
        CheckAdvice(
            id=check.id,
            text=check.text,
            source=check.source,
            roles=tuple(r for r in check.roles if may_do(check, r)),
            signal=check.signal,
            acts=check.acts,
            forbids=check.forbids,
            requires=check.requires,
            kind=check.kind,
            minutes=check.minutes[role],
            risk=check.risk,
        )
        for check in catalogue.checks
        if may_do(check, role) and (not check.generations or set(check.generations) & set(box.values))
    )

"""The rows of a catalogue that say what fails, how it shows, what to check, what to repair and with which part."""

from functools import cached_property
from typing import Annotated, Any, Literal, get_args

from pydantic import Field, model_validator

from guidance.catalogue.acts import Act, Gives
from guidance.catalogue.rows import (
    ROLES,
    Flag,
    Identifier,
    Minutes,
    OpenProbability,
    Probability,
    Role,
    Row,
    Sentence,
    Share,
    Text,
)
from guidance.catalogue.trade_rows import Aftercare, NotThisTool, Option, Socket
from guidance.electricity.numbers import SOUND_PACK_MOHM
from guidance.electricity.readings import Found

Access = Literal["outside", "housing", "actuator", "frame", "wiring", "load_test"]
"""What a step touches. Everything but `outside` is a technician's."""

Positive = Annotated[float, Field(ge=0.0, strict=True)]

Moment = Literal[
    "occupied", "emergency", "worse", "always", "beside", "out_of_use", "after_repair", "taken_back", "before_lifting",
    "hand_over", "duties", "complaint", "disposal",
]  # fmt: skip
"""When a sentence of safety is said. `worse`: the way down makes it worse; `beside`: with the acts that it names."""

LAST_RESORT = "last_resort"
"""The kind of repair that mends whatever is wrong: a technician comes, or the lift is exchanged."""


Proof = Literal["measured", "exchanged", "mended"]
"""How a fault was confirmed: measured; an exchanged part ended it; it works again and the cause is not proven."""

PROOFS: tuple[Proof, ...] = get_args(Proof)


class LabelReliability(Row):
    """How often the fault that a case is closed with is the right one, by how it was confirmed.

    `measured`: with an instrument. `exchanged`: the part was exchanged, and that ended it. `mended`: the lift works
    again, and the cause is not proven.
    """

    measured: OpenProbability = 0.98
    exchanged: OpenProbability = 0.95
    mended: OpenProbability = 0.6


class FaultSettings(Row):
    """How the fault model is put together.

    `faults_at_once`: no more than so many faults together. `other_faults`: how many further faults a lift that has one
    carries on average. `prior_cases`: how many closed cases the printed rates are worth when cases are learned from.
    `label_reliability`: how far closed cases are believed. `opening_min`: minutes to open each area, once. `setting`:
    the context that the rates are listed by. `set_up`: its answer for a lift that is being set up, whose sockets are
    told.
    """

    faults_at_once: Annotated[int, Field(ge=1, le=3, strict=True)]
    other_faults: Share
    prior_cases: Annotated[float, Field(gt=0.0, strict=True)]
    setting: Identifier
    set_up: Identifier | None = None
    label_reliability: LabelReliability = LabelReliability()
    opening_min: dict[Identifier, Minutes] = {}
    rates_note: Text


class LiftPart(Row):
    """One component of the lift, as advice names it, and what depends on what before its spare can be named.

    `gives`: what replacing it sets off.
    """

    id: Identifier
    name: Text
    depends_on: tuple[Literal["generation", "lowering"], ...] = ()
    confirm: tuple[Sentence, ...] = ()
    photo: str = ""
    gives: tuple[Gives, ...] = ()


class Context(Row):
    """One circumstance that shifts what is likely: a question with answers, and how often each is the case.

    `signs[answer]`: the stop sign that an answer is as bad as: it is said, and what it forbids is proposed no more.
    """

    id: Identifier
    ask: Text
    options: dict[Identifier, Text] = Field(min_length=2)
    shares: dict[Identifier, Probability]
    minutes: dict[Role, Minutes] = Field(min_length=1)
    signs: dict[Identifier, Identifier] = {}
    source: Text


class Fault(Row):
    """One way in which one component fails.

    `calls_per_1000`: in how many of 1000 calls it is the cause, by setting. `factors[context][answer]` multiply that,
    and `by_generation` for a generation. `generations`: those that can have it; left out, all.
    """

    id: Identifier
    component: Identifier
    name: Text
    calls_per_1000: dict[Identifier, Positive]
    factors: dict[Identifier, dict[Identifier, Positive]] = {}
    by_generation: dict[Identifier, Positive] = {}
    generations: tuple[Identifier, ...] = ()
    source: Text


class Finding(Row):
    """What can be seen, heard or measured. The outcomes run from normal to worst; present faults: the worst shows.

    `background`: the distribution when nothing is wrong. `effects[fault]`: the distribution that this fault brings.
    `by_meter[what readings prove]`: the outcome that it is; left out, meter readings say nothing of this finding.
    `signs[outcome]`: the stop sign that an outcome is as bad as, until it is found normal or what it is of is replaced.
    `effects_of[generation]`: effects that are others with that generation; the rest stays as in `effects`.
    """

    id: Identifier
    name: Text
    outcomes: dict[Identifier, Text] = Field(min_length=2)
    background: tuple[Probability, ...]
    effects: dict[Identifier, tuple[Probability, ...]]
    by_meter: dict[Found, Identifier] = {}
    signs: dict[Identifier, Identifier] = {}
    effects_of: dict[Identifier, dict[Identifier, tuple[Probability, ...]]] = {}
    source: Text


class Step(Sentence):
    """Something to do: `minutes` lists who may do it and how long it takes them; `roles` follow from that.

    `how`: the single moves, in their order, for those who have not done it often.
    """

    minutes: dict[Role, Minutes] = Field(min_length=1)
    access: Access = "outside"
    area: Identifier | None = None
    needs: tuple[Text, ...] = ()
    risk: Text | None = None
    generations: tuple[Identifier, ...] = ()
    how: tuple[Text, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _roles_follow_from_minutes(cls, data: Any) -> Any:
        if isinstance(data, dict) and "roles" in data:
            raise ValueError("`roles` follow from `minutes`; leave them out and list the roles there")
        listed = data.get("minutes") if isinstance(data, dict) else None
        known = [role for role in ROLES if role in listed] if isinstance(listed, dict) else []
        return {**data, "roles": known} if known else data


class Check(Step):
    """A step that yields one outcome of one finding. `symptoms`: those that it makes sense for; left out, all."""

    kind: Literal["question", "look", "swap", "measurement"]
    finding: Identifier
    symptoms: tuple[Identifier, ...] = ()


class Repair(Step):
    """A step that ends a fault with some probability; `mends[fault]`. A last resort mends whatever it is."""

    kind: Literal["adjust", "replace", "last_resort"]
    mends: dict[Identifier, Probability] = {}
    component: Identifier | None = None


class PrintedRow(Row):
    """One row of a printed list: with a check, the repair follows only when the check's outcome is not normal."""

    check: Identifier | None = None
    repair: Identifier


class Symptom(Row):
    """What is complained of: the findings that it is, and the finding that is normal again once it is gone.

    `first[role]`: the check that practice settled on as this role's first step; the order of the rest is computed.
    `printed`: the order of a plain printed list, against which the computed order is measured.
    """

    id: Identifier
    say: Text
    findings: dict[Identifier, Identifier] = Field(min_length=1)
    gone: Identifier
    first: dict[Role, Identifier] = {}
    printed: tuple[PrintedRow, ...]
    source: Text


class StopSign(Sentence):
    """A sign after which the lift is not touched again but taken out of use; `text` is what to do now.

    `occupied` is what to do, in this order, while somebody is in the sling: it is said instead of `text`.
    `could_hurt`: the case is flagged as one that hurt or could have hurt somebody. `gives`: what else it sets off.
    """

    name: Text
    occupied: tuple[Sentence, ...] = Field(min_length=1)
    could_hurt: Flag = True
    gives: tuple[Gives, ...] = ()


class Caution(Sentence):
    """A sentence of safety and the moment at which it is said; at the moment `beside`, with which acts."""

    moment: Moment
    beside: tuple[Act, ...] = ()


class SparePart(Row):
    """One orderable part and what it fits; empty means every one.

    `superseded_by`: the part that is supplied instead. `family`: parts of different families are never mixed.
    `accessory`: it comes on top of what the lift needs, and stands in for nothing. `specification[property]`: what the
    old part is compared by, such as a rating, a size or a stroke.
    """

    id: Identifier
    number: Text
    component: Identifier
    name: Text
    generations: tuple[Identifier, ...] = ()
    mechanisms: tuple[Identifier, ...] = ()
    substitutes: tuple[Identifier, ...] = ()
    superseded_by: Identifier | None = None
    order_with: tuple[Identifier, ...] = ()
    family: Identifier | None = None
    accessory: Flag = False
    specification: dict[Text, Text] = {}
    note: str = ""
    source: Text


Span = tuple[Positive, Positive]
"""From a least to a most."""


class PackElectrics(Row):
    """What a pack is judged by and the lifts left on a charge are reckoned from; every uncertain figure is a span.

    `resistance_mohm`: of a sound pack with its leads and contacts, at 25 °C. `health_percent`: what is left of the
    capacity when nobody knows the age; `health_by_age[answer]` when the context `age` is answered.
    """

    capacity_ah: Positive
    rated_hours: Positive
    peukert_exponent: Span
    health_percent: Span
    lifting_current_a: Span
    seconds_per_lift: Span
    resistance_mohm: Span = SOUND_PACK_MOHM
    age: Identifier | None = None
    health_by_age: dict[Identifier, Span] = {}
    source: Text


class FaultSections(Row):
    """The sections of a catalogue that troubleshooting reads; a catalogue may leave all of them out."""

    fault_settings: FaultSettings | None = None
    pack_electrics: PackElectrics | None = None
    components: tuple[LiftPart, ...] = ()
    contexts: tuple[Context, ...] = ()
    faults: tuple[Fault, ...] = ()
    findings: tuple[Finding, ...] = ()
    checks: tuple[Check, ...] = ()
    repairs: tuple[Repair, ...] = ()
    symptoms: tuple[Symptom, ...] = ()
    stop_signs: tuple[StopSign, ...] = ()
    cautions: tuple[Caution, ...] = ()
    parts: tuple[SparePart, ...] = ()
    options: tuple[Option, ...] = ()
    sockets: tuple[Socket, ...] = ()
    aftercare: tuple[Aftercare, ...] = ()
    not_this_tool: tuple[NotThisTool, ...] = ()

    @property
    def fault_model(self) -> FaultSettings:
        """The settings of a fault model that is there; to ask a catalogue without one is a mistake of the program."""
        if self.fault_settings is None:
            raise ValueError("came a catalogue without fault_settings, wanted one with a fault model")
        return self.fault_settings

    @cached_property
    def faults_by_id(self) -> dict[str, Fault]:
        return {row.id: row for row in self.faults}

    @cached_property
    def findings_by_id(self) -> dict[str, Finding]:
        return {row.id: row for row in self.findings}

    @cached_property
    def contexts_by_id(self) -> dict[str, Context]:
        return {row.id: row for row in self.contexts}

    @cached_property
    def checks_by_id(self) -> dict[str, Check]:
        return {row.id: row for row in self.checks}

    @cached_property
    def repairs_by_id(self) -> dict[str, Repair]:
        return {row.id: row for row in self.repairs}

    @cached_property
    def symptoms_by_id(self) -> dict[str, Symptom]:
        return {row.id: row for row in self.symptoms}

    @cached_property
    def components_by_id(self) -> dict[str, LiftPart]:
        return {row.id: row for row in self.components}

    @cached_property
    def parts_by_id(self) -> dict[str, SparePart]:
        return {row.id: row for row in self.parts}

    @cached_property
    def stop_signs_by_id(self) -> dict[str, StopSign]:
        return {row.id: row for row in self.stop_signs}

"""The rows of a catalogue that say what fails, how it shows, what to check, what to repair and with which part."""

from functools import cached_property
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, model_validator

from guidance.catalogue.rows import Identifier, Minutes, Probability, Role, Row, Sentence, Share, Text
from guidance.diagnose.fault_network import compile_faults
from guidance.diagnose.inference import Space

Access = Literal["outside", "housing", "actuator", "frame", "wiring", "load_test"]
"""What a step touches. Everything but `outside` is a technician's."""

Positive = Annotated[float, Field(ge=0.0)]

Moment = Literal[
    "occupied", "emergency", "always", "out_of_use", "after_repair", "hand_over", "duties", "complaint", "disposal"
]
"""When a sentence of safety is said."""

LAST_RESORT = "last_resort"
"""The kind of repair that mends whatever is wrong: a technician comes, or the lift is exchanged."""


class FaultSettings(Row):
    """How the fault model is put together.

    `faults_at_once`: no more than so many faults together. `other_faults`: how many further faults a lift that has one
    carries on average. `prior_cases`: how many closed cases the printed rates are worth when cases are learned from.
    `opening_min`: minutes to open each area, once. `setting`: the context that the rates are listed by.
    """

    faults_at_once: Annotated[int, Field(ge=1, le=3)]
    other_faults: Share
    prior_cases: Annotated[float, Field(gt=0.0)]
    setting: Identifier
    opening_min: dict[Identifier, Minutes] = {}
    rates_note: Text


class LiftPart(Row):
    """One component of the lift, as advice names it, and what depends on what before its spare can be named."""

    id: Identifier
    name: Text
    depends_on: tuple[Literal["generation", "lowering"], ...] = ()
    confirm: tuple[Sentence, ...] = ()
    photo: str = ""


class Context(Row):
    """One circumstance that shifts what is likely: a question with answers, and how often each is the case."""

    id: Identifier
    ask: Text
    options: dict[Identifier, Text] = Field(min_length=2)
    shares: dict[Identifier, Probability]
    minutes: dict[Role, Minutes] = Field(min_length=1)
    source: Text


class Fault(Row):
    """One way in which one component fails.

    `calls_per_1000`: in how many of 1000 calls it is the cause, by setting. `factors[context][answer]` multiply that.
    `generations`: those that can have it; left out, all.
    """

    id: Identifier
    component: Identifier
    name: Text
    calls_per_1000: dict[Identifier, Positive]
    factors: dict[Identifier, dict[Identifier, Positive]] = {}
    generations: tuple[Identifier, ...] = ()
    source: Text


class Finding(Row):
    """What can be seen, heard or measured. The outcomes run from normal to worst; present faults: the worst shows.

    `background`: the distribution when nothing is wrong. `effects[fault]`: the distribution that this fault brings.
    """

    id: Identifier
    name: Text
    outcomes: dict[Identifier, Text] = Field(min_length=2)
    background: tuple[Probability, ...]
    effects: dict[Identifier, tuple[Probability, ...]]
    source: Text


class Step(Sentence):
    """Something to do: `minutes` lists who may do it and how long it takes them; `roles` follow from that."""

    minutes: dict[Role, Minutes] = Field(min_length=1)
    access: Access = "outside"
    area: Identifier | None = None
    needs: tuple[Text, ...] = ()
    risk: Text | None = None
    generations: tuple[Identifier, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _roles_follow_from_minutes(cls, data: Any) -> Any:
        return {**data, "roles": list(data["minutes"])} if isinstance(data, dict) and "minutes" in data else data


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

    `printed`: the order of a plain printed list, against which the computed order is measured.
    """

    id: Identifier
    say: Text
    findings: dict[Identifier, Identifier] = Field(min_length=1)
    gone: Identifier
    printed: tuple[PrintedRow, ...]
    source: Text


class StopSign(Sentence):
    """A sign after which the lift is not touched again but taken out of use; `text` is what to do now.

    `occupied` is what to do, in this order, while somebody is in the sling: it is said instead of `text`.
    `could_hurt`: the case is flagged as one that hurt or could have hurt somebody.
    """

    name: Text
    occupied: tuple[Sentence, ...] = Field(min_length=1)
    could_hurt: bool = True


class Caution(Sentence):
    """A sentence of safety and the moment at which it is said."""

    moment: Moment


class SparePart(Row):
    """One orderable part and what it fits; empty means every one.

    `superseded_by`: the part that is supplied instead. `family`: parts of different families are never mixed.
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
    note: str = ""
    source: Text


Span = tuple[Positive, Positive]
"""From a least to a most."""


class PackElectrics(Row):
    """What the number of lifts left on a charge is reckoned from; every uncertain figure is a span."""

    capacity_ah: Positive
    rated_hours: Positive
    peukert_exponent: Span
    health_percent: Span
    lifting_current_a: Span
    seconds_per_lift: Span
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

    @cached_property
    def fault_space(self) -> Space:
        """The compiled network of the faults; built when first asked for."""
        return compile_faults(self)

    @cached_property
    def component_masks(self) -> np.ndarray:
        """For each component, in its row's order, the hypotheses with a fault of it: (components, H) flags."""
        causes = [self.faults_by_id[node.id].component for node in self.fault_space.cause_nodes]
        fault_of = np.array([[component == row.id for component in causes] for row in self.components], dtype=float)
        return (fault_of @ self.fault_space.hypotheses.T > 0).astype(float)

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

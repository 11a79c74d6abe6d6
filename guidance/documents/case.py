"""What comes in about one lift in trouble, and what goes out: the documents of troubleshooting."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictBool

from guidance.catalogue.rows import Role
from guidance.documents.answer import Advice, CatalogueInfo, LoweringAdvice, PartsOut, Section
from guidance.electricity.verdict import Number, PackReadings

SCHEMA_VERSION = "1"

WORKS, STILL, UNSURE, SKIPPED = "works", "still", "unsure", "skipped"
"""How a repair can turn out (works, still), and two answers open to every step."""

Occupied = Literal["yes", "no", "unsure"]

State = Literal["bring_down", "out_of_use", "ask", "next_step", "hand_over", "release"]
"""Where the case stands. `ask`: a question that must come before any check."""


StepKind = Literal[
    "safety_question", "context", "question", "look", "swap", "measurement", "adjust", "replace", "last_resort"
]
"""`context` asks for a circumstance, the next four find out, the last three mend."""


class Incoming(BaseModel):
    """Base of what comes in: unknown fields are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Seen(BaseModel):
    """One component as an identification's answer gives it; further fields of that answer are passed over."""

    model_config = ConfigDict(frozen=True, extra="ignore", populate_by_name=True)

    decision: Literal["confirmed", "likely", "undecided", "unlisted", "not_seen"]
    probabilities: dict[str, Annotated[Number, Field(ge=0.0, le=1.0)]] = {}
    values: tuple[str, ...] = Field(default=(), alias="set")


class Done(Incoming):
    """One step that was done: the id of a check or a repair, and how it turned out."""

    id: str
    outcome: str


class Observation(Incoming):
    """One answer to a question of the identification."""

    id: str
    answer: str


class Case(Incoming):
    """Everything known of one lift in trouble. Nothing is kept between two calls, so all of it comes each time.

    `danger_signs` is None until they were asked about. `done` is in the order of doing. `control_box` and `actuator`
    are those of an identification's answer; `observations` is its evidence instead.
    """

    catalogue: CatalogueInfo | None = None
    role: Role = "caregiver"
    person_in_sling: Occupied = "unsure"
    danger_signs: tuple[str, ...] | None = Field(default=None, max_length=20)
    symptom: str | None = None
    context: dict[str, str] = {}
    done: tuple[Done, ...] = Field(default=(), max_length=200)
    observations: tuple[Observation, ...] = Field(default=(), max_length=50)
    control_box: Seen | None = None
    actuator: Seen | None = None
    readings: PackReadings | None = None
    could_hurt: StrictBool | None = None


class FaultOut(Section):
    """One fault with its probability now, and before the last thing that was found."""

    id: str
    name: str
    component: str
    probability: float
    before: float


class ComponentOut(Section):
    """One component: the probability that at least one of its faults is there."""

    id: str
    name: str
    probability: float
    before: float


class Shift(Section):
    """How one component's probability moves."""

    component: str
    name: str
    before: float
    after: float


class OutcomeOut(Section):
    """One outcome of a step: how probable it is, and what it would make of the components."""

    id: str
    words: str
    probability: float
    shifts: tuple[Shift, ...] = ()


class StepOut(Section):
    """The next step. `expected_minutes` until the lift works with it first; `otherwise_minutes` with the best other."""

    kind: StepKind
    id: str
    text: str
    source: str
    roles: tuple[Role, ...]
    needs: tuple[str, ...] = ()
    risk: str | None = None
    minutes: float = 0.0
    opening_minutes: float = 0.0
    outcomes: tuple[OutcomeOut, ...]
    tells_apart: tuple[str, ...] = ()
    expected_minutes: float | None = None
    otherwise_minutes: float | None = None
    why: str = ""


class VerdictOut(Section):
    """The verdict on battery readings; bands are [low, high]."""

    state: Literal["good", "low", "failed", "cannot_say"]
    charge_percent: tuple[float, float] | None
    resistance_mohm: tuple[float, float] | None
    lifts_left: tuple[float, float] | None
    because: tuple[str, ...]
    contradictions: tuple[str, ...]
    wants: tuple[str, ...]


class Complaint(Section):
    """Whether the case is to be reported as one that hurt or could have hurt somebody, and why."""

    flagged: bool
    because: tuple[str, ...] = ()
    say: tuple[Advice, ...] = ()


class Troubleshooting(Section):
    """What is said first, what is probably wrong, which step comes next and why, and which part fits.

    `nothing_wrong`: the probability that no fault of the list is there, as after a mistake in use.
    """

    schema_version: Literal["1"] = SCHEMA_VERSION
    catalogue: CatalogueInfo
    role: Role
    state: State
    safety: tuple[Advice, ...]
    lowering: LoweringAdvice | None = None
    faults: tuple[FaultOut, ...] = ()
    components: tuple[ComponentOut, ...] = ()
    nothing_wrong: float | None = None
    next: StepOut | None = None
    contradictions: tuple[str, ...] = ()
    electricity: VerdictOut | None = None
    parts: tuple[PartsOut, ...] = ()
    complaint: Complaint
    assumptions: tuple[str, ...] = ()

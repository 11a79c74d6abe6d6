"""What comes in about one lift in trouble, and what goes out: the documents of troubleshooting."""

from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictBool

from guidance.catalogue.acts import Act, Need
from guidance.catalogue.rows import Role
from guidance.documents.answer import (
    Advice,
    CatalogueInfo,
    LoweringAdvice,
    Next,
    NotThisToolOut,
    OptionOut,
    PartsOut,
    Said,
    Section,
    SocketOut,
)
from guidance.electricity.readings import Number, PackReadings

SCHEMA_VERSION: Final = "1"

WORKS, STILL, UNSURE, SKIPPED = "works", "still", "unsure", "skipped"
"""How a repair can turn out (works, still), and two answers open to every step."""

DOWN, WORSE = "down", "worse"
"""How a step of the way down can turn out, beside `still`."""

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
    held_back: str = ""


class Done(Incoming):
    """One step that was done: the id of a check or a repair, and how it turned out."""

    id: str
    outcome: str


class Observation(Incoming):
    """One answer to a question of the identification; `by` is who looked, left out: whoever asks for the answer."""

    id: str
    answer: str
    by: Role | None = None


class Case(Incoming):
    """Everything known of one lift in trouble. Nothing is kept between two calls, so all of it comes each time.

    `danger_signs` is None until they were asked about. `done` is in the order of doing. `control_box` and `actuator`
    are those of an identification's answer; `observations` is its evidence instead. `lowered` is how steps of the way
    down turned out: ids of `lowering.steps` (empty: none in particular) with `still`, `worse` or `down`, in the order
    of doing. `readings`: one set of them, or several in the order of taking, each with the steps that it came after.
    """

    catalogue: CatalogueInfo | None = None
    role: Role = "caregiver"
    person_in_sling: Occupied = "unsure"
    danger_signs: tuple[str, ...] | None = Field(default=None, max_length=20)
    symptom: str | None = None
    context: dict[str, str] = {}
    done: tuple[Done, ...] = Field(default=(), max_length=200)
    lowered: tuple[Done, ...] = Field(default=(), max_length=200)
    observations: tuple[Observation, ...] = Field(default=(), max_length=50)
    control_box: Seen | None = None
    actuator: Seen | None = None
    readings: PackReadings | Annotated[tuple[PackReadings, ...], Field(max_length=50)] | None = None
    could_hurt: StrictBool | None = None


def complaint_of(case: Case) -> str:
    """The symptom of a case that has one; to ask for it before is a mistake of the program."""
    if case.symptom is None:
        raise ValueError("came a case without a symptom, wanted one that was asked for it")
    return case.symptom


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
    acts: tuple[Act, ...] = ()
    forbids: tuple[Act, ...] = ()
    requires: tuple[Need, ...] = ()
    needs: tuple[str, ...] = ()
    risk: str | None = None
    how: tuple[str, ...] = ()
    minutes: float = 0.0
    opening_minutes: float = 0.0
    outcomes: tuple[OutcomeOut, ...]
    tells_apart: tuple[str, ...] = ()
    expected_minutes: float | None = None
    otherwise_minutes: float | None = None
    why: str = ""


PackState = Literal["good", "low", "failed", "cannot_say"]
"""Of a pack or a block; `low` is flat: to be charged before it is judged."""


class BlockOut(Section):
    """One block of the pack, in the order in which the blocks were read."""

    state: PackState
    charge_percent: tuple[float, float] | None
    resistance_mohm: tuple[float, float] | None


class VerdictOut(Section):
    """The verdict on battery readings; bands are [low, high].

    `after_steps`: how many of the case's steps came before the readings. `outdated`: the pack or its charging was
    worked on since, so that they judge nothing any more. `read`: what was judged, with earlier ones that still hold.
    """

    state: PackState
    charge_percent: tuple[float, float] | None
    resistance_mohm: tuple[float, float] | None
    lifts_left: tuple[float, float] | None
    because: tuple[Said, ...]
    contradictions: tuple[Said, ...]
    wants: tuple[Said, ...]
    blocks: tuple[BlockOut, ...] = ()
    after_steps: int = 0
    outdated: bool = False
    read: PackReadings


class Complaint(Section):
    """Whether the case is to be reported as one that hurt or could have hurt somebody, and why."""

    flagged: bool
    because: tuple[str, ...] = ()
    say: tuple[Advice, ...] = ()


class Troubleshooting(Section):
    """What is said first, what is probably wrong, which step comes next and why, and which part fits.

    `nothing_wrong`: the probability that no fault of the list is there, as after a mistake in use. While somebody is
    up: `find_out` is what would tell the mechanism, best first, and `passed_over` names what was not understood and is
    left out. `taken_back`: what was found, so that a lift that works again is not released. `sockets` are told of a
    lift that is being set up, `aftercare` once it works. `ask_first`: whether it is a lift at all, when the box is none
    that is listed; `not_this_tool`: it is another kind of aid, so that nothing else holds. `held_back`: of each
    component that is sure enough, why it is not confirmed at present.
    """

    schema_version: Literal["1"] = SCHEMA_VERSION
    catalogue: CatalogueInfo
    role: Role
    state: State
    safety: tuple[Advice, ...]
    lowering: LoweringAdvice | None = None
    find_out: tuple[Next, ...] = ()
    passed_over: tuple[str, ...] = ()
    taken_back: str | None = None
    faults: tuple[FaultOut, ...] = ()
    components: tuple[ComponentOut, ...] = ()
    nothing_wrong: float | None = None
    next: StepOut | None = None
    contradictions: tuple[Said, ...] = ()
    held_back: dict[str, str] = {}
    electricity: VerdictOut | None = None
    parts: tuple[PartsOut, ...] = ()
    options: tuple[OptionOut, ...] = ()
    sockets: tuple[SocketOut, ...] = ()
    aftercare: tuple[Advice, ...] = ()
    not_this_tool: NotThisToolOut | None = None
    ask_first: Next | None = None
    complaint: Complaint
    assumptions: tuple[str, ...] = ()

"""The one answer document: the command line prints it, the API returns it, the pages draw it."""

from collections.abc import Callable
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, WrapValidator

from classifier.messages import Message
from guidance.catalogue.acts import Act, Need
from guidance.catalogue.rows import Role

SCHEMA_VERSION: Final = "1"


Verdict = Literal["confirmed", "likely", "undecided", "unlisted", "not_seen"]
"""How firmly a component is concluded; `guidance/identify/decision.py` chooses."""


def _as_it_is(value: Any, check: Callable[[Any], str]) -> str:
    """A `Message` stays one, which a page can say in another language; anything else is checked as a string."""
    return value if isinstance(value, Message) else check(value)


Said = Annotated[str, WrapValidator(_as_it_is)]
"""A sentence of a document: a string in JSON, a `Message` where it was put together."""


class Section(BaseModel):
    """Base of every section of the document; field names are those of the JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, serialize_by_alias=True)


class CatalogueInfo(Section):
    id: str
    version: str


class TrainedOn(Section):
    synthetic: int
    owned_photos: int


class ModelInfo(Section):
    """Which networks read the photos; `coverage` is that of every prediction set."""

    version: str
    sha256: str
    trained_on: TrainedOn
    coverage: float = 0.95


class QualityOut(Section):
    usable: bool
    problems: tuple[str, ...]


class ConceptOut(Section):
    probabilities: dict[str, float]
    values: tuple[str, ...] = Field(alias="set")


class SubjectOut(Section):
    """`box` is left, top, right, bottom in fractions of the upright photo."""

    kind: str
    box: tuple[float, float, float, float]
    probability: float
    concepts: dict[str, ConceptOut]


class PhotoOut(Section):
    name: str
    width: int
    height: int
    quality: QualityOut
    subjects: tuple[SubjectOut, ...]


class ObservedOut(Section):
    id: str
    answer: str


class Because(Section):
    """One thing that a photo or an answer showed."""

    concept: str
    value: str
    source: str = Field(alias="from")


class Contradiction(Section):
    """Sources that cannot all be right about one feature, in words and one by one."""

    concept: str
    text: str
    sources: tuple[Because, ...]


class Component(Section):
    """What both components have. `favourite` is the most probable value, decided or not; null when nothing was seen.

    `held_back`: why this is not confirmed although it is sure enough; empty for every other answer.
    """

    decision: Verdict
    held_back: str = ""
    favourite: str | None
    probabilities: dict[str, float]
    values: tuple[str, ...] = Field(alias="set")
    because: tuple[Because, ...]
    contradictions: tuple[Contradiction, ...]

    @property
    def is_open(self) -> bool:
        """Whether it was seen, and more of it may be settled."""
        return self.decision in ("likely", "undecided")


class ControlBox(Component):
    generation: str | None


class Actuator(Component):
    lowering: str | None


class Next(Section):
    """The photo or question worth most now. `answers` maps each possible answer to its words; empty for a photo."""

    kind: Literal["photo", "question"]
    id: str
    ask: str
    why: str
    answers: dict[str, str]
    expected_gain_bits: float
    effort_min: float


class Advice(Section):
    """One sentence of advice with its source and the roles that may be told it.

    `acts`, `forbids`, `requires`, `keeps_away`, `once_down`: as in the catalogue (`rows.Sentence`), for programs.
    """

    id: str
    text: str
    source: str
    roles: tuple[Role, ...]
    signal: Literal["danger", "warning", "caution"] | None
    acts: tuple[Act, ...] = ()
    forbids: tuple[Act, ...] = ()
    requires: tuple[Need, ...] = ()
    keeps_away: bool = False
    once_down: bool = False


class CheckAdvice(Advice):
    """Something to look at, ask, swap or measure; `minutes` is how long it takes the role that is advised."""

    kind: Literal["question", "look", "swap", "measurement"]
    minutes: float
    risk: str | None


class LoweringAdvice(Section):
    """How to bring a person down; `basis` says whether `steps` belong to a confirmed mechanism or are safe for all.

    `outcomes`: what can be answered at each step, with its words. `current`: the step to try now, when answers came.
    """

    basis: Literal["confirmed", "open"]
    mechanisms: tuple[str, ...]
    steps: tuple[Advice, ...]
    outcomes: dict[str, str] = {}
    current: str | None = None


class PartOut(Section):
    """One orderable part. `fits` says for which generations and mechanisms."""

    id: str
    number: str
    name: str
    generations: tuple[str, ...]
    mechanisms: tuple[str, ...]
    accessory: bool = False
    specification: dict[str, str] = {}
    note: str
    source: str


class OptionOut(Advice):
    """What can be had for this lift, or done with it. `parts` stay empty until the box is confirmed."""

    available: bool
    parts: tuple[PartOut, ...] = ()


class SocketOut(Section):
    """One socket of the box. `takes` is None for one that stays empty; `wrong` is how a mistake shows."""

    id: str
    where: str
    takes: str | None
    wrong: str
    source: str


class NotThisToolOut(Section):
    """Another kind of aid: nothing of this tool holds for it. `say` is what to do instead."""

    id: str
    name: str
    say: tuple[Advice, ...]


class PartsOut(Section):
    """Which spare one component needs. `part` stays null while `ask` names what is missing."""

    component: str
    name: str
    part: PartOut | None
    substitutes: tuple[PartOut, ...] = ()
    supersedes: tuple[str, ...] = ()
    order_together: tuple[PartOut, ...] = ()
    do_not_mix: tuple[str, ...] = ()
    ask: tuple[str, ...] = ()
    confirm_before_order: tuple[Advice, ...] = ()
    one_more_photo: str = ""


class Guidance(Section):
    """What to do, in this order. `ask_first`: whether it is a lift at all, when the box is none that is listed."""

    safety: tuple[Advice, ...]
    lowering: LoweringAdvice
    checks: tuple[CheckAdvice, ...]
    parts: tuple[PartsOut, ...]
    options: tuple[OptionOut, ...] = ()
    sockets: tuple[SocketOut, ...] = ()
    not_this_tool: NotThisToolOut | None = None
    ask_first: Next | None = None


class Answer(Section):
    """What this is, and what to do now."""

    schema_version: Literal["1"] = SCHEMA_VERSION
    catalogue: CatalogueInfo
    model: ModelInfo
    role: Role
    photos: tuple[PhotoOut, ...]
    observations: tuple[ObservedOut, ...]
    control_box: ControlBox
    actuator: Actuator
    next: Next | None
    guidance: Guidance

"""The rows that a catalogue is made of, each frozen and checked on its own; `catalogue.py` checks them together."""

from difflib import get_close_matches
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

from classifier.taxonomy import CONTROL_BOX_CONCEPTS

Role = Literal["caregiver", "agent", "technician"]
"""Who is asked or advised: at the lift without training, on the telephone, or qualified to service lifts."""

ROLES: tuple[Role, ...] = get_args(Role)

UNSURE = "unsure"
"""The answer "don't know", open to every question; it says nothing either way."""

PERSON_IN_SLING = "person_in_sling"
"""The question whether somebody is in the sling or off the floor: every catalogue has it, answered yes or no."""

Identifier = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]*$")]
Probability = Annotated[float, Field(ge=0.0, le=1.0)]
OpenProbability = Annotated[float, Field(gt=0.0, lt=1.0)]
Share = Annotated[float, Field(gt=0.0, le=1.0)]
Minutes = Annotated[float, Field(gt=0.0)]
Text = Annotated[str, Field(min_length=1)]
Act = Annotated[str, Field(pattern=r"^[a-z_]+:[a-z_]+$")]


class Row(BaseModel):
    """Base of every catalogue row: immutable, and a field that it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Sentence(Row):
    """One sentence of advice: who may be told it, and where it comes from.

    `acts`: what it has somebody do, as "act:thing" (press:stop). `opposes`: acts after which it is not said any more,
    since it would order the opposite or need what was forbidden.
    """

    id: Identifier
    text: Text
    source: Text
    roles: tuple[Role, ...] = Field(default=ROLES, min_length=1)
    signal: Literal["danger", "warning", "caution"] | None = None
    acts: tuple[Act, ...] = ()
    opposes: tuple[Act, ...] = ()


class PlacedSentence(Sentence):
    """A sentence of the catalogue's general wording, and where in the answer it stands."""

    place: Literal["occupied_unknown", "lowering_before", "lowering_after", "lowering_open"]


class Pool(Row):
    """Whose lifts these are. `unlisted_share`: the share of control boxes that are of no listed generation."""

    id: Identifier
    version: Text
    title: Text
    note: str = ""
    unlisted_share: OpenProbability


class DecisionCosts(Row):
    """When a component is decided: the bars, and costs in minutes of everybody's time (see `decision.py`)."""

    ordering_bar: OpenProbability
    feature_bar: OpenProbability
    wrong_action_min: Minutes
    wrong_lead_min: Minutes
    question_min: Minutes
    undecided_min: Minutes


class Decisions(Row):
    """The decision costs of both components."""

    control_box: DecisionCosts
    actuator: DecisionCosts


class NextStep(Row):
    """What is assumed of a photo not yet taken, and the least information worth asking for."""

    reading_accuracy: OpenProbability
    repeat_visibility: Probability
    least_gain_bits: Annotated[float, Field(ge=0.0)]


class Generation(Row):
    """One generation of control box: its concept values, its share of the listed fleet, and traits no photo shows.

    `lowering_shares`: the mechanisms that this generation is paired with; left out, those of the whole fleet.
    """

    id: Identifier
    name: Text
    stop_position: Literal[CONTROL_BOX_CONCEPTS["stop_position"]]
    battery: Literal[CONTROL_BOX_CONCEPTS["battery"]]
    service_buttons: Literal[CONTROL_BOX_CONCEPTS["service_buttons"]]
    charge_display: Literal[CONTROL_BOX_CONCEPTS["charge_display"]]
    fleet_share: Share
    traits: dict[Identifier, Identifier] = {}
    lowering_shares: dict[Identifier, Probability] | None = None


class Mechanism(Row):
    """One lowering mechanism: its share of the fleet and what to do with it once it is confirmed."""

    id: Identifier
    name: Text
    fleet_share: Share
    steps: tuple[Sentence, ...] = Field(min_length=1)


class Observation(Row):
    """One plain question.

    `about` is a concept, a trait, `generation`, or nothing when the answer only describes the situation. `options` maps
    each answer's id to the words that are shown. `reliability[truth][answer]` is P(answer | truth), unsure aside.
    `effort_min` holds the roles that may be asked. `needs` names answers that must have been given before it is asked.
    """

    id: Identifier
    ask: Text
    about: Identifier | None = None
    options: dict[Identifier, Text] = Field(min_length=2)
    reliability: dict[Identifier, dict[Identifier, Probability]] = {}
    effort_min: dict[Role, Minutes] = {}
    needs: dict[Identifier, Identifier] = {}
    correction: bool = False


class WhichBox(Row):
    """The question which listed generation the box is most like; its options are the rows of `generations`.

    `reliability`: P(the right row | the box is listed); `none_reliability`: P("none of these" | it is not). Wrong
    answers spread evenly over the other options.
    """

    ask: Text
    none_of_these: Text
    reliability: OpenProbability
    none_reliability: OpenProbability
    effort_min: dict[Role, Minutes] = Field(min_length=1)


class Corrections(Row):
    """How far a person who corrects one concept is believed: P(the value that they name | truth is that value)."""

    reliability: OpenProbability


class View(Row):
    """One photo worth asking for: P(the concept's evidence is visible) per concept, and the effort per role."""

    id: Identifier
    ask: Text
    visible: dict[Identifier, Probability] = Field(min_length=1)
    effort_min: dict[Role, Minutes] = Field(min_length=1)


class ConceptWords(Row):
    """How a concept and its values are called in a sentence."""

    name: Text
    values: dict[Identifier, Text]


def nearest(given: str, known: "set[str] | tuple[str, ...] | list[str]") -> str:
    """Return "; did you mean 'x'?" for the known id most like `given`, or an empty string when none is like it."""
    close = get_close_matches(str(given), sorted(known), n=1)
    return f"; did you mean '{close[0]}'?" if close else ""

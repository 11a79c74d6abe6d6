"""The rows that a catalogue is made of, each frozen and checked on its own; `catalogue.py` checks them together."""

import re
from difflib import get_close_matches
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, field_validator

from classifier.taxonomy import CONTROL_BOX_CONCEPTS, SUBJECTS
from guidance.catalogue.acts import Act, Need

Role = Literal["caregiver", "agent", "technician"]
"""Who is asked or advised: at the lift without training, on the telephone, or qualified to service lifts."""

ROLES: tuple[Role, ...] = get_args(Role)

UNSURE = "unsure"
"""The answer "don't know", open to every question; it says nothing either way."""

PERSON_IN_SLING = "person_in_sling"
"""The question whether somebody is in the sling or off the floor: every catalogue has it, answered yes or no."""

Identifier = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]*$")]
Probability = Annotated[float, Field(ge=0.0, le=1.0, strict=True)]
OpenProbability = Annotated[float, Field(gt=0.0, lt=1.0, strict=True)]
Share = Annotated[float, Field(gt=0.0, le=1.0, strict=True)]
Minutes = Annotated[float, Field(gt=0.0, strict=True)]
Text = Annotated[str, Field(min_length=1)]
Flag = Annotated[bool, Field(strict=True)]


class Row(BaseModel):
    """Base of every catalogue row: immutable, and a field that it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True, allow_inf_nan=False)


class Sentence(Row):
    """One sentence of advice: who may be told it, and where it comes from.

    By the words of `acts.py`: `acts` is what it has somebody do, `forbids` what it forbids, `requires` what must hold.
    `keeps_away`: nobody touches the lift after it. `once_down`: it holds only when the person is down.
    """

    id: Identifier
    text: Text
    source: Text
    roles: tuple[Role, ...] = Field(default=ROLES, min_length=1)
    signal: Literal["danger", "warning", "caution"] | None = None
    acts: tuple[Act, ...] = ()
    forbids: tuple[Act, ...] = ()
    requires: tuple[Need, ...] = ()
    keeps_away: Flag = False
    once_down: Flag = False


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
    """When a component is decided: the thresholds, and costs in minutes of everybody's time (see `decision.py`).

    `held_back`: why nothing is confirmed of this component at present, however sure it is; empty while it may be.
    """

    ordering_threshold: OpenProbability
    feature_threshold: OpenProbability
    wrong_action_min: Minutes
    wrong_lead_min: Minutes
    question_min: Minutes
    undecided_min: Minutes
    held_back: str = ""


class Decisions(Row):
    """The decision costs of both components."""

    control_box: DecisionCosts
    actuator: DecisionCosts


class NextStep(Row):
    """What is assumed of a photo not yet taken, and the least information worth asking for."""

    reading_accuracy: OpenProbability
    repeat_visibility: Probability
    least_gain_bits: Annotated[float, Field(ge=0.0, strict=True)]


class PlateForm(Row):
    """What may stand on the rating plate of a control box; what is left out is not checked.

    `models`: its types as they are written there. `serial`: a regular expression for a whole serial number. `volts`:
    the voltage.
    """

    models: tuple[Text, ...] = ()
    serial: str = ""
    volts: Annotated[float, Field(gt=0.0)] | None = None

    @field_validator("serial")
    @classmethod
    def _is_an_expression(cls, serial: str) -> str:
        try:
            re.compile(serial)
        except re.error as error:
            wanted = "one such as [A-Z]{2}[0-9]{6}"
            raise ValueError(f"{serial!r} is no regular expression ({error}); write {wanted}") from error
        return serial


class Generation(Row):
    """One generation of control box: its concept values, its share of the listed fleet, and traits no photo shows.

    `lowering_shares`: the mechanisms that this generation is paired with; left out, those of the whole fleet.
    `plate`: what may stand on its rating plate.
    """

    id: Identifier
    name: Text
    # The taxonomy's words, which are typed nowhere a second time.
    stop_position: Literal[CONTROL_BOX_CONCEPTS["stop_position"]]  # type: ignore[valid-type,name-defined]
    battery: Literal[CONTROL_BOX_CONCEPTS["battery"]]  # type: ignore[valid-type,name-defined]
    service_buttons: Literal[CONTROL_BOX_CONCEPTS["service_buttons"]]  # type: ignore[valid-type,name-defined]
    charge_display: Literal[CONTROL_BOX_CONCEPTS["charge_display"]]  # type: ignore[valid-type,name-defined]
    fleet_share: Share
    traits: dict[Identifier, Identifier] = {}
    lowering_shares: dict[Identifier, Probability] | None = None
    plate: PlateForm | None = None


class Mechanism(Row):
    """One lowering mechanism: its share of the fleet and what to do with it once it is confirmed.

    `with_stop_pressed`: it lowers the arm while the emergency stop is pressed in, too.
    """

    id: Identifier
    name: Text
    fleet_share: Share
    with_stop_pressed: Flag = False
    steps: tuple[Sentence, ...] = Field(min_length=1)


class Observation(Row):
    """One plain question.

    `about` is a concept, a trait, `generation`, or nothing when the answer only describes the situation. `options` maps
    each answer's id to the words that are shown. `reliability[truth][answer]` is P(answer | truth), unsure aside.
    `effort_min` holds the roles that may be asked. `needs` names answers that must have been given before it is asked.
    `look` is what one looks at to answer, left out: the thing itself. What one person says of one feature from one look
    is one source, however many questions they answer; a label beside the thing is another look. `shown_by` is a subject
    of photos: one that shows it lets the question be answered by looking at the photo.
    """

    id: Identifier
    ask: Text
    about: Identifier | None = None
    options: dict[Identifier, Text] = Field(min_length=2)
    reliability: dict[Identifier, dict[Identifier, Probability]] = {}
    effort_min: dict[Role, Minutes] = {}
    needs: dict[Identifier, Identifier] = {}
    correction: Flag = False
    look: Identifier | None = None
    shown_by: Literal[SUBJECTS] | None = None  # type: ignore[valid-type]  # the taxonomy's words


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


def meant(given: str, known: "set[str] | tuple[str, ...] | list[str]") -> str:
    """The known id that was meant or, where none is like what was given, all of them."""
    return nearest(given, known) or (f"; there are {', '.join(sorted(known))}" if known else "; there are none yet")

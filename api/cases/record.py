"""What was said in a triage conversation, in order: the record that it resumes from."""

import json
import os
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from classifier.errors import CaseError
from guidance.catalogue.rows import Role
from guidance.documents.answer import CatalogueInfo
from guidance.documents.case import Case, Done, Observation, Seen
from guidance.electricity.verdict import PackReadings
from guidance.safety.sentences import NO_SIGN


class Event(BaseModel):
    """One thing that was said. `kind` says what it answers, `id` which question or step, `answer` what came."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: Literal[
        "person_in_sling", "danger_signs", "symptom", "context", "step", "observation", "readings", "could_hurt"
    ]
    id: str = ""
    answer: str = ""
    readings: PackReadings | None = None


class Record(BaseModel):
    """A conversation so far. `control_box` and `actuator` are those of an identification, when one was given."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    schema_version: Literal["1"] = "1"
    catalogue: CatalogueInfo
    role: Role
    control_box: Seen | None = None
    actuator: Seen | None = None
    events: tuple[Event, ...] = ()

    def after(self, event: Event) -> "Record":
        """The record with one more thing said."""
        return self.model_copy(update={"events": (*self.events, event)})

    def before_last(self) -> "Record":
        """The record without the last thing said."""
        return self.model_copy(update={"events": self.events[:-1]})

    def case(self) -> Case:
        """What is known of the lift by now; of two answers to one question the later holds."""
        said = {event.kind: event.answer for event in self.events}
        danger = said.get("danger_signs")
        observations = {event.id: event.answer for event in self.events if event.kind == "observation"}
        return Case(
            catalogue=self.catalogue,
            role=self.role,
            person_in_sling=said.get("person_in_sling", "unsure"),
            danger_signs=None if danger is None else () if danger == NO_SIGN else tuple(danger.split(",")),
            symptom=said.get("symptom"),
            context={event.id: event.answer for event in self.events if event.kind == "context"},
            done=tuple(Done(id=event.id, outcome=event.answer) for event in self.events if event.kind == "step"),
            observations=tuple(Observation(id=key, answer=value) for key, value in observations.items()),
            control_box=self.control_box,
            actuator=self.actuator,
            could_hurt={"yes": True, "no": False}.get(said.get("could_hurt", "")),
            readings=next((event.readings for event in reversed(self.events) if event.kind == "readings"), None),
        )


def load_record(path: Path) -> Record:
    """Read a record. Raises `CaseError` when the file is none."""
    try:
        return Record.model_validate_json(path.read_bytes())
    except OSError as error:
        raise CaseError(f"{path}: {error.strerror}. Name a record of `hoistlore triage`.") from None
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"])) or "the file"
        raise CaseError(f"{path}: no record of `hoistlore triage`: {where}: {first['msg']}. Start a new one.") from None


def save_record(record: Record, path: Path) -> None:
    """Write a record whole or not at all, so that an interruption leaves the one before."""
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_text(json.dumps(record.model_dump(mode="json", by_alias=True), indent=2) + "\n", encoding="utf-8")
        os.replace(beside, path)
    except OSError as error:
        raise CaseError(f"{path}: {error.strerror}. Name a file in a folder that can be written to.") from None

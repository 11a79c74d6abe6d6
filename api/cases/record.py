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
from guidance.documents.strict_json import loads
from guidance.electricity.readings import PackReadings
from guidance.safety.sentences import NO_SIGN


class Event(BaseModel):
    """One thing that was said. `kind` says what it answers, `id` which question or step, `answer` what came."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: Literal[
        "person_in_sling", "danger_signs", "symptom", "context", "step", "observation", "readings", "could_hurt",
        "way_down",
    ]  # fmt: skip
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
        """What is known of the lift by now; of two answers to one question the later holds, but danger signs add up."""
        said = {event.kind: event.answer for event in self.events}
        signs = [sign for event in self.events if event.kind == "danger_signs" for sign in event.answer.split(",")]
        observations = {event.id: event.answer for event in self.events if event.kind == "observation"}
        return Case(
            catalogue=self.catalogue,
            role=self.role,
            person_in_sling=said.get("person_in_sling", "unsure"),
            danger_signs=tuple(dict.fromkeys(sign for sign in signs if sign != NO_SIGN)) if signs else None,
            symptom=said.get("symptom"),
            context={event.id: event.answer for event in self.events if event.kind == "context"},
            done=tuple(Done(id=event.id, outcome=event.answer) for event in self.events if event.kind == "step"),
            lowered=self._lowered(),
            observations=tuple(Observation(id=key, answer=value) for key, value in observations.items()),
            control_box=self.control_box,
            actuator=self.actuator,
            could_hurt={"yes": True, "no": False}.get(said.get("could_hurt", "")),
            readings=self._readings() or None,
        )

    def _readings(self) -> tuple[PackReadings, ...]:
        """All meter readings, each with the steps that it came after; of several between two steps the last."""
        taken: dict[int, PackReadings] = {}
        steps = 0
        for event in self.events:
            steps += event.kind == "step"
            if event.readings is not None:
                taken[steps] = event.readings.model_copy(update={"after_steps": steps})
        return tuple(taken.values())

    def _lowered(self) -> tuple[Done, ...]:
        """How the steps of the way down turned out since it was said last that somebody is up."""
        tried: list[Done] = []
        for event in self.events:
            if event.kind == "person_in_sling":
                tried = []
            elif event.kind == "way_down":
                tried.append(Done(id=event.id, outcome=event.answer))
        return tuple(tried)


def load_record(path: Path) -> Record:
    """Read a record. Raises `CaseError` when the file is none."""
    try:
        return Record.model_validate(loads(path.read_bytes()))
    except OSError as error:
        raise CaseError(f"{path}: {error.strerror}. Name a record of `hoistlore triage`.") from None
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"])) or "the file"
        raise CaseError(f"{path}: no record of `hoistlore triage`: {where}: {first['msg']}. Start a new one.") from None
    except (ValueError, RecursionError) as error:
        raise CaseError(f"{path}: no record of `hoistlore triage`: the file: {error}. Start a new one.") from None


def save_record(record: Record, path: Path) -> None:
    """Write a record whole or not at all, so that an interruption leaves the one before."""
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_text(json.dumps(record.model_dump(mode="json", by_alias=True), indent=2) + "\n", encoding="utf-8")
        os.replace(beside, path)
    except OSError as error:
        raise CaseError(f"{path}: {error.strerror}. Name a file in a folder that can be written to.") from None

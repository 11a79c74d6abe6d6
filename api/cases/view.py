"""What a case comes to: its events folded into what is known, and from that the answer and the next question."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.cases.photos import CasePhoto, photos_of
from api.cases.record import Event, Record
from api.cases.store import CaseEvent, CaseRow, CaseStore
from api.commands.triage import ASK_HURT
from api.identification import Resources, answer_for
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.rows import PERSON_IN_SLING, Role
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.answer import Answer, CatalogueInfo
from guidance.documents.case import Seen, StepOut, Troubleshooting
from guidance.electricity.verdict import PackReadings
from guidance.identify.evidence import Observed
from guidance.identify.identified import Identified, identified
from guidance.safety.sentences import ASK_SLING

ANSWERS = ("person_in_sling", "danger_signs", "symptom", "context", "step", "observation", "could_hurt", "readings")
"""Kinds of event that answer a question; `api/cases/record.py` knows what each means."""

NO_PHOTO, WENT_ON, UNDO, PHOTO = "no_photo", "went_on", "undo", "photo"
"""Going on without a photo; going on from what the photo showed; taking the last answer back; a photo came."""

HANDED_OVER, CLOSED = "handed_over", "closed"
"""A technician takes the case on; the case is over, with the fault that was confirmed."""

PLATE = "plate"
"""What the code on a rating plate says: article, serial number, production date."""

BASKET, CHECKED = "basket", "checked"
"""So many of one part are to be ordered; one sentence of what is confirmed before ordering holds, or not."""

UNDOABLE = (PLATE, *ANSWERS, NO_PHOTO, WENT_ON, PHOTO, HANDED_OVER, CLOSED, BASKET, CHECKED)


@dataclass(frozen=True)
class Question:
    """One thing to ask: the kind and id under which the answer is recorded, and the answers with their words."""

    kind: str
    id: str
    ask: str
    why: str
    answers: dict[str, str]
    step_kind: str = ""
    risk: str = ""
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class CaseView:
    """A case as one role sees it. `identification` is None while there is nothing to identify from.

    `lift`: what is confirmed of the lift, and what is still possible.
    """

    row: CaseRow
    photos: tuple[CasePhoto, ...]
    live: tuple[CaseEvent, ...]
    identification: Answer | None
    help: Troubleshooting
    which_box: Question
    lift: Identified

    def said(self, kind: str) -> bool:
        """Whether something of this kind was said and not taken back."""
        return any(event.kind == kind for event in self.live)

    @property
    def stage(self) -> str:
        """Which page comes now: `down`, `question`, `photo`, `answer` or `end`."""
        if self.help.state == "bring_down":
            return "down"
        if self.help.next is not None and self.help.next.id == "danger_signs":
            return "question"
        if self.help.state in ("out_of_use", "release"):
            return "end" if self.said("could_hurt") else "question"
        if not self.photos and not self.said(NO_PHOTO):
            return "photo"
        if self.photos and not self.said(WENT_ON):
            return "answer"
        return "end" if self.help.state == "hand_over" and self._box_asked else "question"

    @property
    def question(self) -> Question | None:
        """What is asked now, in the words of the catalogue."""
        if self.stage == "answer":
            return self._about_the_lift()
        if self.stage != "question":
            return None
        step = self.help.next
        if self.help.state in ("out_of_use", "release"):
            return Question("could_hurt", "could_hurt", ASK_HURT.text, ASK_HURT.why, _words(ASK_HURT))
        if not self._box_asked and self.help.state != "ask":
            return self.which_box
        return _asked_by(step)

    @property
    def _box_asked(self) -> bool:
        """Whether the box was seen, or it was asked already which it is."""
        seen = self.identification is not None and self.identification.control_box.decision != "not_seen"
        return seen or any(e.kind == "observation" and e.said["id"] == WHICH_BOX for e in self.live)

    @property
    def to_ask(self) -> Question | None:
        """What an agent reads aloud now; a photo is asked for beside it, never instead."""
        step = self.help.next
        if self.said(CLOSED):
            return None
        if self.help.state == "bring_down":
            return Question(PERSON_IN_SLING, PERSON_IN_SLING, ASK_SLING.text, ASK_SLING.why, _words(ASK_SLING))
        if self.help.state in ("out_of_use", "release"):
            asked = self.said("could_hurt")
            words = _words(ASK_HURT)
            return None if asked else Question("could_hurt", "could_hurt", ASK_HURT.text, ASK_HURT.why, words)
        if self.help.state != "ask" and not self._box_asked:
            return self.which_box
        return None if step is None or self.help.state == "hand_over" else _asked_by(step)

    def _about_the_lift(self) -> Question | None:
        step = self.identification.next if self.identification else None
        if step is None or step.kind != "question":
            return None
        return Question("observation", step.id, step.ask, step.why, dict(step.answers))

    def summary(self) -> dict[str, object]:
        """What was known, small enough to be kept beside every event."""
        found = self.identification
        return {
            "catalogue": f"{self.help.catalogue.id} {self.help.catalogue.version}",
            "model": found.model.version if found else None,
            "state": self.help.state,
            "control_box": [found.control_box.decision, found.control_box.favourite] if found else None,
            "actuator": [found.actuator.decision, found.actuator.favourite] if found else None,
            "likeliest": [[c.id, round(c.probability, 4)] for c in self.help.components[:3]],
        }


def view(row: CaseRow, store: CaseStore, resources: Resources, role: Role) -> CaseView:
    """Fold a case for one role. Raises a `CaseError` when the catalogue no longer knows what was said."""
    live = in_force(row.events)
    kept = {photo.id: photo for photo in photos_of(store, row.id)}
    # In the order of the events, whatever a clock said.
    shown = dict.fromkeys(str(event.said["id"]) for event in live if event.kind == PHOTO)
    photos = tuple(kept[id_] for id_ in shown if id_ in kept)
    observed = _observed(live, resources)
    found = answer_for([p.reading for p in photos], observed, role, resources) if photos or observed else None
    record = _record(live, found, resources, role)
    case = record.case()
    case_help, lift = troubleshoot(case, resources.catalogue), identified(case, resources.catalogue)
    return CaseView(row, photos, live, found, case_help, _which_box(resources), lift)


def in_force(events: Sequence[CaseEvent]) -> tuple[CaseEvent, ...]:
    """The events that hold: an undo takes the last one back that it may; a caregiver's only a caregiver's."""
    live: list[CaseEvent] = []
    for event in events:
        if event.kind != UNDO:
            live.append(event)
            continue
        last = next((e for e in reversed(live) if e.version > 1 and _may_take_back(event, e)), None)
        if last is not None:
            live.remove(last)
    return tuple(live)


def _may_take_back(undo: CaseEvent, event: CaseEvent) -> bool:
    return event.kind in UNDOABLE and (undo.role != "caregiver" or event.role == "caregiver")


def _which_box(resources: Resources) -> Question:
    row = resources.catalogue.observations_by_id[WHICH_BOX]
    return Question("observation", WHICH_BOX, row.ask, "", dict(row.options))


def _observed(live: Sequence[CaseEvent], resources: Resources) -> list[Observed]:
    """Of several answers to one question the last holds."""
    answers = {e.said["id"]: e.said["answer"] for e in live if e.kind == "observation"}
    occupied = next((e.said["answer"] for e in reversed(live) if e.kind == PERSON_IN_SLING), "unsure")
    if answers and PERSON_IN_SLING in resources.catalogue.observations_by_id:
        answers = {PERSON_IN_SLING: occupied, **answers}
    return [Observed(str(key), str(answer)) for key, answer in answers.items()]


def _record(live: Sequence[CaseEvent], found: Answer | None, resources: Resources, role: Role) -> Record:
    pool = resources.catalogue.pool
    said = tuple(
        Event(
            kind=e.kind,
            id=str(e.said.get("id", "")),
            answer=str(e.said.get("answer", "")),
            readings=PackReadings.model_validate(e.said["readings"]) if e.kind == "readings" else None,
        )
        for e in live
        if e.kind in ANSWERS
    )
    record = Record(catalogue=CatalogueInfo(id=pool.id, version=pool.version), role=role, events=said)
    if found is None:
        return record
    box, head = (Seen.model_validate(part.model_dump(by_alias=True)) for part in (found.control_box, found.actuator))
    return record.model_copy(update={"control_box": box, "actuator": head})


def _asked_by(step: StepOut) -> Question:
    kind = {"safety_question": step.id, "context": "context"}.get(step.kind, "step")
    return Question(kind, step.id, step.text, step.why, _words(step), step.kind, step.risk or "", tuple(step.needs))


def _words(step: StepOut) -> dict[str, str]:
    return {outcome.id: outcome.words for outcome in step.outcomes}

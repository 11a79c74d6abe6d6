"""What a case comes to: its events folded into what is known, and from that the answer and the next question."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.cases.events import (
    ANSWERS,
    CLOSED,
    NO_PHOTO,
    PHOTO,
    WAY_DOWN,
    WENT_ON,
    CaseEvent,
    in_force,
    occupied,
    up_since,
)
from api.cases.learned.consent import may_be_learned_from
from api.cases.photos import CasePhoto, photos_of
from api.cases.record import Event, Record
from api.cases.store import CaseRow, CaseStore
from api.identification import Resources, answer_for, next_about_box_for
from classifier.taxonomy import CONTROL_BOX
from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.derived_questions import WHICH_BOX
from guidance.catalogue.rows import PERSON_IN_SLING, UNSURE, Role
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.answer import Answer, CatalogueInfo, Next
from guidance.documents.case import Done, Observation, Seen, StepOut, Troubleshooting
from guidance.electricity.readings import PackReadings
from guidance.identify.identified import Identified, identified
from guidance.identify.sources import Observed
from guidance.safety.sentences import ASK_HURT, ASK_SLING
from guidance.safety.way_down import lowering_sentences

BY_TELEPHONE = ("agent",)
"""Roles that ask somebody who sees no drawings."""

TELLS_BOX = "It tells which control box this lift has."

MOST_FEATURES = 4
"""So many features of the box are asked for by telephone before the first step, which waits for them."""


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

    `about_box`: what is asked of the box before the first step; None once that was. `at_the_box`: what settles the box
    best, for a caregiver who has just photographed it from two sides and stands there. `lift`: what is confirmed of the
    lift, and what is still possible. `find_out`: the look that tells, while somebody is up, how the arm is lowered by
    hand; None once that is confirmed or nothing is left to ask.
    """

    row: CaseRow
    photos: tuple[CasePhoto, ...]
    live: tuple[CaseEvent, ...]
    identification: Answer | None
    help: Troubleshooting
    about_box: Question | None
    lift: Identified
    find_out: Question | None
    at_the_box: Question | None = None

    def said(self, kind: str) -> bool:
        """Whether something of this kind was said and not taken back."""
        return any(event.kind == kind for event in self.live)

    @property
    def may_learn(self) -> tuple[str, ...]:
        """The photos that may be learned from."""
        return may_be_learned_from(self.live)

    @property
    def up(self) -> bool:
        """Whether somebody said that somebody is up, or did not know, and nobody said that they are down."""
        return self.row.up_since_ms is not None

    @property
    def held_back(self) -> tuple[str, ...]:
        """Why what is sure enough is not confirmed at present, each reason once; mostly none."""
        found = self.identification
        own = (found.control_box.held_back, found.actuator.held_back) if found else ()
        return tuple(dict.fromkeys(filter(None, (*own, *self.help.held_back.values()))))

    @property
    def stage(self) -> str:
        """Which page comes now: `down`, `question`, `photo`, `answer` or `end`."""
        if self.help.state == "bring_down":
            return "down"
        if self.help.next is not None and self.help.next.id == "danger_signs":
            return "question"
        if self.help.not_this_tool is not None:
            return "end"
        if self.help.state in ("out_of_use", "release"):
            return "end" if self.said("could_hurt") else "question"
        if not self.photos and not self.said(NO_PHOTO):
            return "photo"
        if self.photos and not self.said(WENT_ON):
            return "answer"
        if self._aid is not None:
            return "question"
        return "end" if self.help.state == "hand_over" and self.about_box is None else "question"

    @property
    def question(self) -> Question | None:
        """What is asked now, in the words of the catalogue."""
        if self.stage == "down":
            return self.find_out
        if self.stage == "answer":
            return self._about_the_lift()
        if self.stage != "question":
            return None
        step = self.help.next
        if self.help.state in ("out_of_use", "release"):
            return Question("could_hurt", "could_hurt", ASK_HURT.text, ASK_HURT.why, _words(ASK_HURT))
        if self.about_box is not None and self.help.state != "ask":
            return self.about_box
        return self._aid or _asked_by(step)

    @property
    def _aid(self) -> Question | None:
        """Whether it is a lift at all, asked of a box that is none of those listed."""
        ask = self.help.ask_first if self.help.state in ("next_step", "hand_over") else None
        return None if ask is None else Question("observation", ask.id, ask.ask, ask.why, dict(ask.answers))

    @property
    def to_ask(self) -> Question | None:
        """What an agent reads aloud now; a photo is asked for beside it, never instead."""
        step = self.help.next
        if self.said(CLOSED) and self.help.state != "bring_down":
            return None
        if self.help.state == "bring_down" and self.up and self.find_out is not None:
            return self.find_out
        if self.help.state == "bring_down":
            return Question(PERSON_IN_SLING, PERSON_IN_SLING, ASK_SLING.text, ASK_SLING.why, _words(ASK_SLING))
        if self.help.state in ("out_of_use", "release"):
            asked = self.said("could_hurt")
            words = _words(ASK_HURT)
            return None if asked else Question("could_hurt", "could_hurt", ASK_HURT.text, ASK_HURT.why, words)
        if self.help.not_this_tool is not None:
            return None
        if self.help.state != "ask" and self.about_box is not None:
            return self.about_box
        if self._aid is not None:
            return self._aid
        return None if step is None or self.help.state == "hand_over" else _asked_by(step)

    def _about_the_lift(self) -> Question | None:
        return self.at_the_box or _as_question(self.identification.next if self.identification else None)

    def summary(self) -> dict[str, object]:
        """What was known, small enough to be kept beside every event."""
        found = self.identification
        return {
            "catalogue": f"{self.help.catalogue.id} {self.help.catalogue.version}",
            "model": found.model.version if found else None,
            "state": self.help.state,
            "control_box": [found.control_box.decision, found.control_box.favourite] if found else None,
            "actuator": [found.actuator.decision, found.actuator.favourite] if found else None,
            **(_stated(found) if found else {}),
            "likeliest": [[c.id, round(c.probability, 4)] for c in self.help.components[:3]],
        }


def _stated(found: Answer) -> dict[str, object]:
    """How sure each component's favourite was, and which would have been confirmed but for what is held back."""
    parts = {"control_box": found.control_box, "actuator": found.actuator}
    stated = {name: round(part.probabilities[part.favourite], 6) for name, part in parts.items() if part.favourite}
    return {"stated": stated, "held_back": [name for name, part in parts.items() if part.held_back]}


def view(row: CaseRow, store: CaseStore, resources: Resources, role: Role) -> CaseView:
    """Fold a case for one role. Raises a `CaseError` when the catalogue no longer knows what was said."""
    live = in_force(row.events)
    kept = {photo.id: photo for photo in photos_of(store, row.id)}
    # In the order of the events, whatever a clock said.
    shown = dict.fromkeys(str(event.said["id"]) for event in live if event.kind == PHOTO)
    photos = tuple(kept[id_] for id_ in shown if id_ in kept)
    observed = _observed(row, live, resources)
    found = answer_for([p.reading for p in photos], observed, role, resources) if photos or observed else None
    record = _record(live, found, resources, role)
    own = tuple(Observation(id=o.id, answer=o.answer, by=o.by) for o in observed if o.id != PERSON_IN_SLING)
    case = record.case().model_copy(
        update={
            "person_in_sling": occupied(live),
            "observations": own,
            "lowered": _lowered(row, live, resources.catalogue),
        }
    )
    case_help, lift = troubleshoot(case, resources.catalogue), identified(case, resources.catalogue)
    asked = _about_box(live, observed, found, photos, role, resources)
    at_the_box, stands_there = None, role == "caregiver" and _just_shown_from_two_sides(photos, live)
    if stands_there and found is not None and found.control_box.is_open and up_since(live) is None:
        at_the_box = _as_question(next_about_box_for([p.reading for p in photos], observed, role, resources))
    return CaseView(row, photos, live, found, case_help, asked, lift, find_out(case_help), at_the_box)


def _as_question(step: Next | None, why: str | None = None) -> Question | None:
    if step is None or step.kind != "question":
        return None
    return Question("observation", step.id, step.ask, step.why if why is None else why, dict(step.answers))


def _just_shown_from_two_sides(photos: Sequence[CasePhoto], live: Sequence[CaseEvent]) -> bool:
    """Whether the last that happened is a photo, and two of them show the box."""
    shown = sum(any(s.kind == CONTROL_BOX for s in photo.reading.subjects) for photo in photos)
    return shown >= 2 and live[-1].kind == PHOTO


def _about_box(
    live: Sequence[CaseEvent],
    observed: Sequence[Observed],
    found: Answer | None,
    photos: Sequence[CasePhoto],
    role: Role,
    resources: Resources,
) -> Question | None:
    """What is asked of the box before the first step: with drawings which it is; by telephone a few single features."""
    said = {str(event.said["id"]) for event in live if event.kind == "observation"}
    decision = found.control_box.decision if found is not None else "not_seen"
    catalogue = resources.catalogue
    if WHICH_BOX in said:
        return None
    if role not in BY_TELEPHONE:
        row = catalogue.observations_by_id[WHICH_BOX]
        return Question("observation", WHICH_BOX, row.ask, "", dict(row.options)) if decision == "not_seen" else None
    features = {row.id for row in catalogue.observations if row.about not in (None, "lowering")}
    if decision not in ("not_seen", "undecided") or len(said & features) >= MOST_FEATURES:
        return None
    # A question that was answered, if only by "don't know", is not offered again: nobody compares by telephone.
    asked = [*observed, Observed(WHICH_BOX, UNSURE)]
    if not any(one.id == PERSON_IN_SLING for one in asked):
        asked.append(Observed(PERSON_IN_SLING, "no"))
    best = answer_for([photo.reading for photo in photos], asked, role, resources).next
    if best is None or best.id not in features:
        return None
    return _as_question(best, why=TELLS_BOX)


def find_out(case_help: Troubleshooting) -> Question | None:
    """The question that tells best how the arm is lowered by hand; None once that is confirmed or nothing is left."""
    return _as_question(next((ask for ask in case_help.find_out if ask.kind == "question"), None), why="")


def _observed(row: CaseRow, live: Sequence[CaseEvent], resources: Resources) -> list[Observed]:
    """Of several answers to one question the last holds; whether somebody is up is what the case comes to.

    While somebody is up, an answer that this catalogue does not know is passed over: it never stands before the way
    down.
    """
    said = {str(e.said["id"]): e for e in live if e.kind == "observation" and e.said["id"] != PERSON_IN_SLING}
    answers = [Observed(key, str(e.said["answer"]), _looked(e)) for key, e in said.items()]
    up = up_since(row.events) is not None
    if up:
        answers = [answer for answer in answers if _known(answer, resources.catalogue)]
    if answers or up:
        answers.insert(0, Observed(PERSON_IN_SLING, "yes" if up else occupied(live), "caregiver"))
    return answers


def _lowered(row: CaseRow, live: Sequence[CaseEvent], catalogue: Catalogue) -> tuple[Done, ...]:
    """How the steps of the way down turned out since somebody is up; what was tried another time says nothing now.

    What was said of a step that this catalogue does not have still counts: of none in particular.
    """
    since, known = row.up_since_ms, {sentence.id for sentence in lowering_sentences(catalogue)}
    tried = (e for e in live if e.kind == WAY_DOWN and since is not None and e.at_ms >= since)
    said = ((str(e.said["id"]), str(e.said["answer"])) for e in tried)
    return tuple(Done(id=id_ if id_ in known else "", outcome=answer) for id_, answer in said)


def _looked(event: CaseEvent) -> Role:
    """Who looked: a technician looks for themselves; an agent writes down what the person at the lift says."""
    return "technician" if event.role == "technician" else "caregiver"


def _known(observed: Observed, catalogue: Catalogue) -> bool:
    row = catalogue.observations_by_id.get(observed.id)
    return row is not None and observed.answer in (*row.options, UNSURE)


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

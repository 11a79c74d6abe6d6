"""How far a survey is: each lift's case folded into its wanted views, the readings nobody spoke of, and what lacks."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from api.cases.events import PHOTO, VIEW, CaseEvent, in_force
from api.cases.photos import CasePhoto, photos_of
from api.cases.store import CaseStore, NoSuchCase
from api.guide.framing import View
from api.monitor.judged import ROLE, readings_of, words_of
from api.surveys.register import SurveyLift
from api.surveys.wanted import CODE, GOOD, KEPT, NOT_YET, SKIPPED, WANTED
from classifier.taxonomy import CONCEPTS
from guidance.monitor.checked import HIDDEN, Shown
from guidance.monitor.shares import Share

ENOUGH = (GOOD, KEPT)
MANY = 30
"""From so many checked lifts on it is said what they prove."""


@dataclass(frozen=True)
class ViewState:
    """How one wanted view is by now; `photo_id` of the photo that counts, if one was kept."""

    view: View
    state: str
    photo_id: str

    @property
    def enough(self) -> bool:
        return self.state in ENOUGH

    @property
    def open(self) -> bool:
        """Whether somebody should still go there: a view that cannot be photographed is missing and yet not open."""
        return not self.enough and self.state != SKIPPED


@dataclass(frozen=True)
class LiftState:
    """One lift as it stands. `place` counts from 1; `shown`: its readings, held against what a technician says.

    `unsaid`: concepts that a photo shows and nobody spoke of. `same_as`: the place of the earlier lift with this
    number, 0 for none; `gone`: its case was deleted. `code`: what was wrong with the photo of its code, while it has
    no number.
    """

    lift: SurveyLift
    place: int
    views: tuple[ViewState, ...]
    photos: int
    shown: tuple[Shown, ...] = ()
    unsaid: tuple[str, ...] = ()
    code: str = ""
    same_as: int = 0
    gone: bool = False

    @property
    def clash(self) -> bool:
        """Whether somebody has to say if it is the earlier lift."""
        return bool(self.same_as) and not self.lift.joined

    @property
    def missing(self) -> tuple[ViewState, ...]:
        return tuple(one for one in self.views if not one.enough)

    @property
    def next_view(self) -> ViewState | None:
        """The first view that somebody should still take."""
        return next((one for one in self.views if one.open), None)

    @property
    def whole(self) -> bool:
        """Whether nothing is left to do at this lift."""
        return bool(self.lift.number) and not (self.clash or self.missing or self.unsaid)


def states_of(store: CaseStore, lifts: Iterable[SurveyLift]) -> list[LiftState]:
    """Every lift of a survey, in order; what is an earlier lift by somebody's word has what that one has as well."""
    states: list[LiftState] = []
    for place, lift in enumerate(lifts, 1):
        own = _state(store, lift, place)
        first = next((one for one in states if lift.key and one.lift.key == lift.key and not one.gone), None)
        states.append(replace(own, same_as=first.place) if first else own)
        if first and lift.joined and not own.gone:
            states[first.place - 1] = replace(states[first.place - 1], views=_both(first.views, own.views))
    return [replace(one, views=()) if one.lift.joined and one.same_as else one for one in states]


def counted(states: Sequence[LiftState]) -> list[LiftState]:
    """The lifts that there are: one that is an earlier one counts with that."""
    return [one for one in states if not one.gone and not (one.lift.joined and one.same_as)]


def proven(states: Sequence[LiftState]) -> dict[str, Share]:
    """Of each concept on how many lifts it was read right, of those whose readings a technician spoke of."""
    right: dict[str, list[bool]] = {}
    for state in counted(states):
        for each in state.shown:
            if each.right is not None:
                right.setdefault(each.about, []).append(each.right)
    return {about: Share(sum(right[about]), len(right[about])) for about in CONCEPTS if about in right}


def whole_lifts(states: Sequence[LiftState]) -> Share:
    """On how many lifts every reading that was spoken of was right."""
    checked = [[each.right for each in one.shown if each.right is not None] for one in counted(states)]
    return Share(sum(all(rights) for rights in checked if rights), sum(bool(rights) for rights in checked))


def lifts_to_show(least: float) -> int:
    """How many lifts without a mistake it takes until the interval of their share begins at `least`."""
    n = 1
    while Share(n, n).interval[0] < least:
        n += 1
    return n


def _state(store: CaseStore, lift: SurveyLift, place: int) -> LiftState:
    try:
        live = in_force(store.by_id(lift.case_id).events)
    except NoSuchCase:
        return LiftState(lift, place, (), 0, gone=True)
    own = {photo.id: photo for photo in photos_of(store, lift.case_id)}
    there = dict.fromkeys(str(event.said["id"]) for event in live if event.kind == PHOTO)
    photos = [own[id_] for id_ in there if id_ in own]
    said = [event for event in live if event.kind == VIEW]
    views = tuple(_view(view, said, own) for view in WANTED)
    shown, unsaid = _readings(photos, live)
    code = "" if lift.number else next((str(e.said["answer"]) for e in reversed(said) if e.said["id"] == CODE), "")
    return LiftState(lift, place, views, len(photos), shown, unsaid, code)


def _view(view: View, said: Sequence[CaseEvent], photos: Mapping[str, CasePhoto]) -> ViewState:
    """The last photo that is good or was kept as it is counts, whatever was tried after it."""
    own = [event.said for event in said if event.said["id"] == view.id]
    last = next((one for one in reversed(own) if one["answer"] in ENOUGH), own[-1] if own else None)
    if last is None:
        return ViewState(view, NOT_YET, "")
    photo_id = str(last.get("photo", ""))
    return ViewState(view, str(last["answer"]), photo_id if photo_id in photos else "")


def _readings(photos: Sequence[CasePhoto], live: Sequence[CaseEvent]) -> tuple[tuple[Shown, ...], tuple[str, ...]]:
    words = words_of([event for event in live if event.role == ROLE], CONCEPTS)
    shown, _photo_ids = readings_of(photos, words)
    spoken = {str(event.said["id"]) for event in live if event.role == ROLE and event.kind == "observation"}
    unsaid = (one.about for one in shown if one.verdict != HIDDEN and one.about not in spoken)
    return tuple(shown), tuple(unsaid)


def _both(one: Sequence[ViewState], other: Sequence[ViewState]) -> tuple[ViewState, ...]:
    """Of each view what is there in either."""
    return tuple(b if b.enough and not a.enough else a for a, b in zip(one, other, strict=True))

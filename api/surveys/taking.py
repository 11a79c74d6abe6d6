"""A photo of a survey is judged and taken: the code that names a lift, a wanted view of it, its rating plate."""

import hashlib
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from api.cases.events import ASSET, PLATE, VIEW, in_force
from api.cases.learned.consent import withdraw
from api.cases.photos import add_photo, photos_of
from api.cases.store import CaseStore, Said, Who
from api.cases.tables import learning_photos
from api.guide.framing import View, problem_of
from api.identification import NamedPhoto, Resources
from api.plate.gs1 import Plate
from api.plate.rating_plate import label_in_photo, plate_in_photo
from api.servers.shelf import Shelf
from api.surveys.register import Survey, SurveyLift, name_lift, survey_of
from api.surveys.wanted import (
    CODE,
    FULL,
    GOOD,
    NO_CODE,
    PLATE_VIEW,
    SAME_PHOTO,
)
from classifier.errors import InputError, TooManyPhotos
from classifier.messages import Message
from classifier.photo import open_photo
from classifier.quality import HARMLESS, judge

LONGEST_NUMBER = 60
"""Characters of an inventory number."""


@dataclass(frozen=True)
class Taker:
    """Who takes photos of a survey, and with what; `keep_days` is 0 without consent to keeping.

    `weights`: the folder of the models, some of which may have learned from what is taken back.
    """

    store: CaseStore
    shelf: Shelf
    resources: Resources
    keep_days: int
    who: Who
    weights: Path


def plain_number(typed: str) -> str:
    """An inventory number with single spaces. Raises `InputError`."""
    number = " ".join(typed.split())
    if not 0 < len(number) <= LONGEST_NUMBER:
        raise InputError(Message("Type the inventory number, in {most} characters at most.", most=LONGEST_NUMBER))
    return number


def say_number(taker: Taker, lift: SurveyLift, number: str) -> None:
    """Record the inventory number of a lift; the same again changes nothing."""
    live = in_force(taker.store.by_id(lift.case_id).events)
    said = [event.said["answer"] for event in live if event.kind == ASSET]
    if said[-1:] != [number]:
        _say(taker, lift, ASSET, {"id": "asset", "answer": number}, f"{number} {len(said)}")
    name_lift(taker.store, lift, number)


def read_code(taker: Taker, lift: SurveyLift, photo: NamedPhoto) -> str:
    """Which lift it is, by a photo of its code: a problem, or empty. Without a code the photo stays for people to read.

    Raises a `PhotoError`.
    """
    data = photo.load()
    try:
        found = label_in_photo(data, photo.name, taker.resources.limits, _today(taker.store))
    except InputError:
        _keep_for_people(taker, lift, NamedPhoto(photo.name, lambda: data))
        return _turned_out(taker, lift, CODE, NO_CODE, data)
    if isinstance(found, str):
        say_number(taker, lift, found)
        return ""
    _say_plate(taker, lift, found, data)
    _turned_out(taker, lift, PLATE_VIEW.id, GOOD, data)
    name_lift(taker.store, lift, found.serial or "")
    return ""


def take_view(taker: Taker, survey: Survey, lift: SurveyLift, view: View, photo: NamedPhoto) -> str:
    """Judge a photo as this view and take it into the lift's case: a problem, or empty.

    Too dark or blurred a photo is not kept; one that does not show enough is. Raises a `PhotoError`.
    """
    data = photo.load()
    named = NamedPhoto(photo.name, lambda: data)
    if view is PLATE_VIEW:
        return _turned_out(taker, lift, view.id, _read_plate(taker, lift, named), data)
    quality = judge(open_photo(data, photo.name, taker.resources.limits))
    if not quality.usable:
        return _turned_out(taker, lift, view.id, next(p for p in quality.problems if p not in HARMLESS), data)
    store, case_id = taker.store, lift.case_id
    try:
        photo_id = add_photo(
            store, taker.shelf, case_id, named, taker.keep_days, taker.resources, taker.who, survey.learn
        )
    except TooManyPhotos:
        return _turned_out(taker, lift, view.id, FULL, data)
    _obey_a_word_meanwhile(taker, survey, photo_id)
    taken = next(one for one in photos_of(store, case_id) if one.id == photo_id)
    problem = SAME_PHOTO if _is_other_view(taker, lift, view, photo_id) else problem_of(taken.reading.subjects, view)
    return _turned_out(taker, lift, view.id, problem or GOOD, data, photo_id)


def leave_view(taker: Taker, lift: SurveyLift, view: View, state: str, photo_id: str) -> None:
    """Somebody at the lift goes on: with the photo as it is, or without one."""
    _say(taker, lift, VIEW, {"id": view.id, "answer": state, "photo": photo_id}, f"{view.id} {state} {photo_id}")


def _obey_a_word_meanwhile(taker: Taker, survey: Survey, photo_id: str) -> None:
    """Take a photo back that was on its way while the owner took back that photos are learned from."""
    if survey.learn and not survey_of(taker.store, survey.id).learn:
        own = learning_photos.c.photo_id == photo_id
        withdraw(taker.store, taker.shelf, own, taker.who, taker.weights)


def _is_other_view(taker: Taker, lift: SurveyLift, view: View, photo_id: str) -> bool:
    live = in_force(taker.store.by_id(lift.case_id).events)
    return any(e.kind == VIEW and e.said.get("photo") == photo_id and e.said["id"] != view.id for e in live)


def _read_plate(taker: Taker, lift: SurveyLift, photo: NamedPhoto) -> str:
    try:
        plate = plate_in_photo(photo.load(), photo.name, taker.resources.limits, _today(taker.store))
    except InputError:
        _keep_for_people(taker, lift, photo)
        return NO_CODE
    _say_plate(taker, lift, plate, photo.load())
    return GOOD


def _say_plate(taker: Taker, lift: SurveyLift, plate: Plate, data: bytes) -> None:
    _say(taker, lift, PLATE, plate.as_said(), _digest(lift, data))


def _keep_for_people(taker: Taker, lift: SurveyLift, photo: NamedPhoto) -> None:
    """A photo whose code is not read is shown in the case while it is kept; it is never learned from."""
    try:
        add_photo(taker.store, taker.shelf, lift.case_id, photo, taker.keep_days, taker.resources, taker.who)
    except TooManyPhotos:
        return


def _turned_out(taker: Taker, lift: SurveyLift, view_id: str, state: str, data: bytes, photo_id: str = "") -> str:
    _say(taker, lift, VIEW, {"id": view_id, "answer": state, "photo": photo_id}, f"{view_id} {_digest(lift, data)}")
    return "" if state == GOOD else state


def _say(taker: Taker, lift: SurveyLift, kind: str, said: dict, sent: str) -> None:
    """Once, however often it is sent; beside whatever else is said of the lift."""
    taker.store.add_once(lift.case_id, Said(kind, {**said, "sent": f"{kind} {sent}"}, {}), taker.who)


def _digest(lift: SurveyLift, data: bytes) -> str:
    """Tells photos of one lift apart; nothing of the file itself once the photo was taken back."""
    return hashlib.sha256(f"{lift.case_id} {hashlib.sha256(data).hexdigest()}".encode()).hexdigest()[:32]


def _today(store: CaseStore) -> date:
    return datetime.fromtimestamp(store.now_ms() / 1000, UTC).date()

"""Surveys and their lifts as they are kept: each lift has a case of its own, opened by whoever stands at it."""

import re
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Table, delete, select, update
from sqlalchemy.exc import IntegrityError

from api.cases.database import reading
from api.cases.events import SURVEYED, in_force
from api.cases.expiry import INSERT
from api.cases.learned.learned_photos import lift_key
from api.cases.store import CaseStore, NoSuchCase, Said, Who, plain_id
from api.cases.tables import learning_photos, survey_lifts, surveys
from classifier.errors import InputError
from classifier.messages import Message

LONGEST_NAME = 120
MOST_LISTED = 50


class NoSuchSurvey(NoSuchCase):
    """No survey has this id, or no lift of it this token."""


@dataclass(frozen=True)
class Survey:
    """One walk round a pool. `learn`: its owner agreed that photos are learned from; `keep`: that cases keep them."""

    id: str
    name: str
    learn: bool
    keep: bool
    opened_ms: int
    opened_by: str


@dataclass(frozen=True)
class SurveyLift:
    """One lift of a survey, by the token that a telephone made for it.

    `number` is how people read it, `key` the hash that lifts are told apart by; both are empty until it is known.
    """

    survey_id: str
    token: str
    case_id: str
    number: str
    key: str
    joined: bool
    opened_ms: int
    opened_by: str


def begin(store: CaseStore, survey_id: str, name: str, learn: bool, keep: bool, who: Who) -> None:
    """Begin a survey under a new id; the same form sent twice begins one. Raises `InputError`."""
    name = " ".join(name.split())
    if not re.fullmatch("[0-9a-f]{16}", survey_id):
        raise InputError(Message("This form is damaged. Load the page again."))
    if not 0 < len(name) <= LONGEST_NAME:
        raise InputError(Message("Say what is surveyed, in {most} characters at most.", most=LONGEST_NAME))
    row = {"id": survey_id, "name": name, "learn": learn, "keep": keep}
    row |= {"opened_ms": store.now_ms(), "opened_by": who.actor}
    with store.engine.begin() as connection:
        new = INSERT[connection.dialect.name](surveys).values(row).on_conflict_do_nothing()
        if connection.execute(new).rowcount:
            store.note(connection, "survey", "", who, name)


def listed(store: CaseStore) -> list[Survey]:
    """The surveys, the newest first."""
    with reading(store.engine) as connection:
        rows = connection.execute(select(surveys).order_by(surveys.c.opened_ms.desc()).limit(MOST_LISTED))
        return [Survey(**row) for row in rows.mappings()]


def survey_of(store: CaseStore, survey_id: str) -> Survey:
    """A survey by its id. Raises `NoSuchSurvey`."""
    row = _first(store, surveys, surveys.c.id == plain_id(survey_id))
    if row is None:
        raise NoSuchSurvey(survey_id)
    return Survey(**row)


def lifts_of(store: CaseStore, survey_id: str) -> list[SurveyLift]:
    """The lifts of a survey in the order in which the server heard of them."""
    own = select(survey_lifts).where(survey_lifts.c.survey_id == survey_id)
    with reading(store.engine) as connection:
        rows = connection.execute(own.order_by(survey_lifts.c.opened_ms, survey_lifts.c.token))
        return [SurveyLift(**row) for row in rows.mappings()]


def lift_of(store: CaseStore, survey_id: str, token: str) -> SurveyLift:
    """One lift of a survey. Raises `NoSuchSurvey`."""
    row = _first(store, survey_lifts, (survey_lifts.c.survey_id == survey_id) & (survey_lifts.c.token == token))
    if row is None:
        raise NoSuchSurvey(token)
    return SurveyLift(**row)


def open_lift(store: CaseStore, survey: Survey, token: str, language: str, who: Who) -> SurveyLift:
    """The lift with this token and its case; opened when it is new, so that it does not matter what arrives first.

    Raises `InputError` for a token that no telephone of ours made.
    """
    if not re.fullmatch("[0-9a-f]{32}", token):
        raise InputError(Message("This form is damaged. Load the page again."))
    try:
        return lift_of(store, survey.id, token)
    except NoSuchSurvey:
        pass
    own = f"{survey.id}{token}"
    try:
        case_id, _ = store.start(language, who, Said(SURVEYED, {"id": survey.id, "answer": ""}, {}), own)
    except IntegrityError:  # the same is being taken twice just now, or was cut short before
        case_id = store.by_token(own).id
    row = {"survey_id": survey.id, "token": token, "case_id": case_id, "number": "", "key": "", "joined": False}
    row |= {"opened_ms": store.now_ms(), "opened_by": who.actor}
    with store.engine.begin() as connection:
        connection.execute(INSERT[connection.dialect.name](survey_lifts).values(row).on_conflict_do_nothing())
    return lift_of(store, survey.id, token)


def name_lift(store: CaseStore, lift: SurveyLift, number: str) -> None:
    """Say which lift it is by now, as its case says."""
    key = lift_key(in_force(store.by_id(lift.case_id).events), lift.case_id)
    _change(store, lift, {"number": number[:LONGEST_NAME], "key": key, "joined": False})


def join(store: CaseStore, lift: SurveyLift) -> None:
    """Somebody says that it is the earlier lift with the same number: what is wanted of one may come from the other."""
    _change(store, lift, {"joined": True})


def drop(store: CaseStore, lift: SurveyLift, who: Who) -> None:
    """Take a lift out of its survey, with its case: of one that was begun twice and has no photo."""
    store.delete(lift.case_id, who)
    with store.engine.begin() as connection:
        connection.execute(delete(survey_lifts).where(_is(lift)))


def sent_on(survey_id: str) -> ColumnElement[bool]:
    """The photos of a survey that may be learned from, also of cases that are gone."""
    own = select(survey_lifts.c.case_id).where(survey_lifts.c.survey_id == survey_id)
    return learning_photos.c.case_id.in_(own)


def stop_learning(store: CaseStore, survey: Survey) -> None:
    """Let photos that come from now on be photos that are not learned from."""
    with store.engine.begin() as connection:
        connection.execute(update(surveys).where(surveys.c.id == survey.id).values(learn=False))


def _change(store: CaseStore, lift: SurveyLift, values: dict[str, Any]) -> None:
    with store.engine.begin() as connection:
        connection.execute(update(survey_lifts).where(_is(lift)).values(values))


def _is(lift: SurveyLift) -> ColumnElement[bool]:
    return (survey_lifts.c.survey_id == lift.survey_id) & (survey_lifts.c.token == lift.token)


def _first(store: CaseStore, table: Table, condition: ColumnElement[bool]) -> dict[str, Any] | None:
    with reading(store.engine) as connection:
        row = connection.execute(select(table).where(condition)).mappings().first()
    return dict(row) if row else None

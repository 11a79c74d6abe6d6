"""What is over is deleted: pictures whose time has come, and cases that are closed or that nobody took up."""

from dataclasses import dataclass

from sqlalchemy import Connection, delete, exists, select

from api.cases.database import INSERT, overwrite_deleted, reading
from api.cases.events import CLOSED
from api.cases.learned.learned_photos import keep_labelled
from api.cases.line import OF_SURVEY, line_of
from api.cases.photos import DAY_MS, forget_expired
from api.cases.store import DELETE_ABANDONED, CaseStore, NoSuchCase, Who
from api.cases.summary import closed_case
from api.cases.tables import (
    cases,
    events,
    learning_photos,
    openid_tries,
    sessions,
    sign_in_tries,
    survey_lifts,
    surveys,
    taught_labels,
)  # fmt: skip
from guidance.learning.closed_cases import ClosedCase

TRIES_MS = 60 * 60_000
"""After which no count of tries to sign in matters any more."""


@dataclass(frozen=True)
class Expired:
    """How many pictures and how many cases were deleted."""

    pictures: int
    cases: int


def delete_expired(store: CaseStore, case_days: int) -> Expired:
    """Delete every picture whose time is over, every case that is abandoned, and what is left of signing in."""
    _delete_sign_ins(store)
    deleted = Expired(forget_expired(store), delete_abandoned(store, case_days))
    _delete_surveys(store, store.now_ms() - case_days * DAY_MS)
    if deleted.pictures or deleted.cases:
        overwrite_deleted(store.engine)
    return deleted


def _delete_sign_ins(store: CaseStore) -> None:
    """Sessions that are over, counts of tries, and whoever went to a provider and never came back."""
    now = store.now_ms()
    with store.engine.begin() as connection:
        for table in (sessions, openid_tries):
            connection.execute(delete(table).where(table.c.expires_ms < now))
        connection.execute(delete(sign_in_tries).where(sign_in_tries.c.since_ms < now - TRIES_MS))


def delete_abandoned(store: CaseStore, case_days: int) -> int:
    """Delete the cases that last changed more than `case_days` days ago and are closed, or a caregiver's own; how many.

    A caregiver's own is one that nobody of the staff ever said anything in. What staff opened or took up stays until it
    is closed, but for lifts of a survey at which nothing is wrong; and so does every case in which somebody is up. What
    a closed case taught stays as a count of its fault, and a labelled photo of it that may be learned from.
    """
    return sum(_deleted(store, case_id) for case_id in _old(store, store.now_ms() - case_days * DAY_MS))


def _old(store: CaseStore, before_ms: int) -> list[str]:
    """Cases that may be abandoned: unchanged since then; closed, of a survey, or without a word of the staff."""
    closed = exists().where((events.c.case_id == cases.c.id) & (events.c.kind == CLOSED))
    surveyed = cases.c.status == OF_SURVEY
    by_staff = exists().where((events.c.case_id == cases.c.id) & (events.c.role != "caregiver"))
    nobody_up = cases.c.up_since_ms.is_(None)
    wanted = select(cases.c.id).where((cases.c.changed_ms < before_ms) & nobody_up & (closed | surveyed | ~by_staff))
    with reading(store.engine) as connection:
        return list(connection.scalars(wanted))


def _deleted(store: CaseStore, case_id: str) -> bool:
    try:
        row = store.by_id(case_id)
    except NoSuchCase:  # another server on this database was faster
        return False
    counted = closed_case(row)
    surveyed = line_of(row.events, row.up_since_ms).status == OF_SURVEY
    # A case of the staff's may have been opened again since it was listed.
    if counted is None and not surveyed and any(event.role != "caregiver" for event in row.events):
        return False
    with store.engine.begin() as connection:
        keep_labelled(connection, store, row)
        if not store.erase(connection, case_id, Who("system"), DELETE_ABANDONED, row.version):
            connection.rollback()  # somebody changed it meanwhile, so it keeps its photos
            return False
        if counted:
            _count(connection, counted)
    return True


def _delete_surveys(store: CaseStore, before_ms: int) -> None:
    """Delete the surveys that began before then and of which neither a case nor a photo to learn from is left."""
    own = survey_lifts.c.survey_id == surveys.c.id
    case = exists().where(own & (cases.c.id == survey_lifts.c.case_id))
    photo = exists().where(own & (learning_photos.c.case_id == survey_lifts.c.case_id))
    over = select(surveys.c.id).where((surveys.c.opened_ms < before_ms) & ~case & ~photo)
    with store.engine.begin() as connection:
        connection.execute(delete(surveys).where(surveys.c.id.in_(over)))


def _count(connection: Connection, counted: ClosedCase) -> None:
    label = {column.name: getattr(counted, column.name) for column in taught_labels.primary_key}
    one_more = INSERT[connection.dialect.name](taught_labels).values(**label, cases=1)
    same = list(taught_labels.primary_key)
    connection.execute(one_more.on_conflict_do_update(index_elements=same, set_={"cases": taught_labels.c.cases + 1}))

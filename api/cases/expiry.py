"""What is over is deleted: pictures whose time has come, and cases that are closed or that nobody took up."""

from dataclasses import dataclass

from sqlalchemy import Connection, exists, select
from sqlalchemy.dialects import postgresql, sqlite

from api.cases.database import reading
from api.cases.photos import DAY_MS, forget_expired
from api.cases.store import DELETE_ABANDONED, CaseStore, NoSuchCase, Who
from api.cases.summary import closed_case
from api.cases.tables import cases, events, taught
from api.cases.view import CLOSED

INSERT = {"postgresql": postgresql.insert, "sqlite": sqlite.insert}


@dataclass(frozen=True)
class Expired:
    """How many pictures and how many cases were deleted."""

    pictures: int
    cases: int


def delete_expired(store: CaseStore, case_days: int) -> Expired:
    """Delete every picture whose time is over, and every case that is abandoned."""
    return Expired(forget_expired(store), delete_abandoned(store, case_days))


def delete_abandoned(store: CaseStore, case_days: int) -> int:
    """Delete the cases that last changed more than `case_days` days ago and are closed, or a caregiver's own; how many.

    A caregiver's own is one that nobody of the staff ever said anything in. What staff opened or took up stays until it
    is closed. What a closed case taught stays as a count of its fault, without the case.
    """
    return sum(_deleted(store, case_id) for case_id in _old(store, store.now_ms() - case_days * DAY_MS))


def _old(store: CaseStore, before_ms: int) -> list[str]:
    """Cases that may be abandoned: unchanged since then, and with a closing or without a word of the staff."""
    closed = cases.c.id.in_(select(events.c.case_id).where(events.c.kind == CLOSED))
    by_staff = exists().where((events.c.case_id == cases.c.id) & (events.c.role != "caregiver"))
    wanted = select(cases.c.id).where((cases.c.changed_ms < before_ms) & (closed | ~by_staff))
    with reading(store.engine) as connection:
        return list(connection.scalars(wanted))


def _deleted(store: CaseStore, case_id: str) -> bool:
    try:
        row = store.by_id(case_id)
    except NoSuchCase:  # another server on this database was faster
        return False
    counted = closed_case(row)
    if counted is None and any(event.role != "caregiver" for event in row.events):  # it was opened again
        return False
    with store.engine.begin() as connection:
        gone = store.erase(connection, case_id, Who("system"), DELETE_ABANDONED, row.version)
        if gone and counted:
            _count(connection, counted)
    return gone


def _count(connection: Connection, counted: dict[str, str]) -> None:
    one_more = INSERT[connection.dialect.name](taught).values(**counted, cases=1)
    same = [taught.c.setting, taught.c.fault]
    connection.execute(one_more.on_conflict_do_update(index_elements=same, set_={"cases": taught.c.cases + 1}))

"""The audit log: who did what, when, in which case; read newest first, a page at a time, and never changed here."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy import ColumnElement, select

from api.cases.database import reading
from api.cases.store import CaseStore, NoSuchCase, plain_id
from api.cases.tables import audit, cases

LINES_SHOWN = 50
LARGEST_ID = 2**31 - 1
"""Of a line, in either database."""


@dataclass(frozen=True)
class AuditLine:
    """One line: `action` is a kind of event, or what was done to a case or by the system; `at_ms` as everywhere.

    `reason` is what somebody gave for it. `code` is None once the case is deleted, and for what concerns no case.
    """

    id: int
    at_ms: int
    role: str
    actor: str
    address: str
    action: str
    case_id: str
    reason: str
    code: str | None


@dataclass(frozen=True)
class AuditPage:
    """Some lines, newest first; `older` is the `before` of the next page, None on the last."""

    lines: tuple[AuditLine, ...]
    older: int | None


def audit_page(
    store: CaseStore, case: str = "", day: dt.date | None = None, before: int = LARGEST_ID, most: int = LINES_SHOWN
) -> AuditPage:
    """The newest lines before a line: of one case, by its code or its id, and of one day in UTC.

    Raises `NoSuchCase` for what is neither a code that some case has nor an id.
    """
    wanted: ColumnElement[bool] = audit.c.id < before
    if case:
        wanted &= audit.c.case_id == _case_id(store, case)
    if day is not None:
        start_ms = (day - dt.date(1970, 1, 1)).days * 86_400_000
        wanted &= (audit.c.at_ms >= start_ms) & (audit.c.at_ms < start_ms + 86_400_000)
    rows = (
        select(audit, cases.c.code)
        .join(cases, cases.c.id == audit.c.case_id, isouter=True)
        .where(wanted)
        .order_by(audit.c.id.desc())
        .limit(most + 1)  # one more tells whether there is another page
    )
    with reading(store.engine) as connection:
        lines = tuple(AuditLine(**row) for row in connection.execute(rows).mappings())
    return AuditPage(lines[:most], lines[most - 1].id if len(lines) > most else None)


def _case_id(store: CaseStore, came: str) -> str:
    """A deleted case is known by its id alone."""
    try:
        return store.by_code(came).id
    except NoSuchCase:
        return plain_id(came.strip())

"""Which components nothing is confirmed of at present: kept in the database, so that every server on it obeys.

It begins by the alarm over confirmed answers and ends by a person with a reason; both stand in the audit log.
"""

from dataclasses import dataclass

from sqlalchemy import func, insert, select, update
from sqlalchemy.exc import IntegrityError

from api.cases.database import reading
from api.cases.store import CONFIRMS_AGAIN, HELD_BACK, CaseStore, Who
from api.cases.tables import held_back
from classifier.errors import InputError
from guidance.identify.held_back import COMPONENTS
from guidance.monitor.alarm import Watched

LONGEST_REASON = 400


@dataclass(frozen=True)
class HeldBack:
    """Since when nothing of a component is confirmed, after how many checked answers, and how many were wrong."""

    component: str
    since_ms: int
    answers: int
    wrong: int


def held_now(store: CaseStore) -> dict[str, HeldBack]:
    """What is held back, by component."""
    wanted = select(held_back.c.component, held_back.c.since_ms, held_back.c.answers, held_back.c.wrong)
    with reading(store.engine) as connection:
        rows = connection.execute(wanted.where(held_back.c.until_ms.is_(None))).mappings().all()
    return {row["component"]: HeldBack(**row) for row in rows}


def hold_back(store: CaseStore, component: str, seen: Watched) -> None:
    """Stop confirming a component. Another server that saw the same alarm first is left to have said so."""
    who, answers = Who("system"), f"{seen.wrong} of {seen.answers} checked answers were wrong"
    row = {"component": component, "since_ms": store.now_ms(), "answers": seen.answers, "wrong": seen.wrong}
    try:
        with store.engine.begin() as connection:
            connection.execute(insert(held_back).values(**row, role=who.role, actor=who.actor, reason=""))
            store.note(connection, HELD_BACK[component], "", who, answers)
    except IntegrityError:
        return


def confirm_again(store: CaseStore, component: str, reason: str, who: Who) -> None:
    """Let a component be confirmed again. Raises `InputError` for one that is not held back, or without a reason."""
    reason = reason.strip()
    if component not in COMPONENTS:
        raise InputError(f"{component!r} came; one of {', '.join(COMPONENTS)} is wanted.")
    if not reason or len(reason) > LONGEST_REASON:
        raise InputError(f"A reason is wanted, of {LONGEST_REASON} characters at most; {len(reason)} came.")
    now = {"until_ms": store.now_ms(), "role": who.role, "actor": who.actor, "reason": reason}
    is_held = (held_back.c.component == component) & held_back.c.until_ms.is_(None)
    with store.engine.begin() as connection:
        if connection.execute(update(held_back).where(is_held).values(**now)).rowcount == 0:
            raise InputError(f"The {component} is not held back: its answers can be confirmed. Nothing changed.")
        store.note(connection, CONFIRMS_AGAIN[component], "", who, reason)


def watched_since(store: CaseStore, component: str) -> int:
    """Since when answers count for the next alarm: the last time that somebody let it be confirmed; 0 before."""
    last = select(func.max(held_back.c.until_ms)).where(held_back.c.component == component)
    with reading(store.engine) as connection:
        return connection.scalar(last) or 0

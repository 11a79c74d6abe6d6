"""Closed cases are judged and labelled once each, and again when they change; then the alarm looks at the answers."""

import logging
import time

from sqlalchemy import Connection, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from api.cases.database import reading, taking_turns
from api.cases.events import CLOSED, in_force
from api.cases.learning import keep_label
from api.cases.photos import photos_of
from api.cases.store import CaseStore, NoSuchCase
from api.cases.tables import UNJUDGED, cases, judged_answers, judged_cases
from api.monitor.held_back import held_now, hold_back, watched_since
from api.monitor.judged import JudgedCase, judged_case
from guidance.catalogue.catalogue import Catalogue
from guidance.identify.held_back import COMPONENTS
from guidance.monitor.alarm import Watched, watch
from guidance.monitor.checked import CONFIRMED

LOG = logging.getLogger("hoistlore")


TOGETHER = 50
"""Cases that are judged in one transaction: others write in between."""


def look(store: CaseStore, catalogue: Catalogue, most: int | None = None) -> None:
    """Judge what was closed or changed since, and hold back each component that was wrong more often than promised.

    Servers on one database take turns, so that each case is judged once. `most`: about so many cases where more
    wait, as after an upgrade; without it all of them, resting as long as it works.
    """
    judged, began = 0, time.monotonic()
    while _judged(store, catalogue) == TOGETHER:
        judged += TOGETHER
        if most is not None and judged >= most:
            break
        time.sleep(time.monotonic() - began)
        began = time.monotonic()
    held = held_now(store)
    for component in COMPONENTS:
        seen = watched(store, component)
        if component not in held and seen.alarm_after is not None:
            hold_back(store, component, seen)
            LOG.warning("%s: %d of %d checked answers were wrong; held back", component, seen.wrong, seen.answers)


def watched(store: CaseStore, component: str) -> Watched:
    """What the alarm says of a component: of its checked answers in the order of checking, since it was last set back.

    An answer counts once a technician has checked it, whether it was shown before or after it was set back.
    """
    answers, since = judged_answers.c, watched_since(store, component)
    wanted = (
        select(answers.is_right)
        .join(judged_cases, judged_cases.c.case_id == answers.case_id)
        .where((answers.about == component) & (answers.verdict == CONFIRMED) & answers.is_right.is_not(None))
        .where(judged_cases.c.checked_ms > since)
        .order_by(judged_cases.c.checked_ms, answers.case_id)
    )
    with reading(store.engine) as connection:
        return watch(not is_right for is_right in connection.scalars(wanted))


def _judged(store: CaseStore, catalogue: Catalogue) -> int:
    """Judge and label some of the cases that wait for it; how many."""
    with reading(store.engine) as connection:
        if connection.scalar(select(cases.c.id).where(UNJUDGED).limit(1)) is None:
            return 0
    try:
        with store.engine.begin() as connection:
            taking_turns(connection, "judge")
            waiting = list(connection.scalars(select(cases.c.id).where(UNJUDGED).limit(TOGETHER)))
            for case_id in waiting:
                _judge(connection, store, case_id, catalogue)
    except IntegrityError:  # the version of this server before, which takes no turns, judged one at the same time
        return 0
    return len(waiting)


def _judge(connection: Connection, store: CaseStore, case_id: str, catalogue: Catalogue) -> None:
    """Write down what one case says, unless that was done at this version; nothing of one that was opened again."""
    try:
        row = store.by_id(case_id)
    except NoSuchCase:  # deleted meanwhile
        return
    own = judged_cases.c.case_id == case_id
    if connection.scalar(select(judged_cases.c.version).where(own)) != row.version:
        judged = judged_case(row, photos_of(store, case_id), catalogue)
        connection.execute(delete(judged_cases).where(own))
        if judged is not None:
            _write(connection, case_id, row.version, judged)
    keep_label(connection, row)
    closed = any(event.kind == CLOSED for event in in_force(row.events))
    done = update(cases).where(cases.c.id == case_id).values(judged_version=row.version if closed else 0)
    connection.execute(done)


def _write(connection: Connection, case_id: str, version: int, judged: JudgedCase) -> None:
    facts = ("closed_ms", "checked_ms", "photos", "nothing_found", "days", "ordered", "returned")
    values = {name: getattr(judged, name) for name in facts}
    connection.execute(insert(judged_cases).values(case_id=case_id, version=version, **values))
    rows = [
        {
            "case_id": case_id,
            "about": each.about,
            "verdict": each.verdict,
            "value": each.value,
            "probability": each.probability,
            "truth": each.truth,
            "is_right": each.right,
            "photo_id": judged.photo_ids.get(each.about, ""),
        }
        for each in judged.shown
    ]
    connection.execute(insert(judged_answers), rows)

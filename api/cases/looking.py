"""Who looks at a case now: told to the others who have its page open, on whatever server."""

from collections.abc import Collection, Iterable
from typing import NamedTuple

from sqlalchemy import delete, select
from sqlalchemy.exc import IntegrityError

from api.cases.database import INSERT, reading
from api.cases.store import CaseStore
from api.cases.tables import cases, looking

EVERY_S = 10
"""How often an open page says that it is still there."""

GONE_MS = 3 * EVERY_S * 1000
"""Who was not heard of for so long looks at it no more."""


class Viewer(NamedTuple):
    """An open page: of which case (empty: of none), and whose, where that is told to others."""

    case_id: str
    actor: str


def look(store: CaseStore, viewers: Iterable[Viewer]) -> None:
    """These have the pages of cases open."""
    now, open_now = store.now_ms(), sorted({viewer for viewer in viewers if viewer.case_id})
    if not open_now:
        return
    try:
        with store.engine.begin() as connection:
            connection.execute(delete(looking).where(looking.c.seen_ms < now - GONE_MS))
            there = set(connection.scalars(select(cases.c.id).where(cases.c.id.in_({v.case_id for v in open_now}))))
            rows = [{**viewer._asdict(), "seen_ms": now} for viewer in open_now if viewer.case_id in there]
            again = INSERT[connection.dialect.name](looking)
            again = again.on_conflict_do_update(index_elements=list(looking.primary_key), set_={"seen_ms": now})
            if rows:
                connection.execute(again, rows)
    except IntegrityError:  # a case was deleted meanwhile; the others are told of the next time
        return


def looking_now(store: CaseStore, case_ids: Collection[str]) -> dict[str, list[str]]:
    """The names of those who look at each of these cases now."""
    wanted = select(looking.c.case_id, looking.c.actor).order_by(looking.c.actor)
    wanted = wanted.where(looking.c.case_id.in_(case_ids) & (looking.c.seen_ms >= store.now_ms() - GONE_MS))
    names: dict[str, list[str]] = {}
    if case_ids:
        with reading(store.engine) as connection:
            for case_id, actor in connection.execute(wanted):
                names.setdefault(case_id, []).append(actor)
    return names


def others_looking(store: CaseStore, case_id: str, actor: str) -> list[str]:
    """The names of the others who look at this case now."""
    return [name for name in looking_now(store, [case_id]).get(case_id, []) if name != actor]

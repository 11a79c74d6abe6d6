"""What an earlier case says of the same lift: offered with its date and whose word it is, never simply taken over."""

from dataclasses import dataclass

from sqlalchemy import select

from api.cases.database import reading
from api.cases.events import ASSET
from api.cases.line import about_of, key_of, plain
from api.cases.store import CaseStore
from api.cases.tables import case_words, cases, events
from api.cases.view import CaseView

LOOKED_BACK = 5
"""So many earlier cases of one lift are looked through, the last one first."""


@dataclass(frozen=True)
class Earlier:
    """One earlier case of this lift: when somebody last worked on it with it confirmed, who, and what (empty: not)."""

    case_id: str
    code: str
    at_ms: int
    role: str
    actor: str
    generation: str
    mechanism: str


def earlier_of(store: CaseStore, seen: CaseView) -> Earlier | None:
    """The last earlier case of the lift with this inventory or serial number in which it was confirmed what it is."""
    about = about_of(seen.live)
    keys = [key_of(name, about[name]) for name in (ASSET, "serial") if plain(about[name])]
    if not keys:
        return None
    same = case_words.c.word.in_(keys) & (cases.c.id == case_words.c.case_id) & (cases.c.id != seen.row.id)
    wanted = select(cases.c.id, cases.c.code).distinct().where(same & (cases.c.opened_ms <= seen.row.opened_ms))
    with reading(store.engine) as connection:
        found = connection.execute(wanted.add_columns(cases.c.changed_ms).order_by(cases.c.changed_ms.desc()))
        for row in found.fetchmany(LOOKED_BACK):
            own = select(events).where(events.c.case_id == row.id).order_by(events.c.version.desc())
            last = next((e for e in connection.execute(own) if e.known.get("control_box")), None)
            if last is None:
                continue
            box, head = (last.known.get(part) or ("", "") for part in ("control_box", "actuator"))
            generation, mechanism = (str(part[1]) if part[0] == "confirmed" else "" for part in (box, head))
            if generation or mechanism:
                return Earlier(row.id, row.code, last.at_ms, last.role, last.actor, generation, mechanism)
    return None

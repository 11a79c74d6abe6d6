"""The queue a page at a time: everyone who is up, always; then the cases that fit what is asked for."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, exists, intersect, or_, select, true, tuple_

from api.cases.database import reading
from api.cases.line import ENDS, KNOWN, LONGEST_WORD, OVER, STATUSES, UNKNOWN, plain, plain_words
from api.cases.store import CaseStore
from api.cases.tables import case_words, cases

PAGE = 50
"""Cases on one page, beside everyone who is up."""

TOLD_AT_ONCE = 200
"""Lines that are told anew before a page is shown, where another version of the server changed cases."""

FEW = 2_000
"""A word that so many cases have at most is looked up first; of a commoner one the page is soon full anyway."""

MOST_WORDS_ASKED = 6
SHORTEST_END = 3
"""So many last letters of a number are looked for; fewer are the end of every tenth one."""

DAY_MS = 86_400_000
LONGEST_SEARCH = 200
NOBODY_S = "nobody"
LAST_LETTER = "\U0010ffff"

SHOWN = ("id", "code", "standing", "status", "occupied", "symptom", "photo_count", "taken_up", "assignee", "site")
SHOWN += ("asset", "opened_ms", "changed_ms", "up_since_ms")

Mark = tuple[int, int, str]
"""Where a page ends: standing, last change and id of its last case."""


@dataclass(frozen=True)
class Wanted:
    """What is asked for: words, one of `STATUSES`, whose (a name, or `NOBODY_S`), and days without a change."""

    text: str = ""
    status: str = ""
    whose: str = ""
    days: int = 0

    @property
    def words(self) -> tuple[str, ...]:
        """The beginnings of words that all have to be in a case; a number written in groups is one word."""
        text = self.text[:LONGEST_SEARCH]
        pieces = [text] if plain(text).isdecimal() else text.split()
        return tuple(dict.fromkeys(word for piece in pieces for word in plain_words(piece)[:1]))[:MOST_WORDS_ASKED]


@dataclass(frozen=True)
class QueuePage:
    """Everyone who is up, whatever was asked for; one page of the others; where the next begins, None at the end."""

    up: tuple[dict[str, Any], ...]
    rows: tuple[dict[str, Any], ...]
    after: Mark | None


def queue_page(store: CaseStore, wanted: Wanted, after: Mark | None = None, most: int = PAGE) -> QueuePage:
    """One page, in the order of the queue: not known whether somebody is up, others, closed; newest change first."""
    store.tell_untold(TOLD_AT_ONCE)
    with reading(store.engine) as connection:
        # As a range and sorted here: for "is not null", and for an order by last change, every case would be walked.
        of_up = select(*(cases.c[name] for name in SHOWN)).where(cases.c.up_since_ms >= 0)
        up = [dict(row) for row in connection.execute(of_up).mappings()]
        fits = _fits(connection, wanted, store.now_ms())
        rows = [] if fits is None else _in_order(connection, fits, after, most + 1)
    last = rows[most - 1] if len(rows) > most else None
    mark = (last["standing"], last["changed_ms"], last["id"]) if last else None
    up.sort(key=lambda row: (row["taken_up"], row["up_since_ms"]))
    return QueuePage(tuple(up), tuple(rows[:most]), mark)


def mark_words(mark: Mark | None) -> str:
    """A mark as it stands in an address."""
    return "-".join(map(str, mark)) if mark else ""


def mark_of(words: str) -> Mark | None:
    """The mark in an address; None, which is the first page, for what is none."""
    standing, _, rest = words.partition("-")
    changed, _, case_id = rest.partition("-")
    numbers = all(part.isascii() and part.isdecimal() for part in (standing, changed))
    if not numbers or len(standing) > 2 or len(changed) > 15 or not case_id.isalnum():
        return None
    return int(standing), int(changed), case_id


def _in_order(connection: Connection, fits: ColumnElement[bool], after: Mark | None, most: int) -> list[dict[str, Any]]:
    """So many rows after a mark: each standing for itself, so that an index gives them in order."""
    rows: list[dict[str, Any]] = []
    for standing in (UNKNOWN, KNOWN, OVER):
        here = (cases.c.standing == standing) & cases.c.up_since_ms.is_(None) & fits
        if after is not None and standing < after[0]:
            continue
        if after is not None and standing == after[0]:
            here &= tuple_(cases.c.changed_ms, cases.c.id) < tuple_(after[1], after[2])
        rows += _rows(connection, here, most - len(rows))
        if len(rows) >= most:
            break
    return rows


def _rows(connection: Connection, condition: ColumnElement[bool], most: int | None) -> list[dict[str, Any]]:
    columns = [cases.c[name] for name in SHOWN]
    order = (cases.c.changed_ms.desc(), cases.c.id.desc())
    found = connection.execute(select(*columns).where(condition).order_by(*order).limit(most))
    return [dict(row) for row in found.mappings()]


def _fits(connection: Connection, wanted: Wanted, now_ms: int) -> ColumnElement[bool] | None:
    """The condition that a case fits what is asked for; None when a word is in no case."""
    fits: ColumnElement[bool] = true()
    if wanted.status in STATUSES:
        fits &= cases.c.status == wanted.status
    if wanted.whose:
        fits &= cases.c.assignee == ("" if wanted.whose == NOBODY_S else wanted.whose)
    if wanted.days > 0:
        fits &= cases.c.changed_ms <= now_ms - wanted.days * DAY_MS
    if wanted.text.strip() and not wanted.words:
        return None
    found = [_cases_with(connection, word) for word in wanted.words]
    common = [word for word, few in zip(wanted.words, found, strict=True) if few is None]
    # one case after the other would be looked at for words that are common and never together
    together = _cases_with(connection, *common) if len(common) > 1 else None
    for few in (*found, together):
        if few is not None:
            fits &= cases.c.id.in_(few)
    if together is None:
        for word in common:
            fits &= exists().where((case_words.c.case_id == cases.c.id) & _begins(word))
    return None if [] in (*found, together) else fits


def _cases_with(connection: Connection, *words: str) -> Sequence[str] | None:
    """The cases that have each of these words, or one that begins so; None when they are more than `FEW`."""
    each = [select(case_words.c.case_id).where(_begins(word)) for word in words]
    wanted = each[0] if len(each) == 1 else intersect(*each)
    found = connection.scalars(wanted.limit(FEW + 1)).all()
    return None if len(found) > FEW else sorted(set(found))


def _begins(word: str) -> ColumnElement[bool]:
    """A word of the case begins so, or a number ends so."""
    from_the_end = (ENDS + word[::-1])[:LONGEST_WORD]
    begins = [
        and_(case_words.c.word >= start, case_words.c.word < start + LAST_LETTER) for start in (word, from_the_end)
    ]
    return or_(*begins) if len(word) >= 3 else begins[0]

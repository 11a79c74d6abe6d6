"""What an audit has to do and what it knows by now, in one SQLite file: no list of all photos is ever in memory."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from api.audit.source import Listed
from classifier.errors import InputError

MOST_OF_ONE_LIFT = 1000
"""Photos that a folder or a table may put into one lift: with more it is no lift."""

_TABLES = """
CREATE TABLE came (name TEXT PRIMARY KEY, folder TEXT, size INTEGER, given TEXT) WITHOUT ROWID;
CREATE TABLE photos (number INTEGER PRIMARY KEY, name TEXT UNIQUE, folder TEXT, size INTEGER, given TEXT,
    lift TEXT, way TEXT, start INTEGER, stop INTEGER, label TEXT, taken_s REAL, latitude REAL, longitude REAL);
CREATE TABLE lifts (number INTEGER PRIMARY KEY, lift TEXT UNIQUE, doubts TEXT NOT NULL DEFAULT '');
CREATE TABLE state (name TEXT PRIMARY KEY, value TEXT);
"""


@dataclass(frozen=True)
class Gap:
    """Photos or lifts from `start` up to `stop` that are still to do."""

    start: int
    stop: int


class Plan:
    """The file of one audit, open once at a time. Raises `InputError` for a full disk or a second audit."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with told_plainly(path):
            self._database = sqlite3.connect(path, timeout=0, isolation_level=None)
            self._database.execute("PRAGMA locking_mode = EXCLUSIVE")
            self._database.execute("PRAGMA journal_mode = TRUNCATE")
            self._database.execute("BEGIN EXCLUSIVE")
            if not self._database.execute("SELECT 1 FROM sqlite_master").fetchone():
                for statement in _TABLES.split(";"):
                    self._database.execute(statement)
            self._database.execute("COMMIT")

    def close(self) -> None:
        self._database.close()

    def run(self, statement: str, values: Sequence[Any] = ()) -> Iterator[tuple]:
        """Run one statement; its rows one by one."""
        with told_plainly(self.path):
            return self._database.execute(statement, values)

    def run_many(self, statement: str, rows: Iterable[Sequence[Any]]) -> None:
        """Run one statement for each of these rows."""
        with told_plainly(self.path):
            self._database.executemany(statement, rows)

    def one(self, statement: str, values: Sequence[Any] = ()) -> Any:
        """The first value of the first row, None where there is no row."""
        row = next(iter(self.run(statement, values)), None)
        return row[0] if row else None

    @contextmanager
    def at_once(self) -> Iterator[None]:
        """All that runs inside is kept, or nothing of it."""
        self.run("BEGIN")
        try:
            yield
        except BaseException:
            self._database.rollback()
            raise
        self.run("COMMIT")

    def state(self, name: str) -> str | None:
        return self.one("SELECT value FROM state WHERE name = ?", (name,))

    def note(self, name: str, value: str) -> None:
        self.run("INSERT OR REPLACE INTO state VALUES (?, ?)", (name, value))


def list_photos(plan: Plan, photos: Iterable[Listed]) -> None:
    """Note every photo, numbered from 0 by lift, folder and name. Raises `InputError` for one that comes twice."""
    with plan.at_once():
        for photo in photos:
            if plan.one("SELECT 1 FROM came WHERE name = ?", (photo.name,)):
                raise InputError(f"The photo {photo.name} comes twice in the table. Give each photo one line.")
            row = (photo.name, photo.folder, photo.size, photo.lift)
            plan.run("INSERT INTO came VALUES (?, ?, ?, ?)", row)
        plan.run(
            "INSERT INTO photos (number, name, folder, size, given) SELECT row_number() OVER (ORDER BY given, folder, "
            "name) - 1, name, folder, size, given FROM came"
        )
        plan.run("DELETE FROM came")
        _refuse_heaps(plan)
        plan.note("listed", "yes")


def _refuse_heaps(plan: Plan) -> None:
    for column, what, instead in (
        ("given", "The table gives the lift {!r}", "Give each lift a name of its own."),
        ("folder", "The folder {!r} holds", "If it is no lift, name other ways in --group-by."),
    ):
        heap = next(
            plan.run(
                f"SELECT {column}, count(*) FROM photos WHERE {column} != '' GROUP BY {column} HAVING count(*) > ?",
                (MOST_OF_ONE_LIFT,),
            ),
            None,
        )
        if heap and (column == "given" or "folder" in (plan.state("group_by") or "").split(",")):
            raise InputError(
                f"{what.format(heap[0])} {heap[1]} photos; at most {MOST_OF_ONE_LIFT} can be of one lift. {instead}"
            )


def gaps(done: Iterable[tuple[int, int]], total: int, most: int) -> Iterator[Gap]:
    """What is left of 0 … total when these ranges are done, in gaps of at most `most`."""
    begins = 0
    for start, stop in [*sorted(done), (total, total)]:
        for first in range(begins, start, most):
            yield Gap(first, min(first + most, start))
        begins = stop


@contextmanager
def told_plainly(path: Path) -> Iterator[None]:
    """SQLite's errors as `InputError`."""
    try:
        yield
    except sqlite3.OperationalError as problem:
        if "locked" in str(problem):
            raise InputError(
                f"{path.parent} is being written by another audit. Wait for it, or name another folder."
            ) from None
        raise InputError(
            f"{path}: {problem}. Make room, or the right to write, and start the same command again."
        ) from None
    except sqlite3.DatabaseError as problem:
        raise InputError(f"{path} is damaged ({problem}). Delete {path.parent} and begin anew.") from None

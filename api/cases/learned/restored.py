"""A backup knows nothing of what was taken back after it: so that a restored picture does not undo that."""

import sqlite3
from collections.abc import Collection, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from api.cases.events import WITHDRAWN
from api.cases.photos import no_digest

OF_A_LINE = "at_ms, role, actor, address, action, case_id, reason"
LINES = f"SELECT {OF_A_LINE} FROM audit WHERE action = ? ORDER BY id"
TOLD_BY_AN_EXPORT = "SELECT origin FROM learning_origins WHERE origin NOT IN (SELECT origin FROM learning_photos)"


@dataclass(frozen=True)
class TakenBack:
    """Photos by origin and id, origins that the next export lists as withdrawn, surveys that are not learned from.

    `lines`: of the audit log, which have to be known when the same backup is restored again.
    """

    photos: Sequence[tuple[str, str]] = ()
    told: Collection[str] = ()
    surveys: Collection[str] = ()
    lines: Sequence[tuple[object, ...]] = ()

    def __bool__(self) -> bool:
        return bool(self.photos or self.told or self.surveys or self.lines)

    def take_from(self, path: Path) -> None:
        """Delete it in this copy of a backup, bytes included, as it was deleted in the database."""
        with closing(sqlite3.connect(path)) as copy:
            copy.execute("PRAGMA secure_delete=ON")
            with copy:
                for origin, photo_id in self.photos:
                    copy.execute("DELETE FROM learning_photos WHERE origin = ?", (origin,))
                    gone = "UPDATE photos SET picture = NULL, keep_until_ms = NULL, sha256 = ? WHERE id = ?"
                    copy.execute(gone, (no_digest(str(photo_id)), photo_id))
                copy.executemany("INSERT OR IGNORE INTO learning_origins VALUES (?, 0)", [(one,) for one in self.told])
                copy.executemany(f"INSERT INTO audit ({OF_A_LINE}) VALUES (?, ?, ?, ?, ?, ?, ?)", self.lines)
                copy.executemany("UPDATE surveys SET learn = 0 WHERE id = ?", [(one,) for one in self.surveys])


def taken_back_since(database: Path, backup: Path) -> TakenBack:
    """What the database in use says was taken back, held against a backup; nothing where it cannot be read."""
    try:
        with closing(read_only(database)) as ours, closing(read_only(backup)) as theirs:
            lines = ours.execute(LINES, (WITHDRAWN,)).fetchall()
            kept = _names(ours, "SELECT origin FROM learning_photos")
            told = _names(ours, TOLD_BY_AN_EXPORT) - _names(theirs, "SELECT origin FROM learning_origins")
            ended = _names(ours, "SELECT id FROM surveys WHERE NOT learn")
            ended &= _names(theirs, "SELECT id FROM surveys WHERE learn")
            held = theirs.execute("SELECT origin, photo_id, case_id, agreed_ms FROM learning_photos").fetchall()
            known = set(theirs.execute(LINES, (WITHDRAWN,)))
    except sqlite3.Error:  # damaged, or of a version before there was anything to take back
        return TakenBack()
    moments = {case_id: at_ms for at_ms, *_, case_id, _ in lines}  # the last one of each
    gone = [
        (origin, photo_id)
        for origin, photo_id, case_id, agreed_ms in held
        if origin not in kept and agreed_ms <= moments.get(case_id, -1)
    ]
    return TakenBack(gone, told, ended, [line for line in lines if line not in known])


def read_only(path: Path) -> sqlite3.Connection:
    """A database file, to be read only. Raises `sqlite3.Error` where there is none."""
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)


def _names(opened: sqlite3.Connection, query: str) -> set[str]:
    return {name for (name,) in opened.execute(query)}

"""The database as one file: made while the server runs, proven whole before it counts, taken back as a whole."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy.engine import make_url

from api.cases.database import known_versions
from api.cases.learned.restored import read_only, taken_back_since
from classifier.errors import InputError

MAGIC = b"SQLite format 3\x00"

OTHERWISE = (
    "is no SQLite database. PostgreSQL has programs of its own for this, pg_dump and pg_restore; docs/operations.md "
    "has the commands."
)


def back_up(url: str, target: Path) -> int:
    """Write what the database holds now to a new file, readable for this account alone; its size in bytes.

    The file has its name only once it is whole and on disk. Raises `InputError`.
    """
    database = _file_of(url)
    if target.exists():
        raise InputError(f"{target} is there already, and a backup is never overwritten. Name another file.")
    part = target.with_name(f"{target.name}.part")
    with _errors_of(target):
        os.close(os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600))
        with closing(read_only(database)) as source, closing(sqlite3.connect(part)) as copy:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")  # everything in the one file
        check_whole(part)
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.replace(target)
    return target.stat().st_size


def restore(url: str, source: Path, replace: bool) -> tuple[str, int]:
    """Put a backup in the place of the database, in one transaction; its version, and how many photos it goes without.

    Photos whose learning was taken back after the backup, by the word of the database in its place, do not come back.

    Raises `InputError` for one that is not whole, and, unless `replace`, where a database is already.
    """
    database = _file_of(url)
    version = check_whole(source)
    if database.exists() and database.stat().st_size and not replace:
        raise InputError(f"{database} is there already. Back it up, then say --replace to put {source} in its place.")
    with (
        _errors_of(source),
        _without_what_was_taken_back(database, source) as (whole, photos),
        closing(read_only(whole)) as backup,
        closing(sqlite3.connect(database)) as ours,
    ):
        backup.backup(ours)
    return version, photos


@contextmanager
def _without_what_was_taken_back(database: Path, source: Path) -> Iterator[tuple[Path, int]]:
    """The backup, or a copy beside the database that lacks what was taken back since, and how many photos that are."""
    taken_back = taken_back_since(database, source)
    if not taken_back:
        yield source, 0
        return
    part = database.with_name(f"{database.name}.restore.part")
    try:
        os.close(os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600))
        with closing(read_only(source)) as backup, closing(sqlite3.connect(part)) as copy:
            backup.backup(copy)
        taken_back.take_from(part)
        yield part, len(taken_back.photos)
    finally:
        part.unlink(missing_ok=True)


def check_whole(path: Path) -> str:
    """The version of a backup that is all there. Raises `InputError` that says what is wrong with it."""
    with _errors_of(path):
        _check_length(path)
        with closing(read_only(path)) as backup:
            wrong = [row[0] for row in backup.execute("PRAGMA integrity_check(3)")]
            if wrong != ["ok"] or backup.execute("PRAGMA foreign_key_check").fetchone():
                raise InputError(f"{path} is damaged ({wrong[0]}). Nothing was changed; take another backup.")
            version = backup.execute("SELECT version_num FROM alembic_version").fetchone()
    if version is None or version[0] not in known_versions():
        came = version[0] if version else "none"
        raise InputError(f"{path} is of version {came}, which this hoistlore does not know. Use the one that wrote it.")
    return version[0]


def _check_length(path: Path) -> None:
    """A file that was cut off is known by its first page, which counts the pages."""
    with path.open("rb") as file:
        head = file.read(100)
    if len(head) < 100 or head[:16] != MAGIC:
        raise InputError(f"{path} is no backup of a database, or only its beginning. Nothing was changed.")
    page = int.from_bytes(head[16:18], "big")
    wanted = (65536 if page == 1 else page) * int.from_bytes(head[28:32], "big")
    if path.stat().st_size != wanted:
        raise InputError(f"{path} has {path.stat().st_size} bytes of {wanted}: a half backup. Nothing was changed.")


def _file_of(url: str) -> Path:
    address = make_url(url)
    if address.get_backend_name() != "sqlite" or not address.database or address.database == ":memory:":
        raise InputError(f"HOISTLORE_DATABASE {OTHERWISE}")
    return Path(address.database)


@contextmanager
def _errors_of(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        raise InputError(f"{path} cannot be used ({error}). Nothing was changed; take another.") from error
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}. Nothing was changed; name another.") from error

"""The database of the cases: SQLite by default, PostgreSQL by its URL; brought up to date when it is opened."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, OperationalError

from classifier.errors import SettingsError

MIGRATIONS = Path(__file__).parent / "migrations"

INSERT = {"postgresql": postgresql.insert, "sqlite": sqlite.insert}
"""By the name of the database: an insert that can say what to do with a row that is there already."""

LOCK_NOT_AVAILABLE = "55P03"
LONGEST_WAIT = "5s"
"""For a table that somebody holds: a migration that waits has everybody else wait behind it."""


def open_database(url: str) -> Engine:
    """An engine for this URL with all migrations applied. Raises `SettingsError` when it cannot be opened."""
    with _usable(url):
        engine = _engine(url)
        with engine.begin() as connection:
            _migrate(connection)
    return engine


def known_versions() -> set[str]:
    """Every version of the database that this code can read, by bringing it up to date."""
    return {script.revision for script in _scripts().walk_revisions()}


def versions(url: str) -> tuple[str | None, str]:
    """The version of a database as it stands, None for an empty one, and the newest. Raises `SettingsError`."""
    newest = _scripts().get_current_head()
    with _usable(url):
        engine = _engine(url)
        with engine.connect() as connection:
            current = MigrationContext.configure(connection).get_current_revision()
        engine.dispose()
    if current is not None and current not in known_versions():
        raise _from_the_future(current)
    return current, str(newest)


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that only reads, and so never waits for a writer."""
    with engine.connect() as connection:
        yield connection.execution_options(reads=True)


def taking_turns(connection: Connection, work: str) -> None:
    """Wait until no other server on this database is at this work; it is ours until the transaction ends.

    SQLite lets one transaction write at a time as it is.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(hashtext(:work))"), {"work": f"hoistlore {work}"})


def overwrite_deleted(engine: Engine) -> None:
    """Let nothing of what was deleted stand in SQLite's log any more; as soon as nobody reads from it.

    PostgreSQL gives the room free by itself (autovacuum), and overwrites it with what comes next.
    """
    if engine.dialect.name == "sqlite":
        with reading(engine) as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")


@contextmanager
def _usable(url: str) -> Iterator[None]:
    """Say of a database that cannot be opened why. Raises `SettingsError`."""
    try:
        yield
    except (ArgumentError, ModuleNotFoundError) as error:
        raise SettingsError(
            f"The database {url!r} cannot be used ({error}). Want sqlite:///FILE, or postgresql://… with the extra "
            "`postgres` installed."
        ) from error
    except OperationalError as error:
        if getattr(error.orig, "sqlstate", "") == LOCK_NOT_AVAILABLE:
            raise SettingsError(
                f"The database was not brought up to date: for {LONGEST_WAIT} somebody else holds its tables, such as "
                "a backup. Nothing was changed; start again when that is over."
            ) from error
        reason = str(error.orig).splitlines()[0]
        raise SettingsError(f"The database cannot be opened ({reason}). Check HOISTLORE_DATABASE.") from error


def _engine(url: str) -> Engine:
    address = make_url(url)
    if address.drivername == "postgresql":
        address = address.set(drivername="postgresql+psycopg")
    engine = create_engine(address, pool_pre_ping=address.get_backend_name() == "postgresql")
    if engine.dialect.name == "sqlite":
        _make_sqlite_durable(engine)
    return engine


def _make_sqlite_durable(engine: Engine) -> None:
    @event.listens_for(engine, "connect")
    def _connected(connection, _record) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves, below
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=10000"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("PRAGMA secure_delete=ON")  # a photo that is deleted is overwritten

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        if not connection.get_execution_options().get("reads"):
            connection.exec_driver_sql("BEGIN IMMEDIATE")  # a writer waits at the start, and never fails half-way


@cache
def _scripts() -> ScriptDirectory:
    """The migrations of this version, read once a process."""
    return ScriptDirectory(str(MIGRATIONS))


def _migrate(connection: Connection) -> None:
    taking_turns(connection, "migrate")
    scripts, context = _scripts(), MigrationContext.configure(connection)
    current = context.get_current_revision()
    if current is not None and current not in known_versions():
        raise _from_the_future(current)
    waiting = reversed(list(scripts.iterate_revisions("head", current or "base")))
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SET LOCAL lock_timeout = '{LONGEST_WAIT}'"))
    with Operations.context(context):
        for script in waiting:
            script.module.upgrade()
            context.stamp(scripts, script.revision)


def _from_the_future(current: str) -> SettingsError:
    return SettingsError(
        f"The database is at version {current}, which this version of hoistlore does not know: a newer one wrote "
        "it. Install that version again, or restore the backup from before the upgrade."
    )

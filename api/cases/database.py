"""The database of the cases: SQLite by default, PostgreSQL by its URL; brought up to date when it is opened."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, OperationalError

from classifier.errors import SettingsError

MIGRATIONS = Path(__file__).parent / "migrations"

MIGRATION_LOCK = 7_215_301
"""Any number, the same for every process that would bring one PostgreSQL database up to date."""


def open_database(url: str) -> Engine:
    """An engine for this URL with all migrations applied. Raises `SettingsError` when it cannot be opened."""
    try:
        address = make_url(url)
        if address.drivername == "postgresql":
            address = address.set(drivername="postgresql+psycopg")
        engine = create_engine(address)
        if engine.dialect.name == "sqlite":
            _make_sqlite_durable(engine)
        with engine.begin() as connection:
            _migrate(connection)
    except (ArgumentError, ModuleNotFoundError) as error:
        raise SettingsError(
            f"The database {url!r} cannot be used ({error}). Want sqlite:///FILE, or postgresql://… with the extra "
            "`postgres` installed."
        ) from error
    except OperationalError as error:
        reason = str(error.orig).splitlines()[0]
        raise SettingsError(f"The database cannot be opened ({reason}). Check HOISTLORE_DATABASE.") from error
    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that only reads, and so never waits for a writer."""
    with engine.connect() as connection:
        yield connection.execution_options(reads=True)


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


def _migrate(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": MIGRATION_LOCK})
    scripts = ScriptDirectory(str(MIGRATIONS))

    def to_newest(revision, _context):
        return scripts._upgrade_revs("head", revision)

    with EnvironmentContext(Config(), scripts, fn=to_newest) as environment:
        environment.configure(connection=connection, fn=to_newest)
        environment.run_migrations()

"""A migration runs while the version before goes on: nothing is taken away, and what that version writes counts."""

from pathlib import Path

import pytest
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, MetaData, create_engine, inspect, text

from api.cases.database import MIGRATIONS, open_database, reading
from api.cases.learning import closed_cases
from api.cases.store import CaseStore
from api.monitor.watching import look
from classifier.errors import SettingsError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.learning.closed_cases import ClosedCase
from tests.support.postgres_server import Postgres

RULE_SINCE = "0006"
"""The first migration under the rule; the one before put a table in the place of another."""

BEFORE = "0011"
"""The version before the one that keeps labels beside closed cases."""


def brought_to(engine: Engine, revision: str) -> None:
    """Bring an empty database up to this version, as the code of that time did."""
    scripts = ScriptDirectory(str(MIGRATIONS))
    with engine.begin() as connection:
        context = MigrationContext.configure(connection)
        with Operations.context(context):
            for script in reversed(list(scripts.iterate_revisions(revision, "base"))):
                script.module.upgrade()
                context.stamp(scripts, script.revision)


Column = tuple[bool, bool]
"""Whether it may be empty, and whether it has a default."""


def tables_of(connection: Connection) -> dict[str, dict[str, Column]]:
    found = inspect(connection)
    return {
        table: {c["name"]: (c["nullable"], c["default"] is not None) for c in found.get_columns(table)}
        for table in found.get_table_names()
    }


def unique_of(connection: Connection, table: str) -> set[frozenset[str]]:
    found = inspect(connection)
    constraints = [frozenset(one["column_names"]) for one in found.get_unique_constraints(table)]
    return {*constraints, *(frozenset(one["column_names"]) for one in found.get_indexes(table) if one["unique"])}


def test_no_migration_takes_away_what_the_version_before_reads_or_writes() -> None:
    engine, scripts = create_engine("sqlite://"), ScriptDirectory(str(MIGRATIONS))
    with engine.connect() as connection:
        context = MigrationContext.configure(connection)
        for script in reversed(list(scripts.walk_revisions())):
            before = {} if script.revision < RULE_SINCE else tables_of(connection)
            unique = {table: unique_of(connection, table) for table in before}
            with Operations.context(context):
                script.module.upgrade()
            after = tables_of(connection)
            for table, columns in before.items():
                now = after[table]
                assert columns.items() <= now.items(), f"{script.revision} changes a column of {table}"
                added = {name: now[name] for name in now.keys() - columns.keys()}
                assert all(empty or default for empty, default in added.values()), f"{script.revision}: {table} {added}"
                assert unique_of(connection, table) <= unique[table], f"{script.revision} forbids two alike in {table}"


@pytest.fixture(params=["sqlite", "postgresql"])
def old_database(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of a database as the version before left it."""
    lite = request.param == "sqlite"
    url = f"sqlite:///{tmp_path / 'cases.db'}" if lite else request.getfixturevalue("postgres").new_database()
    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"))
    brought_to(engine, BEFORE)
    engine.dispose()
    return url


def test_what_the_version_before_writes_beside_this_one_is_counted(old_database: str) -> None:
    old = create_engine(old_database.replace("postgresql:", "postgresql+psycopg:"))
    tables = MetaData()
    tables.reflect(old)  # all that the version before knows
    store = CaseStore.open(old_database)
    closing = {"id": "in_service", "answer": "pack_worn", "proof": "measured"}
    with old.begin() as connection:
        case = {"id": f"{1:016x}", "code": "ACDEFH", "owner_hash": "x", "language": "en", "version": 1}
        case |= {"keep_photos": False, "opened_ms": 1, "changed_ms": 1, "told_version": 1, "status": "closed"}
        connection.execute(tables.tables["cases"].insert().values(**case))
        said = {"case_id": case["id"], "version": 1, "at_ms": 1, "role": "agent", "actor": "Ana", "kind": "closed"}
        said |= {"said": closing, "known": {}}
        connection.execute(tables.tables["events"].insert().values(**said))
    taught = [ClosedCase("in_service", "pack_worn", proof="measured")]
    assert closed_cases(store) == taught, "also before a server has labelled it"
    look(store, load(DEMO_CATALOGUE))
    assert closed_cases(store) == taught
    with reading(store.engine) as connection:
        assert connection.scalar(text("SELECT judged_version FROM cases")) == 1
    old.dispose()
    store.engine.dispose()


def test_a_migration_does_not_make_everybody_wait_for_a_long_reader(postgres: Postgres, monkeypatch) -> None:
    url = postgres.new_database()
    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"))
    brought_to(engine, BEFORE)
    monkeypatch.setattr("api.cases.database.LONGEST_WAIT", "50ms")
    with engine.connect() as backup:
        backup.execute(text("SELECT count(*) FROM cases"))  # and its transaction stays open
        with pytest.raises(SettingsError, match="holds its tables, such as a backup"):
            open_database(url)
        assert backup.scalar(text("SELECT version_num FROM alembic_version")) == BEFORE
    open_database(url).dispose()
    engine.dispose()

"""Backup, restore and upgrade by command: under a running server, whole or not at all."""

import re
import sqlite3
import stat
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from sqlalchemy import create_engine, text

from api.cases.backup import back_up, check_whole
from api.cases.database import open_database, versions
from api.cases.migrations.versions import v0001_cases
from api.cases.store import CaseStore, Said, Who
from api.commands.main import main
from classifier.errors import InputError

CAREGIVER = Who("caregiver")
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})


@pytest.fixture
def url(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    url = f"sqlite:///{tmp_path / 'hoistlore.db'}"
    monkeypatch.setenv("HOISTLORE_DATABASE", url)
    return url


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    def run(*words: object) -> str:
        assert main([str(word) for word in words]) == 2
        return capsys.readouterr().err

    return run


def cases_of(store: CaseStore) -> set[str]:
    return {row["id"] for row in store.listed(1000)}


def hoistlore(*words: object) -> None:
    assert main([str(word) for word in words]) == 0


def test_a_backup_under_a_server_that_writes_restores_what_was_there(url: str, tmp_path: Path) -> None:
    store, stop = CaseStore.open(url), threading.Event()
    kept = {store.start("en", CAREGIVER, NOBODY_UP)[0] for _ in range(5)}

    def write() -> None:
        while not stop.is_set():
            store.start("en", CAREGIVER, NOBODY_UP)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        hoistlore("backup", tmp_path / "backup.db")
    finally:
        stop.set()
        writer.join(30)
    assert kept <= cases_of(store)
    store.delete(next(iter(kept)), Who("administrator", "Ana"))
    hoistlore("restore", tmp_path / "backup.db", "--replace")
    assert kept <= cases_of(store)  # a server that still runs sees it at once
    assert all(len(store.by_id(case).events) == 1 for case in cases_of(store))
    store.engine.dispose()
    with closing(sqlite3.connect(tmp_path / "hoistlore.db")) as database:
        assert database.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_backup_is_one_file_that_nobody_else_may_read(url: str, tmp_path: Path) -> None:
    CaseStore.open(url).start("en", CAREGIVER, NOBODY_UP)
    hoistlore("backup", tmp_path / "backup.db")
    assert stat.S_IMODE((tmp_path / "backup.db").stat().st_mode) == 0o600
    assert sorted(path.name for path in tmp_path.glob("backup*")) == ["backup.db"]
    assert check_whole(tmp_path / "backup.db") == versions(url)[1]


def test_a_backup_is_restored_on_another_machine(url: str, tmp_path: Path, monkeypatch) -> None:
    case, _ = CaseStore.open(url).start("en", CAREGIVER, NOBODY_UP)
    hoistlore("backup", tmp_path / "backup.db")
    other = f"sqlite:///{tmp_path / 'other.db'}"
    monkeypatch.setenv("HOISTLORE_DATABASE", other)
    hoistlore("restore", tmp_path / "backup.db")
    assert cases_of(CaseStore.open(other)) == {case}


@pytest.mark.parametrize("part", [0.0, 0.001, 0.3, 0.5, 0.99])
def test_half_a_backup_is_refused_and_nothing_changes(url: str, tmp_path: Path, refused, part: float) -> None:
    store = CaseStore.open(url)
    case, _ = store.start("en", CAREGIVER, NOBODY_UP)
    hoistlore("backup", tmp_path / "backup.db")
    whole = (tmp_path / "backup.db").read_bytes()
    (tmp_path / "half.db").write_bytes(whole[: int(len(whole) * part)])
    told = refused("restore", tmp_path / "half.db", "--replace")
    assert re.search("half backup|only its beginning", told) and "Nothing was changed" in told
    assert cases_of(store) == {case}


def test_a_backup_whose_pages_are_damaged_is_refused(url: str, tmp_path: Path, refused) -> None:
    store = CaseStore.open(url)
    case, _ = store.start("en", CAREGIVER, NOBODY_UP)
    hoistlore("backup", tmp_path / "backup.db")
    data = bytearray((tmp_path / "backup.db").read_bytes())
    for start in range(4096, len(data), 8192):
        data[start : start + 64] = bytes(64)
    (tmp_path / "damaged.db").write_bytes(data)
    assert "Nothing was changed" in refused("restore", tmp_path / "damaged.db", "--replace")
    assert cases_of(store) == {case}


def test_what_is_no_backup_is_refused(url: str, tmp_path: Path, refused) -> None:
    CaseStore.open(url).start("en", CAREGIVER, NOBODY_UP)
    (tmp_path / "letter.txt").write_text("Dear all, " * 100)
    assert "no backup" in refused("restore", tmp_path / "letter.txt", "--replace")
    assert "No such file" in refused("restore", tmp_path / "nothing.db", "--replace")
    with closing(sqlite3.connect(tmp_path / "foreign.db")) as foreign:
        foreign.execute("CREATE TABLE t (a)")
        foreign.commit()
    assert "cannot be used" in refused("restore", tmp_path / "foreign.db", "--replace")


def test_nothing_is_overwritten_unasked(url: str, tmp_path: Path, refused) -> None:
    CaseStore.open(url).start("en", CAREGIVER, NOBODY_UP)
    hoistlore("backup", tmp_path / "backup.db")
    assert "never overwritten" in refused("backup", tmp_path / "backup.db")
    assert "say --replace" in refused("restore", tmp_path / "backup.db")
    assert "No such file" in refused("backup", tmp_path / "nowhere" / "backup.db")


def test_a_backup_of_a_newer_version_is_refused(url: str, tmp_path: Path, refused) -> None:
    engine = open_database(url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    with pytest.raises(InputError, match="of version 9999, which this hoistlore does not know"):
        back_up(url, tmp_path / "backup.db")
    assert "at version 9999" in refused("upgrade")


def test_postgresql_is_named_its_own_programs(refused, monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setenv("HOISTLORE_DATABASE", "postgresql://localhost/cases")
    assert "pg_dump and pg_restore" in refused("backup", tmp_path / "backup.db")
    assert "pg_dump and pg_restore" in refused("restore", tmp_path / "backup.db")


def test_an_upgrade_backs_up_first_and_brings_an_old_database_up_to_date(url: str, tmp_path: Path, capsys) -> None:
    engine = create_engine(url)
    with engine.begin() as connection:  # as the first version left it
        context = MigrationContext.configure(connection)
        with Operations.context(context):
            v0001_cases.upgrade()
        connection.execute(text("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL)"))
        connection.execute(text("INSERT INTO alembic_version VALUES ('0001')"))
        connection.execute(text("INSERT INTO cases VALUES ('0123456789abcdef','ABCDEF','x','en',1,0,1,1)"))
    engine.dispose()
    newest = versions(url)[1]
    hoistlore("upgrade", "--backup", tmp_path / "before.db")
    assert f"upgraded: from version 0001 to {newest}" in capsys.readouterr().err
    assert check_whole(tmp_path / "before.db") == "0001"
    assert cases_of(CaseStore.open(url)) == {"0123456789abcdef"}
    hoistlore("upgrade")
    assert "Nothing was changed" in capsys.readouterr().err
    hoistlore("restore", tmp_path / "before.db", "--replace")
    assert versions(url)[0] == "0001"
    hoistlore("upgrade")  # beside the database, when nobody says where
    assert (tmp_path / f"hoistlore.db.before-{newest}").is_file()

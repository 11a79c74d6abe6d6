"""The page on operations is true: its backups restore every case, and a database from the future is refused."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from sqlalchemy import insert, select, text
from sqlalchemy.engine import make_url

from api.cases.database import open_database, reading
from api.cases.export import export_case
from api.cases.store import CaseStore, Said, Who
from api.cases.tables import photos
from api.commands.main import main
from api.servers.shelf import shelf_of
from api.servers.tables import shelf
from classifier.errors import SettingsError
from tests.support.postgres_server import program, running_postgres

PAGE = (Path(__file__).parents[2] / "docs/operations.md").read_text("utf-8")
CAREGIVER, ADMINISTRATOR = Who("caregiver"), Who("administrator", "Ana")


def documented(start: str) -> str:
    """The one command of the page that begins so."""
    (command,) = re.findall(rf"^    ({re.escape(start)}.*)$", PAGE, re.MULTILINE)
    return command


def run(command: str, folder: Path, **environment: str) -> None:
    paths = ":".join([str(Path(program("pg_dump")).parent), "/usr/local/bin:/usr/bin:/bin"])
    subprocess.run(["bash", "-euc", command], cwd=folder, env={"PATH": paths, **environment}, check=True, timeout=60)


def told_twice(store: CaseStore) -> str:
    said = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
    case_id, _ = store.start("en", CAREGIVER, said)
    store.say(case_id, 1, Said("context", {"id": "wet", "answer": "yes"}, {}), CAREGIVER)
    return case_id


def shown_for_minutes(store: CaseStore, case_id: str) -> None:
    """Put a picture without consent on the shelf of the servers."""
    row = {"id": "0" * 24, "case_id": case_id, "sha256": "0" * 64, "received_ms": 1, "reading": {}}
    with store.engine.begin() as connection:
        connection.execute(insert(photos).values(**row))
        shelf_of(store.engine).put(connection, case_id, row["id"], b"a picture", store.now_ms())
    assert shelf_of(store.engine).get(row["id"], store.now_ms()) == b"a picture"


def exported(store: CaseStore, case_id: str) -> dict:
    """All that is kept of a case but for the lines about exports of it, of which this is one."""
    document = export_case(store, case_id, ADMINISTRATOR)
    return document | {"audit": [line for line in document["audit"] if line["action"] != "export"]}


@pytest.mark.postgres
def test_a_backup_of_postgresql_restores_every_case() -> None:
    with running_postgres() as server:
        url = server.new_database()
        store = CaseStore.open(url)
        kept = told_twice(store)
        shown_for_minutes(store, kept)
        before = exported(store, kept)
        folder = server.folder / "backup"
        folder.mkdir()
        plain = make_url(url).set(username=server.user).render_as_string()
        run(documented("pg_dump"), folder, HOISTLORE_DATABASE=plain)
        store.delete(kept, ADMINISTRATOR)
        told_twice(store)
        store.engine.dispose()
        whole = (folder / "backup.dump").read_bytes()
        (folder / "backup.dump").write_bytes(whole[: len(whole) * 9 // 10])
        with pytest.raises(subprocess.CalledProcessError):  # half a backup changes nothing
            run(documented("pg_restore"), folder, HOISTLORE_DATABASE=plain)
        assert len(CaseStore.open(url).listed(10)) == 1
        (folder / "backup.dump").write_bytes(whole)
        run(documented("pg_restore"), folder, HOISTLORE_DATABASE=plain)
        restored = CaseStore.open(url)
        assert exported(restored, kept) == before
        with reading(restored.engine) as connection:
            assert connection.execute(select(shelf)).all() == []
        assert [row["id"] for row in restored.listed(10)] == [kept]
        restored.engine.dispose()


@pytest.fixture
def newer_database(tmp_path: Path) -> str:
    url = f"sqlite:///{tmp_path / 'hoistlore.db'}"
    engine = open_database(url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    return url


def test_a_newer_database_is_refused_and_left_as_it_is(newer_database: str, tmp_path: Path) -> None:
    copy = shutil.copy(tmp_path / "hoistlore.db", tmp_path / "copy.db")
    with pytest.raises(SettingsError, match=r"at version 9999.*a newer one wrote"):
        open_database(newer_database)
    assert (tmp_path / "hoistlore.db").read_bytes() == Path(copy).read_bytes()


def test_a_newer_database_ends_a_command_with_one_sentence_and_status_2(
    newer_database: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    monkeypatch.setenv("HOISTLORE_DATABASE", newer_database)
    assert main(["cases", "list"]) == 2
    told = capsys.readouterr().err
    assert told.startswith("hoistlore: The database is at version 9999") and "Traceback" not in told


def test_every_setting_and_command_that_the_page_names_exists() -> None:
    from dataclasses import fields

    from api.settings import PREFIX, Settings

    known = {PREFIX + setting.name.upper() for setting in fields(Settings)}
    assert set(re.findall(rf"{PREFIX}[A-Z_]+", PAGE)) <= known

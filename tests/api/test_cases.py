"""The cases: nothing acknowledged is lost, nothing is overwritten, everything can be taken out or deleted."""

import json
import signal
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from api.cases.database import open_database, reading
from api.cases.events import UNDO, CaseEvent, in_force
from api.cases.export import export_case
from api.cases.photos import picture_of
from api.cases.store import CODE_LETTERS, CaseStore, Conflict, NoSuchCase, Said, Who, hashed
from api.cases.tables import metadata
from api.servers.shelf import shelf_of
from api.servers.tables import shared
from classifier.errors import SettingsError

pytestmark = pytest.mark.walk

CAREGIVER, ANA, BO = Who("caregiver"), Who("agent", "Ana"), Who("agent", "Bo")
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})


def note(n: object) -> Said:
    return Said("context", {"id": "wet", "answer": str(n)}, {"state": "ask"})


def started(store: CaseStore) -> str:
    return store.start("en", CAREGIVER, NOBODY_UP)[0]


def test_a_case_comes_back_as_it_was_said(case_store: CaseStore) -> None:
    case_id, token = case_store.start("es", CAREGIVER, NOBODY_UP)
    case_store.say(case_id, 1, note("yes"), ANA)
    row = case_store.by_token(token)
    assert (row.id, row.language, row.version) == (case_id, "es", 2)
    assert [(e.version, e.role, e.actor, e.kind, e.said["answer"]) for e in row.events] == [
        (1, "caregiver", "", "person_in_sling", "no"),
        (2, "agent", "Ana", "context", "yes"),
    ]
    assert row.events[1].known == {"state": "ask"}
    assert case_store.by_code(f" {row.code[:3].lower()}-{row.code[3:]} ") == row == case_store.by_id(case_id)


def test_the_database_holds_no_token_and_codes_are_easy_to_say(case_store: CaseStore) -> None:
    _, token = case_store.start("en", CAREGIVER, NOBODY_UP)
    with reading(case_store.engine) as connection:
        rows = connection.execute(text("SELECT * FROM cases")).mappings().all()
    assert token not in repr(rows) and hashed(token) in repr(rows)
    assert all(set(row["code"]) <= set(CODE_LETTERS) for row in rows)
    assert len(token) >= 32


def test_a_stale_answer_is_refused_and_nothing_is_overwritten(case_store: CaseStore) -> None:
    case_id = started(case_store)
    case_store.say(case_id, 1, note("ana"), ANA)
    with pytest.raises(Conflict) as refused:
        case_store.say(case_id, 1, note("bo"), BO)
    assert refused.value.version == 2
    assert [e.said["answer"] for e in case_store.by_id(case_id).events] == ["no", "ana"]


def test_the_same_answer_twice_is_taken_once(case_store: CaseStore) -> None:
    case_id = started(case_store)
    assert [case_store.say(case_id, 1, note("yes"), ANA) for _ in range(3)] == [2, 2, 2]
    assert case_store.version(case_id) == 2


def test_what_is_not_there_is_said_so(case_store: CaseStore) -> None:
    for ask in (
        lambda: case_store.by_id("\x00"),
        lambda: case_store.by_token("\x00"),
        lambda: case_store.by_code("\x00"),
        lambda: picture_of(case_store, shelf_of(case_store.engine), started(case_store), "\x00"),
        lambda: case_store.by_id("0" * 16),
        lambda: case_store.say("0" * 16, 1, note(1), ANA),
        lambda: case_store.by_token("guessed"),
        lambda: case_store.by_id("guessed"),
        lambda: case_store.by_code("AAAAAA"),
        lambda: case_store.version("guessed"),
        lambda: case_store.say("guessed", 1, note(1), ANA),
        lambda: case_store.delete("guessed", ANA),
    ):
        with pytest.raises(NoSuchCase):
            ask()


def test_a_deleted_case_leaves_one_line_in_the_audit_log_and_nothing_else(case_store: CaseStore) -> None:
    case_id = started(case_store)
    case_store.say(case_id, 1, note("private words"), ANA)
    document = export_case(case_store, case_id, BO)
    assert [line["action"] for line in document["audit"]] == ["person_in_sling", "context"]
    assert json.loads(json.dumps(document))["case"]["events"][1]["said"]["answer"] == "private words"
    case_store.delete(case_id, BO)
    with reading(case_store.engine) as connection:
        left = [connection.execute(text(f"SELECT * FROM {t}")).all() for t in ("cases", "events", "photos")]
        log = connection.execute(text("SELECT action, actor FROM audit WHERE case_id = :c ORDER BY id"), {"c": case_id})
        assert log.all() == [("person_in_sling", ""), ("context", "Ana"), ("export", "Bo"), ("delete", "Bo")]
    assert "private words" not in repr(left) and case_id not in repr(left)


def test_two_agents_with_two_hundred_interleaved_edits_lose_none(case_store: CaseStore) -> None:
    case_id, each = started(case_store), 100
    told: dict[str, int] = {"Ana": 0, "Bo": 0}

    def edit(who: Who) -> None:
        for n in range(each):
            while True:  # a conflict is shown; the agent looks again and repeats
                try:
                    case_store.say(case_id, case_store.version(case_id), note(f"{who.actor} {n}"), who)
                    break
                except Conflict:
                    told[who.actor] += 1

    agents = [threading.Thread(target=edit, args=(who,)) for who in (ANA, BO)]
    for agent in agents:
        agent.start()
    for agent in agents:
        agent.join(120)
    events = case_store.by_id(case_id).events
    assert [e.version for e in events] == list(range(1, 2 * each + 2))
    for who in ("Ana", "Bo"):
        assert [e.said["answer"] for e in events if e.actor == who] == [f"{who} {n}" for n in range(each)]


WRITER = """
import sys
from api.cases.store import CaseStore, Said, Who
store = CaseStore.open(sys.argv[1])
for n in range(1, 1001):
    store.say(sys.argv[2], n, Said("context", {"id": "wet", "answer": str(n)}, {}), Who("agent", "Ana"))
    print(n, flush=True)
"""


@pytest.mark.parametrize("killed_after", [1, 137, 600])
def test_a_killed_server_has_lost_nothing_that_it_acknowledged(case_store: CaseStore, killed_after: int) -> None:
    """A writer of 1,000 events is ended with SIGKILL in the middle; all it had reported is there, and whole."""
    case_id = started(case_store)
    url = case_store.engine.url.render_as_string(hide_password=False)
    root = Path(__file__).parents[2]
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, url, case_id], stdout=subprocess.PIPE, text=True, cwd=root
    ) as writer:
        acknowledged = 0
        for line in writer.stdout:
            acknowledged = int(line)
            if acknowledged == killed_after:
                writer.send_signal(signal.SIGKILL)
    answers = [e.said["answer"] for e in CaseStore.open(url).by_id(case_id).events[1:]]
    assert acknowledged >= killed_after
    assert answers == [str(n + 1) for n in range(len(answers))]
    assert acknowledged <= len(answers) <= acknowledged + 1


def test_the_migrations_make_exactly_the_tables_that_the_code_knows(case_store: CaseStore) -> None:
    lite = case_store.engine.dialect.name == "sqlite"  # it keeps texts of any length, whatever the column says
    known = metadata if lite else [metadata, shared]
    with reading(case_store.engine) as connection:
        found = compare_metadata(MigrationContext.configure(connection, opts={"compare_type": not lite}), known)
        if lite:  # what becomes of the rows of a column that was added later is read by PRAGMA alone
            added = [
                row for row in connection.exec_driver_sql("PRAGMA foreign_key_list(sessions)") if row[3] == "user_id"
            ]
            assert [(row[2], row[6]) for row in added] == [("users", "CASCADE")]
            found = [row for row in found if not (row[0].endswith("_fk") and row[1].table.name == "sessions")]
        assert found == []


def test_a_database_that_is_up_to_date_is_left_as_it_is(case_store: CaseStore) -> None:
    case_id = started(case_store)
    again = open_database(case_store.engine.url.render_as_string(hide_password=False))
    assert replace(case_store, engine=again).by_id(case_id).version == 1


def test_sqlite_waits_for_the_disk(tmp_path: Path) -> None:
    with reading(open_database(f"sqlite:///{tmp_path / 'c.db'}")) as connection:
        said = [connection.exec_driver_sql(f"PRAGMA {p}").scalar() for p in ("journal_mode", "synchronous")]
    assert said == ["wal", 2]


@pytest.mark.parametrize("url", ["", "nonsense", "mysql://x/y", "sqlite:////no/such/folder/c.db"])
def test_a_database_that_cannot_be_used_is_named(url: str) -> None:
    with pytest.raises(SettingsError, match="database"):
        open_database(url)


kinds = st.sampled_from(["context", "symptom", "photo", UNDO, UNDO, "closed"])


@settings(deadline=None)
@given(st.lists(kinds, max_size=30))
def test_an_undo_takes_back_exactly_the_last_thing_that_holds(said: list[str]) -> None:
    events = [CaseEvent(n, 0, "agent", "", kind, {"id": "x"}, {}) for n, kind in enumerate(said, 2)]
    opening = CaseEvent(1, 0, "caregiver", "", "person_in_sling", {}, {})
    before = in_force([opening, *events])
    one_more = CaseEvent(99, 0, "agent", "", "context", {}, {})
    undo = CaseEvent(100, 0, "agent", "", UNDO, {}, {})
    assert in_force([opening, *events, one_more, undo]) == before
    assert before[0] == opening

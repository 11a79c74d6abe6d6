"""What is over is deleted completely: cases that are closed or that nobody took up, past the days that are set."""

import time
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text

from api.app import create_app
from api.cases.audit import audit_page
from api.cases.database import reading
from api.cases.expiry import delete_abandoned
from api.cases.learning import closed_cases
from api.cases.links import make_link
from api.cases.photos import DAY_MS
from api.cases.store import DELETE_ABANDONED, CaseStore, NoSuchCase, Said, Who
from api.commands.main import main
from api.identification import Resources
from api.settings import PREFIX, Settings
from guidance.learning.closed_cases import ClosedCase

CALLER, ANA = Who("caregiver", "", "203.0.113.7"), Who("agent", "Ana", "198.51.100.4")
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
DEAD = Said("symptom", {"id": "symptom", "answer": "dead"}, {})
CLOSING = Said("closed", {"id": "in_service", "answer": "pack_worn"}, {})
UNDO = Said("undo", {"id": "", "answer": ""}, {})
DAYS = 30


def later(store: CaseStore, days: float) -> CaseStore:
    return replace(store, now_ms=lambda: store.now_ms() + int(days * DAY_MS))


def test_a_case_that_nobody_took_up_is_deleted_with_all_its_rows(case_store: CaseStore) -> None:
    case_id, token = case_store.start("en", CALLER, NOBODY_UP)
    case_store.say(case_id, 1, DEAD, CALLER)
    make_link(case_store, case_id, ANA)
    assert delete_abandoned(later(case_store, DAYS - 0.01), DAYS) == 0
    assert delete_abandoned(later(case_store, DAYS + 0.01), DAYS) == 1
    for ask in (lambda: case_store.by_id(case_id), lambda: case_store.by_token(token)):
        with pytest.raises(NoSuchCase):
            ask()
    with reading(case_store.engine) as connection:
        left = [connection.execute(text(f"SELECT * FROM {t}")).all() for t in ("cases", "events", "photos", "links")]
    assert left == [[], [], [], []]


def test_the_audit_log_says_that_it_was_deleted_and_names_nobody(case_store: CaseStore) -> None:
    case_id, _ = case_store.start("en", CALLER, NOBODY_UP)
    delete_abandoned(later(case_store, DAYS + 1), DAYS)
    newest, opening = audit_page(case_store).lines
    assert (newest.action, newest.role, newest.actor, newest.address) == (DELETE_ABANDONED, "system", "", "")
    assert (newest.case_id, newest.code) == (case_id, None)
    assert (opening.action, opening.address) == ("person_in_sling", ""), "the caregiver's address outlived the case"


def test_what_staff_took_up_or_opened_stays_until_it_is_closed(case_store: CaseStore) -> None:
    taken_up, opened = case_store.start("en", CALLER, NOBODY_UP)[0], case_store.start("en", ANA, NOBODY_UP)[0]
    case_store.say(taken_up, 1, DEAD, ANA)
    case_store.say(opened, 1, CLOSING, ANA)
    case_store.say(opened, 2, UNDO, ANA)  # closed by mistake, and opened again
    assert delete_abandoned(later(case_store, 10 * DAYS), DAYS) == 0
    case_store.say(taken_up, 2, CLOSING, ANA)
    assert delete_abandoned(later(case_store, DAYS + 1), DAYS) == 1
    assert [row["id"] for row in case_store.listed(5)] == [opened]


def test_a_change_begins_the_time_anew(case_store: CaseStore) -> None:
    case_id, _ = case_store.start("en", CALLER, NOBODY_UP)
    later(case_store, DAYS - 1).say(case_id, 1, DEAD, CALLER)
    assert delete_abandoned(later(case_store, DAYS + 1), DAYS) == 0
    assert delete_abandoned(later(case_store, 2 * DAYS), DAYS) == 1


def test_what_changes_between_looking_and_deleting_stays(case_store: CaseStore, monkeypatch) -> None:
    case_id, _ = case_store.start("en", CALLER, NOBODY_UP)
    store = later(case_store, DAYS + 1)
    looked = CaseStore.by_id

    def taken_up_meanwhile(self: CaseStore, came: str):
        row = looked(self, came)
        self.say(came, row.version, DEAD, ANA)
        return row

    with monkeypatch.context() as patched:
        patched.setattr(CaseStore, "by_id", taken_up_meanwhile)
        assert delete_abandoned(store, DAYS) == 0
    assert [e.kind for e in case_store.by_id(case_id).events] == ["person_in_sling", "symptom"]


def test_what_a_closed_case_taught_outlives_it_and_a_case_deleted_by_hand_takes_it_away(case_store: CaseStore) -> None:
    ids = [case_store.start("en", ANA, NOBODY_UP)[0] for _ in range(3)]
    for case_id in ids:
        case_store.say(case_id, 1, CLOSING, ANA)
    case_store.delete(ids.pop(), ANA)
    taught = [ClosedCase("in_service", "pack_worn")] * 2
    assert closed_cases(case_store) == taught
    assert delete_abandoned(later(case_store, DAYS + 1), DAYS) == 2
    assert case_store.listed(1) == [] and closed_cases(case_store) == taught
    with reading(case_store.engine) as connection:
        assert connection.execute(text("SELECT * FROM taught_labels")).all() == [
            ("in_service", "pack_worn", "", "", "mended", 2)
        ]


def test_the_command_and_the_server_delete_by_the_setting(
    toy_settings: Settings, toy_resources: Resources, tmp_path: Path, monkeypatch, capsys
) -> None:
    database = f"sqlite:///{tmp_path / 'cases.db'}"
    store, days_ago = CaseStore.open(database), 3
    for _ in range(2):
        later(store, -days_ago).start("en", CALLER, NOBODY_UP)
    kept, _ = store.start("en", CALLER, NOBODY_UP)
    monkeypatch.setenv(f"{PREFIX}DATABASE", database)
    assert main(["cases", "expire"]) == 0 and capsys.readouterr().out == "deleted: 0 pictures, 0 cases\n"
    monkeypatch.setenv(f"{PREFIX}CASE_DAYS", str(days_ago - 1))
    assert main(["cases", "expire"]) == 0 and capsys.readouterr().out == "deleted: 0 pictures, 2 cases\n"
    later(store, -days_ago).start("en", CALLER, NOBODY_UP)
    with TestClient(create_app(replace(toy_settings, database=database, case_days=days_ago - 1), toy_resources)):
        deadline = time.monotonic() + 10
        while [row["id"] for row in store.listed(9)] != [kept]:
            assert time.monotonic() < deadline, "a server that starts deleted nothing"
            time.sleep(0.02)

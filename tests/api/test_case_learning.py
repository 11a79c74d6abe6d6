"""Closed cases move the server's ranking, by the same functions as the command line, and undoing moves it back."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from api.app import create_app
from api.cases.database import reading
from api.cases.learning import Learning, closed_cases
from api.cases.store import CaseStore, Said, Who
from api.cases.tables import UNJUDGED, cases
from api.identification import Resources
from api.monitor.watching import look
from api.settings import Settings
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.learning.closed_cases import ClosedCase
from guidance.learning.learning import learned
from tests.api.test_agent_pages import TOKEN, Desk, to_symptom

pytestmark = pytest.mark.walk

ANA = Who("agent", "Ana")
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
DEAD = {"person_in_sling": "no", "danger_signs": [], "symptom": "dead", "context": {"setting": "in_service"}}


@pytest.fixture
def settings(own_settings: Callable[..., Settings]) -> Settings:
    tokens = {"agent_token": TOKEN, "administrator_token": "an administrator's token"}
    return own_settings(**tokens)


def ranked(client: TestClient) -> dict[str, float]:
    """The faults of a lift that does nothing, likeliest first."""
    answer = client.post("/v1/troubleshooting", json=DEAD)
    assert answer.status_code == 200, answer.text
    return {fault["id"]: fault["probability"] for fault in answer.json()["faults"]}


def closing(store: CaseStore, fault: str, times: int) -> None:
    for _ in range(times):
        case_id, _ = store.start("en", ANA, NOBODY_UP)
        store.say(case_id, 1, Said("closed", {"id": "in_service", "answer": fault, "proof": "measured"}, {}), ANA)


def test_a_closed_case_changes_the_ranking_and_undoing_or_deleting_it_changes_it_back(
    settings: Settings, toy_resources: Resources
) -> None:
    app = create_app(settings, toy_resources)
    with TestClient(app) as client:
        ana, before = Desk(client, "Ana"), ranked(client)
        least = list(before)[-1]
        here = to_symptom(ana)
        assert ana.say(here, "closed", "in_service", least, proof="measured").status_code == 200
        after = ranked(client)
        assert after[least] > before[least] and after != before
        another = to_symptom(ana)
        assert "Closed cases that moved the rates: 1." in ana.say(another, "symptom", "symptom", "dead").text
        assert ana.say(here, "undo", "closed", "").status_code == 200
        assert ranked(client) == before
        ana.say(here, "closed", "in_service", least, proof="measured")
        assert ranked(client) == after
        client.delete(
            f"/v1/cases/{here.rsplit('/', 1)[1]}", headers={"authorization": "Bearer an administrator's token"}
        )
        assert ranked(client) == before


def test_enough_closed_cases_put_their_fault_first_as_the_command_line_would(
    settings: Settings, toy_resources: Resources
) -> None:
    app = create_app(settings, toy_resources)
    with TestClient(app) as client:
        least = "fuse_blown"  # it can leave a lift dead, but seldom does
        assert list(ranked(client)).index(least) > 3
    closing(app.state.cases, least, 400)
    again = create_app(settings, toy_resources)  # as a server that is started anew
    with TestClient(again) as client:
        again.state.learn()  # it does so by itself, while it answers already
        assert next(iter(ranked(client))) == least
    closed = [ClosedCase("in_service", least, proof="measured")] * 400
    assert again.state.resources.catalogue.faults == learned(toy_resources.catalogue, closed).faults
    assert "Moved by 400 closed cases." in again.state.resources.catalogue.fault_settings.rates_note


def test_a_fault_that_the_catalogue_has_lost_stops_nothing(case_store: CaseStore, caplog) -> None:
    closing(case_store, "a_fault_of_an_older_catalogue", 1)
    printed = load(DEMO_CATALOGUE)
    look(case_store, printed)
    assert Learning(printed).catalogue(case_store) is printed
    assert "1 closed cases teach nothing" in caplog.text


def test_a_case_is_read_once_for_all_servers_and_one_that_starts_reads_none(case_store: CaseStore, monkeypatch) -> None:
    printed, looked_at, by_id = load(DEMO_CATALOGUE), [], CaseStore.by_id
    monkeypatch.setattr("api.monitor.watching.TOGETHER", 2)
    closing(case_store, "pack_worn", 5)
    monkeypatch.setattr(CaseStore, "by_id", lambda self, came: looked_at.append(came) or by_id(self, came))
    look(case_store, printed)
    look(case_store, printed)
    assert len(looked_at) == len(set(looked_at)) == 5
    closing(case_store, "pack_worn", 1)
    behind = closed_cases(case_store)
    learning = Learning(printed)
    assert learning.catalogue(case_store).faults != printed.faults and learning.cases == 5
    look(case_store, printed)
    assert len(looked_at) == 7, "once by `closed_cases`, which writes nothing, and once to be labelled"
    assert learning.catalogue(case_store) is learning.catalogue(case_store) and learning.cases == 6
    assert closed_cases(case_store) == behind == [ClosedCase("in_service", "pack_worn", proof="measured")] * 6
    assert len({case.case for case in behind}) == 6


def test_a_case_that_was_opened_again_teaches_nothing_and_waits_no_more(case_store: CaseStore) -> None:
    printed = load(DEMO_CATALOGUE)
    closing(case_store, "pack_worn", 2)
    look(case_store, printed)
    (case_id, other) = (row["id"] for row in case_store.listed(2))
    case_store.say(case_id, 2, Said("undo", {"id": "closed", "answer": ""}, {}), ANA)
    case_store.say(other, 2, Said("note", {"id": "", "answer": "calls back"}, {}), ANA)
    look(case_store, printed)
    assert [case.case for case in closed_cases(case_store)] == [other]
    with reading(case_store.engine) as connection:
        assert connection.execute(select(cases.c.id).where(UNJUDGED)).all() == []

"""Closed cases move the server's ranking, by the same functions as the command line, and undoing moves it back."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.learning import Learning, closed_cases
from api.cases.store import CaseStore, Said, Who
from api.identification import Resources
from api.settings import Settings
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.learning import ClosedCase, count_cases, learned
from tests.api.test_agent_pages import TOKEN, Desk, to_symptom

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
        store.say(case_id, 1, Said("closed", {"id": "in_service", "answer": fault}, {}), ANA)


def test_a_closed_case_changes_the_ranking_and_undoing_or_deleting_it_changes_it_back(
    settings: Settings, toy_resources: Resources
) -> None:
    app = create_app(settings, toy_resources)
    with TestClient(app) as client:
        ana, before = Desk(client, "Ana"), ranked(client)
        least = list(before)[-1]
        here = to_symptom(ana)
        assert ana.say(here, "closed", "in_service", least).status_code == 200
        after = ranked(client)
        assert after[least] > before[least] and after != before
        another = to_symptom(ana)
        assert "Closed cases that moved the rates: 1." in ana.say(another, "symptom", "symptom", "dead").text
        assert ana.say(here, "undo", "", "").status_code == 200
        assert ranked(client) == before
        ana.say(here, "closed", "in_service", least)
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
        least = list(ranked(client))[-1]
    closing(app.state.cases, least, 400)
    again = create_app(settings, toy_resources)  # as a server that is started anew
    with TestClient(again) as client:
        assert next(iter(ranked(client))) == least
    counts = count_cases([ClosedCase("in_service", least)] * 400, toy_resources.catalogue)
    assert again.state.resources.catalogue.faults == learned(toy_resources.catalogue, counts).faults
    assert "Moved by 400 closed cases." in again.state.resources.catalogue.fault_settings.rates_note


def test_a_fault_that_the_catalogue_has_lost_stops_nothing(case_store: CaseStore, caplog) -> None:
    closing(case_store, "a_fault_of_an_older_catalogue", 1)
    printed = load(DEMO_CATALOGUE)
    assert Learning(printed).catalogue(case_store) is printed
    assert "1 closed cases teach nothing" in caplog.text


def test_only_cases_that_changed_are_read_again(case_store: CaseStore, monkeypatch) -> None:
    closing(case_store, "pack_worn", 20)
    learning, folded = Learning(load(DEMO_CATALOGUE)), []
    by_id = CaseStore.by_id
    monkeypatch.setattr(CaseStore, "by_id", lambda self, came: folded.append(came) or by_id(self, came))
    first = learning.catalogue(case_store)
    assert len(folded) == 20 and learning.catalogue(case_store) is first and len(folded) == 20
    closing(case_store, "pack_worn", 1)
    assert learning.catalogue(case_store) is not first
    assert len(folded) == 21 and learning.cases == 21
    assert closed_cases(case_store, {}) == [ClosedCase("in_service", "pack_worn")] * 21

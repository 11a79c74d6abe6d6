"""Who may come in: roles by token or session, nobody by default, and no public address without a token."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.store import Said, Who
from api.http.sessions import COOKIE, SESSION_MS, check_reach, check_tokens
from api.identification import Resources
from api.settings import Settings
from classifier.errors import SettingsError

AGENT, ADMINISTRATOR = "an agent's long token", "an administrator's token"
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})


@pytest.fixture
def desk(own_settings: Callable[..., Settings], toy_resources: Resources) -> Iterator[TestClient]:
    settings = own_settings(
        agent_token=AGENT,
        administrator_token=ADMINISTRATOR,
    )
    with TestClient(create_app(settings, toy_resources), raise_server_exceptions=False) as client:
        yield client


def signed_in(desk: TestClient, token: str = AGENT, name: str = "Ana"):
    return desk.post("/en/staff/sign-in", data={"token": token, "name": name}, headers={"accept": "text/html"})


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"host": "0.0.0.0"}, "no role has a token"),
        ({"host": "hoist.example"}, "no role has a token"),
        ({"agent_token": "short"}, "too short"),
        ({"agent_token": AGENT, "technician_token": AGENT}, "same token"),
    ],
)
def test_an_unsafe_server_does_not_start(
    own_settings: Callable[..., Settings], toy_resources: Resources, given: dict[str, str], told: str
) -> None:
    with pytest.raises(SettingsError, match=told):
        create_app(own_settings(**given), toy_resources)


@pytest.mark.parametrize("given", [{}, {"host": "::1"}, {"host": "localhost"}, {"host": "::", "agent_token": AGENT}])
def test_a_private_server_or_one_with_a_token_starts(given: dict[str, str]) -> None:
    check_tokens(Settings(**given))
    check_reach(Settings(**given), somebody_named=False)


def test_a_server_whose_staff_have_names_needs_no_token_to_be_reached() -> None:
    check_reach(Settings(host="0.0.0.0"), somebody_named=True)


def test_without_a_token_in_the_settings_nobody_comes_in(client: TestClient) -> None:
    assert signed_in(client, "").status_code == 403
    assert client.get("/v1/cases", headers={"authorization": "Bearer "}).status_code == 401


@pytest.mark.parametrize("path", ["/v1/cases", "/v1/cases/x", "/v1/cases/x/changes?after=0"])
def test_the_api_wants_a_token(desk: TestClient, path: str) -> None:
    for headers in ({}, {"authorization": "Bearer wrong"}, {"authorization": f"Basic {AGENT}"}):
        refused = desk.get(path, headers=headers)
        assert (refused.status_code, refused.headers["content-type"]) == (401, "application/problem+json")
        assert refused.headers["www-authenticate"] == "Bearer"


def test_an_agent_reads_a_case_and_only_an_administrator_deletes_it(desk: TestClient) -> None:
    case_id, _ = desk.app.state.cases.start("en", Who("caregiver"), NOBODY_UP)
    agent, administrator = ({"authorization": f"Bearer {token}"} for token in (AGENT, ADMINISTRATOR))
    assert desk.get("/v1/cases", headers=agent).json()[0]["id"] == case_id
    assert desk.get(f"/v1/cases/{case_id}", headers=agent).json()["case"]["events"][0]["said"]["answer"] == "no"
    assert desk.delete(f"/v1/cases/{case_id}", headers=agent).status_code == 403
    assert desk.delete(f"/v1/cases/{case_id}", headers=administrator).status_code == 204
    assert desk.get(f"/v1/cases/{case_id}", headers=agent).status_code == 404


def test_a_session_s_cookie_is_kept_from_scripts_and_other_sites(desk: TestClient) -> None:
    desk.post("/en/staff/sign-in", data={"token": AGENT, "name": "Ana"}, follow_redirects=False)
    answer = desk.post("/en/staff/sign-in", data={"token": AGENT, "name": "Ana"}, follow_redirects=False)
    cookie = answer.headers["set-cookie"].lower()
    assert answer.status_code == 303 and "httponly" in cookie and "samesite=strict" in cookie


def test_a_session_ends_when_it_is_signed_out_or_too_old(desk: TestClient) -> None:
    page = signed_in(desk)
    assert page.url.path == "/en/staff/cases" and "<bdi>Ana</bdi>, agent" in page.text
    store = desk.app.state.cases
    desk.app.state.cases = replace(store, now_ms=lambda: store.now_ms() + SESSION_MS + 1)
    assert desk.get("/en/staff/cases", headers={"accept": "text/html"}).url.path == "/en/staff/sign-in"
    desk.app.state.cases = store
    old = desk.cookies[COOKIE]
    key = re.search(r'form_key" value="([^"]+)', page.text)[1]
    desk.post("/en/staff/sign-out", data={"form_key": key})
    desk.cookies.set(COOKIE, old)
    assert desk.get("/en/staff/cases", headers={"accept": "text/html"}).url.path == "/en/staff/sign-in"


def test_a_form_from_another_site_is_refused(desk: TestClient) -> None:
    signed_in(desk)
    for key in ({}, {"form_key": "guessed"}):
        assert desk.post("/en/staff/cases", data=key).status_code == 403
    assert desk.app.state.cases.listed(1) == []


def test_tokens_are_not_guessed_quickly(desk: TestClient) -> None:
    tried = [signed_in(desk, f"guess number {n:010}").status_code for n in range(12)]
    assert tried[:10] == [403] * 10 and tried[-1] == 429

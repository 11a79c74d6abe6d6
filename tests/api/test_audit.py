"""The audit log: who did what, when, over all cases; for administrators alone, on a page and through the API."""

import datetime as dt
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html import unescape

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.audit import audit_page
from api.cases.store import CaseStore, NoSuchCase, Said, Who
from api.identification import Resources
from api.settings import Settings

pytestmark = pytest.mark.walk

TOKENS = {f"{role}_token": f"the {role}s' own long token" for role in ("agent", "technician", "administrator")}
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
DEAD = Said("symptom", {"id": "symptom", "answer": "dead"}, {})
CALLER, ANA = Who("caregiver", "", "203.0.113.7"), Who("agent", "Ana", "198.51.100.4")
DAY_MS = 86_400_000


@pytest.fixture
def desk(own_settings: Callable[..., Settings], toy_resources: Resources) -> Iterator[TestClient]:
    settings = own_settings(**TOKENS)
    with TestClient(create_app(settings, toy_resources), raise_server_exceptions=False) as client:
        yield client


def signed_in(desk: TestClient, role: str, name: str = "Ida") -> TestClient:
    desk.headers["accept"] = "text/html"
    desk.post("/en/staff/sign-in", data={"token": TOKENS[f"{role}_token"], "name": name})
    return desk


def bearer(role: str) -> dict[str, str]:
    return {"authorization": f"Bearer {TOKENS[f'{role}_token']}"}


def rows(page) -> list[list[str]]:
    body = re.findall(r"<tr><td class=\"when\">.*?</tr>", page.text, re.DOTALL)
    return [
        [unescape(re.sub(r"<[^>]+>", "", cell)) for cell in re.findall(r"<t[dh][ >].*?</t[dh]>", row)] for row in body
    ]


def test_lines_say_who_what_and_when_newest_first(case_store: CaseStore) -> None:
    case_id, _ = case_store.start("en", CALLER, NOBODY_UP)
    case_store.say(case_id, 1, DEAD, ANA)
    newest, oldest = audit_page(case_store).lines
    code = case_store.by_id(case_id).code
    assert (newest.role, newest.actor, newest.address, newest.action) == ("agent", "Ana", "198.51.100.4", "symptom")
    assert (oldest.role, oldest.actor, oldest.action) == ("caregiver", "", "person_in_sling")
    assert {(line.case_id, line.code) for line in (newest, oldest)} == {(case_id, code)}
    assert abs(newest.at_ms - case_store.now_ms()) < 60_000


def test_one_case_is_picked_by_its_code_or_its_id_also_after_it_was_deleted(case_store: CaseStore) -> None:
    first, second = (case_store.start("en", CALLER, NOBODY_UP)[0] for _ in range(2))
    code = case_store.by_id(first).code
    for came in (first, f" {first} ", code, f"{code[:3].lower()} {code[3:]}"):
        assert [line.case_id for line in audit_page(case_store, came).lines] == [first]
    case_store.delete(first, ANA)
    assert [line.action for line in audit_page(case_store, first).lines] == ["delete", "person_in_sling"]
    assert [line.case_id for line in audit_page(case_store, second).lines] == [second]
    for came in (code, "nonsense", "\x00", "'; DROP TABLE audit; --"):
        with pytest.raises(NoSuchCase):
            audit_page(case_store, came)


def test_one_day_begins_and_ends_at_midnight_utc(case_store: CaseStore) -> None:
    midnight = dt.datetime(2026, 3, 31, tzinfo=dt.UTC).timestamp() * 1000
    for at_ms in (midnight - 1, midnight, midnight + DAY_MS - 1, midnight + DAY_MS):
        replace(case_store, now_ms=lambda at_ms=at_ms: int(at_ms)).start("en", CALLER, NOBODY_UP)
    found = audit_page(case_store, day=dt.date(2026, 3, 31)).lines
    assert [line.at_ms for line in found] == [midnight + DAY_MS - 1, midnight]
    for day in (dt.date.min, dt.date.max, dt.date(1970, 1, 1)):
        assert audit_page(case_store, day=day).lines == ()


def test_pages_follow_each_other_without_a_gap_or_a_line_twice(case_store: CaseStore) -> None:
    case_id, _ = case_store.start("en", CALLER, NOBODY_UP)
    for version in range(1, 25):
        case_store.say(case_id, version, Said("context", {"id": "wet", "answer": str(version)}, {}), ANA)
    seen, before = [], {}
    while True:
        page = audit_page(case_store, most=10, **before)
        assert len(page.lines) <= 10
        seen += [line.id for line in page.lines]
        if page.older is None:
            break
        before = {"before": page.older}
        case_store.start("en", CALLER, NOBODY_UP)  # what is new meanwhile moves no line to another page
    assert len(seen) == 25 == len(set(seen)) and seen == sorted(seen, reverse=True)


def test_the_page_shows_what_the_log_holds_to_an_administrator(desk: TestClient) -> None:
    store = desk.app.state.cases
    case_id, _ = store.start("en", CALLER, NOBODY_UP)
    store.say(case_id, 1, DEAD, Who("agent", "<script>alert(1)</script>", "198.51.100.4"))
    page = signed_in(desk, "administrator").get("/en/staff/audit")
    code = store.by_id(case_id).code
    shown = [row[1:] for row in rows(page)]
    assert shown[0][:3] == ["Ida, administrator", "Signed in", "–"]
    assert shown[1] == ["<script>alert(1)</script>, agent", "Trouble", f"{code[:3]} {code[3:]}", "198.51.100.4"]
    assert shown[2] == ["caregiver", "Whether somebody is up", f"{code[:3]} {code[3:]}", "203.0.113.7"]
    assert "<script>alert" not in page.text
    assert len(rows(desk.get("/en/staff/audit", params={"case": code}))) == 2
    today = dt.datetime.fromtimestamp(store.now_ms() / 1000, dt.UTC).date()
    assert len(rows(desk.get("/en/staff/audit", params={"day": today.isoformat()}))) == 3
    assert "No line of the log fits." in desk.get("/en/staff/audit", params={"day": "2020-02-29"}).text


def test_the_page_is_paged(desk: TestClient) -> None:
    for _ in range(60):
        desk.app.state.cases.start("en", CALLER, NOBODY_UP)
    first = signed_in(desk, "administrator").get("/en/staff/audit?day=&case=")
    older = unescape(re.search(r'href="([^"]+)" rel="next"', first.text)[1])
    second = desk.get(older)
    assert [len(rows(first)), len(rows(second))] == [50, 11]
    assert 'rel="next"' not in second.text and "All of it, newest first" in second.text


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"case": "AAAAAA"}, "No case has the code AAAAAA."),
        ({"case": "<b>"}, "No case has the code <b>."),
        ({"day": "31.3.2026"}, "31.3.2026 is no day. Write it as 2026-03-31."),
        ({"day": "2026-02-30"}, "2026-02-30 is no day."),
    ],
)
def test_a_filter_that_makes_no_sense_is_named(desk: TestClient, asked: dict[str, str], told: str) -> None:
    page = signed_in(desk, "administrator").get("/en/staff/audit", params=asked)
    assert page.status_code == 422 and told in unescape(page.text) and "<b>" not in page.text


@pytest.mark.parametrize("role", ["agent", "technician"])
def test_the_log_is_for_administrators_alone(desk: TestClient, role: str) -> None:
    assert desk.get("/v1/audit").status_code == 401
    assert desk.get("/v1/audit", headers=bearer(role)).status_code == 403
    assert desk.get("/en/staff/audit", headers={"accept": "text/html"}).url.path == "/en/staff/sign-in"
    client = signed_in(desk, role)
    assert client.get("/en/staff/audit").status_code == 403
    assert "/staff/audit" not in client.get("/en/staff/cases").text


def test_the_api_gives_the_same_lines(desk: TestClient) -> None:
    store = desk.app.state.cases
    ids = [store.start("en", CALLER, NOBODY_UP)[0] for _ in range(3)]
    page = desk.get("/v1/audit", params={"most": 2}, headers=bearer("administrator")).json()
    assert [line["case_id"] for line in page["lines"]] == [ids[2], ids[1]]
    assert abs(page["lines"][0].pop("at_ms") - store.by_id(ids[2]).opened_ms) < 1000
    assert page["lines"][0] == {
        "id": 3, "role": "caregiver", "actor": "", "address": "203.0.113.7",
        "action": "person_in_sling", "case_id": ids[2], "reason": "", "code": store.by_id(ids[2]).code,
    }  # fmt: skip
    rest = desk.get("/v1/audit", params={"before": page["older"]}, headers=bearer("administrator")).json()
    assert [line["case_id"] for line in rest["lines"]] == [ids[0]] and rest["older"] is None
    one = desk.get("/v1/audit", params={"case": ids[1], "day": "2020-01-01"}, headers=bearer("administrator")).json()
    assert one == {"lines": [], "older": None}


@pytest.mark.parametrize(
    ("asked", "status"),
    [({"case": "AAAAAA"}, 404), ({"day": "soon"}, 422), ({"before": "0"}, 422), ({"before": "9" * 30}, 422),
     ({"most": "501"}, 422), ({"case": "x" * 41}, 422)],
)  # fmt: skip
def test_the_api_refuses_what_makes_no_sense(desk: TestClient, asked: dict[str, str], status: int) -> None:
    refused = desk.get("/v1/audit", params=asked, headers=bearer("administrator"))
    assert (refused.status_code, refused.headers["content-type"]) == (status, "application/problem+json")


@pytest.mark.parametrize("role", ["agent", "technician", "administrator"])
def test_every_role_sees_a_case_s_own_history_with_what_was_taken_back(desk: TestClient, role: str) -> None:
    store = desk.app.state.cases
    case_id, _ = store.start("en", CALLER, NOBODY_UP)
    store.say(case_id, 1, DEAD, ANA)
    store.say(case_id, 2, Said("undo", {"id": "", "answer": ""}, {}), ANA)
    store.say(case_id, 3, Said("closed", {"id": "in_service", "answer": "pack_worn"}, {}), ANA)
    assert desk.get(f"/en/staff/cases/{case_id}/history", headers={"accept": "text/html"}).url.path.endswith("sign-in")
    page = signed_in(desk, role).get(f"/en/staff/cases/{case_id}/history")
    assert [row[1:] for row in rows(page)] == [
        ["caregiver", "Whether somebody is up", "No"],
        ["Ana, agent", "Trouble", "The lift does not move at all (taken back)"],
        ["Ana, agent", "Took the last back", ""],
        ["Ana, agent", "Closed", "pack worn out; It has been working here"],
    ]
    assert f"/en/staff/cases/{case_id}/history" in desk.get(f"/en/staff/cases/{case_id}").text

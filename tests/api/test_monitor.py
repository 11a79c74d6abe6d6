"""When confirmed answers turn out wrong, nothing is confirmed any more: over HTTP, on every screen, until set back."""

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.audit import audit_page
from api.cases.learned.consent import of_case, withdraw
from api.cases.photos import photos_of
from api.cases.store import CaseStore, Who
from api.commands.main import main
from api.identification import Resources
from api.monitor.held_back import confirm_again, held_now
from api.monitor.report import report
from api.monitor.watching import look, watched
from api.settings import PREFIX, Settings
from classifier.errors import InputError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.identify.held_back import WRONG_TOO_OFTEN
from tests.api.judged_cases import CLOSING, TOM, closed, found, wrong_lowerings
from tests.api.test_agent_pages import Desk
from tests.api.test_photo_labels import photographed
from tests.api.test_technician_pages import send
from tests.guidance.test_held_back import SEEN_BY_TECHNICIAN, TABS

pytestmark = pytest.mark.walk

CATALOGUE = load(DEMO_CATALOGUE)
TOKENS = {role: f"the long token of one {role}" for role in ("agent", "technician", "administrator")}
ENOUGH = 3
"""Wrong answers in a row that are an alarm."""


@pytest.fixture
def settings(own_settings: Callable[..., Settings]) -> Settings:
    return own_settings(**{f"{role}_token": token for role, token in TOKENS.items()})


@pytest.fixture
def app(settings: Settings, toy_resources: Resources):
    return create_app(settings, toy_resources)


@pytest.fixture
def client(app) -> Iterator[TestClient]:
    with TestClient(app) as client:
        yield client


def signed_in(client: TestClient, role: str, monkeypatch) -> Desk:
    monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", TOKENS[role])
    return Desk(client, role)


def identified(client: TestClient) -> dict:
    """The answer to what confirms both components."""
    said = json.dumps([{"id": id_, "answer": answer} for id_, answer in SEEN_BY_TECHNICIAN])
    fields = {"observations": (None, said), "role": (None, "technician")}  # a multipart body without a photo
    answer = client.post("/v1/identifications", files=fields)
    assert answer.status_code == 200, answer.text
    return answer.json()


def brought_down(client: TestClient) -> dict:
    """The way down for whoever had a confirmed mechanism before."""
    answer = client.post("/v1/troubleshooting", json={"person_in_sling": "yes", "actuator": TABS})
    assert answer.status_code == 200, answer.text
    return answer.json()


def alarmed(app) -> None:
    wrong_lowerings(app.state.cases, ENOUGH)
    app.state.learn()


def test_an_alarm_stops_confirming_at_once_and_says_why(client: TestClient, app) -> None:
    assert identified(client)["actuator"]["decision"] == "confirmed"
    assert brought_down(client)["lowering"]["basis"] == "confirmed"
    alarmed(app)
    answer = identified(client)
    assert (answer["actuator"]["decision"], answer["actuator"]["held_back"]) == ("likely", WRONG_TOO_OFTEN)
    assert answer["control_box"]["decision"] == "confirmed" and answer["control_box"]["held_back"] == ""
    assert answer["guidance"]["lowering"]["basis"] == "open"
    down = brought_down(client)
    assert down["lowering"]["basis"] == "open" and down["held_back"] == {"actuator": WRONG_TOO_OFTEN}


def test_it_lasts_over_a_restart_and_holds_for_every_server_on_the_database(
    client: TestClient, app, settings: Settings, toy_resources: Resources
) -> None:
    with TestClient(create_app(settings, toy_resources)) as other:
        assert identified(other)["actuator"]["decision"] == "confirmed"
        alarmed(app)
        assert identified(other)["actuator"]["decision"] == "likely"
        confirm_again(app.state.cases, "actuator", "The label was read wrongly.", Who("administrator", "Ida"))
        assert identified(other)["actuator"]["decision"] == identified(client)["actuator"]["decision"] == "confirmed"
        wrong_lowerings(app.state.cases, ENOUGH)
    with TestClient(create_app(settings, toy_resources)) as again:
        assert identified(again)["actuator"]["decision"] == "likely"


def test_two_wrong_ones_are_no_alarm(client: TestClient, app) -> None:
    wrong_lowerings(app.state.cases, ENOUGH - 1)
    app.state.learn()
    assert identified(client)["actuator"]["decision"] == "confirmed"


def test_closing_the_last_of_the_wrong_ones_on_its_page_is_enough(client: TestClient, app, monkeypatch) -> None:
    wrong_lowerings(app.state.cases, ENOUGH - 1)
    tom = signed_in(client, "technician", monkeypatch)
    here = case_with_confirmed_tabs(tom)
    tom.say(here, "observation", "lowering", "none")
    assert held_now(app.state.cases) == {}
    assert tom.say(here, "closed", "in_service", "fuse_blown", proof="measured").status_code == 200
    assert set(held_now(app.state.cases)) == {"actuator"}


def case_with_confirmed_tabs(desk: Desk) -> str:
    here = desk.open()
    desk.say(here, "person_in_sling", "person_in_sling", "no")
    desk.say(here, "danger_signs", "danger_signs", "none")
    desk.say(here, "symptom", "symptom", "dead")
    for id_, answer in SEEN_BY_TECHNICIAN[:2]:
        desk.say(here, "observation", id_, answer)
    assert re.search(r"Lowering by hand: confirmed", desk.client.get(here).text)
    return here


def test_every_screen_of_the_staff_says_why_it_is_only_probable(client: TestClient, app, monkeypatch) -> None:
    tom = signed_in(client, "technician", monkeypatch)
    here = case_with_confirmed_tabs(tom)
    alarmed(app)
    page = client.get(here).text
    assert "Lowering by hand: likely" in page and WRONG_TOO_OFTEN in page and "/en/staff/monitor" in page
    assert WRONG_TOO_OFTEN in client.get(f"{here}/sheet").text
    assert client.get(f"{here}/sheet.json").json()["actuator"]["held_back"] == WRONG_TOO_OFTEN
    ana = signed_in(client, "agent", monkeypatch)
    assert WRONG_TOO_OFTEN in client.get(here).text
    ana.say(here, "person_in_sling", "person_in_sling", "yes")
    page = client.get(here).text
    assert "How the person comes down, not knowing the mechanism" in page and WRONG_TOO_OFTEN in page


def test_a_caregiver_beside_a_person_is_given_the_way_down_for_every_lift(client: TestClient, app) -> None:
    page = client.post("/en/now", data={"kind": "person_in_sling", "answer": "yes"})
    down = re.match(r"/en(/c/[^/]+)", page.url.path)[1]
    for id_, answer in SEEN_BY_TECHNICIAN[:3]:
        version = re.search(r'data-version="(\d+)', client.get(f"/en{down}/down").text)[1]
        client.post(f"/en{down}/now", data={"kind": "observation", "id": id_, "answer": answer, "version": version})
    assert "Show me step by step" in client.get(f"/en{down}/down").text
    alarmed(app)
    plan, step = client.get(f"/en{down}/down"), client.get(f"/en{down}/down/1")
    for page in (plan, step):
        assert page.url.path.endswith("/down"), "no step of a mechanism that is held back"
        assert "Show me step by step" not in page.text and WRONG_TOO_OFTEN in page.text


@pytest.mark.parametrize("role", ["agent", "technician"])
def test_only_an_administrator_sets_it_back(client: TestClient, app, monkeypatch, role: str) -> None:
    alarmed(app)
    desk = signed_in(client, role, monkeypatch)
    page = client.get("/en/staff/monitor").text
    assert "Lowering by hand: nothing is confirmed at present" in page and "Confirm again" not in page
    form = {"form_key": desk.key, "component": "actuator", "reason": "because"}
    assert client.post("/en/staff/monitor", data=form).status_code == 403
    assert set(held_now(app.state.cases)) == {"actuator"}


def test_setting_it_back_wants_a_reason_and_stands_in_the_audit_log(client: TestClient, app, monkeypatch) -> None:
    alarmed(app)
    ida = signed_in(client, "administrator", monkeypatch)
    form = {"form_key": ida.key, "component": "actuator"}
    for reason in ("", "  ", "x" * 401):
        assert client.post("/en/staff/monitor", data={**form, "reason": reason}).status_code == 422
    assert client.post("/en/staff/monitor", data={**form, "form_key": "another", "reason": "r"}).status_code == 403
    assert client.post("/en/staff/monitor", data={**form, "component": "board", "reason": "r"}).status_code == 422
    page = client.post("/en/staff/monitor", data={**form, "reason": "New heads came; taught <now>."})
    assert page.status_code == 200 and "nothing is confirmed at present" not in page.text
    assert identified(client)["actuator"]["decision"] == "confirmed"
    assert client.post("/en/staff/monitor", data={**form, "reason": "again"}).status_code == 422, "nothing is held back"
    again, stopped = [line for line in audit_page(app.state.cases).lines if "actuator" in line.action]
    assert (again.actor, again.reason) == ("administrator", "New heads came; taught <now>.")
    assert (stopped.role, stopped.reason) == ("system", f"{ENOUGH} of {ENOUGH} checked answers were wrong")
    log = client.get("/en/staff/audit").text
    assert "Confirms lowering mechanisms again" in log and "taught &lt;now&gt;." in log


def test_the_page_wants_a_session(client: TestClient) -> None:
    page = client.get("/en/staff/monitor", headers={"accept": "text/html"})
    assert page.url.path == "/en/staff/sign-in"


def test_the_page_says_what_is_known_and_how_little_it_proves(client: TestClient, app, monkeypatch) -> None:
    signed_in(client, "agent", monkeypatch)
    assert "No case was closed yet" in client.get("/en/staff/monitor").text
    store = app.state.cases
    for answer in ("squeeze_tabs", "squeeze_tabs", "none"):
        closed(store, found("lowering", answer))
    closed(store)
    app.state.learn()
    page = re.sub(r"\s+", " ", client.get("/en/staff/monitor").text)
    assert "Closed cases: 4. In 3 of them a technician checked what was shown." in page
    assert "1 of 3 (6.1 % to 79 %)" in page, "wrong, with Wilson's interval"
    assert "So few prove little: up to 79 % may be wrong." in page
    assert "2 of 3 (21 % to 93.9 %)" in page and "50 % to 75 %" in page, "right, and with the unchecked one"
    assert "Closed cases that nobody checked: 1." in page
    assert "shown as “two tabs to squeeze”, found to be “no lowering mechanism” (1 ×)." in page
    assert client.get("/es/staff/monitor").status_code == 200


def test_a_lift_that_confused_it_is_shown_by_what_is_kept_of_it_for_either_reason(client, app, monkeypatch) -> None:
    """The box was named, so that no single reading is known to be wrong: one photo may only be learned from."""
    signed_in(client, "technician", monkeypatch)
    case_id = photographed(app).rsplit("/", 1)[1]
    store = app.state.cases
    for said in (found("which_box", "stacked-front"), CLOSING):
        store.say(case_id, store.version(case_id), said, TOM)
    app.state.learn()
    (photo,) = photos_of(store, case_id)
    (lift,) = report(store).confusing
    assert [one.about for one in lift.mistakes] == ["control_box"] and lift.photo_ids == (photo.id,)
    picture = f'<img src="/en/staff/cases/{case_id}/photos/{photo.id}"'
    assert picture in client.get("/en/staff/monitor").text
    withdraw(store, app.state.shelf, of_case(case_id), TOM, Path("no weights"))
    assert report(store).confusing[0].photo_ids == () and picture not in client.get("/en/staff/monitor").text


def test_both_databases_keep_what_is_held_back_once(case_store: CaseStore) -> None:
    wrong_lowerings(case_store, ENOUGH)
    look(case_store, CATALOGUE)
    look(case_store, CATALOGUE)
    held = held_now(case_store)["actuator"]
    assert (held.answers, held.wrong) == (ENOUGH, ENOUGH)
    with pytest.raises(InputError, match="not held back"):
        confirm_again(case_store, "control_box", "no need", Who("administrator", "Ida"))
    confirm_again(case_store, "actuator", "looked into", Who("administrator", "Ida"))
    look(case_store, CATALOGUE)
    assert held_now(case_store) == {} and watched(case_store, "actuator").answers == 0
    assert report(case_store).figures.confirmed_corrected.hits == ENOUGH, "the figures forget nothing"


def test_the_command_prints_a_table_or_json_and_sets_back(app, settings: Settings, monkeypatch, capsys) -> None:
    monkeypatch.setenv(f"{PREFIX}DATABASE", settings.database)
    wrong_lowerings(app.state.cases, ENOUGH)
    assert main(["monitor"]) == 0
    table = capsys.readouterr().out
    assert f"NOTHING IS CONFIRMED of the actuator: {ENOUGH} of {ENOUGH} checked answers were wrong." in table
    code = app.state.cases.by_code(report(app.state.cases).confusing[0].code).code
    assert f"case {code[:3]} {code[3:]}: actuator squeeze_tabs (twist_knob)" in table
    assert re.search(r"actuator +confirmed +3 +0\.0 % \(0\.0–56\.1, n=3\) +0\.0% / 0\.0%", table)
    assert main(["monitor", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["held_back"]["actuator"]["wrong"] == ENOUGH and document["figures"]["cases"] == ENOUGH
    assert main(["monitor", "--confirm-again", "actuator"]) == 2
    assert "A reason is wanted" in capsys.readouterr().err
    assert main(["monitor", "--confirm-again", "actuator", "--reason", "looked into"]) == 0
    assert held_now(app.state.cases) == {}


def test_a_part_that_came_back_is_recorded_in_the_basket_and_counted(client: TestClient, app, monkeypatch) -> None:
    tom = signed_in(client, "technician", monkeypatch)
    here = case_with_confirmed_tabs(tom)
    for id_, answer in SEEN_BY_TECHNICIAN[3:]:
        tom.say(here, "observation", id_, answer)
    send(tom, here, "basket", part="pack-hung", quantity="1")
    assert send(tom, here, "returned", part="fuse-any").status_code == 422, "not in the basket"
    tom.say(here, "closed", "in_service", "fuse_blown", proof="measured")
    assert report(app.state.cases).figures.came_back.hits == 0
    page = send(tom, here, "returned", part="pack-hung")
    assert page.status_code == 200 and "Came back: did not fit" in page.text
    found_now = report(app.state.cases).figures
    assert (found_now.came_back.hits, found_now.came_back.n) == (1, 1)
    assert found_now.confusions == (), "the technician named the box, so that no answer of ours was wrong"
    assert "DEMO-1301" in client.get(f"{here}/history").text
    signed_in(client, "agent", monkeypatch)
    version = re.search(r'name="version" value="(\d+)', client.get(here).text)[1]
    key = re.search(r'form_key" value="([^"]+)', client.get(here).text)[1]
    form = {"form_key": key, "version": version, "part": "pack-hung"}
    assert client.post(f"{here}/returned", data=form).status_code == 403

"""The agent's pages: the queue, answers, corrections, the caller's link, hand-over and closing."""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.links import LINK_MS
from api.cases.summary import closed_case
from api.commands.main import main
from api.identification import Resources
from api.settings import PREFIX, Settings
from guidance.learning.closed_cases import ClosedCase, load_cases
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

TOKEN = "the agents' own long token"
PHOTO = encoded(blob_photo(("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})))


class Desk:
    """An agent who is signed in."""

    def __init__(self, client: TestClient, name: str) -> None:
        self.client = client
        client.headers["accept"] = "text/html"
        page = client.post("/en/staff/sign-in", data={"token": TOKEN, "name": name})
        self.key = re.search(r'form_key" value="([^"]+)', page.text)[1]

    def open(self) -> str:
        return self.client.post("/en/staff/cases", data={"form_key": self.key}).url.path

    def say(self, here: str, kind: str, id_: str, answer: str, version: str = "", **more: str):
        version = version or re.search(r'name="version" value="(\d+)', self.client.get(here).text)[1]
        form = {"form_key": self.key, "version": version, "kind": kind, "id": id_, "answer": answer}
        return self.client.post(f"{here}/answers", data=form | more)


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(agent_token=TOKEN), toy_resources)


@pytest.fixture
def ana(app) -> Iterator[Desk]:
    with TestClient(app) as client:
        yield Desk(client, "Ana")


def aloud(page) -> str:
    return unescape(re.search(r'class="aloud">(.*?)<', page.text)[1])


def to_symptom(ana: Desk) -> str:
    here = ana.open()
    ana.say(here, "person_in_sling", "person_in_sling", "no")
    ana.say(here, "danger_signs", "danger_signs", "none")
    return here


def test_a_call_begins_with_the_person_and_tells_how_they_come_down(ana: Desk) -> None:
    page = ana.client.get(ana.open())
    assert aloud(page) == "Is somebody in the sling or off the floor now?"
    assert "Not known whether somebody is up" in page.text and "by guess" in page.text
    assert "Probably at fault" in page.text and "Known once the trouble is said." in page.text


def test_faults_are_ranked_with_bars_and_with_what_they_were_before(ana: Desk) -> None:
    here = to_symptom(ana)
    ana.say(here, "symptom", "symptom", "dead")
    page = ana.say(here, "observation", "which_box", "hung-top")
    shown = re.findall(r'<th scope="row"[^>]*>([\w -]+)</th><td[^>]*><meter[^>]+value="([\d.]+)"', page.text)
    assert len(shown) >= 3
    assert [float(p) for _, p in shown] == sorted((float(p) for _, p in shown), reverse=True)


def test_of_the_box_only_what_can_be_answered_by_telephone_is_asked_and_not_for_long(ana: Desk) -> None:
    here = to_symptom(ana)
    page, asked = ana.say(here, "symptom", "symptom", "dead"), []
    for _ in range(5):
        kind, id_ = re.search(r'data-question="(\w+) (\w+)"', page.text).groups()
        asked.append((kind, id_))
        page = ana.say(here, kind, id_, "unsure")
    assert "which_box" not in dict(map(reversed, asked)) and [kind for kind, _ in asked] == ["observation"] * 4 + [
        "step"
    ]


def test_a_reading_is_corrected_with_one_click_and_taken_back_with_one(ana: Desk) -> None:
    here = to_symptom(ana)
    before = ana.client.get(here).text
    page = ana.say(here, "observation", "stop_position", "front")
    assert "Control box: " in page.text and "Nothing was seen of the lift yet." not in page.text
    assert "Nothing was seen of the lift yet." in ana.say(here, "undo", "", "").text
    assert "Nothing was seen of the lift yet." in before


def test_what_makes_no_sense_is_not_recorded(ana: Desk, app) -> None:
    here = to_symptom(ana)
    for kind, id_, answer in (
        ("symptom", "symptom", "<script>alert(1)</script>"),
        ("observation", "nothing", "yes"),
        ("observation", "stop_position", "sideways"),
        ("closed", "in_service", "gremlins"),
        ("closed", "nowhere", "pack_worn"),
        ("step", "replace_board", "works"),
        ("photo", "x", ""),
    ):
        assert ana.say(here, kind, id_, answer).status_code == 422
    assert app.state.cases.by_id(here.rsplit("/", 1)[1]).version == 3


def test_a_conflict_between_two_agents_is_shown(ana: Desk, app) -> None:
    here = to_symptom(ana)
    bo = Desk(TestClient(app), "Bo")
    assert bo.say(here, "symptom", "symptom", "dead", version="3").status_code == 200
    late = ana.say(here, "symptom", "symptom", "weak", version="3")
    assert late.status_code == 409 and "Somebody else changed this case meanwhile." in late.text
    assert [e.said["answer"] for e in app.state.cases.by_id(here.rsplit("/", 1)[1]).events][3:] == ["dead"]


def test_a_caller_s_link_takes_photos_into_one_case_for_an_hour_and_shows_nothing(ana: Desk, app) -> None:
    here = to_symptom(ana)
    page = ana.client.post(f"{here}/link", data={"form_key": ana.key})
    link = re.search(r'class="address">http://testserver(/[^<]+)<', page.text)[1]
    assert "<svg" in page.text.split('class="qr"')[1]
    caller = TestClient(app, headers={"accept": "text/html"})
    assert "Case" not in caller.get(link).text
    sent = caller.post(f"{link}/photos", files={"photos": ("a.jpg", PHOTO, "image/jpeg")})
    assert "The photo is with the service." in sent.text
    seen = ana.client.get(here).text
    assert "<figure>" in seen and "The stop" in seen
    picture = re.search(r'image href="([^"]+)"', seen)[1]
    assert ana.client.get(picture).status_code == 200
    for path in (picture, here, picture.replace("/en/staff/cases", link)):
        refused = caller.get(path, follow_redirects=False)
        assert refused.status_code in (303, 404)
    store = app.state.cases
    app.state.cases = replace(store, now_ms=lambda: store.now_ms() + LINK_MS + 1)
    assert caller.get(link).status_code == 404
    assert caller.post(f"{link}/photos", files={"photos": ("b.jpg", PHOTO, "image/jpeg")}).status_code == 404


def test_a_caregiver_s_case_is_found_by_its_code(ana: Desk, app) -> None:
    caller = TestClient(app, headers={"accept": "text/html"})
    token = caller.post("/en/now", data={"kind": "person_in_sling", "answer": "no"}).url.path.rsplit("/", 1)[1]
    code = app.state.cases.by_token(token).code
    assert ana.client.get("/en/staff/cases", params={"q": f"{code[:3]} {code[3:].lower()}"}).url.path.startswith(
        "/en/staff/cases/"
    )
    assert "No case fits" in ana.client.get("/en/staff/cases", params={"q": "<b>"}).text
    assert "<b>" not in ana.client.get("/en/staff/cases", params={"q": "<b>"}).text


def test_somebody_up_stands_first_in_the_queue_and_closed_cases_last(ana: Desk) -> None:
    closed = to_symptom(ana)
    ana.say(closed, "closed", "in_service", "pack_worn")
    unknown, down = ana.open(), to_symptom(ana)
    listed = re.findall(r'href="(/en/staff/cases/\w+)"', ana.client.get("/en/staff/cases").text)
    assert listed == [unknown, down, closed]


def test_a_closed_case_asks_no_more_and_feeds_the_learning(ana: Desk, app, monkeypatch, capsys, tmp_path: Path) -> None:
    here = to_symptom(ana)
    ana.say(here, "symptom", "symptom", "dead")
    assert ana.say(here, "closed", "newly_installed", "pack_worn", proof="guessed").status_code == 422
    page = ana.say(here, "closed", "newly_installed", "pack_worn", proof="exchanged")
    assert "The part was exchanged, and that ended it" in page.text
    assert "Confirmed fault: pack worn out" in page.text and aloud(page) == "Nothing more is asked."
    row = app.state.cases.by_id(here.rsplit("/", 1)[1])
    taught = ClosedCase("newly_installed", "pack_worn", symptom="dead", proof="exchanged")
    assert closed_case(row) == taught
    monkeypatch.setenv(f"{PREFIX}DATABASE", app.state.settings.database)
    assert main(["cases", "closed"]) == 0
    (tmp_path / "closed.jsonl").write_text(capsys.readouterr().out)
    assert load_cases(tmp_path / "closed.jsonl") == [taught]
    ana.say(here, "undo", "closed", "")
    assert main(["cases", "closed"]) == 0 and capsys.readouterr().out == ""


def test_the_commands_list_export_and_delete_a_case(ana: Desk, app, monkeypatch, capsys) -> None:
    here = to_symptom(ana)
    case_id = here.rsplit("/", 1)[1]
    code = app.state.cases.by_id(case_id).code
    monkeypatch.setenv(f"{PREFIX}DATABASE", app.state.settings.database)
    assert main(["cases", "list"]) == 0 and code in capsys.readouterr().out
    assert main(["cases", "export", code]) == 0
    assert json.loads(capsys.readouterr().out)["case"]["id"] == case_id
    assert main(["cases", "delete", case_id]) == 0 and main(["cases", "expire"]) == 0
    assert main(["cases", "export", code]) == 2 and "hoistlore cases list" in capsys.readouterr().err

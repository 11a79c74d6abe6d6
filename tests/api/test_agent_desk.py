"""The agent's desk: an answer stays with the question that was asked; caller, lift and link stay in sight."""

import re
from collections.abc import Callable, Iterator
from html import unescape

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.events import LONGEST_FIELD, LONGEST_NOTE
from api.cases.line import about_of, assignee_of
from api.cases.looking import Viewer, look
from api.cases.store import Said, Who
from api.identification import Resources
from api.settings import Settings
from tests.api.test_agent_pages import PHOTO, TOKEN, Desk, aloud, to_symptom
from tests.api.test_bad_input import TEXTS

pytestmark = pytest.mark.walk


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(agent_token=TOKEN), toy_resources)


@pytest.fixture
def ana(app) -> Iterator[Desk]:
    with TestClient(app) as client:
        yield Desk(client, "Ana")


def case_of(app, here: str):
    return app.state.cases.by_id(here.rsplit("/", 1)[1])


def told(app, here: str) -> list[tuple[str, str, str]]:
    return [(e.kind, str(e.said.get("id", "")), str(e.said.get("answer", ""))) for e in case_of(app, here).events]


def link_of(page) -> str:
    return re.search(r'class="address">http://testserver(/[^<]+)<', page.text)[1]


def send(app, link: str):
    caller = TestClient(app, headers={"accept": "text/html"})
    return caller.post(f"{link}/photos", files={"photos": ("a.jpg", PHOTO, "image/jpeg")})


def write(ana: Desk, here: str, version: str = "", **fields: str):
    version = version or re.search(r'name="version" value="(\d+)', ana.client.get(here).text)[1]
    return ana.client.post(f"{here}/about", data={"form_key": ana.key, "version": version} | fields)


def test_an_answer_stays_with_the_question_that_was_asked_when_a_photo_changes_the_question(ana: Desk, app) -> None:
    here = to_symptom(ana)
    link = link_of(ana.client.post(f"{here}/link", data={"form_key": ana.key}))
    page = ana.say(here, "symptom", "symptom", "dead")
    version = re.search(r'name="version" value="(\d+)', page.text)[1]
    asked = re.search(r'data-question="(\w+) (\w+)"', page.text).groups()
    send(app, link)
    changed = re.search(r'data-question="(\w+) (\w+)"', ana.client.get(here).text).groups()
    assert asked[0] == "observation" and changed != asked
    answer = re.search(r'class="choice[^"]*" name="answer" value="(\w+)"', page.text)[1]
    assert ana.say(here, *asked, answer, version=version).status_code == 200
    assert told(app, here)[-1] == (*asked, answer)
    assert all(said[1] != changed[1] for said in told(app, here))
    late = ana.say(here, *asked, "unsure", version=version)
    assert late.status_code == 409 and "Somebody else changed this case meanwhile." in late.text


def test_an_answer_to_what_was_never_asked_is_refused_late_as_well(ana: Desk, app) -> None:
    here = to_symptom(ana)
    link = link_of(ana.client.post(f"{here}/link", data={"form_key": ana.key}))
    ana.say(here, "symptom", "symptom", "dead")
    version = str(case_of(app, here).version)
    send(app, link)
    assert ana.say(here, "step", "reseat_pack", "works", version=version).status_code == 422
    assert ana.say(here, "undo", "", "", version=version).status_code == 409
    assert told(app, here)[-1][0] == "photo"


def test_nobody_is_said_to_have_said_dont_know_when_a_case_is_opened(ana: Desk, app) -> None:
    here = ana.open()
    assert told(app, here) == [("opened", "", "")]
    page = ana.client.get(here)
    assert "Opened the case for a caller" in page.text and aloud(page).startswith("Is somebody in the sling")
    record = page.text.split('class="record"')[1].split("</ol>")[0]
    assert "know" not in record


def test_a_reason_is_one_sentence_and_its_figures_are_folded_up(ana: Desk) -> None:
    here = to_symptom(ana)
    ana.say(here, "symptom", "symptom", "dead")
    page = ana.say(here, "observation", "which_box", "hung-top")
    why = re.search(r'<p class="small">([^<]*)</p>\n?<details id="figures">', page.text)[1]
    assert not re.search(r"\d", why) and why.endswith(".")
    assert re.search(r'<details id="figures"><summary>The figures</summary><p class="small">[^<]*\d', page.text)


def test_the_link_is_there_until_its_hour_is_over_and_asks_for_what_is_open(ana: Desk, app) -> None:
    here = to_symptom(ana)
    write(ana, here, phone="+1 (555) 010-0122")
    link = link_of(ana.client.post(f"{here}/link", data={"form_key": ana.key}))
    caller = TestClient(app, headers={"accept": "text/html"})
    assert "<h1>Take a photo of the box with the red stop button</h1>" in caller.get(link).text
    send(app, link)
    page = ana.client.get(here)
    assert link_of(page) == link and 'href="sms:+15550100122?body=Please%20take' in page.text and "<svg" in page.text
    assert "<h1>Take a photo of the motor end" in caller.get(link).text
    assert link_of(ana.client.post(f"{here}/link", data={"form_key": ana.key})) == link
    bo = Desk(TestClient(app), "Bo")
    assert 'class="address"' not in bo.client.get(here).text
    with app.state.cases.engine.connect() as connection:
        kept = connection.exec_driver_sql("SELECT token_hash FROM links").scalars().all()
    assert len(kept) == 1 and link.rsplit("/", 1)[1] not in kept[0]


def test_caller_and_lift_are_written_down_found_and_in_the_summary(ana: Desk, app) -> None:
    here = ana.open()
    fields = {"caller": " Jo  Nason ", "phone": "+1 555 0100", "site": "Elm House", "asset": "L-17"}
    page = write(ana, here, **fields, serial="(01)09506000134352(21)SN-4471")
    live = case_of(app, here).events
    assert about_of(live) == fields | {"caller": "Jo Nason", "serial": "SN-4471"}
    assert [kind for kind, _, _ in told(app, here)] == ["opened", "about", "asset"]
    assert here in ana.client.get("/en/staff/cases", params={"q": "elm nason"}).text
    assert here not in ana.client.get("/en/staff/cases", params={"q": "oak nason"}).text
    assert here in ana.client.get("/en/staff/cases", params={"q": "4471"}).text
    summary = unescape(page.text.split('id="summary"')[1].split("</textarea>")[0])
    assert "Caller: Jo Nason" in summary and "Inventory number: L-17" in summary
    before = case_of(app, here).version
    write(ana, here, **fields, serial="SN-4471")
    assert case_of(app, here).version == before


def test_two_who_write_the_same_field_overwrite_nothing_and_other_fields_join(ana: Desk, app) -> None:
    here = ana.open()
    bo = Desk(TestClient(app), "Bo")
    assert write(bo, here, version="1", site="Elm House").status_code == 200
    assert write(ana, here, version="1", site="", caller="Jo").status_code == 200
    late = write(ana, here, version="1", site="Oak House")
    assert late.status_code == 409 and "Look at what stands there now" in late.text
    assert about_of(case_of(app, here).events)["site"] == "Elm House"


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
@pytest.mark.parametrize("field", ["caller", "phone", "site", "asset", "serial", "note", "assigned", "hand-over"])
def test_any_text_in_the_new_fields_is_shown_as_text_or_refused(ana: Desk, app, field: str, text: str) -> None:
    here = ana.open()
    longest = {"note": LONGEST_NOTE, "assigned": 80, "hand-over": LONGEST_NOTE}.get(field, LONGEST_FIELD)
    if field == "note":
        page = ana.say(here, "note", "", text)
    elif field == "assigned":
        page = ana.say(here, "assigned", "", text)
    elif field == "hand-over":
        page = ana.say(here, "handed_over", "", "technician", note=text)
    else:
        page = write(ana, here, **{field: text})
    assert page.status_code == (422 if len(text) > longest else 200)
    assert (case_of(app, here).version == 1) == (len(text) > longest)
    for shown in (page, ana.client.get(here), ana.client.get("/en/staff/cases"), ana.client.get(f"{here}/history")):
        assert "<script>alert" not in shown.text and "<img src=x" not in shown.text and "1337" not in shown.text


def test_a_note_and_an_owner_are_taken_whatever_came_meanwhile_but_no_one_s_case_is_taken_twice(ana: Desk, app) -> None:
    here = to_symptom(ana)
    assert ana.say(here, "note", "", " ").status_code == 422
    for _ in range(2):
        assert ana.say(here, "note", "", "Door 12", version="1").status_code == 200
    assert [kind for kind, _, _ in told(app, here)].count("note") == 1
    version = str(case_of(app, here).version - 1)
    assert ana.say(here, "assigned", "", "Ana", version=version).status_code == 200
    bo = Desk(TestClient(app), "Bo")
    assert bo.say(here, "assigned", "", "Bo", version=version).status_code == 409
    assert assignee_of(case_of(app, here).events) == "Ana"
    mine = ana.client.get("/en/staff/cases", params={"whose": "mine"}).text
    assert here in mine and here not in bo.client.get("/en/staff/cases", params={"whose": "mine"}).text


def test_who_else_looks_at_a_case_is_named(ana: Desk, app) -> None:
    here = ana.open()
    assert "Also looking at this case: Bo" not in ana.client.get(here).text
    look(app.state.cases, [Viewer(here.rsplit("/", 1)[1], "Bo")])
    look(app.state.cases, [Viewer(here.rsplit("/", 1)[1], "Ana")])
    assert ">Also looking at this case: Bo<" in ana.client.get(here).text


def test_closing_begins_with_what_happened_and_no_stray_key_opens_it_again(ana: Desk, app) -> None:
    here = to_symptom(ana)
    ana.say(here, "symptom", "symptom", "dead")
    page = ana.say(here, "observation", "which_box", "hung-top")
    for _ in range(30):
        kind, id_ = re.search(r'data-question="(\w+) ([\w-]+)"', page.text).groups()
        if 'value="works"' in page.text:
            break
        page = ana.say(here, kind, id_, re.search(r'class="choice[^"]*" name="answer" value="(\w+)"', page.text)[1])
    assert not re.search(r'<option value="\w+" selected', page.text.split('id="fault"')[1].split("</select>")[0])
    page = ana.say(here, kind, id_, "works")
    chosen = re.findall(r'<option value="(\w+)" selected', page.text.split('id="fault"')[1].split("</form>")[0])
    repair = app.state.resources.catalogue.repairs_by_id[id_]
    assert chosen[0] in repair.mends and chosen[1] == ("exchanged" if repair.kind == "replace" else "mended")
    page = ana.say(here, "closed", "in_service", chosen[0], proof=chosen[1])
    keys = set(re.findall(r'data-(?:key|opens|danger-key)="(.)"', page.text))
    assert "This case is closed." in page.text and keys == {"?"}
    assert ana.say(here, "undo", "", "").status_code == 422
    assert "This case is closed." not in ana.say(here, "undo", "closed", "").text


def test_what_an_earlier_case_knew_of_the_same_lift_is_offered_and_not_assumed(ana: Desk, app) -> None:
    store, case_id = app.state.cases, ana.open()
    write(ana, case_id, asset="L-17")
    known = {"control_box": ["confirmed", "hung-top"], "actuator": ["undecided", "twist_knob"]}
    version = case_of(app, case_id).version
    store.say(case_id.rsplit("/", 1)[1], version, Said("context", {"id": "wet", "answer": "no"}, known),
              Who("technician", "Tom"))  # fmt: skip
    here = to_symptom(ana)
    page = write(ana, here, asset="l 17")
    code = case_of(app, case_id).code
    assert f"This lift was in case {code[:3]} {code[3:]} before." in page.text and "Tom, technician" in page.text
    assert "Nothing was seen of the lift yet." in page.text and "Still so: Lowering by hand" not in page.text
    page = ana.say(here, "observation", "which_box", "hung-top", earlier=code)
    assert f"(as in case {code[:3]} {code[3:]})" in page.text
    assert case_of(app, here).events[-1].said["earlier"] == code

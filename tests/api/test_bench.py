"""At the bench: all that is settled accepted at once, alternatives, the job sheet, errors beside their field."""

import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.basket import kept_in
from api.cases.events import in_force
from api.cases.learned.accepting import settled_words
from api.cases.store import Said, Who
from api.cases.view import CaseView, view
from api.identification import Resources
from api.settings import Settings
from tests.api.test_agent_pages import TOKEN, Desk
from tests.api.test_technician_pages import TECHNICIAN, app, opened, send, tom, upload
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

__all__ = ["app", "tom"]

TOP = ("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})
FRONT = ("control_box", (0.35, 0.5), 0.3, {"black": "below", "white": "left"})
HEAD = ("actuator_head", (0.75, 0.5), 0.2, {"black": "left"})
SEALED_FRONT = {
    "stop_position": "front",
    "battery": "built_in",
    "service_buttons": "side",
    "charge_display": "lamp_row",
}


def photographed(tom: Desk, *photos: tuple) -> str:
    here = opened(tom)
    files = [(f"{n}.jpg", encoded(blob_photo(*blobs)), "image/jpeg") for n, blobs in enumerate(photos)]
    assert upload(tom, here, files).status_code == 200
    return here


def seen_of(app, here: str) -> CaseView:
    row = app.state.cases.by_id(here.rsplit("/", 1)[1])
    return view(row, app.state.cases, app.state.resources, "technician")


def said_of_readings(app, here: str) -> list[tuple[str, str, str, int]]:
    said = [e.said for e in seen_of(app, here).live if e.kind == "observation" and e.role == "technician"]
    own = [one for one in said if "photo" in one]
    return [(one["id"], one["answer"], one["photo"], one["place"]) for one in own]


def test_one_press_accepts_each_settled_reading_on_its_own_crop_and_nothing_else(tom: Desk, app) -> None:
    here = photographed(tom, (TOP, HEAD), (TOP,))
    page = unescape(tom.client.get(here).text)
    assert "the stop: on top" in page and "Accept all that is settled" in page
    before = app.state.cases.version(here.rsplit("/", 1)[1])
    page = unescape(send(tom, here, "accepted").text)
    first, second = (photo.id for photo in seen_of(app, here).photos)
    assert sorted(said_of_readings(app, here)) == sorted(
        [("stop_position", "top", first, 0), ("stop_position", "top", second, 0), ("battery", "hung_pack", first, 0),
         ("battery", "hung_pack", second, 0), ("lowering", "twist_knob", first, 1)]
    )  # fmt: skip
    assert "Accept all that is settled" not in page and "Recorded: on top (Tom)" in page
    assert "Still open, first below: the raise and lower buttons; the charge display." in page
    again = tom.client.post(f"{here}/accepted", data={"form_key": tom.key, "version": str(before)})
    assert again.status_code == 200 and len(said_of_readings(app, here)) == 5, "a double press counts once"


def test_what_one_press_records_is_what_single_presses_record(tom: Desk, app) -> None:
    at_once, one_by_one = photographed(tom, (TOP,)), photographed(tom, (TOP,))
    send(tom, at_once, "accepted")
    (photo,) = seen_of(app, one_by_one).photos
    for concept, value in (("stop_position", "top"), ("battery", "hung_pack")):
        tom.say(one_by_one, "observation", concept, value, photo=photo.id, place="0")
    said = [{row[:2] + row[3:] for row in said_of_readings(app, here)} for here in (at_once, one_by_one)]
    assert said[0] == said[1] != set()


def test_photos_that_differ_and_what_a_person_said_otherwise_stay_open(tom: Desk, app) -> None:
    here = photographed(tom, (TOP,), (FRONT,))
    assert {word[0] for word in settled_words(seen_of(app, here), 99)} == {"battery"}
    here = photographed(tom, (TOP,))
    tom.say(here, "observation", "stop_position", "front")
    assert {word[0] for word in settled_words(seen_of(app, here), 99)} == {"battery"}


def test_a_reading_that_leaves_another_value_open_and_a_photo_that_came_later_are_not_accepted(
    tom: Desk, app, toy_resources: Resources, monkeypatch
) -> None:
    """A value of which the set threshold is 1 stays in every set."""
    bars = toy_resources.model.reader.recipe.concepts["stop_position"].set_thresholds
    here = photographed(tom, (TOP,))
    assert settled_words(seen_of(app, here), 1) == [], "nobody has seen a photo at version 1"
    with monkeypatch.context() as patched:
        patched.setitem(bars, "front", 1.0)
        here = photographed(tom, (TOP,))
    assert {word[0] for word in settled_words(seen_of(app, here), 99)} == {"battery"}
    page = unescape(tom.client.get(here).text)
    assert "Still open, first below: the stop;" in page


def test_nothing_of_a_component_that_is_held_back_is_accepted_in_one_press(tom: Desk, app) -> None:
    seen = seen_of(app, photographed(tom, (TOP, HEAD)))
    box = seen.identification.control_box.model_copy(update={"held_back": "Confirmed answers were wrong too often."})
    held = replace(seen, identification=seen.identification.model_copy(update={"control_box": box}))
    assert {word[0] for word in settled_words(held, 99)} == {"lowering"}


def test_only_a_technician_accepts_and_no_form_of_another_site(tom: Desk, app, monkeypatch) -> None:
    here = photographed(tom, (TOP,))
    assert tom.client.post(f"{here}/accepted", data={"version": "99"}).status_code == 403
    monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", TOKEN)
    ana = Desk(TestClient(app), "Ana")
    assert ana.client.post(f"{here}/accepted", data={"form_key": ana.key, "version": "99"}).status_code == 403
    assert said_of_readings(app, here) == []


def test_an_alternative_takes_the_place_of_the_other_in_one_press(tom: Desk, app) -> None:
    here = opened(tom)
    for concept, value in {"which_box": "sealed-front", **SEALED_FRONT}.items():
        tom.say(here, "observation", concept, value)
    page = send(tom, here, "basket", part="blocks-sealed-front", quantity="1").text
    assert "Take it instead of DEMO-1102" in page and "or, instead of DEMO-1102" in page
    page = send(tom, here, "basket", part="blocks-sealed-top", quantity="2", instead="blocks-sealed-front").text
    events = app.state.cases.by_id(here.rsplit("/", 1)[1]).events
    assert {id_: said["quantity"] for id_, said in kept_in(in_force(events)).items()} == {"blocks-sealed-top": 2}
    assert "Take it instead of DEMO-1101" in page and "(instead of set of two blocks" in page
    sheet = unescape(tom.client.get(f"{here}/sheet").text)
    assert "stands in for DEMO-1102" in sheet
    send(tom, here, "answers", kind="undo", id="", answer="")
    events = app.state.cases.by_id(here.rsplit("/", 1)[1]).events
    assert {id_: said["quantity"] for id_, said in kept_in(in_force(events)).items()} == {"blocks-sealed-front": 1}


def test_two_alternatives_that_came_into_one_basket_are_warned_of(tom: Desk, app) -> None:
    """As when two people order at once, or an older version put both in."""
    here = opened(tom)
    for concept, value in {"which_box": "sealed-front", **SEALED_FRONT}.items():
        tom.say(here, "observation", concept, value)
    case_id, store = here.rsplit("/", 1)[1], app.state.cases
    for part, number in (("blocks-sealed-front", "DEMO-1102"), ("blocks-sealed-top", "DEMO-1101")):
        said = {"id": part, "number": number, "name": part, "quantity": 1}
        store.say(case_id, store.version(case_id), Said("basket", said, {}), Who("technician", "Tom"))
    for page in (tom.client.get(here).text, tom.client.get(f"{here}/sheet").text):
        assert "are alternatives: only one of them is ordered. Take the other out." in page


def test_the_sheet_says_when_where_and_which_lift_and_leads_back_by_the_public_address(
    own_settings: Callable[..., Settings], toy_resources: Resources, monkeypatch
) -> None:
    settings = own_settings(technician_token=TECHNICIAN, public_address="https://lifts.example.org")
    monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", TECHNICIAN)
    app = create_app(settings, toy_resources)
    with TestClient(app) as client:
        tom = Desk(client, "Tom")
        here = photographed(tom, (TOP,))
        fields = {"site": "Ward 4", "asset": "A-17", "serial": "(01)51022222233336(21)1234"}
        send(tom, here, "about", **fields)
        page = unescape(tom.client.get(f"{here}/sheet").text)
        told = dict(re.findall(r"<dt>([^<]+)</dt><dd>(?:<bdi>)?([^<]*)(?:</bdi>)?</dd>", page))
        assert (told["Site"], told["Inventory number"], told["Serial number"]) == ("Ward 4", "A-17", "1234")
        assert re.fullmatch(r"\d{4}-\d\d-\d\d", told["Date"])
        assert f"https://lifts.example.org{here}" in page and 'alt="Control box, cut out of photo 1"' in page
        document = tom.client.get(f"{here}/sheet.json").json()
        assert (document["site"], document["asset"], document["date"]) == ("Ward 4", "A-17", told["Date"])
        assert document["case_address"] == f"https://lifts.example.org{here}"


def test_without_an_address_of_its_own_a_server_draws_no_code(tom: Desk) -> None:
    here = opened(tom)
    page = tom.client.get(f"{here}/sheet", headers={"host": "elsewhere.example"}).text
    assert "an administrator has to set the public address" in page and "elsewhere.example" not in page


@pytest.mark.parametrize(
    ("given", "field"),
    [({"pack_v": "full"}, "pack_v"), ({"block_1_v": "12", "block_2_v": "300"}, "block_2_v"),
     ({"pack_v": "24", "rest_hours": "-1"}, "rest_hours"), ({}, "block_1_v"),
     ({"block_1_v": "12.8", "block_2_v": "12.8", "loaded_block_1_v": "12", "loaded_block_2_v": "99"},
      "loaded_block_2_v")],
)  # fmt: skip
def test_what_is_wrong_stands_beside_its_field(tom: Desk, given: dict[str, str], field: str) -> None:
    page = send(tom, opened(tom), "readings", **given)
    assert page.status_code == 422
    marked = re.findall(r'<input id="([\w-]+)"[^>]*aria-invalid="true" aria-describedby="wrong-([\w-]+)"', page.text)
    assert marked == [(field, field)]
    assert re.search(rf'<p class="wrong" id="wrong-{field}" role="alert">[^<]+</p></div>', page.text)
    assert page.text.count('role="alert"') == 2, "the banner of those who are up, and this"


def test_a_field_of_the_caller_that_is_too_long_is_named_itself(tom: Desk) -> None:
    page = send(tom, opened(tom), "about", site="x" * 121, caller="Ana")
    assert page.status_code == 422 and 'id="wrong-about-site"' in page.text
    assert 'aria-describedby="wrong-about-site"' in page.text and 'value="Ana"' in page.text

"""What goes with a lift, and that an aid is none: the same on the pages of a caregiver, an agent and a technician."""

from collections.abc import Callable, Iterator

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.store import Said, Who
from api.identification import Resources
from api.settings import Settings
from classifier.taxonomy import CONTROL_BOX_CONCEPTS
from tests.api.test_agent_pages import Desk, aloud
from tests.api.test_caregiver_pages import HTML, heading, opened, press, words

TOKENS = {"agent_token": "the agents' own long token", "technician_token": "the technicians' own token"}


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(**TOKENS), toy_resources)


@pytest.fixture
def phone(app) -> Iterator[TestClient]:
    with TestClient(app, headers=HTML) as client:
        yield client


def to_trouble(phone: TestClient, box: str) -> str:
    """A caregiver's case without a photo, with this answer to which box it is; its address."""
    here = opened(phone)
    press(phone, here, "none")
    press(phone, here, "", kind="no_photo")
    press(phone, here, "dead")
    press(phone, here, box)
    return here


def looked_at_by_a_technician(app, here: str) -> None:
    """Every feature of the box said by a second witness, so that only one box is left."""
    row = app.state.cases.by_token(here.rsplit("/", 1)[1])
    box = app.state.resources.catalogue.generations_by_id["hung-top"]
    for concept in CONTROL_BOX_CONCEPTS:
        said = Said("observation", {"id": concept, "answer": getattr(box, concept)}, {})
        app.state.cases.add_once(row.id, said, Who("technician", "Tom"))


def on_every_screen(app, phone: TestClient, here: str, monkeypatch) -> list[str]:
    case_id = app.state.cases.by_token(here.rsplit("/", 1)[1]).id
    shown = [words(phone.get(here))]
    for token in TOKENS.values():
        monkeypatch.setattr("tests.api.test_agent_pages.TOKEN", token)
        with TestClient(app) as client:
            shown.append(words(Desk(client, "Ana").client.get(f"/en/staff/cases/{case_id}")))
    return shown


def test_what_can_be_had_is_said_on_every_screen_in_the_same_words(app, phone, monkeypatch) -> None:
    here = to_trouble(phone, "hung-top")
    looked_at_by_a_technician(app, here)
    options = [row.text for row in app.state.resources.catalogue.options]
    told = [text for text in options if text in words(phone.get(here))]
    assert told
    for page in on_every_screen(app, phone, here, monkeypatch):
        assert "What can be had for this lift" in page and all(text in page for text in told)


def test_after_a_repair_that_helped_care_is_said(app, phone) -> None:
    here = to_trouble(phone, "hung-top")
    row, store = app.state.cases.by_token(here.rsplit("/", 1)[1]), app.state.cases
    repair = next(r.id for r in app.state.resources.catalogue.repairs if "caregiver" in r.minutes)
    store.say(row.id, row.version, Said("step", {"id": repair, "answer": "works"}, {}), Who("caregiver"))
    press(phone, here, "no")
    assert heading(phone.get(here)) == "It works again" and "From now on" in words(phone.get(here))


def test_a_box_of_no_list_is_asked_what_kind_of_aid_it_is_and_another_aid_ends_the_advice(app, phone) -> None:
    here = to_trouble(phone, "unlisted")
    assert heading(phone.get(here)) == "What kind of aid is it?"
    page = press(phone, here, "ceiling_hoist")
    assert heading(page) == "This help is for another kind of lift"
    (aid,) = (row for row in app.state.resources.catalogue.not_this_tool if "ceiling_hoist" in row.when.values())
    assert all(row.text in words(page) for row in aid.say if "caregiver" in row.roles)
    with TestClient(app) as client:
        case_id = app.state.cases.by_token(here.rsplit("/", 1)[1]).id
        assert aloud(Desk(client, "Ana").client.get(f"/en/staff/cases/{case_id}"))

"""What people and programs send that they should not: nothing breaks, nothing is lost, nothing runs in a page."""

import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace

import httpx
import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.links import LINK_MS, make_link
from api.cases.photos import DAY_MS, photos_of
from api.cases.store import LONGEST_TEXT, Who
from api.identification import Resources
from api.settings import Settings
from tests.api.conftest import Served
from tests.api.test_agent_pages import TOKEN, Desk
from tests.api.test_caregiver_pages import BOX, HTML, PHOTO, heading, opened, press, send, to_photo, words
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

ADMINISTRATOR = "the administrators' own long token"
OTHER = encoded(blob_photo(BOX))
TEXTS = {
    "script": "\"'></textarea><script>alert(1)</script>",
    "image": "<img src=x onerror=alert(1)>",
    "template": "{{ 7 * 191 }}{% raw %}",
    "emoji": "👩‍🔧🛟 é́́",
    "right to left": "שלום العربية \u202egnp.exe",
    "long": "🛟" * LONGEST_TEXT,
}


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    tokens = {"agent_token": TOKEN, "administrator_token": ADMINISTRATOR}
    return create_app(own_settings(**tokens), toy_resources)


@pytest.fixture
def phone(app) -> Iterator[TestClient]:
    with TestClient(app, raise_server_exceptions=False) as client:
        client.headers.update(HTML)
        yield client


def said(app, case_id: str) -> list[tuple]:
    return [(event.kind, dict(event.said)) for event in app.state.cases.by_id(case_id).events]


def only_case(app) -> str:
    (row,) = app.state.cases.listed(2)
    return row["id"]


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_any_text_in_any_field_of_the_staff_is_shown_as_text_and_kept_as_it_was(app, phone, text: str) -> None:
    ana = Desk(phone, text)
    here = ana.open()
    case_id = only_case(app)
    assert ana.say(here, "handed_over", text[:100], text).status_code == 200
    assert said(app, case_id)[-1] == ("handed_over", {"id": text[:100], "answer": text})
    refused = ana.say(here, "handed_over", "", text + "x" * (LONGEST_TEXT + 1 - len(text)))
    assert refused.status_code == 422 and len(said(app, case_id)) == 2
    bearer = {"authorization": f"Bearer {ADMINISTRATOR}", "accept": "application/json"}
    whole = phone.get(f"/v1/cases/{case_id}", headers=bearer).json()
    assert whole["case"]["events"][-1]["said"]["answer"] == text
    asked = dict.fromkeys(("q", "status", "whose", "days", "after"), text[:400])
    looked_at = [phone.get(f"{here}{more}") for more in ("", "/history", "/sheet")]
    looked_at += [phone.get(f"/en/staff/{more}") for more in ("cases", "sign-in")]
    looked_at += [phone.get("/en/staff/cases", params=asked)]
    for page in looked_at:
        assert page.status_code == 200
        assert "<script>alert" not in page.text and "<img src=x" not in page.text and "1337" not in page.text
    assert text[:40] in words(phone.get("/en/staff/cases"))[:4000] or "<" in text  # the name of who is signed in


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
@pytest.mark.parametrize("field", ["id", "answer", "kind", "version"])
def test_any_text_in_any_field_of_a_caregiver_changes_nothing(app, phone, text: str, field: str) -> None:
    here = opened(phone)
    page = press(phone, here, **{"answer": "none", field: text})
    assert page.status_code in (409, 422) and "<script>alert" not in page.text and "<img src=x" not in page.text
    assert [kind for kind, _ in said(app, only_case(app))] == ["person_in_sling"]
    assert heading(phone.get(here)) == "Is there any of these?"


@pytest.mark.parametrize("version", ["9" * 5000, "99999999999", "-1", "1.0", "١", "0x1", "", "1 "])
def test_a_version_that_no_case_has_is_a_stale_page(app, phone, version: str) -> None:
    here = opened(phone)
    page = press(phone, here, "none", version=version)
    assert page.status_code == 409 and heading(page) == "Is there any of these?"
    ana = Desk(phone, "Ana")
    page = ana.say(f"/en/staff/cases/{only_case(app)}", "person_in_sling", "person_in_sling", "no", version or "0")
    assert page.status_code == 409
    assert [kind for kind, _ in said(app, only_case(app))] == ["person_in_sling"]


def test_a_photo_s_name_is_never_more_than_a_name(app, phone) -> None:
    here = to_photo(phone)
    for name in TEXTS.values():
        files = {"photos": (name[:200], PHOTO, "image/jpeg")}
        page = phone.post(f"{here}/photos", files=files)
        assert page.status_code == 200 and "<script>alert" not in page.text and "\u202e" not in page.text


def test_a_link_that_is_guessed_or_over_takes_nothing(app, phone) -> None:
    opened(phone)
    case_id, store = only_case(app), app.state.cases
    token = make_link(store, case_id, Who("agent"))
    assert phone.get(f"/en/u/{token}").status_code == 200
    guessed = f"/en/u/{token[:-1]}{'A' if token[-1] != 'A' else 'B'}"
    over = f"/en/u/{token}"
    for here, shift in ((guessed, 0), (over, LINK_MS + 1), (f"/en/c/{token}", 0)):
        app.state.cases = replace(store, now_ms=lambda shift=shift: store.now_ms() + shift)
        for page in (phone.get(here), send(phone, here, PHOTO)):
            assert page.status_code == 404 and heading(page) == "This page is not here"
    assert photos_of(store, case_id) == ()


def test_a_photo_of_nought_bytes_is_said_so_everywhere(app, phone) -> None:
    here = to_photo(phone)
    case_id = only_case(app)
    link = f"/en/u/{make_link(app.state.cases, case_id, Who('agent'))}"
    for place in (here, link):
        page = send(phone, place, b"")
        assert (page.status_code, heading(page)) == (422, "That did not work")
    told = phone.post("/v1/identifications", files={"photos": ("a.jpg", b"", "image/jpeg")})
    assert told.status_code == 422 and "a.jpg" in told.json()["detail"]
    assert photos_of(app.state.cases, case_id) == () and heading(phone.get(here)).startswith("Take a photo")


@pytest.mark.parametrize("days", [-1, 1])
def test_a_clock_that_is_set_a_day_off_in_the_middle_of_a_case_loses_nothing(app, phone, days: int) -> None:
    here, store = to_photo(phone), app.state.cases
    send(phone, here, PHOTO)
    (first,) = (photo.id for photo in photos_of(store, only_case(app)))
    app.state.cases = replace(store, now_ms=lambda: store.now_ms() + days * DAY_MS)
    page = send(phone, here, OTHER)
    assert page.text.count('class="legend"') == 2
    shown = re.findall(r'/photos/(\w+)"', page.text)
    assert len(shown) == (2 if days < 0 else 1)  # without consent a picture is forgotten after minutes, by our clock
    assert (shown[0] == first) == (days < 0)
    press(phone, here, "", kind="went_on")
    press(phone, here, "dead")
    kinds = [kind for kind, _ in said(app, only_case(app))]
    assert kinds == ["person_in_sling", "danger_signs", "photo", "photo", "went_on", "symptom"]
    ana = Desk(phone, "Ana")
    queue = phone.get("/en/staff/cases")
    assert queue.status_code == 200 and " -" not in words(queue)
    case = phone.get(f"/en/staff/cases/{only_case(app)}")
    assert case.status_code == 200 and ana.key in case.text
    assert app.state.cases.by_id(only_case(app)).version == 6


def test_the_same_photo_sent_twice_at_once_is_one_photo(
    served: Callable[[Settings], Served], own_settings: Callable[..., Settings]
) -> None:
    site = served(own_settings())
    location = httpx.post(f"{site.url}/en/now", data={"kind": "person_in_sling", "answer": "no"}, headers=HTML).headers[
        "location"
    ]
    together, statuses = threading.Barrier(4), []

    def upload() -> None:
        together.wait(10)
        files = {"photos": ("a.jpg", PHOTO, "image/jpeg")}
        statuses.append(httpx.post(f"{site.url}{location}/photos", files=files, headers=HTML, timeout=30).status_code)

    threads = [threading.Thread(target=upload) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    case_id = site.app.state.cases.listed(1)[0]["id"]
    assert statuses == [303] * 4
    assert [kind for kind, _ in said(site.app, case_id)].count("photo") == 1
    assert len(photos_of(site.app.state.cases, case_id)) == 1

"""The caregiver's pages without a browser and without scripts: forms, links and what they lead to."""

import gzip
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from api.app import create_app
from api.cases.photos import DAY_MS, forget_expired
from api.commands.messages import messages
from api.identification import Resources
from api.pages.environment import STATIC
from api.servers.shelf import SHELF_MS
from api.settings import Settings
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

HTML = {"accept": "text/html"}
BOX = ("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})
HEAD = ("actuator_head", (0.75, 0.5), 0.2, {"black": "left"})
PHOTO = encoded(blob_photo(BOX, HEAD))


@pytest.fixture
def phone(client: TestClient) -> Iterator[TestClient]:
    client.headers.update(HTML)
    yield client


def opened(phone: TestClient, tag: str = "en") -> str:
    """Open a case as somebody does with nobody up; its address."""
    page = phone.post(f"/{tag}/now", data={"kind": "person_in_sling", "answer": "no"})
    assert page.status_code == 200
    return page.url.path


def words(page) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text)))


def heading(page) -> str:
    return unescape(re.search(r"<h1[^>]*>\s*(.*?)\s*</h1>", page.text, re.DOTALL)[1])


def version(page) -> str:
    return re.search(r'name="version" value="(\d+)"', page.text)[1]


def choices(page) -> list[str]:
    """The answers to what is asked; what can be said on every page is not among them."""
    asked = re.search(r'class="answers">(.*?)</form>', page.text, re.DOTALL)
    return re.findall(r'name="answer" value="([^"]+)"', asked[1]) if asked else []


def press(phone: TestClient, here: str, answer: str, page=None, **fields: str):
    """Press a button of the page, as it stands or as it was."""
    page = page or phone.get(here)
    shown = {n: re.search(rf'name="{n}" value="([^"]*)"', page.text) for n in ("kind", "id")}
    form = {n: match[1] if match else "" for n, match in shown.items()} | {"answer": answer, **fields}
    return phone.post(f"{here}/answers", data={"version": version(page), **form})


def beside(phone: TestClient, here: str, kind: str, answer: str, **fields: str):
    """Say something beside a person who is up, or before there is a case (`here` is then the language alone)."""
    return phone.post(f"{here}/now", data={"kind": kind, "id": kind, "answer": answer, **fields})


def to_photo(phone: TestClient, tag: str = "en") -> str:
    here = opened(phone, tag)
    press(phone, here, "none")
    return here


def to_repair(phone: TestClient) -> tuple[str, Any]:
    """A case without a photo at the first step that may make a dead lift work: its address and that page."""
    here = to_photo(phone)
    press(phone, here, "", kind="no_photo")
    page = press(phone, here, "dead")
    for _ in range(30):
        answers = choices(page)
        if "works" in answers:
            break
        page = press(phone, here, answers[0])
    return here, page


def send(phone: TestClient, here: str, data: bytes, **fields: str):
    return phone.post(f"{here}/photos", files={"photos": ("IMG.jpg", data, "image/jpeg")}, data=fields)


@pytest.mark.parametrize("tag", ["en", "es"])
def test_the_first_question_leads_to_the_way_down_in_one_step(phone: TestClient, tag: str) -> None:
    first = phone.get(f"/{tag}/")
    assert first.text.index('value="yes"') < first.text.index('value="no"')
    assert "/down" in beside(phone, f"/{tag}", "person_in_sling", "yes").url.path
    down = phone.get(f"/{tag}/down")
    assert down.status_code == 200
    assert 'type="file"' not in down.text
    guess = {"en": "Do not pull, turn or squeeze", "es": "No tire, gire ni apriete"}
    assert guess[tag] in words(down)


def test_not_knowing_whether_somebody_is_up_is_taken_as_yes(phone: TestClient) -> None:
    page = beside(phone, "/en", "person_in_sling", "unsure")
    assert page.url.path.endswith("/down") and heading(page) == "Bring the person down first"


@pytest.mark.parametrize(
    ("asked", "told"), [("es-MX,es;q=0.9", "es"), ("de, es;q=0.5, en;q=0.3", "es"), ("xx;;q=,", "en"), ("", "en")]
)
def test_the_browser_s_language_decides(phone: TestClient, asked: str, told: str) -> None:
    page = phone.get("/", headers={"accept-language": asked})
    assert f'<html lang="{told}"' in page.text


def test_the_first_page_weighs_less_than_60_kb(phone: TestClient) -> None:
    page = phone.get("/es/").text
    names = re.findall(r'(?:href|src)="/static/([a-z.]+)', page)
    assert set(names) == {"hoistlore.css", "caregiver.js", "shelf.js", "icon.svg"}
    whole = len(page.encode()) + sum((STATIC / n).stat().st_size for n in names) + len(phone.get("/worker.js").content)
    assert whole + len(phone.get("/es/manifest.webmanifest").content) < 60_000


def test_a_photo_is_answered_in_one_sentence_with_its_parts_marked(phone: TestClient) -> None:
    here = to_photo(phone)
    page = send(phone, here, PHOTO)
    assert page.status_code == 200 and page.url.path == here
    assert heading(page) == "It is not yet clear which box this is."
    assert "“Hung pack, stop on top” or one that is not on our list" in words(page)
    assert re.search(r'<svg class="marked".*?</svg>', page.text, re.DOTALL)[0].count("<circle") == 2
    assert "the stop: on top" in words(page) and "Motor end of the arm" in words(page)
    picture = phone.get(re.search(r'image href="([^"]+)"', page.text)[1])
    assert Image.open(io.BytesIO(picture.content)).size == (640, 480)
    assert picture.headers["cache-control"] == "no-store"


def test_the_steps_come_one_by_one_and_end_with_a_code(phone: TestClient) -> None:
    here = to_photo(phone)
    send(phone, here, PHOTO)
    page = press(phone, here, "", kind="went_on")
    assert heading(page) == "What is wrong with the lift?"
    page = press(phone, here, "dead")
    for _ in range(30):
        if "letters" in page.text:
            break
        answers = choices(page)
        assert 2 <= len(answers) <= 9
        page = press(phone, here, "still" if "still" in answers else answers[0])
    assert re.search(r'class="unseen">(\w ){5}\w<', page.text)
    assert "Put the lift aside and ask for a technician." in words(page)


def test_a_repair_that_helps_ends_with_the_release_and_asks_whether_anybody_was_hurt(phone: TestClient) -> None:
    here, _ = to_repair(phone)
    page = press(phone, here, "works")
    assert heading(page) == "Was anybody hurt, or nearly hurt?"
    page = press(phone, here, "yes")
    assert heading(page) == "It works again"
    assert "A competent person releases the lift" in words(page) and "Report it" in words(page)


def test_what_must_be_known_before_a_step_stands_above_it(phone: TestClient) -> None:
    """Common practice, no source: nobody springs a stop out before asking why it was pressed."""
    here = to_photo(phone)
    press(phone, here, "", kind="no_photo")
    page = press(phone, here, "dead")
    for _ in range(20):
        if "springs out" in heading(page):
            break
        answers = choices(page)
        page = press(phone, here, next(a for a in ("still", "unsure", answers[0]) if a in answers), page)
    assert "springs out" in heading(page)
    assert page.text.index("why the red stop was pressed") < page.text.index("<h1")


def test_everything_that_is_read_comes_from_the_languages(phone: TestClient) -> None:
    """In a language that brackets every message, nothing that is read or pressed stands outside the brackets."""
    pages, catalogue = phone.app.state.pages, phone.app.state.resources.catalogue
    bracketed = replace(pages.languages["es"], messages={m: f"⟦{m}⟧" for m in messages(catalogue)})
    phone.app.state.pages = replace(pages, languages={**pages.languages, "es": bracketed})
    walked = [phone.get("/es/"), phone.get("/es/down"), phone.get("/es/offline"), phone.get("/es/c/guessed")]
    here = opened(phone, "es")
    walked += [phone.get(here), press(phone, here, "none"), send(phone, here, PHOTO), phone.get(f"{here}/down")]
    walked += [press(phone, here, "", kind="went_on"), press(phone, here, "dead"), phone.get(f"{here}/code")]
    for _ in range(30):
        answers = re.findall(r'name="answer" value="([^"]+)"', phone.get(here).text)
        if not answers:
            break
        walked.append(press(phone, here, "still" if "still" in answers else answers[0]))
    assert len(walked) > 14
    element = r"<(h1|h2|button|p|li|summary|figcaption|label)\b[^>]*>(.*?)</\1>"
    for page in walked:
        for tag, inner in re.findall(element, page.text, re.DOTALL):
            read = outside = unescape(re.sub(r"<[^>]+>", " ", inner)).strip()
            while "⟧" in outside:
                outside = re.sub(r"⟦[^⟦⟧]*⟧", "", outside)
            assert not re.search(r"[a-zà-ÿ]", outside), f"{tag}: {read}"


def test_a_danger_sign_takes_the_lift_out_of_use_before_any_photo(phone: TestClient) -> None:
    here = opened(phone)
    page = press(phone, here, "smoke")
    assert "call the fire service" in words(page) and 'type="file"' not in page.text
    page = press(phone, here, "no")
    assert heading(page) == "Do not use this lift"


def test_somebody_up_again_comes_before_everything_at_any_time(phone: TestClient) -> None:
    here = to_photo(phone)
    page = beside(phone, here, "person_in_sling", "yes")
    assert heading(page) == "Bring the person down first"
    page = beside(phone, here, "person_in_sling", "no")
    assert heading(page).startswith("Take a photo")


def test_undo_goes_back_one_question_at_a_time_and_never_behind_the_first(phone: TestClient) -> None:
    here = to_photo(phone)
    page = press(phone, here, "", kind="undo")
    assert heading(page) == "Is there any of these?"
    assert "undo" not in page.text
    page = press(phone, here, "", kind="undo")
    assert heading(page) == "Is there any of these?"


def test_a_double_tap_counts_once_and_a_stale_page_overwrites_nothing(phone: TestClient) -> None:
    here = opened(phone)
    old = phone.get(here)
    assert heading(press(phone, here, "none", old)).startswith("Take a photo")
    assert heading(press(phone, here, "none", old)).startswith("Take a photo")
    late = press(phone, here, "smoke", old)
    assert late.status_code == 409
    assert "This was answered already" in words(late) and heading(late).startswith("Take a photo")


def test_the_same_photo_twice_is_one_photo(phone: TestClient) -> None:
    here = to_photo(phone)
    send(phone, here, PHOTO)
    assert send(phone, here, PHOTO).text.count('<svg class="marked"') == 1


@pytest.mark.parametrize(
    ("data", "status", "told", "why"),
    [
        (b"", 422, "That did not work", "The file is empty (0 bytes). Send the photo again."),
        (b"no picture", 415, "That is no photo that we can read", "Take a photo with the camera"),
        (PHOTO[: len(PHOTO) // 2], 422, "That did not work", "The JPEG file is cut off or damaged."),
    ],
)
def test_a_photo_that_cannot_be_read_is_said_so_and_the_case_goes_on(
    phone, data: bytes, status: int, told: str, why: str
) -> None:
    here = to_photo(phone)
    page = send(phone, here, data)
    assert (page.status_code, heading(page)) == (status, told) and why in words(page)
    assert f'href="{here}"' in page.text
    assert heading(phone.get(here)).startswith("Take a photo")


def test_an_answer_that_was_not_asked_for_is_refused(phone: TestClient) -> None:
    here = opened(phone)
    for fields in (
        {"answer": "maybe"},
        {"answer": "x", "kind": "closed"},
        {"answer": "<script>alert(1)</script>", "kind": "symptom", "id": "symptom"},
        {"answer": "yes", "kind": "step", "id": "replace_board"},
        {"answer": "a" * 10_001},
        {"answer": "\x00"},
    ):
        page = press(phone, here, **fields)
        assert page.status_code == 422 and "<script>alert" not in page.text
    assert heading(phone.get(here)) == "Is there any of these?"


@pytest.mark.parametrize("path", ["/en/c/guessed", "/en/c/guessed/photos/1", "/en/no", "/static/../app.py", "/de/"])
def test_a_guessed_address_opens_nothing(phone: TestClient, path: str) -> None:
    assert phone.get(path).status_code == 404


def test_a_program_gets_a_problem_document_where_a_browser_gets_a_page(client: TestClient) -> None:
    told = client.get("/en/c/guessed", headers={"accept": "application/json"})
    assert told.headers["content-type"] == "application/problem+json"
    assert told.json()["type"] == "urn:hoistlore:problem:no-such-case"


def test_a_picture_belongs_to_its_own_case_alone(phone: TestClient) -> None:
    one, other = to_photo(phone), to_photo(phone)
    address = re.search(r'image href="([^"]+)"', send(phone, one, PHOTO).text)[1]
    assert phone.get(address).status_code == 200
    assert phone.get(address.replace(one, other)).status_code == 404


def test_a_picture_without_consent_is_never_written_and_gone_after_minutes(phone: TestClient) -> None:
    here, app = to_photo(phone), phone.app
    address = re.search(r'image href="([^"]+)"', send(phone, here, PHOTO).text)[1]
    later = app.state.cases.now_ms() + SHELF_MS + 1
    app.state.cases = replace(app.state.cases, now_ms=lambda: later)
    assert phone.get(address).status_code == 404
    page = phone.get(here)
    assert "The picture itself was not kept" in words(page) and "the stop: on top" in words(page)


def test_a_picture_with_consent_is_kept_for_its_time_without_metadata_and_then_deleted(phone: TestClient) -> None:
    marked = Image.Exif()
    marked[0x010F] = "a telephone maker"
    here, app = to_photo(phone), phone.app
    page = send(phone, here, encoded(blob_photo(BOX), exif=marked), keep="yes")
    address = re.search(r'image href="([^"]+)"', page.text)[1]
    store, days = app.state.cases, app.state.settings.photo_days
    app.state.cases = replace(store, now_ms=lambda: store.now_ms() + days * DAY_MS - 60_000)
    kept = phone.get(address)
    assert b"a telephone maker" not in kept.content and not Image.open(io.BytesIO(kept.content)).getexif()
    assert forget_expired(app.state.cases) == 0
    app.state.cases = replace(store, now_ms=lambda: store.now_ms() + days * DAY_MS + 60_000)
    assert forget_expired(app.state.cases) == 1
    assert phone.get(address).status_code == 404


def test_pages_keep_to_themselves(phone: TestClient) -> None:
    page = phone.get(opened(phone))
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert page.headers["referrer-policy"] == "no-referrer" and page.headers["cache-control"] == "no-store"
    assert not re.search(r"<script>|style=|onclick", page.text)


def test_the_worker_keeps_the_way_down_in_every_language_and_nothing_of_a_case(phone: TestClient) -> None:
    worker = phone.get("/worker.js").text
    kept = re.search(r"const KEPT = (\[.*\]);", worker)[1]
    for address in re.findall(r'"([^"]+)"', kept):
        assert phone.get(address).status_code == 200
        assert "/c/" not in address
    assert all(f'"/{tag}/down"' in kept for tag in ("en", "es"))
    assert len(gzip.compress(worker.encode())) < 4000


def test_one_case_cannot_be_asked_without_end(toy_settings: Settings, toy_resources: Resources) -> None:
    with TestClient(create_app(replace(toy_settings, requests_per_minute_per_case=3), toy_resources)) as phone:
        phone.headers.update(HTML)
        here = opened(phone)
        assert [phone.get(here).status_code for _ in range(3)] == [200, 200, 429]
        assert heading(phone.get(here)) == "Too many tries"
        assert phone.get(opened(phone)).status_code == 200

"""The staff's screens in another language: every word goes through the messages, and Spanish has them all."""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
import zxingcpp
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.summary import spoken_code
from api.cases.why import why_words
from api.commands.messages import messages
from api.identification import Resources
from api.pages.environment import TEMPLATES
from api.pages.languages import SOURCE, Language, load_languages
from api.settings import Settings
from classifier.messages import Message
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.diagnose.troubleshoot import troubleshoot
from guidance.documents.case import Case, Done
from guidance.electricity.readings import PackReadings
from guidance.electricity.verdict import judge_pack
from tests.api.test_agent_pages import PHOTO
from tests.api.test_gs1 import UDI, picture

pytestmark = pytest.mark.walk

TOKENS = {f"{role}_token": f"the {role}s' own long token" for role in ("agent", "technician", "administrator")}
OPEN, SHUT = "⟦", "⟧"
OURS = {"Hoistlore", "CSV", "JSON", "QR", "DataMatrix", "UTC", "V", "A", "GS",
        "C", "D", "J", "K", "L", "N", "P", "S", "U", "W", "X",
        "JPEG", "PNG", "WebP", "HEIC", "GIF", "MiB"}  # fmt: skip
"""Words that are the same in every language: the name, formats, units, and the keys to press."""

CATALOGUE = load(DEMO_CATALOGUE)


def marked_language() -> Language:
    """A language that puts every message between two marks, so that a word that went past the messages stands out."""
    marked = {message: f"{OPEN}{message}{SHUT}" for message in messages(CATALOGUE)}
    return Language("es", "Español", "ltr", marked)


def left_over(page: str) -> set[str]:
    """The words of a page that stand outside of every mark."""
    said = re.findall(r'(?:aria-label|alt|title|placeholder|data-news|data-busy)="([^"]*)"', page)
    text = unescape("\n".join([re.sub(r"<[^>]*>", "\n", page), *said]))
    while OPEN in text:
        text, before = re.sub(rf"{OPEN}[^{OPEN}{SHUT}]*{SHUT}", " ", text), text
        assert text != before, "a mark is not closed"
    return set(re.findall(r"[^\W\d_]{2,}|\b[A-Z]\b", text))


class Desk:
    """Somebody of the staff whose pages are in the marked language."""

    def __init__(self, client: TestClient, role: str) -> None:
        self.client = client
        client.headers["accept"] = "text/html"
        self.name = "Zoé"
        page = client.post("/es/staff/sign-in", data={"token": TOKENS[f"{role}_token"], "name": self.name})
        self.key = re.search(r'form_key" value="([^"]+)', page.text)[1]

    def open(self) -> str:
        return self.client.post("/es/staff/cases", data={"form_key": self.key}).url.path

    def send(self, here: str, what: str, files=None, **fields: str):
        version = re.search(r'name="version" value="(\d+)', self.client.get(here).text)[1]
        form = {"form_key": self.key, "version": version, **fields}
        return self.client.post(f"{here}/{what}", data=form, files=files)

    def say(self, here: str, kind: str, id_: str, answer: str):
        return self.send(here, "answers", kind=kind, id=id_, answer=answer)


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    settings = own_settings(**TOKENS)
    app = create_app(settings, toy_resources)
    app.state.pages = replace(app.state.pages, languages={**app.state.pages.languages, "es": marked_language()})
    return app


@pytest.fixture
def client(app) -> Iterator[TestClient]:
    with TestClient(app) as client:
        yield client


def unsaid(page, desk: Desk, app) -> set[str]:
    """What is left of a page beside names, codes and numbers of this case and of the catalogue."""
    assert "<html" in page.text, page.text[:200]
    known = {
        desk.name,
        "testclient",
        "English",
        "http",
        "testserver",
        "es",
        *re.findall(r"[^\W\d_]+", app.state.resources.catalogue.pool.id),
    }
    for row in app.state.cases.listed(9):
        known |= set(re.findall(r"[^\W\d_]+", spoken_code(row["code"]))) | set(re.findall(r"[^\W\d_]+", row["id"]))
    known |= {w for part in CATALOGUE.parts for w in re.findall(r"[^\W\d_]+", part.number)}
    without_link = re.sub(r'class="address">[^<]*<', "><", page.text)
    return left_over(without_link) - known - OURS


@pytest.mark.parametrize("role", ["agent", "technician", "administrator"])
def test_no_word_of_a_screen_goes_past_the_messages(client: TestClient, app, role: str) -> None:
    signing = client.get("/es/staff/sign-in", headers={"accept": "text/html"})
    assert left_over(signing.text) - OURS - {"English"} == set()
    desk = Desk(client, role)
    wrong = client.post("/es/staff/sign-in", data={"token": "x", "name": ""})
    seen = [wrong, client.get("/es/staff/cases"), client.get("/es/staff/cases?q=AAAAAA")]
    here = desk.open()
    seen += [client.get(here), desk.say(here, "person_in_sling", "person_in_sling", "yes")]
    seen += [
        desk.say(here, "person_in_sling", "person_in_sling", "no"),
        desk.say(here, "danger_signs", "danger_signs", "none"),
    ]
    seen += [desk.say(here, "symptom", "symptom", "dead"), desk.say(here, "observation", "which_box", "hung-top")]
    seen += [desk.say(here, "observation", "stop_position", "front"), desk.say(here, "observation", "lowering", "none")]
    for _ in range(8):
        page = client.get(here)
        keys = re.search(
            r'class="keys".*?name="kind" value="(\w+)".*?name="id" value="(\w+)".*?name="answer" value="([\w-]+)"',
            page.text,
            re.DOTALL,
        )
        if keys is None:
            break
        seen.append(desk.say(here, *keys.groups()))
    seen += [desk.send(here, "about", site="1"), desk.send(here, "about", site="9" * 121)]
    seen += [desk.say(here, "note", "", "1"), desk.say(here, "assigned", "", desk.name)]
    link = desk.send(here, "link")
    address = re.search(r'class="address">http://testserver(/[^<]+)<', link.text)[1]
    TestClient(app).post(f"{address}/photos", files={"photos": ("a.jpg", PHOTO, "image/jpeg")})
    plate = {"photos": ("plate.png", picture(UDI, zxingcpp.BarcodeFormat.DataMatrix, gs1=True), "image/png")}
    seen += [client.get(here), desk.send(here, "plate", plate), desk.send(here, "plate", {"photos": ("a.jpg", PHOTO)})]
    seen += [desk.send(here, "plate", {"photos": ("a.jpg", b"GIF89a nothing")}), client.get("/es/staff/cases")]
    if role == "technician":
        given = {"block_1_v": "12.65", "block_2_v": "10.2", "rest_hours": "12", "meter_error_percent": "0.5"}
        seen += [desk.send(here, "readings", **given), desk.send(here, "readings", pack_v="300")]
        seen += [desk.send(here, "readings", pack_v="full"), desk.send(here, "readings")]
        seen.append(desk.send(here, "basket", part="nothing", quantity="1"))
    seen += [client.get(f"{here}/sheet"), client.get(f"{here}/history")]
    seen += [desk.say(here, "handed_over", "", "technician"), desk.say(here, "closed", "in_service", "pack_worn")]
    seen += [client.get(f"{here}/history"), client.get("/es/staff/audit")]
    assert {page.url.path: left for page in seen if (left := unsaid(page, desk, app))} == {}


@pytest.mark.parametrize("template", sorted(TEMPLATES.rglob("*.html")), ids=lambda p: p.name)
def test_no_template_holds_words_of_its_own(template: Path) -> None:
    source = template.read_text("utf-8")
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", source, flags=re.DOTALL)
    text = re.sub(r"<style>.*?</style>|<code>.*?</code>", "", text, flags=re.DOTALL)  # no words: looks, and commands
    attributes = re.findall(r'(?:aria-label|alt|title|placeholder)="([^"]*)"', text)
    text = re.sub(
        r"<[^>]*>|\bdata-[a-z]+=\"[^\"]*\"|/[a-z]+", " ", text
    )  # also what a block puts into a tag or an address
    words = " ".join([text, *attributes])
    assert set(re.findall(r"[^\W\d_]+", words)) - OURS == set()


def test_spanish_says_all_that_the_staff_are_shown_and_none_of_it_in_english() -> None:
    spanish = load_languages()["es"]
    same = {m for m in messages(CATALOGUE) if spanish.say(m) == m}
    assert {m for m in same if re.search("[a-z]{3}", m)} == {"Probable"}


def test_a_reason_is_put_together_as_guidance_does_it() -> None:
    """In English both say the same, so that neither is changed alone."""
    english = load_languages()[SOURCE]
    checked = set()
    for role in ("agent", "technician"):
        for symptom in CATALOGUE.symptoms:
            case = Case(role=role, person_in_sling="no", danger_signs=(), symptom=symptom.id)
            for _ in range(25):
                step = troubleshoot(case, CATALOGUE).next
                if step is None or step.kind == "safety_question":
                    break
                assert why_words(step, english) == step.why
                checked.add(step.kind)
                if step.kind == "last_resort":
                    break
                answer = step.outcomes[-1].id
                more = (
                    {"context": {**case.context, step.id: answer}}
                    if step.kind == "context"
                    else {"done": (*case.done, Done(id=step.id, outcome=answer))}
                )
                case = case.model_copy(update=more)
    assert {"context", "look", "adjust", "replace", "last_resort"} <= checked


@pytest.mark.parametrize(
    "read",
    [
        {"blocks_v": (12.65, 10.2), "rest_hours": 12, "meter_error_percent": 0.5},
        {"blocks_v": (11.0, 11.1), "pack_v": 26.0, "rest_hours": 2, "loaded_v": 24.5, "load_current_a": 2},
        {"blocks_v": (12.8, 12.8), "rest_hours": 12, "meter_error_percent": 0.5, "loaded_v": 24.2, "load_current_a": 9},
        {"pack_v": 25.0, "loaded_v": 18.0, "load_current_a": 9, "charge_hours": 0.5, "beeps_under_load": True},
        {"pack_v": 20.0, "loaded_v": 25.0, "charge_hours": 30, "gauge_bars_percent": 50},
        {"blocks_v": (12.8, 12.8), "rest_hours": 12, "meter_error_percent": 0.5, "loaded_blocks_v": (12.2, 7.0),
         "load_current_a": 8, "temperature_c": 2},
        {"blocks_v": (14.2, 11.0), "rest_hours": 12, "loaded_v": 20.0, "loaded_blocks_v": (9.0, 9.0),
         "load_current_a": 50, "charge_hours": 500},
        {"blocks_v": (11.7, 9.8), "loaded_v": 21.3, "load_current_a": 12},
        {"blocks_v": (12.85, 12.83), "rest_hours": 12, "meter_error_percent": 0.5, "loaded_v": 21.3,
         "load_current_a": 3},
        {"blocks_v": (12.85, 12.83), "rest_hours": 12, "meter_error_percent": 0.5, "loaded_v": 25.66,
         "load_current_a": 8},
    ],
)  # fmt: skip
def test_every_sentence_about_a_battery_is_said_in_spanish(read: dict) -> None:
    spanish, verdict = load_languages()["es"], judge_pack(PackReadings(**read))
    said = (*verdict.because, *verdict.contradictions, *verdict.wants)
    assert said
    for sentence in said:
        told = spanish.said(sentence)
        assert told != sentence
        assert re.findall(r"\d+\.?\d*", told) == re.findall(r"\d+\.?\d*", sentence) or "una" in told, told


def test_what_was_typed_is_not_taken_for_a_sentence_of_ours() -> None:
    spanish = load_languages()["es"]
    for typed in ("", "Ana", "{0}", "{count}", "( has ; are wanted.", "12.65", "⟦", "a {b} c", "block 1 has failed"):
        assert spanish.said(typed) == typed
        assert spanish.said(Message("{text} is no GS1 element string.", text=typed)).startswith(typed)


def test_a_message_in_a_message_is_said_too_and_a_document_keeps_it() -> None:
    spanish = load_languages()["es"]
    name = Message("block {number} voltage", number=1)
    sentence = Message("{name} {value}: want more than 0", name=name, value="-1")
    assert str(sentence) == "block 1 voltage -1: want more than 0"
    assert spanish.said(sentence) == "tensión del bloque 1 -1: se necesita más de 0"
    case = Case(role="technician", person_in_sling="no", danger_signs=(), symptom="dead", readings={"blocks_v": (9, 9)})
    told = troubleshoot(case, CATALOGUE)
    assert all(isinstance(line, Message) for line in told.electricity.because)
    assert json.loads(told.model_dump_json())["electricity"]["because"] == list(told.electricity.because)


def test_the_language_is_chosen_by_the_address_and_else_by_the_browser(client: TestClient) -> None:
    for wanted, tag in (("es-MX,en;q=0.5", "es"), ("fr", "en"), ("en", "en"), ("", "en")):
        first = client.get("/staff/cases?code=%3Cb%3E", headers={"accept-language": wanted}, follow_redirects=False)
        assert (first.status_code, first.headers["location"]) == (307, f"/{tag}/staff/cases?code=%3Cb%3E")
        assert first.headers["vary"] == "Accept-Language"
    page = client.get("/es/staff/cases", headers={"accept": "text/html", "accept-language": "en"})
    assert page.url.path == "/es/staff/sign-in" and '<html lang="es"' in page.text
    assert re.search(r'href="/en/staff/sign-in[^"]*" lang="en"', page.text)


def test_a_case_stays_in_the_language_of_the_page_and_links_to_its_other_one(client: TestClient) -> None:
    desk = Desk(client, "agent")
    here = desk.open()
    assert here.startswith("/es/staff/cases/")
    said = desk.say(here, "person_in_sling", "person_in_sling", "no")
    assert said.url.path == here and f'href="{here.replace("/es/", "/en/")}"' in said.text
    linked = desk.send(here, "link")
    assert f'href="{here.replace("/es/", "/en/")}"' in linked.text, "the other language of a page that a form made"
    assert "http://testserver/es/u/" in linked.text, "the caller's page is in the language of the call"

"""A committed sample photo through the networks as they are installed: each person's page says what the API says of it.

Which weights they are, and whether they are right, does not matter here; the photo is the one in which they find most.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import BrowserContext, Locator, Page, expect

from api.identification import Resources
from api.settings import Settings
from classifier.taxonomy import NOT_VISIBLE, UNLISTED
from tests.api.conftest import Served

SAMPLES = sorted((Path(__file__).parents[2] / "synthetic_samples" / "samples" / "images").glob("*.jpg"))[:12]
AGENT, TECHNICIAN = "the agents' own long token", "the technicians' long token"
DESK, TABLET = {"width": 1280, "height": 800}, {"width": 768, "height": 1024}
KINDS = {
    "control_box": "Control box",
    "actuator_head": "Motor end of the arm",
    "hand_control": "Hand control",
    "charger": "Charger",
}
SENTENCES = {
    "confirmed": "This lift has the box “{}”.",
    "likely": "This lift probably has the box “{}”.",
    "unlisted": "This box is none of those on our list.",
    "not_seen": "We cannot find the box in this photo.",
    "undecided": "It is not yet clear which box this is.",
}


@pytest.fixture(scope="session")
def toy_resources() -> Resources:
    """The networks as installed; `served` takes them in place of the toy ones."""
    return Resources.load(Settings())


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    tokens = {"agent_token": AGENT, "technician_token": TECHNICIAN}
    return served(own_settings(**tokens))


def answer_of(site: Served, photo: Path, role: str) -> dict[str, Any]:
    """What the API says of a photo, asked as a program asks it."""
    files = {"photos": (photo.name, photo.read_bytes(), "image/jpeg")}
    return httpx.post(f"{site.url}/v1/identifications", files=files, data={"role": role}, timeout=30).json()


@pytest.fixture
def sample(site: Served) -> Path:
    return max(SAMPLES, key=lambda photo: len(answer_of(site, photo, "agent")["photos"][0]["subjects"]))


def words_of(site: Served) -> dict[str, Any]:
    """The catalogue's own words, as the API gives them: of concepts, generations, mechanisms."""
    catalogue = httpx.get(f"{site.url}/v1/catalogue").json()
    names = {row["id"]: row["name"] for row in (*catalogue["generations"], *catalogue["mechanisms"])}
    return {"concepts": catalogue["concepts"], "names": names}


def facts_of(subject: dict[str, Any], words: dict[str, Any]) -> list[str]:
    """The lines that a reading comes to: every value that it leaves open, where the photo shows it."""
    lines = []
    for concept, reading in subject["concepts"].items():
        known = words["concepts"][concept]
        if NOT_VISIBLE not in reading["set"] and reading["set"]:
            *first, last = (known["values"][value] for value in reading["set"])
            lines.append(f"{known['name']}: " + (f"{', '.join(first)} or {last}" if first else last))
    return lines


def sentence_of(box: dict[str, Any], words: dict[str, Any]) -> str:
    """The answer in one sentence."""
    decision = box["decision"]
    value = {"confirmed": box["generation"], "likely": box["favourite"]}.get(decision)
    if decision == "likely" and value == UNLISTED:
        decision = "undecided"
    return SENTENCES[decision].format(words["names"].get(value, ""))


def expect_marks(shown: Locator, subjects: list[dict[str, Any]], words: dict[str, Any]) -> None:
    """The photo with a number on each part, and beside it what was read off each."""
    expect(shown.locator("svg.marked circle")).to_have_count(len(subjects))
    rows = shown.locator(".legend li")
    expect(rows).to_have_count(len(subjects))
    for row, subject in zip(rows.all(), subjects, strict=True):
        assert row.inner_text().splitlines() == [KINDS[subject["kind"]], *facts_of(subject, words)]


def meters(shown: Locator) -> list[float]:
    return [float(meter.get_attribute("value")) for meter in shown.locator("meter").all()]


def ranked(probabilities: dict[str, float]) -> list[float]:
    return [round(p, 4) for p in sorted(probabilities.values(), reverse=True)]


def signed_in(page: Page, token: str) -> None:
    page.goto("/staff/cases")
    page.locator("#name").fill("Kim")
    page.locator("#token").fill(token)
    page.keyboard.press("Enter")
    page.locator("form[action$='/staff/cases'][method=post] button").click()
    expect(page.locator(".aloud")).to_be_visible()


def test_a_caregiver_is_told_what_the_api_says(site, device: Callable[..., BrowserContext], sample: Path) -> None:
    told, words = answer_of(site, sample, "caregiver"), words_of(site)
    page = device().new_page()
    page.goto("/en/")
    page.get_by_role("button", name="No, nobody").click()
    page.get_by_role("button", name="None of these").click()
    page.locator("#picture").set_input_files(sample)
    expect(page.locator("figure").first).to_be_visible()
    expect(page.get_by_role("heading", level=1)).to_have_text(sentence_of(told["control_box"], words))
    expect_marks(page.locator("figure").first, told["photos"][0]["subjects"], words)
    asked = told["next"] if (told["next"] or {}).get("kind") == "question" else None
    answers = page.locator("form.answers button")
    expect(answers).to_have_count(0)
    if asked:
        page.get_by_role("link", name="Answer one question about it").click()
        expect(answers).to_have_count(len(asked["answers"]) + 1)
    page.get_by_role("button", name="Go on").click()
    page.get_by_role("button", name="The lift does not move at all").click()
    for _ in range(30):
        if page.locator(".letters").count():
            break
        still = page.locator("button[value=still]")
        (still if still.count() else page.locator("form.answers button.choice").first).click()
    expect(page.locator(".letters")).to_be_visible()


def test_an_agent_sees_through_the_link_what_the_api_says(site, device, sample: Path) -> None:
    told, words = answer_of(site, sample, "agent"), words_of(site)
    page = device(viewport=DESK).new_page()
    signed_in(page, AGENT)
    page.get_by_role("button", name="Make a link").click()
    caller = device().new_page()
    caller.goto(page.locator(".address").inner_text())
    caller.locator("#picture").set_input_files(sample)
    expect(caller.get_by_role("alert")).to_be_visible()
    shown = page.locator("figure").first
    expect(shown).to_be_visible()
    expect_marks(shown, told["photos"][0]["subjects"], words)
    box, head = told["control_box"], told["actuator"]
    expect(page.get_by_role("heading", name="Control box:")).to_have_text(
        f"Control box: {box['decision'].replace('_', ' ')}"
    )
    for part, heading in ((box, "Control box:"), (head, "Lowering by hand:")):
        bars = page.locator(f"h3:has-text('{heading}') + dl.bars")
        assert meters(bars) == ranked(part["probabilities"])


def test_a_technician_sees_each_part_as_the_api_says(site, device, sample: Path) -> None:
    told, words = answer_of(site, sample, "technician"), words_of(site)
    page = device(viewport=TABLET).new_page()
    signed_in(page, TECHNICIAN)
    page.locator("input[type=file][multiple]").set_input_files(sample)
    page.get_by_role("button", name="Read the photos").click()
    crops = page.locator("section.crop")
    subjects = told["photos"][0]["subjects"]
    expect(crops).to_have_count(len(subjects))
    for crop, subject in zip(crops.all(), subjects, strict=True):
        picture = crop.get_by_role("img", name="cut out of photo 1")
        assert picture.evaluate("async (e) => { await e.decode(); return e.naturalWidth; }") > 0
        for concept, reading in subject["concepts"].items():
            heading = crop.locator("h4", has_text=words["concepts"][concept]["name"][1:])
            assert meters(heading.locator("xpath=following::dl[1]")) == ranked(reading["probabilities"])
    assert meters(page.locator("h3:has-text('Control box:') + dl.bars")) == ranked(told["control_box"]["probabilities"])
    page.get_by_role("link", name="job sheet").first.click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()

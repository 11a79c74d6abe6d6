"""An agent during a call: the keyboard alone, photos as they arrive, and axe-core on every screen."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from api.settings import Settings
from tests.api.conftest import Served
from tests.browser.test_accessible import looked_at

TOKEN = "the agents' own long token"
ADMINISTRATOR = "the administrators' own long token"
OPEN_CASE = "form[action$='/staff/cases'][method=post] button"
DESK = {"width": 1280, "height": 800}
LAST_TURNS = 18
"""From then on in a call of twenty turns what is tried works."""

LAPTOP = {"width": 1366, "height": 768}


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    tokens = {"agent_token": TOKEN, "administrator_token": ADMINISTRATOR}
    return served(own_settings(**tokens))


def signed_in(page: Page, token: str = TOKEN, name: str = "Ana") -> None:
    page.goto("/staff/cases")
    page.locator("#name").fill(name)
    page.locator("#token").fill(token)
    page.keyboard.press("Enter")
    expect(page.get_by_role("search")).to_be_visible()


def tab_to(page: Page, name: str) -> None:
    """Go to what has this name by the Tab key alone."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()").startswith(name):
            return
    raise AssertionError(f"{name} is not reached by the Tab key")


def key(page: Page, key_: str) -> None:
    """Press one key, and wait until it was recorded."""
    page.locator("body[data-case]").wait_for(state="attached")  # the queue has given way to the case
    page.wait_for_load_state()  # the page's script, which hears keys, has run by then
    version = page.locator("body").get_attribute("data-version")
    page.keyboard.press(key_)
    expect(page.locator("body")).not_to_have_attribute("data-version", version)


def test_a_whole_call_by_keyboard_alone(device: Callable[..., BrowserContext]) -> None:
    page = device(viewport=DESK).new_page()
    signed_in(page)
    tab_to(page, "C New case for a caller")
    page.keyboard.press("Enter")
    aloud = page.locator(".aloud")
    expect(aloud).to_have_text("Is somebody in the sling or off the floor now?")
    key(page, "2")
    expect(page.get_by_text("Somebody is up.", exact=True)).to_be_visible()
    key(page, "n")
    key(page, "1")
    expect(aloud).to_have_text("What is wrong with the lift?")
    key(page, "1")
    key(page, "u")
    expect(aloud).to_have_text("What is wrong with the lift?")
    key(page, "1")
    key(page, "3")
    key(page, "0")
    expect(page.get_by_role("heading", name="Probably at fault")).to_be_visible()
    tab_to(page, "Hand over to a technician")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("with a technician")
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "fault":
            break
    assert page.evaluate("document.activeElement.id") == "fault"
    page.keyboard.type("pack worn")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowDown")  # how it was confirmed
    tab_to(page, "X Close the case")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("closed", timeout=15_000)  # the rates are learned
    assert "Confirmed fault: pack worn out" in page.locator("#summary").input_value()


def test_photos_arrive_while_the_agent_looks_on_and_digits_typed_into_a_field_answer_nothing(device, photo_file: Path):
    page = device(viewport=DESK).new_page()
    signed_in(page)
    page.get_by_label("Code").press_sequentially("123")
    expect(page.get_by_role("heading", level=1)).to_have_text("Cases")
    page.get_by_role("button", name="New case for a caller").click()
    page.get_by_role("button", name="Make a link").click()
    expect(page.get_by_role("img", name="The link as a QR code")).to_be_visible()
    caller = device().new_page()
    caller.goto(page.locator(".address").inner_text())
    caller.locator("#picture").set_input_files(photo_file)
    expect(caller.get_by_role("alert")).to_contain_text("The photo is with the service.")
    expect(page.get_by_role("img", name="Your photo with these parts marked")).to_be_visible()
    expect(page.get_by_role("status")).to_contain_text("The case was changed by somebody else just now.")


def test_a_call_of_twenty_turns_with_a_photo_takes_twenty_five_keys_at_most(
    site: Served, device: Callable[..., BrowserContext], photo_file: Path
) -> None:
    """Twenty questions are answered, a photo comes by the caller's link, and what ended the trouble is confirmed."""
    page = device(viewport=LAPTOP).new_page()
    signed_in(page)
    pressed = []

    def press(key_: str) -> None:
        pressed.append(key_)
        key(page, key_)

    page.keyboard.press("c")
    pressed.append("c")
    expect(page.locator(".aloud")).to_be_visible()
    press("1")
    press("1")
    page.keyboard.press("k")
    pressed.append("k")
    caller = device().new_page()
    caller.goto(page.locator(".address").inner_text())
    caller.locator("#picture").set_input_files(photo_file)
    expect(page.locator("svg.marked")).to_be_visible()
    for_the_eye(page)
    turns = 2
    while page.locator("#asked").count():
        mends = page.locator("#asked button[value=works]").count()
        unknown = turns > 2 and not mends and page.locator("#asked button[value=unsure]").count()
        press("0" if unknown else "2" if mends and turns < LAST_TURNS else "1")
        turns += 1
    assert turns == 20, f"the call was over after {turns} turns"
    expect(page.locator("#fault")).not_to_have_value("")  # what ended the trouble is chosen already
    page.keyboard.press("x")
    pressed.append("x")
    expect(page.get_by_role("heading", level=1)).to_contain_text("closed", timeout=60_000)
    assert len(pressed) <= 25, pressed


def for_the_eye(page: Page) -> None:
    """Question, the caller's photo and the link stand above the fold, in the order of a call."""
    places = [page.locator(name).first.bounding_box() for name in (".aloud", ".address", "svg.marked")]
    assert all(place["y"] + min(place["height"], 160) <= LAPTOP["height"] for place in places), places
    assert places[0]["x"] < places[1]["x"]


def test_a_key_meant_for_the_question_that_was_read_is_never_an_answer_to_another(
    site: Served, device: Callable[..., BrowserContext], photo_file: Path
) -> None:
    page = device(viewport=LAPTOP).new_page()
    signed_in(page)
    page.keyboard.press("c")
    expect(page.locator(".aloud")).to_be_visible()
    for one in ("1", "1", "1"):
        key(page, one)
    page.keyboard.press("k")
    address = page.locator(".address").inner_text()
    asked, words = page.locator("#asked").get_attribute("data-question"), page.locator(".aloud").inner_text()
    caller = device().new_page()
    caller.goto(address)
    caller.locator("#picture").set_input_files(photo_file)
    expect(page.locator("#became")).to_contain_text("Meanwhile the next question has become")
    expect(page.locator(".aloud")).to_have_text(words)
    page.keyboard.press("1")
    expect(page.locator("#became")).to_have_count(0)
    events = site.app.state.cases.by_id(page.url.rsplit("/", 1)[1].partition("#")[0]).events
    assert f"{events[-1].kind} {events[-1].said['id']}" == asked and events[-2].kind == "photo"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_desk_and_the_queue_at_the_size_of_a_telephone(device: Callable[..., BrowserContext], theme: str) -> None:
    page = device(viewport={"width": 320, "height": 640}, color_scheme=theme).new_page()
    seen: dict[str, list[str]] = {}
    signed_in(page)
    page.locator(OPEN_CASE).click()
    for one in ("1", "1", "1"):
        key(page, one)
    page.keyboard.press("?")
    expect(page.get_by_text("Go on to the question that has become the next")).to_be_visible()
    page.keyboard.press("k")
    expect(page.locator(".address")).to_be_visible()
    page.get_by_label("Site", exact=True).fill("Elm House")
    with page.expect_navigation():  # the field holds the same before and after
        page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_label("Site", exact=True)).to_have_value("Elm House")
    for path in (page.url, "/en/staff/cases?q=elm"):
        page.set_viewport_size({"width": 320, "height": 640})
        page.goto(path)
        expect(page.locator("tbody tr").first).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
        page.set_viewport_size({"width": 640, "height": 640})
        looked_at(page, seen)
    assert seen == {}


@pytest.mark.parametrize("tag", ["en", "es"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_screen_of_the_agent(
    device: Callable[..., BrowserContext], photo_file: Path, theme: str, tag: str
) -> None:
    page = device(viewport=DESK, color_scheme=theme, locale=tag).new_page()
    seen: dict[str, list[str]] = {}
    page.goto("/staff/sign-in")
    looked_at(page, seen)
    page.locator("#name").fill("Ana")
    page.locator("#token").fill("no role's token")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_be_visible()
    looked_at(page, seen)
    signed_in(page)
    looked_at(page, seen)
    page.locator(OPEN_CASE).click()
    expect(page.locator(".aloud")).to_be_visible()
    here = page.url
    looked_at(page, seen)
    for pressed in ("1", "1", "1", "3"):
        key(page, pressed)
    page.locator("summary").first.click()
    looked_at(page, seen)
    page.locator("form[action$='/link'] button").click()
    expect(page.locator(".address")).to_be_visible()
    looked_at(page, seen)
    caller = device(color_scheme=theme, locale=tag).new_page()
    caller.goto(page.locator(".address").inner_text())
    looked_at(caller, seen)
    caller.locator("#picture").set_input_files(photo_file)
    expect(caller.get_by_role("alert")).to_be_visible()
    expect(page.locator("svg.marked")).to_be_visible()
    looked_at(page, seen)
    page.goto(f"{here}/history")
    looked_at(page, seen)
    page.goto("/staff/cases?q=AAAAAA")
    looked_at(page, seen)
    assert seen == {}


@pytest.mark.parametrize("tag", ["en", "es"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_audit_log(device: Callable[..., BrowserContext], theme: str, tag: str) -> None:
    page = device(viewport=DESK, color_scheme=theme, locale=tag).new_page()
    seen: dict[str, list[str]] = {}
    signed_in(page, ADMINISTRATOR, "Ida")
    page.locator(OPEN_CASE).click()
    page.locator("a[href$='/staff/audit']").click()
    rows = page.locator("tbody tr")
    expect(rows).to_have_count(2)
    looked_at(page, seen)
    page.locator("#day").fill("2020-02-29")
    page.keyboard.press("Enter")
    expect(rows).to_have_count(0)
    looked_at(page, seen)
    page.goto("/staff/audit?case=nonsense")
    expect(page.get_by_role("alert")).to_be_visible()
    looked_at(page, seen)
    page.goto("/staff/audit")
    page.locator("tbody a").first.click()
    expect(rows).to_have_count(1)
    assert "/history" in page.url
    assert seen == {}


def test_a_call_in_spanish_reads_spanish_aloud_and_changes_to_english_in_the_same_case(
    device, photo_file: Path
) -> None:
    page = device(viewport=DESK, locale="es-MX").new_page()
    signed_in(page)
    page.locator(OPEN_CASE).click()
    aloud = page.locator(".aloud")
    expect(aloud).to_have_text("¿Hay ahora alguien en el arnés o sin tocar el suelo?")
    assert page.evaluate("document.documentElement.lang") == "es"
    key(page, "1")
    key(page, "1")
    expect(aloud).to_have_text("¿Qué le pasa a la grúa?")
    expect(page.locator(".keys .choice").first).to_have_text("1 La grúa no se mueve nada")
    page.locator("form[action$='/link'] button").click()
    caller = device().new_page()
    caller.goto(page.locator(".address").inner_text())
    assert caller.evaluate("document.documentElement.lang") == "es"
    caller.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("status")).to_contain_text("Otra persona acaba de cambiar el caso.")
    page.get_by_role("link", name="English").click()
    expect(aloud).to_have_text("What is wrong with the lift?")
    key(page, "u")
    assert "/en/staff/cases/" in page.url


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_signing_in_on_a_telephone(device: Callable[..., BrowserContext], theme: str) -> None:
    page = device(color_scheme=theme, locale="es").new_page()
    seen: dict[str, list[str]] = {}
    page.goto("/staff/sign-in")
    looked_at(page, seen)
    button = page.get_by_role("button", name="Entrar").bounding_box()
    assert button["y"] + button["height"] < 740, "the button is below the fold"
    assert button["height"] >= 44
    assert seen == {}

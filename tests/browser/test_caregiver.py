"""A caregiver with a telephone: by touch, by keyboard alone, without scripts, without a connection."""

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from api.cases.photos import photos_of
from tests.api.conftest import Served
from tests.browser.cutting import Cutting

SOON_S = 1.0


def case_of(site: Served, page: Page):
    return site.app.state.cases.by_token(page.url.rsplit("/c/", 1)[1].split("/")[0])


def to_photo(page: Page) -> None:
    page.goto("/en/")
    page.get_by_role("button", name="No, nobody").click()
    page.get_by_role("button", name="None of these").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Take a photo")


def kept(page: Page, address: str) -> None:
    """Wait until the browser has put this page aside."""
    look = "async (a) => { while (!(await caches.match(a))) await new Promise((go) => setTimeout(go, 50)); }"
    page.evaluate(look, address)


def test_with_somebody_up_one_tap_leads_to_advice_also_without_a_connection(device: Callable[..., BrowserContext]):
    phone = device()
    page = phone.new_page()
    page.goto("/en/")
    kept(page, "/en/down")
    phone.set_offline(True)
    opened = time.monotonic()
    page.goto("/en/")
    page.get_by_role("button", name="Yes").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bring the person down first")
    assert time.monotonic() - opened <= SOON_S
    expect(page.get_by_text("Do not pull, turn or squeeze anything at the motor end by guess.")).to_be_visible()


def test_offline_a_case_s_own_way_down_is_answered_with_the_one_for_all(device: Callable[..., BrowserContext]):
    phone = device(locale="es")
    page = phone.new_page()
    page.goto("/es/")
    kept(page, "/es/down")
    page.get_by_role("button", name="No, nadie").click()
    phone.set_offline(True)
    page.get_by_role("button", name="Hay alguien en el arnés").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Primero, baje a la persona")
    page.goto("/es/c/anything")
    expect(page.get_by_role("heading", level=1)).to_have_text("No hay conexión")


def test_a_large_photo_is_shrunk_sent_and_answered_with_its_parts_marked(site, device, photo_file: Path) -> None:
    page = device().new_page()
    to_photo(page)
    page.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("img", name="Your photo with these parts marked")).to_be_visible()
    (photo,) = photos_of(site.app.state.cases, case_of(site, page).id)
    assert max(photo.reading.width, photo.reading.height) == 2400
    assert page.evaluate("document.querySelector('svg image').getBBox().width") > 0


def test_a_file_that_is_refused_is_no_longer_looked_at(site, device, tmp_path: Path) -> None:
    page = device().new_page()
    to_photo(page)
    (tmp_path / "no_picture.jpg").write_bytes(b"no picture")
    page.locator("#picture").set_input_files(tmp_path / "no_picture.jpg")
    expect(page.get_by_role("heading", level=1)).to_have_text("That is no photo that we can read")
    expect(page.get_by_role("status")).to_be_empty()
    page.get_by_role("link", name="Go back").click()
    expect(page.locator("#picture")).to_have_count(1)


def test_a_photo_taken_without_a_connection_waits_and_is_sent_once(site, device, photo_file: Path) -> None:
    phone = device()
    page = phone.new_page()
    to_photo(page)
    phone.set_offline(True)
    page.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("status")).to_contain_text("The photo waits here")
    phone.set_offline(False)
    expect(page.get_by_role("img", name="Your photo")).to_be_visible()
    row = case_of(site, page)
    assert [event.kind for event in row.events].count("photo") == 1
    page.goto(f"/en/c/{page.url.rsplit('/', 1)[1]}/photo")
    page.wait_for_timeout(300)
    assert page.get_by_role("status").inner_text() == ""


def test_a_photo_that_was_lost_on_the_way_is_still_there_after_closing_the_page(site, device, photo_file: Path):
    phone = device()
    page = phone.new_page()
    to_photo(page)
    here = page.url
    phone.route("**/photos", lambda route: route.abort())
    page.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("button", name="Send it again")).to_be_visible()
    page.close()
    phone.unroute("**/photos")
    page = phone.new_page()
    page.goto(here)
    expect(page.get_by_role("img", name="Your photo")).to_be_visible()


def photo_events(site: Served, page: Page) -> int:
    return [event.kind for event in case_of(site, page).events].count("photo")


def test_an_upload_that_is_cut_in_the_middle_keeps_the_photo_and_sends_it_once(site, device, photo_file: Path) -> None:
    network = Cutting(site.url, after=10_000)
    phone = device(base_url=network.url)
    page = phone.new_page()
    to_photo(page)
    page.locator("#picture").set_input_files(photo_file)
    again = page.get_by_role("button", name="Send it again")
    expect(again).to_be_visible()
    expect(page.get_by_role("status")).to_have_text("The photo did not go through. It is still here.")
    assert network.cuts >= 1 and photo_events(site, page) == 0
    network.bad = False
    again.click()
    expect(page.get_by_role("img", name="Your photo")).to_be_visible()
    assert photo_events(site, page) == 1
    network.close()


def test_a_photo_whose_answer_was_lost_is_not_there_twice(site, device, photo_file: Path) -> None:
    phone = device()
    page = phone.new_page()
    to_photo(page)

    def arrive_and_lose_the_answer(route: Route) -> None:
        route.fetch()
        route.abort("connectionreset")

    page.route("**/photos", arrive_and_lose_the_answer, times=1)
    page.locator("#picture").set_input_files(photo_file)
    page.get_by_role("button", name="Send it again").click()
    expect(page.get_by_role("img", name="Your photo")).to_be_visible()
    assert photo_events(site, page) == 1


@pytest.mark.parametrize("status", [400, 408, 429, 503])
def test_a_photo_stays_until_the_server_has_judged_it(site, device, photo_file: Path, status: int) -> None:
    page = device().new_page()
    to_photo(page)
    page.route("**/photos", lambda route: route.fulfill(status=status, body=""), times=1)
    page.locator("#picture").set_input_files(photo_file)
    page.get_by_role("button", name="Send it again").click()
    expect(page.get_by_role("img", name="Your photo")).to_be_visible()
    assert photo_events(site, page) == 1


def test_the_whole_path_without_scripts(device: Callable[..., BrowserContext], photo_file: Path) -> None:
    page = device(java_script_enabled=False).new_page()
    to_photo(page)
    page.locator("#picture").set_input_files(photo_file)
    page.get_by_role("button", name="Send the photo").click()
    expect(page.locator("svg.marked circle")).to_have_count(2)
    page.get_by_role("button", name="Go on").click()
    page.get_by_role("button", name="It beeps and does not move").click()
    for _ in range(30):
        if page.locator(".letters").count():
            break
        page.locator("form.answers button.choice").first.click()
        if page.get_by_role("heading", name="It works again").count():
            break
    expect(page.locator(".letters")).to_be_visible()


def press(page: Page, name: str) -> None:
    """Go to what has this name by the Tab key alone, and press Enter."""
    for _ in range(40):
        page.keyboard.press("Tab")
        focused = page.evaluate("document.activeElement.textContent.trim()")
        if focused.startswith(name):
            outline = page.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)")
            assert outline >= 3, f"{name} does not show that it has the focus"
            with page.expect_navigation():
                page.keyboard.press("Enter")
            return
    raise AssertionError(f"{name} is not reached by the Tab key")


def test_the_whole_path_by_keyboard_alone(device: Callable[..., BrowserContext], photo_file: Path) -> None:
    page = device().new_page()
    page.on("filechooser", lambda _: None)  # so that the browser reports choosers well before one is opened
    page.goto("/en/")
    press(page, "Yes")
    press(page, "The person is down now")
    press(page, "None of these")
    for _ in range(10):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "picture":
            break
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Enter")
    chooser.value.set_files(photo_file)
    expect(page.get_by_role("img", name="Your photo")).to_be_visible()
    press(page, "Go on")
    press(page, "The lift does not move at all")
    press(page, "Back to the last question")
    press(page, "It beeps and does not move")
    press(page, "I want to speak to somebody")
    expect(page.locator(".letters")).to_be_visible()


def test_two_tabs_of_one_case_see_each_other_and_overwrite_nothing(device: Callable[..., BrowserContext]) -> None:
    phone = device()
    one = phone.new_page()
    one.goto("/en/")
    one.get_by_role("button", name="No, nobody").click()
    other = phone.new_page()
    other.goto(one.url)
    other.get_by_role("button", name="None of these").click()
    expect(one.get_by_role("status")).to_contain_text("Something new came in.")
    one.get_by_role("button", name="Smoke or flames").click()
    expect(one.get_by_role("alert")).to_contain_text("This was answered already")
    expect(one.get_by_role("heading", level=1)).to_contain_text("Take a photo")


def test_the_back_button_and_a_double_tap_do_no_harm(site, device: Callable[..., BrowserContext]) -> None:
    page = device().new_page()
    page.goto("/en/")
    page.get_by_role("button", name="No, nobody").click()
    page.get_by_role("button", name="None of these").dblclick()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Take a photo")
    page.go_back()
    page.go_forward()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Take a photo")
    assert [event.kind for event in case_of(site, page).events] == ["person_in_sling", "danger_signs"]

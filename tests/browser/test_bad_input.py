"""What goes wrong in front of a telephone: an empty photo, no scripts, a clock that is off, a link that is over."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from api.cases.links import LINK_MS, make_link
from api.cases.photos import photos_of
from api.cases.store import Who
from tests.api.conftest import Served
from tests.browser.test_caregiver import case_of, photo_events, to_photo


def link_into(site: Served, page: Page) -> tuple[str, str]:
    """A new case, and the address of a link into it."""
    page.goto("/en/")
    page.get_by_role("button", name="No, nobody").click()
    case_id = case_of(site, page).id
    return case_id, f"/en/u/{make_link(site.app.state.cases, case_id, Who('agent'))}"


def test_an_empty_photo_is_said_so_once_and_the_case_goes_on(site, device, tmp_path: Path) -> None:
    empty = tmp_path / "IMG_0001.jpg"
    empty.write_bytes(b"")
    page = device().new_page()
    to_photo(page)
    here = page.url.split("/at/")[0]
    page.locator("#picture").set_input_files(empty)
    expect(page.get_by_role("heading", level=1)).to_have_text("That did not work")
    page.get_by_role("link", name="Go back").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Take a photo")
    page.wait_for_timeout(300)  # an empty photo that waits would be sent again now
    assert page.url == here and page.get_by_role("status").inner_text() == ""
    assert photo_events(site, page) == 0


def test_the_link_works_without_scripts_and_a_second_press_is_no_second_photo(site, device, photo_file: Path) -> None:
    page = device(java_script_enabled=False).new_page()
    case_id, link = link_into(site, page)
    for _ in range(2):
        page.goto(link)
        page.locator("#picture").set_input_files(photo_file)
        page.get_by_role("button", name="Send the photo").click()
        expect(page.get_by_role("alert")).to_contain_text("The photo is with the service.")
    assert len(photos_of(site.app.state.cases, case_id)) == 1


def test_two_tabs_without_scripts_overwrite_nothing(site, device) -> None:
    phone = device(java_script_enabled=False)
    one, other = phone.new_page(), phone.new_page()
    one.goto("/en/")
    one.get_by_role("button", name="No, nobody").click()
    other.goto(one.url)
    other.get_by_role("button", name="None of these").click()
    one.get_by_role("button", name="Smoke or flames").click()
    expect(one.get_by_role("alert")).to_contain_text("This was answered already")
    assert [event.kind for event in case_of(site, other).events] == ["person_in_sling", "danger_signs"]


def test_a_link_that_is_over_while_the_camera_is_open_says_so_and_takes_nothing(site, device, photo_file: Path) -> None:
    page = device().new_page()
    case_id, link = link_into(site, page)
    page.goto(link)
    store = site.app.state.cases
    site.app.state.cases = replace(store, now_ms=lambda: store.now_ms() + LINK_MS + 1)
    page.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("heading", level=1)).to_have_text("This page is not here")
    assert photos_of(store, case_id) == ()


@pytest.mark.parametrize("days", [-1, 1])
def test_a_telephone_whose_clock_is_a_day_off_is_helped_all_the_same(
    site, device: Callable[..., BrowserContext], photo_file: Path, days: int
) -> None:
    phone = device()
    phone.clock.install(time=datetime.now(UTC) + timedelta(days=days))
    page = phone.new_page()
    to_photo(page)
    page.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("img", name="Your photo")).to_be_visible()
    page.get_by_role("button", name="Go on").click()
    trouble = page.get_by_role("button", name="The lift does not move at all")
    trouble.click()
    expect(trouble).to_have_count(0)
    page.wait_for_load_state()  # a page on its way has no history to go back in
    page.go_back()
    page.go_forward()
    expect(page.locator("form.answers button").first).to_be_visible()
    kinds = [event.kind for event in case_of(site, page).events]
    assert kinds == ["person_in_sling", "danger_signs", "photo", "went_on", "symptom"]

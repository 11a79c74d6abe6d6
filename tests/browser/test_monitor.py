"""How right it is here, on a telephone and at a desk, in both themes: axe-core, no sideways scrolling, no scripts."""

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from api.cases.photos import add_photo
from api.cases.store import CaseStore, Said
from api.identification import NamedPhoto
from tests.api.conftest import Served
from tests.api.judged_cases import ANA, CLOSING, NOBODY_UP, TOM, closed, found, wrong_lowerings
from tests.browser.conftest import BOX, HEAD, PHONE
from tests.browser.test_accessible import looked_at
from tests.support.toy_networks import blob_photo, encoded

TOKEN = "the token of one administrator"
DESK = {"width": 1366, "height": 768}


@pytest.fixture
def site(served: Callable, own_settings: Callable) -> Served:
    return served(own_settings(administrator_token=TOKEN))


def with_figures(site: Served) -> CaseStore:
    """Right and wrong answers, one lift with its picture, and a component that is held back."""
    state = site.app.state
    for answer in ("squeeze_tabs",) * 12:
        closed(state.cases, found("which_box", "hung-top"), found("lowering", answer))
    case_id, _ = state.cases.start("en", ANA, NOBODY_UP)
    photo = NamedPhoto("a.jpg", lambda: encoded(blob_photo(BOX, HEAD)))
    add_photo(state.cases, state.shelf, case_id, photo, 30, state.loaded, TOM)
    version = state.cases.version(case_id)
    for number, said in enumerate((found("stop_position", "front"), found("lowering", "none"), CLOSING)):
        state.cases.say(case_id, version + number, Said(said.kind, said.said, said.known), TOM)
    wrong_lowerings(state.cases, 6)
    state.learn()
    return state.cases


def signed_in(page: Page) -> None:
    page.goto("/en/staff/sign-in")
    page.get_by_label("Token").fill(TOKEN)
    page.get_by_label("Name").fill("Ida")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Cases")).to_be_visible()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_page_of_figures(device: Callable[..., BrowserContext], site: Served, size: dict, theme: str) -> None:
    with_figures(site)
    page = device(color_scheme=theme, viewport=size).new_page()
    signed_in(page)
    seen: dict[str, list[str]] = {}
    for tag in ("en", "es"):
        page.goto(f"/{tag}/staff/monitor")
        expect(page.locator(".crop img")).to_have_count(1)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0
        looked_at(page, seen)
    assert seen == {}


def test_it_is_set_back_without_scripts(device: Callable[..., BrowserContext], site: Served) -> None:
    with_figures(site)
    page = device(java_script_enabled=False).new_page()
    signed_in(page)
    page.get_by_role("link", name="How right is it here?").click()
    expect(page.get_by_text("Lowering by hand: nothing is confirmed at present")).to_be_visible()
    page.get_by_label("Why it may be confirmed again").fill("New heads came, and are in the catalogue now.")
    page.get_by_role("button", name="Confirm again").click()
    expect(page.get_by_text("nothing is confirmed at present")).to_have_count(0)


def test_the_page_before_any_case_was_closed(device: Callable[..., BrowserContext], site: Served) -> None:
    page = device().new_page()
    signed_in(page)
    page.goto("/en/staff/monitor")
    expect(page.get_by_text("No case was closed yet")).to_be_visible()
    seen: dict[str, list[str]] = {}
    looked_at(page, seen)
    assert seen == {}

"""A walk round the pool with a telephone: thirty lifts, half of them without a connection; axe-core on each page."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from api.settings import Settings
from api.surveys.progress import LiftState, states_of
from api.surveys.register import lifts_of
from tests.api.conftest import Served
from tests.api.test_survey import HEAD, LEFT, RIGHT, code, dark, photo
from tests.browser.test_accessible import looked_at
from tests.browser.test_caregiver import kept
from tests.browser.test_technician import TOKEN, signed_in

LIFTS = 30
VIEWS = {"box_left": LEFT, "box_right": RIGHT, "motor_end": HEAD}
SOON_MS = 30_000


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    return served(own_settings(technician_token=TOKEN))


@pytest.fixture(scope="session")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, int], Path]:
    """The photo of one view of one lift: each lift's are its own, as files differ that a phone takes."""
    folder = tmp_path_factory.mktemp("lifts")

    def taken(view: str, lift: int) -> Path:
        path = folder / f"{view}-{lift}.jpg"
        if not path.exists():
            plate = code(f"(01)51022222233336(21)S{lift}", gs1=True)
            path.write_bytes(plate if view == "plate" else photo(VIEWS[view], size=640 + 4 * lift))
        return path

    return taken


def begun(page: Page, tag: str = "en") -> str:
    """A new survey; its address."""
    signed_in(page)
    page.goto(f"/{tag}/staff/survey")
    page.locator("#name").fill("North house")
    page.locator("form:has(#name) button").click()
    page.wait_for_selector("#start form.scripted")
    kept(page, page.url)
    return page.url


def states(site: Served, survey: str) -> list[LiftState]:
    store = site.app.state.cases
    return states_of(store, lifts_of(store, survey.rsplit("/", 1)[1]))


def step(page: Page, view: str) -> None:
    expect(page.locator(f"[data-step={view}]")).to_be_visible(timeout=SOON_MS)


def walked(page: Page, lift: int, photos: Callable[[str, int], Path]) -> None:
    """Begin with a lift by its number, and take its four photos one by one."""
    page.locator("#number").fill(f"A-{lift}")
    page.get_by_role("button", name="Begin with this lift").click()
    for view in (*VIEWS, "plate"):
        step(page, view)
        page.locator(f"#photo-{view}").set_input_files(photos(view, lift))


def arrived(page: Page) -> None:
    """Wait until nothing waits on the phone any more."""
    expect(page.locator("#waits")).to_be_hidden(timeout=SOON_MS * 4)


def test_thirty_lifts_half_of_them_offline_and_nothing_is_lost(site, device, photos) -> None:
    phone = device()
    page = phone.new_page()
    survey = begun(page)
    for lift in range(LIFTS):
        offline = lift % 4 >= 2
        phone.set_offline(offline)
        walked(page, lift, photos)
        if offline:
            expect(page.get_by_role("button", name="To the next lift")).to_be_focused()
            if lift == 6:  # the page is closed in a dead spot, and opened again there
                page.close()
                page = phone.new_page()
                page.goto(survey)
                expect(page.locator("#waits")).to_be_visible()
            page.get_by_role("button", name="To the next lift").click()
        else:  # what waits from before is sent first, then the readings come by themselves
            page.get_by_role("button", name="So it is: record it, next lift").click(timeout=SOON_MS)
            page.wait_for_selector("#start form.scripted")
    phone.set_offline(False)
    arrived(page)
    found = states(site, survey)
    assert [one.lift.number for one in found] == [f"A-{lift}" for lift in range(LIFTS)]
    assert [one.missing for one in found] == [()] * LIFTS
    assert {one.photos for one in found} == {3}
    accepted = [lift for lift, one in enumerate(found) if not one.unsaid]
    assert accepted == [lift for lift in range(LIFTS) if lift % 4 < 2]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("tag", ["en", "es"])
def test_the_pages_of_a_survey_on_a_telephone(
    site, device: Callable[..., BrowserContext], photos, tmp_path: Path, tag: str, theme: str
) -> None:
    page = device(color_scheme=theme).new_page()
    seen: dict[str, list[str]] = {}
    survey = begun(page, tag)
    looked_at(page, seen)
    page.locator("#number").fill("A-1")
    page.locator("#start .main").click()
    step(page, "box_left")
    looked_at(page, seen)
    (tmp_path / "dark.jpg").write_bytes(dark())
    page.locator("#photo-box_left").set_input_files(tmp_path / "dark.jpg")
    expect(page.locator("[data-step=box_left] .onward")).to_be_visible()
    looked_at(page, seen)
    page.locator("#photo-box_left").set_input_files(photos("box_left", 1))
    step(page, "box_right")
    page.goto(f"{survey}/lifts/{states(site, survey)[0].lift.token}")
    looked_at(page, seen)
    page.locator("#readings ~ form button").click()
    expect(page.get_by_role("alert")).to_be_visible()
    looked_at(page, seen)
    for path in (f"{survey}/missing", f"/{tag}/staff/survey"):
        page.goto(path)
        looked_at(page, seen)
    assert seen == {}


def test_a_poor_photo_taken_offline_is_told_when_it_was_sent_and_no_photo_blocks_none(
    site, device, photos, tmp_path: Path
) -> None:
    phone = device()
    page = phone.new_page()
    survey = begun(page)
    (tmp_path / "dark.jpg").write_bytes(dark())
    (tmp_path / "none.jpg").write_bytes(b"no photo")
    phone.set_offline(True)
    page.locator("#number").fill("A-1")
    page.get_by_role("button", name="Begin with this lift").click()
    for view, taken in (("box_left", "dark.jpg"), ("box_right", "none.jpg")):
        step(page, view)
        page.locator(f"#photo-{view}").set_input_files(tmp_path / taken)
    step(page, "motor_end")
    page.locator("#photo-motor_end").set_input_files(photos("motor_end", 1))
    step(page, "plate")
    page.locator("#number").evaluate("field => field.value = ''")
    page.get_by_role("button", name="To the next lift").click()
    page.locator("#number").fill("a-1")  # the same again, before the server knows of it
    page.get_by_role("button", name="Begin with this lift").click()
    expect(page.get_by_role("button", name="Go on with the earlier one")).to_be_visible()
    phone.set_offline(False)
    arrived(page)
    expect(
        page.get_by_role("link", name="A-1: Control box from its left corner: The photo is too dark")
    ).to_be_visible()
    expect(page.get_by_role("link", name="That is no photo that we can read.")).to_be_visible()
    (found,) = states(site, survey)
    assert [one.state for one in found.views] == ["too_dark", "", "good", ""]


def test_a_session_that_is_over_holds_the_photos_until_somebody_signs_in(site, device, photos) -> None:
    phone = device()
    page = phone.new_page()
    survey = begun(page)
    phone.set_offline(True)
    walked(page, 1, photos)
    phone.clear_cookies()
    phone.set_offline(False)
    expect(page.get_by_role("link", name="You are signed out.")).to_be_visible(timeout=SOON_MS)
    assert states(site, survey) == []
    signed_in(page)
    page.goto(survey)
    page.get_by_role("button", name="So it is: record it, next lift").wait_for(timeout=SOON_MS)
    (found,) = states(site, survey)
    assert (found.missing, found.photos) == ((), 3)


def test_an_answer_that_is_lost_on_the_way_sends_a_photo_twice_and_it_is_there_once(site, device, photos) -> None:
    phone = device()
    page = phone.new_page()
    survey = begun(page)
    lost: list[str] = []

    def lose_the_answer(route: Route) -> None:
        route.fetch()
        lost.append(route.request.url)
        route.abort("connectionreset")

    phone.route("**/views", lose_the_answer, times=1)
    walked(page, 1, photos)
    page.get_by_role("button", name="So it is: record it, next lift").wait_for(timeout=SOON_MS)
    (found,) = states(site, survey)
    events = site.app.state.cases.by_id(found.lift.case_id).events
    kinds = [event.kind for event in events]
    assert len(lost) == 1 and (kinds.count("photo"), kinds.count("view")) == (3, 4)


def test_without_scripts_the_forms_do(site, device, photos) -> None:
    page = device(java_script_enabled=False).new_page()
    signed_in(page)
    page.goto("/en/staff/survey")
    page.locator("#name").fill("North house")
    with page.expect_navigation():
        page.get_by_role("button", name="Begin").click()
    survey = page.url
    page.locator("#number").fill("A-1")
    page.get_by_role("button", name="Begin with this lift").click()
    for view in VIEWS:
        page.locator(f"#photo-{view}").set_input_files(photos(view, 1))
        page.locator(f"form[data-view={view}] .send").click()
    page.locator("form[data-view=plate] [value=skipped]").click()
    page.get_by_role("button", name="So it is: record it, next lift").click()
    expect(page.get_by_role("alert")).to_have_text("What you said is recorded.")
    (found,) = states(site, survey)
    assert [one.state for one in found.views] == ["good", "good", "good", "skipped"] and not found.unsaid

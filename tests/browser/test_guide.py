"""The guiding camera in Chromium, with a clip for its camera: walked, refused, on a slow line, with somebody up."""

import re
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.api.test_guide import HEAD, box
from tests.browser.conftest import FLAGS
from tests.browser.test_accessible import looked_at
from tests.browser.test_caregiver import case_of, photo_events, to_photo
from tests.support.clips import flags_for, write_clip

REFUSED = {
    "NotAllowedError": "The camera may not be used here.",
    "NotFoundError": "No camera was found.",
    "NotReadableError": "The camera does not start.",
}
"""How a browser refuses, by the names of the standard (W3C, Media Capture and Streams, 10.2), and what is said."""

REFUSING = """(name) => {
  navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException('', name));
}"""
NO_HTTPS = "Object.defineProperty(navigator, 'mediaDevices', {value: undefined})"
ABOUT_THE_BOX = re.compile("the box")
CLOSER = {"hint": "too_far", "words": "Go closer.", "box": [0.4, 0.4, 0.5, 0.5], "look": "", "take": False}


@pytest.fixture(scope="module")
def browser(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A Chromium whose camera shows the box from one side, from the other, then the motor end, over and over."""
    sides = [(box(), 1.5), (box(other_side=True), 1.5), (HEAD, 1.5)]
    clip = write_clip(tmp_path_factory.mktemp("clip") / "sides.mjpeg", sides)
    filming = browser.browser_type.launch(executable_path=shutil.which("chromium"), args=[*FLAGS, *flags_for(clip)])
    yield filming
    filming.close()


def start(page: Page) -> None:
    page.get_by_role("button", name="Let the camera guide you").click()


def by_hand(page: Page) -> None:
    """Whatever becomes of the camera, both other ways are there."""
    for way in ("Open the camera", "Choose a picture that you have"):
        expect(page.locator("label", has_text=way)).to_be_visible()


def test_the_camera_takes_both_corners_and_hands_over_to_the_question_that_settles_the_box(site, device) -> None:
    page, sent = device().new_page(), []
    page.on("request", lambda request: sent.append(request.url.rsplit("/", 1)[1]) if request.method == "POST" else None)
    to_photo(page)
    by_hand(page)
    assert page.locator("#stored").get_attribute("capture") is None
    assert not {"look", "photos"} & set(sent), "nothing is sent before the camera is asked for"
    start(page)
    expect(page.locator(".read")).to_contain_text("the stop: on top")
    page.wait_for_url("**/ask", timeout=30_000)
    expect(page.get_by_role("heading", level=1)).to_have_text(ABOUT_THE_BOX)
    assert sent.count("photos") == photo_events(site, page) == 2 and sent.count("look") >= 2
    page.get_by_role("link", name="Look at the photo again").click()
    expect(page.locator("svg.marked")).to_have_count(2)
    expect(page.get_by_role("status")).to_be_empty()  # her own photos are no news to her


def test_a_camera_that_gets_no_further_gives_way_to_a_question(site, device) -> None:
    page = device().new_page()
    to_photo(page)
    page.route(
        "**/look", lambda route: route.continue_() if not photo_events(site, page) else route.fulfill(json=CLOSER)
    )
    start(page)
    expect(page.locator(".read")).to_contain_text("the stop: on top")
    expect(page.locator("dialog .hint")).to_have_text("Go closer.")
    page.evaluate("stuck_ms = performance.now()")  # as twenty seconds later
    page.wait_for_url("**/ask")
    expect(page.get_by_role("heading", level=1)).to_have_text(ABOUT_THE_BOX)
    assert photo_events(site, page) == 1


def test_without_a_camera_it_is_said_and_a_picture_can_be_sent(device) -> None:
    page = device().new_page()
    to_photo(page)
    for name, told in REFUSED.items():
        page.evaluate(REFUSING, name)
        start(page)
        expect(page.get_by_role("alert")).to_contain_text(told)
        by_hand(page)
        expect(page.locator("#guide")).to_be_hidden()
    page.add_init_script(NO_HTTPS)
    page.reload()
    expect(page.get_by_role("alert")).to_contain_text("The camera cannot guide you at this address.")
    expect(page.locator("#guide-start")).to_be_hidden()
    by_hand(page)


def test_on_a_slow_line_the_picture_is_taken_by_hand(site, device) -> None:
    page = device().new_page()
    page.route("**/look", lambda route: route.abort())
    to_photo(page)
    start(page)
    expect(page.locator(".hint")).to_contain_text("The connection is slow", timeout=15_000)
    page.get_by_role("button", name="Take this picture").click()
    expect(page.locator(".read li").first).to_be_visible(timeout=15_000)
    page.get_by_role("button", name="Stop the camera and go on").click()
    expect(page.locator("svg.marked")).to_be_visible()
    assert photo_events(site, page) == 1


def test_a_frame_that_is_lost_on_the_way_waits_as_every_photo_does(site, device) -> None:
    page = device().new_page()
    page.route("**/photos", lambda route: route.abort(), times=2)
    to_photo(page)
    start(page)
    page.get_by_role("button", name="Send it again").click()
    expect(page.locator("svg.marked")).to_be_visible()
    assert photo_events(site, page) == 1


def test_a_camera_that_is_unplugged_and_one_that_is_stopped_lead_back_to_the_page(device) -> None:
    page = device().new_page()
    page.route("**/look", lambda route: route.fulfill(json=CLOSER))
    to_photo(page)
    start(page)
    expect(page.locator(".hint")).to_have_text("Go closer.")
    page.evaluate("camera.getVideoTracks()[0].dispatchEvent(new Event('ended'))")
    expect(page.get_by_role("alert")).to_contain_text("The camera has stopped.")
    by_hand(page)
    start(page)
    expect(page.locator("#guide")).to_be_visible()
    page.keyboard.press("Escape")
    by_hand(page)
    expect(page.locator("#guide")).to_be_hidden()
    page.wait_for_function("camera === null")  # the dialog tells of its closing a moment after it is gone


def test_the_way_down_is_one_press_away_from_the_camera(site, device) -> None:
    page = device().new_page()
    page.route("**/look", lambda route: route.fulfill(json=CLOSER))
    to_photo(page)
    start(page)
    page.locator("#guide").get_by_role("button", name="Somebody is up in the sling").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bring the person down first")
    assert case_of(site, page).up_since_ms is not None
    start(page)
    expect(page.locator("#guide h2")).to_contain_text("Show the motor end from its side")
    page.get_by_role("button", name="Back to the way down").click()
    expect(page.get_by_role("button", name="The person is down now")).to_be_visible()


def test_the_camera_s_screen_is_accessible_in_both_themes(device) -> None:
    page, seen = device(locale="es").new_page(), {}
    page.route("**/look", lambda route: route.fulfill(json=CLOSER))
    page.goto("/es/")
    page.locator("button[value=no]").click()
    page.locator("button[value=none]").click()
    page.locator("#guide-start").click()
    expect(page.locator(".found rect")).to_have_attribute("x", "0.4")
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        looked_at(page, seen)
    assert seen == {}

"""Somebody is up: how many taps and keys lead to the steps, and what happens while the server is down."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import BrowserContext, Page, expect

from api.app import create_app
from api.cases.events import WAY_DOWN
from api.settings import Settings
from tests.browser.test_accessible import looked_at
from tests.browser.test_agent import DESK, TOKEN, key, signed_in
from tests.browser.test_caregiver import kept

MOST_TAPS, MOST_KEYS = 4, 6


class Office:
    """A server that can be stopped and started again at the same address."""

    def __init__(self, app, port: int) -> None:
        self.app, self.port, self.url = app, port, f"http://127.0.0.1:{port}"
        self.start()

    def start(self) -> None:
        self.server = uvicorn.Server(uvicorn.Config(self.app, port=self.port, log_level="warning"))
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        while not self.server.started:
            time.sleep(0.01)

    def stop(self) -> None:
        self.server.should_exit = self.server.force_exit = True
        self.thread.join(10)

    def events(self) -> list[list[str]]:
        """What was said in each case, the newest case first, each as kind and answer."""
        store = self.app.state.cases
        rows = [store.by_id(row["id"]) for row in store.listed(9)]
        return [[f"{event.kind} {event.said['answer']}" for event in row.events] for row in rows]


@pytest.fixture
def site(own_settings: Callable[..., Settings], toy_resources) -> Iterator[Office]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    office = Office(create_app(own_settings(agent_token=TOKEN, emergency_phone="112"), toy_resources), port)
    yield office
    office.stop()


def soon(check: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 15
    while not check():
        assert time.monotonic() < deadline
        time.sleep(0.1)


def ready(page: Page, address: str = "/en/") -> None:
    """Open a page and wait until the worker has taken it over."""
    page.goto(address)
    kept(page, "/en/down")
    soon(lambda: page.evaluate("navigator.serviceWorker.controller !== null"))


def test_taps_of_a_caregiver_with_a_photo_to_the_steps(device, photo_file: Path, record_property) -> None:
    page = device().new_page()
    page.goto("/en/")
    page.get_by_role("button", name="Yes").click()
    page.locator("#picture").set_input_files(photo_file)
    expect(page.locator("body")).not_to_have_attribute("data-version", "1")
    taps = 0
    while not page.locator("svg.moved").count() or "/down/" not in page.url:
        taps += 1
        assert taps <= MOST_TAPS
        if page.get_by_role("link", name="Show me step by step").count():
            page.get_by_role("link", name="Show me step by step").click()
            break
        page.locator(".pointed button[value=squeeze_tabs]").click()
        page.wait_for_load_state()
    expect(page.locator(".small").first).to_contain_text("Step 1 of")
    record_property("taps", taps)


def test_keys_of_an_agent_without_a_photo_to_the_steps(device, record_property) -> None:
    page = device(viewport=DESK).new_page()
    signed_in(page)
    page.keyboard.press("c")
    expect(page.locator(".aloud")).to_have_text("Is somebody in the sling or off the floor now?")
    keys = 1
    for pressed in ("2", "2", "1"):
        key(page, pressed)
        keys += 1
    assert keys <= MOST_KEYS
    expect(page.get_by_role("heading", name="How the person comes down", exact=True)).to_be_visible()
    expect(page.get_by_text("Pinch both tabs together and hold them.")).to_be_visible()
    record_property("keys", keys)


def test_while_the_server_is_down_the_way_down_stays_and_what_was_said_is_sent_by_itself(site, device) -> None:
    page = device().new_page()
    ready(page)
    site.stop()
    page.get_by_role("button", name="Yes").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bring the person down first")
    expect(page.get_by_role("status")).to_contain_text("waits here and is sent by itself")
    page.locator("summary").click()
    page.get_by_role("button", name="Smoke or flames").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bring the person down first")
    page.get_by_role("button", name="It is getting worse").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bring the person down first")
    site.start()
    soon(lambda: site.events() == [["person_in_sling yes", "danger_signs smoke", f"{WAY_DOWN} worse"]])
    page.get_by_role("link", name="Show it").click()
    expect(page.get_by_text("Call the fire service now.")).to_be_visible()


def test_the_steps_of_a_confirmed_mechanism_go_on_without_a_connection(site, device) -> None:
    phone = device()
    page = phone.new_page()
    ready(page)
    page.get_by_role("button", name="Yes").click()
    for _ in range(2):  # what it looks like, and what its label shows
        page.locator(".pointed button[value=squeeze_tabs]").click()
        page.wait_for_load_state()
    page.get_by_role("link", name="All steps on one page").click()
    soon(lambda: page.evaluate("async () => (await (await caches.open('hoistlore-steps')).keys()).length > 3"))
    page.get_by_role("link", name="Show me step by step").click()
    site.stop()
    seen = []
    while not page.get_by_text("Pinch both tabs together").count():
        seen.append(page.locator("h1").inner_text())
        page.get_by_role("button", name="Still up: the next step").click()
        page.wait_for_load_state()
        assert len(seen) < 12
    expect(page.locator("svg.moved")).to_be_visible()
    page.get_by_role("button", name="The person is down now").click()
    site.start()
    soon(lambda: site.events()[0][-1] == "person_in_sling no")
    assert site.events()[0].count(f"{WAY_DOWN} still") == len(seen)
    page.get_by_role("link", name="Show it").click()
    soon(lambda: page.evaluate("async () => !(await caches.keys()).includes('hoistlore-steps')"))


def test_an_answer_given_while_the_server_is_down_is_kept_beside_the_way_down(site, device) -> None:
    page = device().new_page()
    ready(page)
    page.get_by_role("button", name="No, nobody").click()
    site.stop()
    page.get_by_role("button", name="None of these").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("You are offline")
    expect(page.get_by_text("Have a chair or bed under the person.")).to_be_visible()
    site.start()
    soon(lambda: site.events() == [["person_in_sling no", "danger_signs none"]])


def test_an_agent_s_key_waits_for_the_server_and_the_plan_stays_on_screen(site, device) -> None:
    page = device(viewport=DESK).new_page()
    signed_in(page)
    page.keyboard.press("c")
    expect(page.locator(".aloud")).to_be_visible()
    key(page, "2")
    site.stop()
    page.keyboard.press("w")
    expect(page.get_by_role("status")).to_contain_text("waits here")
    expect(page.get_by_text("Have a chair or bed under the person.")).to_be_visible()
    site.start()
    soon(lambda: site.events()[0][-1] == f"{WAY_DOWN} worse")
    expect(page.get_by_text("Stop what you are doing. Hold the person steady.")).to_be_visible()


def test_staff_are_told_at_once_on_the_page_they_are_on(site, device: Callable[..., BrowserContext]) -> None:
    desk = device(viewport=DESK).new_page()
    signed_in(desk)
    expect(desk.get_by_role("alert")).to_be_hidden()
    phone = device().new_page()
    phone.goto("/en/")
    phone.get_by_role("button", name="Yes").click()
    expect(desk.get_by_role("alert")).to_contain_text("Somebody is up: case")
    expect(desk).to_have_title("(1) Cases · Hoistlore")
    desk.get_by_role("alert").get_by_role("link").click()
    desk.wait_for_url("**/staff/cases/*")
    expect(desk.get_by_role("heading", name="To paste elsewhere")).to_be_visible()
    desk.keyboard.press("d")
    key(desk, "1")
    expect(desk.get_by_text("Call the fire service now.")).to_be_visible()
    expect(phone.get_by_role("status")).to_contain_text("Something new came in.")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("tag", ["en", "es"])
def test_every_screen_of_the_way_down_is_accessible(device, tag: str, theme: str) -> None:
    page = device(color_scheme=theme, locale=tag, viewport={"width": 390, "height": 844}).new_page()
    seen: dict[str, list[str]] = {}
    page.goto(f"/{tag}/offline")
    looked_at(page, seen)
    page.goto(f"/{tag}/")
    looked_at(page, seen)
    page.locator("button[value=yes]").first.click()
    page.locator("summary").click()
    looked_at(page, seen)
    for _ in range(2):
        page.locator(".pointed button[value=twist_knob]").click()
        page.wait_for_load_state()
    looked_at(page, seen)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert seen == {}

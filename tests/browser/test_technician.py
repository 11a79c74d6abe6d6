"""A technician with a tablet: photos, readings, the plate's code, parts, basket, job sheet; axe-core on each."""

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect

from api.settings import Settings
from tests.api.conftest import Served
from tests.api.test_gs1 import UDI, picture
from tests.browser.conftest import BOX, NARROW
from tests.browser.test_accessible import looked_at
from tests.browser.test_agent import key
from tests.support.rating_plates import drawn_plate
from tests.support.toy_networks import blob_photo, encoded

TOKEN = "the technicians' long token"
TABLET = {"width": 768, "height": 1024}
MOST_TABS = 250

SETTLED = {
    "the stop": "on top",
    "the battery": "hung on the box as a pack",
    "the raise and lower buttons": "on the front of the box",
    "the charge display": "as a battery picture",
}
"""What confirms the box "hung-top" of the demo catalogue."""

NO_PHOTO_SHOWS = ("the raise and lower buttons", "the charge display")
"""What the toy networks read in no photo."""


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    return served(own_settings(technician_token=TOKEN))


def signed_in(page: Page, name: str = "Tom") -> None:
    page.goto("/staff/cases")
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Token of your role").fill(TOKEN)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Cases")


def to_step(page: Page) -> None:
    """A new case, up to the first step: nobody is up, no sign of danger, it is dead, it has the hung pack."""
    page.get_by_role("button", name="New case for a caller").click()
    expect(page.locator(".aloud")).to_be_visible()
    for pressed in ("1", "1", "1", "3"):
        key(page, pressed)


def pressed(page: Page, name: str, exact: bool = True) -> None:
    """Press a button, and wait until it was recorded."""
    version = page.locator("body").get_attribute("data-version")
    page.get_by_role("button", name=name, exact=exact).first.click()
    expect(page.locator("body")).not_to_have_attribute("data-version", version)


def open_all(page: Page) -> None:
    page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")


def settle(page: Page) -> None:
    """Accept what the photos settle, and say of the box what they do not show."""
    pressed(page, "Accept all that is settled")
    for concept in NO_PHOTO_SHOWS:
        pressed(page, f"Seen at the lift: {SETTLED[concept]} ({concept})")
    expect(page.get_by_role("heading", name="Control box: confirmed")).to_be_visible()


def tab_to(page: Page, name: str) -> None:
    """Go to what has this text or id by the Tab key alone."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        text, id_ = page.evaluate("[document.activeElement.textContent, document.activeElement.id]")
        if name in (" ".join(text.split()), id_):
            return
    raise AssertionError(f"{name} is not reached by the Tab key")


def by_key(page: Page, name: str) -> None:
    """Tab to a button, press Enter, and wait until it was recorded."""
    version = page.locator("body").get_attribute("data-version")
    tab_to(page, name)
    page.keyboard.press("Enter")
    expect(page.locator("body")).not_to_have_attribute("data-version", version)


@pytest.mark.parametrize(("theme", "screen"), [("light", TABLET), ("dark", NARROW)])
def test_every_state_of_the_screen(
    device: Callable[..., BrowserContext], photo_file, tmp_path, theme: str, screen: dict[str, int]
) -> None:
    page = device(viewport=screen, color_scheme=theme).new_page()
    seen: dict[str, list[str]] = {}
    signed_in(page)
    page.get_by_role("button", name="New case for a caller").click()
    expect(page.locator(".aloud")).to_be_visible()
    looked_at(page, seen)  # somebody may be up, nothing is known
    page.goto("/staff/cases")
    looked_at(page, seen)  # a queue with a case in it
    to_step(page)
    open_all(page)
    looked_at(page, seen)  # nothing was seen: every part is not sure yet
    bad = tmp_path / "broken.jpg"
    bad.write_bytes(b"\xff\xd8\xff\xe0 and then nothing")
    page.get_by_label("Photos of this lift").set_input_files([photo_file, bad])
    page.get_by_role("button", name="Read the photos").click()
    expect(page.get_by_role("alert")).to_contain_text("Photo 2 of 2, broken.jpg: ")
    expect(page.locator("#picked")).to_be_focused()
    crop = page.get_by_role("img", name="cut out of photo 1").first
    assert crop.evaluate("async (e) => { await e.decode(); return e.naturalWidth; }") > 50
    looked_at(page, seen)  # readings to accept, and a photo that is none
    settle(page)
    expect(page.locator("#fits")).to_contain_text("DEMO-1301")
    open_all(page)
    looked_at(page, seen)
    pressed(page, "Add DEMO-2301")
    expect(page.get_by_role("heading", name="Order together with these")).to_be_visible()
    pressed(page, "Add DEMO-1301")
    pressed(page, "Confirmed (A charger known to be good lights the lamps where this one does not.)")
    page.get_by_label("Rest before").fill("a day")
    page.get_by_role("button", name="Judge the readings").click()
    expect(page.get_by_label("Rest before")).to_be_focused()
    expect(page.get_by_label("Rest before")).to_have_accessible_description(
        "Readings are numbers, such as 12.65. Nothing changed."
    )
    open_all(page)
    looked_at(page, seen)  # a basket, half confirmed, and a reading that is none
    plate = tmp_path / "plate.jpg"
    plate.write_bytes(drawn_plate(np.random.default_rng([4, 0])).photo)
    page.get_by_label("Photo of the plate").set_input_files(plate)
    page.get_by_role("button", name="Read the plate").click()
    expect(page.get_by_text("recorded only once you confirm it")).to_be_visible()
    looked_at(page, seen)  # a plate's text, to be confirmed
    page.goto(page.url.replace("/en/", "/es/").removesuffix("/plate"))
    open_all(page)
    looked_at(page, seen)
    page.goto(page.url.replace("/es/", "/en/"))
    open_all(page)
    pressed(page, "Correct to: built in (the battery)")
    expect(page.get_by_text("It is not sure any more whether this fits.").first).to_be_visible()
    looked_at(page, seen)  # a basket that does not fit any more
    page.get_by_role("link", name="job sheet to print").click()
    looked_at(page, seen)
    assert seen == {}


def test_two_photos_become_a_job_sheet_with_a_dozen_presses(device, tmp_path: Path) -> None:
    """From the queue, every press of a finger or a key on our pages; the system's chooser of pictures is not ours."""
    context = device(viewport=NARROW)
    context.add_init_script(
        "for (const kind of ['pointerdown', 'keydown'])"
        " addEventListener(kind, () => (sessionStorage.presses = 1 + +(sessionStorage.presses ?? 0)), true)"
    )
    photos = [tmp_path / f"{n}.jpg" for n in range(2)]
    for n, path in enumerate(photos):
        path.write_bytes(encoded(blob_photo((BOX[0], (0.35, 0.4 + n / 10), *BOX[2:]))))
    page = context.new_page()
    signed_in(page)
    page.evaluate("sessionStorage.presses = 0")
    page.get_by_role("button", name="New case for a caller").click()
    expect(page.locator(".aloud")).to_be_visible()
    for answer in ("1", "1", "1"):  # nobody is up, no sign of danger, it is dead
        key(page, answer)
    with page.expect_file_chooser() as chooser:
        page.get_by_label("Photos of this lift").click()
    chooser.value.set_files(photos)
    page.get_by_role("button", name="Read the photos").click()
    pressed(page, "Accept all that is settled")
    for concept in NO_PHOTO_SHOWS:
        pressed(page, f"Seen at the lift: {SETTLED[concept]} ({concept})")
    pressed(page, "Add DEMO-1301")
    page.get_by_role("link", name="job sheet to print").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Job sheet")
    expect(page.get_by_role("row", name="DEMO-1301")).to_be_visible()
    for n in (1, 2):
        crop = page.get_by_role("img", name=f"Control box, cut out of photo {n}")
        assert crop.evaluate("async (e) => { await e.decode(); return e.naturalWidth; }") > 50
    code = zxingcpp.read_barcode(Image.open(io.BytesIO(page.locator(".qr").screenshot())))
    assert code is not None and code.text == page.url.removesuffix("/sheet")
    assert int(page.evaluate("sessionStorage.presses")) <= 12


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_from_the_sign_in_to_the_job_sheet(device: Callable[..., BrowserContext], photo_file, tmp_path, theme) -> None:
    page = device(viewport=TABLET, color_scheme=theme).new_page()
    seen: dict[str, list[str]] = {}
    signed_in(page)
    to_step(page)
    page.get_by_label("First block at rest").fill("12.65")
    page.get_by_label("Second block at rest").fill("10.2")
    page.get_by_label("Rest before").fill("12")
    page.get_by_label("Error of the meter").fill("0.5")
    page.get_by_role("button", name="Judge the readings").click()
    expect(page.get_by_text("Battery: failed.")).to_be_visible()
    plate = tmp_path / "plate.jpg"
    plate.write_bytes(picture(UDI, zxingcpp.BarcodeFormat.DataMatrix, gs1=True))
    page.get_by_label("Photo of the plate: its code, or its text").set_input_files(plate)
    page.get_by_role("button", name="Read the plate").click()
    expect(page.get_by_text("2014-12-31", exact=True)).to_be_visible()
    page.get_by_text("Whole photos, and a link").click()
    page.get_by_role("button", name="Make a link").click()
    expect(page.locator(".address")).to_be_visible()
    page.get_by_label("Whole pack").fill("24.1")
    caller = device().new_page()
    caller.goto(page.locator(".address").inner_text())
    caller.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("img", name="cut out of photo 1").first).to_be_visible()
    expect(page.get_by_label("Whole pack")).to_have_value("24.1")  # typed, not sent yet: a photo took nothing away
    looked_at(page, seen)
    page.get_by_role("button", name="Accept: on top").click()
    expect(page.locator(".record")).to_contain_text("on top")
    page.get_by_role("link", name="job sheet to print").click()
    looked_at(page, seen)
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Sign out")).to_be_hidden()
    expect(page.locator("html")).to_have_css("color", "rgb(22, 33, 31)")  # dark ink on paper, whatever the theme
    assert seen == {}


def test_photos_readings_basket_and_sheet_by_keyboard_alone(device: Callable[..., BrowserContext], photo_file) -> None:
    page = device(viewport=TABLET).new_page()
    signed_in(page)
    to_step(page)
    tab_to(page, "picked")
    page.locator("#picked").set_input_files(photo_file)  # the system's own chooser is not the page's
    by_key(page, "Read the photos")
    by_key(page, "Accept all that is settled")
    for concept in NO_PHOTO_SHOWS:
        by_key(page, f"Seen at the lift: {SETTLED[concept]} ({concept})")
    by_key(page, "Add DEMO-1301")
    tab_to(page, "quantity-pack-hung")
    page.keyboard.press("Control+A")
    page.keyboard.type("3")
    page.keyboard.press("Enter")
    expect(page.locator("#fits")).to_contain_text("In it: 3")
    by_key(page, "Confirmed (Each block was measured after a rest of six hours, or the pack failed a load test.)")
    expect(page.get_by_text("Confirmed by Tom")).to_be_visible()
    tab_to(page, "job sheet to print")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Job sheet")
    expect(page.get_by_role("row", name="DEMO-1301")).to_contain_text("3")


def test_two_tablets_see_each_other_s_basket_and_a_conflict_is_shown(device, site: Served, photo_file: Path) -> None:
    one, other = (device(viewport=TABLET).new_page() for _ in range(2))
    signed_in(one)
    to_step(one)
    one.get_by_label("Photos of this lift").set_input_files(photo_file)
    one.get_by_role("button", name="Read the photos").click()
    settle(one)
    signed_in(other)
    other.goto(one.url)
    expect(other.locator("#quantity-pack-hung")).to_have_count(0)
    pressed(one, "Add DEMO-1301")
    expect(other.locator("#quantity-pack-hung")).to_have_value("1")  # came in by itself
    other.route("**/changes*", lambda route: route.abort())
    other.reload()
    other.locator("#quantity-pack-hung").fill("7")
    pressed(one, "Confirmed (Each block was measured after a rest of six hours, or the pack failed a load test.)")
    other.get_by_role("button", name="Change DEMO-1301").click()
    expect(other.get_by_role("alert")).to_contain_text("Somebody else changed this case meanwhile.")
    expect(other.locator("#quantity-pack-hung")).to_have_value("7")
    pressed(other, "Change DEMO-1301")
    expect(one.locator("#quantity-pack-hung")).to_have_value("7")

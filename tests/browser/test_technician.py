"""A technician with a tablet: readings, the plate's code, the job sheet; axe-core on each."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import zxingcpp
from playwright.sync_api import BrowserContext, expect

from api.settings import Settings
from tests.api.conftest import Served
from tests.api.test_gs1 import UDI, picture
from tests.browser.test_accessible import looked_at
from tests.browser.test_agent import key

TOKEN = "the technicians' long token"
TABLET = {"width": 768, "height": 1024}


@pytest.fixture
def site(served: Callable[[Settings], Served], toy_settings: Settings, tmp_path: Path) -> Served:
    return served(replace(toy_settings, database=f"sqlite:///{tmp_path / 'cases.db'}", technician_token=TOKEN))


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_from_the_sign_in_to_the_job_sheet(device: Callable[..., BrowserContext], photo_file, tmp_path, theme) -> None:
    page = device(viewport=TABLET, color_scheme=theme).new_page()
    seen: dict[str, list[str]] = {}
    page.goto("/staff/cases")
    page.get_by_label("Your name").fill("Tom")
    page.get_by_label("Token of your role").fill(TOKEN)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="New case for a caller").click()
    for pressed in ("1", "1", "1", "3"):
        key(page, pressed)
    page.get_by_label("First block").fill("12.65")
    page.get_by_label("Second block").fill("10.2")
    page.get_by_label("Rest before").fill("12")
    page.get_by_label("Error of the meter").fill("0.5")
    page.get_by_role("button", name="Judge the readings").click()
    expect(page.get_by_text("Battery: failed.")).to_be_visible()
    plate = tmp_path / "plate.jpg"
    plate.write_bytes(picture(UDI, zxingcpp.BarcodeFormat.DataMatrix, gs1=True))
    page.get_by_label("Photo of its barcode").set_input_files(plate)
    page.get_by_role("button", name="Read the plate").click()
    expect(page.get_by_text("2014-12-31", exact=True)).to_be_visible()
    page.get_by_role("button", name="Make a link").click()
    caller = device().new_page()
    caller.goto(page.locator(".address").inner_text())
    caller.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("img", name="cut out of photo 1").first).to_be_visible()
    crop = page.get_by_role("img", name="cut out of photo 1").first
    assert crop.evaluate("async (e) => { await e.decode(); return e.naturalWidth; }") > 50
    looked_at(page, seen)
    page.get_by_role("button", name="Accept: on top").click()
    expect(page.locator(".record")).to_contain_text("stop position top")
    page.get_by_role("link", name="job sheet to print").click()
    looked_at(page, seen)
    page.emulate_media(media="print")
    expect(page.get_by_role("button", name="Sign out")).to_be_hidden()
    assert seen == {}

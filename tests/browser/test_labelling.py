"""Consent on a telephone, and a part drawn by finger, by mouse, by keys and without scripts; axe-core on each page."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from api.cases.learned.consent import agreed, of_case
from api.cases.learned.labels import labels_of
from api.cases.photos import photos_of
from api.settings import Settings
from tests.api.conftest import Served
from tests.api.test_photo_labels import photographed
from tests.browser.conftest import PHONE
from tests.browser.test_accessible import looked_at
from tests.browser.test_caregiver import case_of, to_photo
from tests.browser.test_technician import TOKEN, signed_in

LEAST_PX = 44
"""WCAG 2.2, success criterion 2.5.5 (from memory)."""


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    return served(own_settings(technician_token=TOKEN))


def sides(page: Page) -> list[float]:
    return [float(page.locator(f"#{side}").input_value()) for side in ("left", "top", "right", "bottom")]


def at(page: Page, x: float, y: float) -> tuple[float, float]:
    """A place in the photo, in percent, on the screen."""
    page.locator("#drawing").scroll_into_view_if_needed()
    frame = page.locator("#drawing image").bounding_box()
    return frame["x"] + frame["width"] * x / 100, frame["y"] + frame["height"] * y / 100


def record(page: Page) -> None:
    page.get_by_role("button", name="Record this part").click()
    expect(page.get_by_role("alert")).to_have_text("What you said is recorded.")


def labelling(site: Served, page: Page, place: int = 0, tag: str = "en") -> str:
    """The page of a part in a case of its own; the case's id."""
    here = photographed(site.app).replace("/en/", f"/{tag}/")
    case_id = here.rsplit("/", 1)[1]
    (photo,) = photos_of(site.app.state.cases, case_id)
    signed_in(page)
    page.goto(f"{here}/photos/{photo.id}/label?place={place}")
    return case_id


def labels(site: Served, case_id: str) -> list[dict]:
    return [dict(e.said) for e in site.app.state.cases.by_id(case_id).events if e.kind == "label"]


def test_learning_is_agreed_to_before_the_photo_and_taken_back_with_one_tap(site, device, photo_file: Path) -> None:
    page = device().new_page()
    seen: dict[str, list[str]] = {}
    to_photo(page)
    box = page.get_by_role("checkbox", name="Yes, it may learn from my photo.")
    expect(box).not_to_be_checked()
    camera = page.locator(".camera").bounding_box()
    assert box.bounding_box()["y"] < camera["y"] and camera["y"] + camera["height"] <= PHONE["height"], "below the fold"
    page.get_by_text("Yes, it may learn from my photo.").click()
    page.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("heading", name="Learning from your photos")).to_be_visible()
    case = case_of(site, page)
    assert agreed(site.app.state.cases, of_case(case.id)) == 1
    looked_at(page, seen)
    taken_back = page.get_by_role("button", name="Take this back and delete these photos")
    assert taken_back.bounding_box()["height"] >= LEAST_PX
    taken_back.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing is learned from your photos")
    looked_at(page, seen)
    assert agreed(site.app.state.cases, of_case(case.id)) == 0
    page.get_by_role("link", name="Go back").click()
    expect(page.get_by_text("The picture itself was not kept.")).to_be_visible()
    assert seen == {}


def test_a_photo_that_waits_offline_keeps_what_was_agreed(site, device, photo_file: Path) -> None:
    phone = device()
    page = phone.new_page()
    to_photo(page)
    page.get_by_text("Yes, it may learn from my photo.").click()
    phone.set_offline(True)
    page.locator("#picture").set_input_files(photo_file)
    expect(page.get_by_role("status")).to_contain_text("The photo waits here")
    phone.set_offline(False)
    expect(page.get_by_role("heading", name="Learning from your photos")).to_be_visible()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("tag", ["en", "es"])
def test_the_page_of_a_part_on_a_telephone(site, device: Callable[..., BrowserContext], tag: str, theme: str) -> None:
    page = device(color_scheme=theme).new_page()
    seen: dict[str, list[str]] = {}
    labelling(site, page, tag=tag)
    looked_at(page, seen)
    targets = page.locator("form.labelling :is(select, button, input[type=number], label.check):visible").all()
    small = [t.evaluate("e => e.outerHTML.slice(0, 80)") for t in targets if t.bounding_box()["height"] < LEAST_PX]
    assert (small, seen) == ([], {}) and len(targets) > 10


def test_a_box_is_dragged_moved_and_resized_with_a_mouse(site, device) -> None:
    page = device().new_page()
    case_id = labelling(site, page, place=2)
    expect(page.locator("fieldset[data-kind=actuator_head]")).to_be_hidden()
    for start, end, wanted in (
        ((20, 20), (60, 55), [20, 20, 60, 55]),  # nothing was drawn yet: a new one
        ((35, 40), (30, 35), [15, 15, 55, 50]),  # the inside moves it
        ((55, 50), (90, 80), [15, 15, 90, 80]),  # a corner alone
    ):
        page.mouse.move(*at(page, *start))
        page.mouse.down()
        page.mouse.move(*at(page, *end), steps=4)
        page.mouse.up()
        assert sides(page) == pytest.approx(wanted, abs=1.5)
    for concept, value in {"stop_position": "top", "battery": "hung_pack", "service_buttons": "front"}.items():
        page.locator(f"#value-{concept}").select_option(value)
    page.locator("#value-charge_display").select_option("gauge")
    page.locator("[name=hidden-charge_display]").check()
    page.get_by_text("I saw it at the lift").click()
    record(page)
    (said,) = labels(site, case_id)
    assert said["box"] == pytest.approx([0.15, 0.15, 0.9, 0.8], abs=0.015) and said["place"] == 2
    assert (said["kind"], said["hidden"], said["how"]) == ("control_box", ["charge_display"], "at_the_lift")


def test_a_finger_taps_two_corners_or_drags(site, device) -> None:
    page = device(has_touch=True, is_mobile=True).new_page()
    labelling(site, page, place=2)
    for corner in ((3, 4), (50, 45)):
        page.touchscreen.tap(*at(page, *corner))
    assert sides(page) == pytest.approx([3, 4, 50, 45], abs=1.5)
    finger = page.context.new_cdp_session(page)
    path = [at(page, 95, 92), at(page, 80, 75), at(page, 70, 60)]
    for kind, (x, y) in zip(("touchStart", "touchMove", "touchMove"), path, strict=True):
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert sides(page) == pytest.approx([70, 60, 95, 92], abs=1.5)


def test_a_box_is_moved_and_sized_by_keys(site, device) -> None:
    page = device().new_page()
    case_id = labelling(site, page, place=1)
    before = sides(page)
    page.locator("#drawing").focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowDown", "Shift+ArrowLeft"):
        page.keyboard.press(key)
    left, top, right, bottom = before
    assert sides(page) == pytest.approx([left + 2, top + 1, right + 1, bottom + 1], abs=0.15)
    page.locator("#left").focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("50")
    drawn = float(page.locator("#box").get_attribute("x"))
    assert drawn == pytest.approx(500)
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_have_text("What you said is recorded.")
    (said,) = labels(site, case_id)
    assert said["kind"] == "actuator_head" and said["values"] == {"lowering": "twist_knob"} and said["box"][0] == 0.5


def test_without_scripts_the_numbers_do(site, device) -> None:
    page = device(java_script_enabled=False).new_page()
    case_id = labelling(site, page, place=1)
    page.locator("#right").fill("60")
    page.locator("#left").fill("70")
    page.get_by_role("button", name="Record this part").click()
    expect(page.get_by_role("alert")).to_contain_text("left before right")
    expect(page.locator("#left")).to_have_value("70")
    page.locator("#left").fill("20")
    record(page)
    assert labels(site, case_id)[0]["box"][0] == 0.2


def test_two_people_at_once_are_both_kept_and_it_shows_until_one_decides(site, device) -> None:
    one, other = (device().new_page() for _ in range(2))
    case_id = labelling(site, one, place=1)
    signed_in(other, "Rob")
    other.goto(one.url)
    other.locator("#value-lowering").select_option("squeeze_tabs")
    record(one)
    record(other)
    expect(other.get_by_text("People say different things of this part.")).to_be_visible()
    assert [said["values"]["lowering"] for said in labels(site, case_id)] == ["twist_knob", "squeeze_tabs"]
    store = site.app.state.cases
    live, photos = store.by_id(case_id).events, photos_of(store, case_id)
    assert "people say different things" in labels_of(live, photos)[0].open
    one.goto(one.url.split("/photos/")[0])
    one.get_by_role("link", name="People say different things of part 2 in photo 1.").click()
    expect(one.get_by_role("listitem").filter(has_text="Rob, technician: Motor end of the arm")).to_be_visible()
    seen: dict[str, list[str]] = {}
    looked_at(one, seen)
    one.locator("#value-lowering").select_option("pull_twist_knob")
    record(one)
    expect(one.get_by_text("People say different things of this part.")).to_have_count(0)
    assert len(labels(site, case_id)) == 3 and seen == {}

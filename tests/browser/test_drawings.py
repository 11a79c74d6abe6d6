"""The small drawings as they are seen: in both themes, on a telephone and on a desk, with names and room enough."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.test_accessible import looked_at
from tests.browser.test_caregiver import to_photo

DRAWN = "button.drawn svg.drawing"


def to_question(page: Page, id_: str) -> None:
    """Go on without a photo, not knowing anything, until this is asked."""
    page.get_by_role("button", name="Go on without a photo").click()
    page.locator("button[value=dead]").click()
    for _ in range(12):
        if page.locator(f"input[name=id][value={id_}]").count():
            return
        page.locator("button[value=unsure]").first.click()
    raise AssertionError(f"{id_} was not asked")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_which_box_it_is_most_like(device: Callable[..., BrowserContext], theme: str) -> None:
    page = device(color_scheme=theme).new_page()
    to_photo(page)
    to_question(page, "which_box")
    expect(page.locator(DRAWN)).to_have_count(4)
    seen: dict[str, list[str]] = {}
    looked_at(page, seen)
    assert seen == {}
    for button in page.locator("button.drawn").all():
        outer, inner = button.bounding_box(), button.locator("svg").bounding_box()
        assert inner["width"] >= 64 and inner["height"] >= 64
        assert outer["x"] <= inner["x"] and inner["y"] + inner["height"] <= outer["y"] + outer["height"]
    hung = page.get_by_role("button", name="Hung pack, stop on top")
    expect(hung.get_by_role("img", name="the stop: on top, the battery: hung on the box as a pack")).to_be_visible()
    hung.click()
    expect(page.locator("input[name=id][value=which_box]")).to_have_count(0)


def test_beside_the_photo_too_the_answers_are_drawn(device: Callable[..., BrowserContext], photo_file: Path) -> None:
    page = device().new_page()
    to_photo(page)
    page.locator("#picture").set_input_files(photo_file)
    expect(page.locator("svg.marked")).to_be_visible()
    page.get_by_role("link", name="Answer one question about it").click()
    asked = page.locator("form.answers input[name=id]").get_attribute("value")
    expect(page.locator(DRAWN)).to_have_count(4)
    page.locator("button.drawn").first.click()
    expect(page.locator(f"form.answers input[value={asked}]")).to_have_count(0)

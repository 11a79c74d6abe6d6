"""Pages in a language that is written from right to left and is added by a file alone.

The file is no translation: `tests/support/pseudo_language.py` writes it, Arabic letters for English ones.
"""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from api.settings import Settings
from tests.api.conftest import Served
from tests.browser.conftest import NARROW, PHONE
from tests.browser.test_accessible import looked_at
from tests.browser.test_agent import DESK, key
from tests.support.pseudo_language import TAG, mirrored, write_pseudo_language

TOKEN = "the technicians' long token"
SERVICE, EMERGENCY = "+49 30 1234567", "112"
LACKING = "Your service: call {number}"

OUTSIDE = """() => [...document.querySelectorAll('main *, header *, footer *')]
  .filter((e) => e.checkVisibility() && !e.closest('.unseen, .skip, svg') && !e.matches('input[type=file]'))
  .filter((e) => { const r = e.getBoundingClientRect(); return r.left < -1 || r.right > innerWidth + 1; })
  .map((e) => e.outerHTML.slice(0, 80)).join('; ')"""
"""What lies beside the screen. To the right of it nothing scrolls on a page that is written from right to left."""

OVERLAPPING = """() => {
  const all = [...document.querySelectorAll(
    'main :is(a, button, summary, select, input, textarea), header :is(a, button), footer :is(button, summary)')]
    .filter((e) => e.checkVisibility({opacityProperty: true}) && !e.closest('.unseen, .skip') && e.type !== 'file'
      && e.type !== 'hidden');
  const boxes = all.flatMap((e) => [...e.getClientRects()].map((r) => [e, r]));
  const over = [];
  for (const [i, [one, a]] of boxes.entries()) for (const [other, b] of boxes.slice(i + 1)) {
    if (one === other || one.contains(other) || other.contains(one)) continue;
    const width = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const height = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (width > 1 && height > 1) over.push(`${one.textContent.trim()} / ${other.textContent.trim()}`);
  }
  return over.join('; ');
}"""
"""Two that are pressed and lie over each other."""

PLACED = """(wanted) => {
  const walker = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT), found = [];
  for (let node; (node = walker.nextNode());) {
    const at = node.data.indexOf(wanted);
    if (at < 0 || node.parentElement.closest('.unseen, textarea, option')) continue;
    const lefts = [...wanted].map((_, n) => {
      const letter = document.createRange();
      letter.setStart(node, at + n);
      letter.setEnd(node, at + n + 1);
      const place = letter.getBoundingClientRect();
      return [Math.round(place.top), place.left];
    });
    const follows = ([top, left], n) => !n || top > lefts[n - 1][0] || left >= lefts[n - 1][1];
    found.push(lefts.every(follows) || node.parentElement.outerHTML);
  }
  return found;
}"""
"""Of each place where a text stands: true when its letters follow each other from left to right, else what is there."""


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings], tmp_path: Path) -> Served:
    folder = tmp_path / "languages"
    folder.mkdir()
    write_pseudo_language(folder, but=frozenset({LACKING}))
    return served(
        own_settings(languages=str(folder), service_phone=SERVICE, emergency_phone=EMERGENCY, technician_token=TOKEN)
    )


def rightly(page: Page, seen: dict[str, list[str]]) -> None:
    """The page runs from right to left, and all that holds for one that does not holds for it."""
    assert page.evaluate("getComputedStyle(document.documentElement).direction") == "rtl"
    assert page.locator("html").get_attribute("lang") == TAG
    looked_at(page, seen)
    seen.pop("broken words", None)  # a word in letters of another script is longer than any word of that language
    where = page.locator("h1").inner_text()
    for size in ("", "225%"):  # the sheet's own, and twice that
        page.evaluate("(size) => (document.documentElement.style.fontSize = size)", size)
        for problem, script in (("outside", OUTSIDE), ("overlapping", OVERLAPPING)):
            if found := page.evaluate(script):
                seen.setdefault(f"{problem} {size}", []).append(f"{where}: {found}")
    page.evaluate("document.documentElement.style.fontSize = ''")


def in_order(page: Page, text: str) -> None:
    """A number or code stands on the page, and reads from left to right wherever it does."""
    placed = page.evaluate(PLACED, text)
    assert placed and all(p is True for p in placed), (text, placed, page.url)


@pytest.mark.parametrize("size", [PHONE, NARROW], ids=["phone", "narrow"])
def test_a_caregiver_s_pages(device: Callable[..., BrowserContext], photo_file: Path, size: dict[str, int]) -> None:
    page = device(locale=TAG, viewport=size).new_page()
    seen: dict[str, list[str]] = {}
    page.goto("/")
    expect(page.locator("h1")).to_be_visible()
    rightly(page, seen)
    page.goto(f"/{TAG}/down")
    rightly(page, seen)
    in_order(page, SERVICE)
    in_order(page, EMERGENCY)
    page.goto(f"/{TAG}/")
    with page.expect_navigation():
        page.locator("button[value=no]").click()
    case = page.url.split("/at/")[0]
    rightly(page, seen)
    with page.expect_navigation():
        page.locator("button[value=none]").click()
    rightly(page, seen)
    page.locator("#picture").set_input_files(photo_file)
    expect(page.locator("svg.marked")).to_be_visible()
    rightly(page, seen)
    page.goto(f"{case}/down")
    rightly(page, seen)
    page.goto(f"{case}/code")
    rightly(page, seen)
    letters = page.locator(".letters [aria-hidden]").inner_text()
    in_order(page, letters)
    assert seen == {}


@pytest.mark.parametrize("size", [DESK, NARROW], ids=["desk", "narrow"])
def test_the_staff_s_pages(device: Callable[..., BrowserContext], size: dict[str, int]) -> None:
    page = device(locale=TAG, viewport=size).new_page()
    seen: dict[str, list[str]] = {}
    page.goto(f"/{TAG}/staff/cases")
    page.locator("#name").fill("Tom")
    page.locator("#token").fill(TOKEN)
    page.keyboard.press("Enter")
    page.locator("button[data-key=c]").click()
    for pressed in ("1", "1", "1"):  # nobody is up, no sign of danger, it is dead
        key(page, pressed)
    page.locator("#about-phone").fill(SERVICE)
    page.locator("#about-site").fill("7 / 3 B")
    with page.expect_navigation():  # the field holds the same before and after
        page.locator("form[action$='/about'] button").click()
    expect(page.locator("#about-phone")).to_have_value(SERVICE)
    assert page.locator("#about-phone").evaluate("(field) => getComputedStyle(field).direction") == "ltr"
    rightly(page, seen)
    case = page.url.split("#")[0]
    page.goto(f"{case}/sheet")
    in_order(page, "7 / 3 B")
    page.goto(f"{case}/history")
    in_order(page, SERVICE)
    page.goto(f"/{TAG}/staff/cases")
    rightly(page, seen)
    in_order(page, "7 / 3 B")
    in_order(page, page.locator(".queue th a").first.inner_text())
    assert seen == {}


def test_a_sentence_that_the_file_lacks_is_english_and_says_so(device: Callable[..., BrowserContext]) -> None:
    page = device(locale=TAG).new_page()
    page.goto(f"/{TAG}/down")
    call = page.locator(f"a[href='tel:{SERVICE.replace(' ', '')}'] span[lang=en]").first
    expect(call).to_contain_text("Your service: call")
    assert call.get_attribute("dir") == "ltr"
    assert page.locator("[lang=en]").count() == page.get_by_text("Your service: call").count() + 1  # and our own page
    expect(page.locator("footer .small, .calls").first).to_be_visible()
    assert mirrored("It is getting worse") in page.locator("main").inner_text()

"""Pictures of each page on a telephone and at a desk, to look at: python -m tests.browser.every_page DIR [LANGUAGE]."""

import sys
from pathlib import Path

from playwright.sync_api import Browser, Page

from tests.browser.__main__ import DESK, PHONE, PHOTO, TECHNICIAN, TOKEN, press, serving, sign_in

SIZES = {"phone": PHONE, "desk": DESK}
MOST_ANSWERS = 30


def main() -> None:
    """Walk as each of the three, once on each screen."""
    out, tag = Path(sys.argv[1]), (sys.argv[2:] or ["en"])[0]
    out.mkdir(parents=True, exist_ok=True)
    with serving() as (browser, url):
        for size in SIZES:
            for walk in (_caregiver, _agent, _technician):
                page = _page(browser, url, tag, size)
                for name in walk(page, tag):
                    page.wait_for_timeout(300)
                    page.screenshot(path=out / f"{walk.__name__[1:]}-{name}-{size}.png", full_page=True)


def _page(browser: Browser, url: str, tag: str, size: str) -> Page:
    return browser.new_context(base_url=url, viewport=SIZES[size], locale=tag).new_page()


def _caregiver(page: Page, tag: str):
    """The pages as they come; each is named when it stands there."""
    page.goto(f"/{tag}/")
    yield "1-first"
    page.goto(f"/{tag}/down")
    yield "2-down"
    page.goto(f"/{tag}/")
    page.locator("button[value=no]").click()
    yield "3-danger"
    page.locator("button[value=none]").click()
    yield "4-photo"
    page.locator("#picture").set_input_files(PHOTO)
    page.locator("svg.marked").wait_for()
    case = page.url
    yield "5-result"
    page.locator("button[value=went_on]").click()
    yield "6-trouble"
    page.locator("button[value=dead]").click()
    yield "7-question"
    for _ in range(MOST_ANSWERS):
        if page.locator("button[value=works]").count():
            break
        page.locator("form.answers button.choice").first.click()
    yield "8-step"
    page.goto(f"{case}/down")
    yield "9-down-of-case"
    page.goto(f"{case}/code")
    yield "10-code"


def _agent(page: Page, tag: str):
    page.goto(f"/{tag}/staff/cases")
    yield "1-sign-in"
    sign_in(page, "Ana", TOKEN)
    yield "2-queue"
    page.locator("button[data-key=c]").click()
    yield "3-call"
    for key in ("1", "1", "1", "3"):
        press(page, key)
    yield "4-call-later"
    page.goto(f"/{tag}/staff/monitor")
    yield "5-monitor"


def _technician(page: Page, tag: str):
    page.goto(f"/{tag}/staff/cases")
    sign_in(page, "Tom", TECHNICIAN)
    page.locator("button[data-key=c]").click()
    for key in ("1", "1", "1", "2"):
        press(page, key)
    page.locator("#picked").set_input_files(PHOTO)
    page.locator("form:has(#picked) button").last.click()
    page.locator(".crop img").first.wait_for()
    yield "1-bench"
    page.goto(f"{page.url.split('#')[0]}/sheet")
    yield "2-sheet"
    page.goto(f"/{tag}/staff/survey")
    yield "3-surveys"
    page.locator("#name").fill("Ward 3")
    page.locator("form:has(#name) button").first.click()
    page.locator("#survey").wait_for()
    yield "4-survey"
    page.locator("#number").fill("L-17")
    page.locator("form[data-lift] button.main").click()
    page.locator("#walk:not([hidden])").wait_for()
    yield "5-walk"


if __name__ == "__main__":
    main()

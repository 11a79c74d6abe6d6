"""Takes the screenshots that the README shows: python -m tests.browser [WEIGHTS]. Looks at the installed networks."""

import io
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from api.app import create_app
from api.settings import Settings
from classifier.identify import WEIGHTS_DIR

HERE = Path(__file__).parent
PHOTO = HERE.parent / "standins" / "pictures" / "images" / "000003.jpg"
SURE = HERE.parents[1] / "synthetic_samples" / "samples" / "images" / "000001.jpg"
"""One that confirms a box of the list, so that parts can be ordered."""

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
TOKEN = "only for these screenshots"
PHONE, TABLET, DESK = ({"width": w, "height": h} for w, h in ((360, 740), (768, 1024), (1280, 800)))
TECHNICIAN = "also only for these screenshots"
GAP_PX = 12
GROUND = (120, 124, 128)


def main() -> None:
    """Serve, walk, and write one sheet for each of the three people."""
    with serving(*sys.argv[1:]) as (browser, url):
        shots = [*_caregiver(browser, url, "en", "light"), *_caregiver(browser, url, "es", "dark")]
        _sheet(shots, 5, "caregiver.png")
        _sheet([_agent(browser, url, "en", "light"), _agent(browser, url, "es", "dark")], 2, "agent.png")
        _sheet([_technician(browser, url, theme) for theme in ("light", "dark")], 2, "technician.png")


@contextmanager
def serving(weights: str = str(WEIGHTS_DIR)) -> Iterator[tuple[Browser, str]]:
    """A browser, and the address of a server with a database of its own."""
    folder = Path(tempfile.mkdtemp())
    tokens = {"agent_token": TOKEN, "technician_token": TECHNICIAN}
    app = create_app(Settings(database=f"sqlite:///{folder / 'cases.db'}", weights=weights, **tokens))
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)  # a walk that fails must end
    thread.start()
    while not server.started:
        time.sleep(0.05)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield browser, f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
        browser.close()
    server.should_exit = True
    thread.join(10)
    shutil.rmtree(folder)


def _caregiver(browser: Browser, url: str, tag: str, theme: str) -> list[Image.Image]:
    page = browser.new_context(base_url=url, viewport=PHONE, color_scheme=theme, locale=tag).new_page()
    shots = []
    page.goto(f"/{tag}/")
    shots.append(_shot(page))
    page.goto(f"/{tag}/down")
    shots.append(_shot(page))
    page.goto(f"/{tag}/")
    page.locator("button[value=no]").click()
    page.locator("button[value=none]").click()
    page.locator("#picture").set_input_files(PHOTO)
    page.locator("svg.marked").wait_for()
    page.wait_for_timeout(500)
    case = page.url
    shots.append(_shot(page))
    page.locator("button[value=went_on]").click()
    page.locator("button[value=dead]").click()
    while not page.locator("button[value=works]").count():
        page.locator("form.answers button.choice").first.click()
    shots.append(_shot(page))
    page.goto(f"{case}/code")
    shots.append(_shot(page))
    return shots


def _agent(browser: Browser, url: str, tag: str, theme: str) -> Image.Image:
    page = browser.new_context(base_url=url, viewport=DESK, color_scheme=theme, locale=tag).new_page()
    page.goto("/staff/cases")
    sign_in(page, "Ana", TOKEN)
    page.locator("form[action$='/staff/cases'][method=post] button").click()
    for key in ("1", "1", "1", "3", "0"):
        press(page, key)
    return _shot(page)


def _technician(browser: Browser, url: str, theme: str) -> Image.Image:
    page = browser.new_context(base_url=url, viewport=TABLET, color_scheme=theme).new_page()
    page.goto("/staff/cases")
    sign_in(page, "Tom", TECHNICIAN)
    page.get_by_role("button", name="New case for a caller").click()
    for key in ("1", "1", "1", "0"):
        press(page, key)
    page.locator("#picked").set_input_files(PHOTO if theme == "light" else SURE)
    page.get_by_role("button", name="Read the photos").click()
    page.locator(".crop img").first.wait_for()
    if theme == "light":
        page.locator("#photos").scroll_into_view_if_needed()
        page.evaluate("scrollTo(0, document.querySelector('#photos').offsetTop - 16)")
        page.wait_for_timeout(300)
        return _shot(page)
    for _ in range(2):
        page.get_by_role("button", name="Add ").first.click()
    page.get_by_role("button", name="Confirmed").first.click()
    page.evaluate("scrollTo(0, document.querySelector('#basket').offsetTop - 420)")
    page.wait_for_timeout(300)
    return _shot(page)


def sign_in(page: Page, name: str, token: str) -> None:
    """Fill in the form of a shared token, and wait for the queue."""
    page.locator("#name").fill(name)
    page.locator("#token").fill(token)
    page.keyboard.press("Enter")
    page.locator("[role=search]").wait_for()


def press(page: Page, key: str) -> None:
    """Press a key that answers, and wait for the page after it."""
    page.locator("body[data-case]").wait_for(state="attached")
    page.wait_for_load_state()
    version = page.locator("body").get_attribute("data-version")
    page.keyboard.press(key)
    page.locator(f"body:not([data-version='{version}'])").wait_for()


def _shot(page: Page) -> Image.Image:
    return Image.open(io.BytesIO(page.screenshot())).convert("RGB")


def _sheet(shots: list[Image.Image], columns: int, name: str) -> None:
    width, height = shots[0].size
    rows = -(-len(shots) // columns)
    sheet = Image.new("RGB", (columns * (width + GAP_PX) + GAP_PX, rows * (height + GAP_PX) + GAP_PX), GROUND)
    for n, shot in enumerate(shots):
        place = (GAP_PX + n % columns * (width + GAP_PX), GAP_PX + n // columns * (height + GAP_PX))
        sheet.paste(shot, place)
    (HERE / "screenshots").mkdir(exist_ok=True)
    sheet.quantize(128).save(HERE / "screenshots" / name, optimize=True)


if __name__ == "__main__":
    main()

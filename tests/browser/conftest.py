"""Debian's Chromium against a real server with the toy model."""

import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect, sync_playwright

from api.settings import Settings
from tests.api.conftest import Served, own_settings, quick_hashes, served, toy_resources, toy_settings, without_cases
from tests.support.toy_networks import blob_photo, encoded

__all__ = ["own_settings", "quick_hashes", "served", "toy_resources", "toy_settings", "without_cases"]

AXE = Path(sys.prefix) / "npm" / "node_modules" / "axe-core" / "axe.min.js"
"""`make test` fetches it with npm."""

HERE = Path(__file__).parent
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
PHONE = {"width": 360, "height": 740}
NARROW = {"width": 320, "height": 640}
"""The narrowest screen that WCAG 2.2 speaks of, success criterion 1.4.10 (from memory)."""

BOX = ("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})
HEAD = ("actuator_head", (0.75, 0.5), 0.2, {"black": "left"})


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A browser beside other work can be late: what fails here is tried up to twice more, and the summary counts it."""
    for item in items:
        if item.path.is_relative_to(HERE):
            item.add_marker(pytest.mark.flaky(reruns=2))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    program = shutil.which("chromium")
    assert program, "chromium is missing; install it (Debian: apt-get install chromium)"
    expect.set_options(timeout=15_000)  # as long as for any other step; what comes sooner waits for nothing
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    return served(own_settings())


@pytest.fixture
def device(browser: Browser, site: Served) -> Iterator[Callable[..., BrowserContext]]:
    """A browser with a profile of its own; what its pages complain of fails the test."""
    contexts, complaints = [], []

    def new(**options: object) -> BrowserContext:
        context = browser.new_context(**{"base_url": site.url, "viewport": PHONE, "locale": "en", **options})
        context.set_default_timeout(15_000)
        context.on("weberror", lambda error: complaints.append(str(error.error)))
        contexts.append(context)
        return context

    yield new
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture(scope="session")
def photo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A 12-megapixel photo, as a telephone takes it."""
    path = tmp_path_factory.mktemp("photo") / "IMG_0042.jpg"
    path.write_bytes(encoded(blob_photo(BOX, HEAD, size_wh=(4032, 3024))))
    return path

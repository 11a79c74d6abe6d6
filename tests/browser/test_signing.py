"""Signing in at a real browser: by name, through a provider on another site, and the pages that turn somebody away."""

import re
import socket
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from api.commands.main import main
from api.settings import Settings
from tests.api.conftest import Served
from tests.browser.conftest import PHONE
from tests.browser.test_accessible import looked_at
from tests.support.openid_provider import certified_provider

NARROW = {"width": 320, "height": 640}
DESK = {"width": 1366, "height": 768}
LOOK = {"operator_name": "North Loan Pool", "operator_colour": "#7a1f5c", "operator_colour_dark": "#f0b8dc"}


@pytest.fixture
def site(served: Callable[..., Served], own_settings: Callable[..., Settings]) -> Served:
    return served(own_settings(**LOOK))


@pytest.fixture
def password(site: Served, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    monkeypatch.setenv("HOISTLORE_DATABASE", site.app.state.settings.database)
    main(["users", "add", "ana", "--role", "agent", "--called", "Ana Ruiz"])
    return capsys.readouterr().out.strip()


def typed(page: Page, name: str, password: str) -> None:
    page.locator("#name").fill(name)
    page.locator("#password").fill(password)
    page.keyboard.press("Enter")


@pytest.mark.parametrize(
    ("tag", "theme", "size"),
    [("en", "light", NARROW), ("es", "dark", PHONE), ("en", "dark", DESK), ("es", "light", DESK)],
    ids=["narrow", "phone", "desk in the dark", "desk"],
)
def test_every_page_of_signing_in(
    device: Callable[..., BrowserContext], password: str, tag: str, theme: str, size: dict[str, int]
) -> None:
    page = device(color_scheme=theme, locale=tag, viewport=size).new_page()
    seen: dict[str, list[str]] = {}
    page.goto(f"/{tag}/staff/cases?code=ABC")
    looked_at(page, seen)
    typed(page, "ana", "a guess")
    expect(page.get_by_role("alert")).to_be_visible()
    looked_at(page, seen)
    typed(page, "ana", password)
    expect(page).to_have_url(re.compile(rf"/{tag}/staff/cases\?code=ABC$"))
    for path in ("staff/password", "staff/audit", "staff/nothing", "staff/cases/0123456789abcdef", "nothing"):
        page.goto(f"/{tag}/{path}")
        looked_at(page, seen)
    assert seen == {}


def test_a_password_is_changed_by_keyboard(device: Callable[..., BrowserContext], password: str) -> None:
    page = device(viewport=DESK).new_page()
    page.goto("/en/staff/password")
    typed(page, "ana", password)
    expect(page.locator("#before")).to_be_visible()  # where one was going
    page.locator("#before").fill(password)
    page.locator("#after").fill("four words in a row")
    page.keyboard.press("Enter")
    expect(page.get_by_role("search")).to_be_visible()
    page.get_by_role("button", name="Sign out").click()
    typed(page, "ana", "four words in a row")
    expect(page.get_by_role("search")).to_be_visible()


def test_through_a_provider_on_another_site(
    browser: Browser, served: Callable[..., Served], own_settings: Callable[..., Settings]
) -> None:
    """The session's cookie is strict: a browser that came from another site has to have it with the next page."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    here = f"http://localhost:{port}"  # the provider is at 127.0.0.1, which is another site for a browser
    clients = [
        {"client_id": "hoistlore", "redirect_uris": [f"{here}/openid/back"], "token_endpoint_auth_method": "none"}
    ]
    with certified_provider(clients, {"ana": {"name": "Ana Ruiz", "role": "agent"}}) as provider:
        settings = own_settings(openid_issuer=provider.issuer, openid_client_id="hoistlore", public_address=here)
        served(settings, port)
        context = browser.new_context(base_url=here, viewport=DESK)
        page = context.new_page()
        page.goto("/es/staff/cases?code=ABC")
        seen: dict[str, list[str]] = {}
        looked_at(page, seen)
        page.get_by_role("link", name="Entrar con su organización").click()
        page.locator("[name=login]").fill("ana")
        page.locator("[name=password]").fill("any")
        page.keyboard.press("Enter")
        page.get_by_role("button", name="Continue").click()
        page.wait_for_url(f"{here}/es/staff/cases?code=ABC")
        expect(page.get_by_text("Ana Ruiz")).to_be_visible()
        assert seen == {}
        cookie = next(c for c in context.cookies() if c["name"] == "hoistlore_session")
        assert (cookie["sameSite"], cookie["httpOnly"]) == ("Strict", True)
        context.close()

"""Who may do what, cell by cell over HTTP: every route of the application for everybody, as the table says."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

from api.app import create_app
from api.cases.store import Said, Who
from api.gate.rights import ANYONE, METRICS, RIGHTS, STAFF, without_language
from api.identification import Resources
from api.settings import Settings
from tests.api.conftest import Served

pytestmark = pytest.mark.walk

TOKENS = {role: f"the {role}s' own long token" for role in STAFF}
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
GUESSED = "0123456789abcdef"
HTML = {"accept": "text/html"}
KEPT_FOR_WITHDRAWING = {
    "GET /en/c/{token}/learning": 200,
    "POST /en/c/{token}/learning": 200,
    "POST /en/staff/cases/{case_id}/learning": 303,
}
"""Pictures are withdrawn also when their case is gone; of a guessed one these say that none is kept."""


@dataclass(frozen=True)
class Somebody:
    """Whoever sends requests: a browser with a session and its form key, a program with a token, or neither."""

    role: str
    client: httpx.Client
    form_key: str = ""

    def send(self, method: str, path: str) -> tuple[int, str]:
        """Status and where it leads, without the body: some answers never end."""
        form = {"data": {"form_key": self.form_key, "x": "y"}} if method == "POST" else {}
        if re.search("/(photos|plate)$", path) and form:
            form["files"] = [("photos", ("a.jpg", b"no photo", "image/jpeg"))]
        with self.client.stream(method, path, **form) as answer:
            return answer.status_code, answer.headers.get("location", "")


@pytest.fixture
def site(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    return served(own_settings(**{f"{role}_token": token for role, token in TOKENS.items()}))


def nobody(site: Served, headers: dict[str, str]) -> Somebody:
    return Somebody("anyone", httpx.Client(base_url=site.url, headers=headers, timeout=30, verify=False))


def at_a_browser(site: Served, role: str) -> Somebody:
    browser = nobody(site, HTML).client
    answer = browser.post("/en/staff/sign-in", data={"token": TOKENS[role], "name": role.title()})
    page = browser.get(answer.headers["location"]).text
    return Somebody(role, browser, re.search(r'name="form_key" value="([^"]+)', page)[1])


def with_a_token(site: Served, role: str) -> Somebody:
    return replace(nobody(site, {"authorization": f"Bearer {TOKENS[role]}"}), role=role)


def routes_of(app: FastAPI) -> list[tuple[str, str]]:
    """Method and whole template of every route, in every language."""
    return [(method, route.path) for route in iter_route_contexts(app.routes) for method in sorted(route.methods)]


def cells(site: Served) -> list[tuple[str, str]]:
    """The routes in one language, which has those of every other; whoever signs out does it last."""
    found = [(method, template) for method, template in routes_of(site.app) if not template.startswith("/es/")]
    return sorted(found, key=lambda route: route[1].endswith("/sign-out"))


def row_of(method: str, template: str) -> str:
    return f"{method} {without_language(template, {'en': 0, 'es': 0})}"


def path_of(site: Served, template: str) -> str:
    """An address of a case that is there; what else the template asks for is guessed."""
    case_id, token = site.app.state.cases.start("en", Who("caregiver"), NOBODY_UP)
    known = {
        "case_id": case_id,
        "token": token,
        "number": "0",
        "version": "1",
        "name": "icon.svg",
        "rest:path": "cases",
    }
    path = re.sub(r"\{([^}]+)\}", lambda found: known.get(found[1], GUESSED), template)
    return f"{path}?after=0" if path.endswith("/changes") else path


def wrong(site: Served, who: Somebody) -> dict[str, tuple[int, str]]:
    """Every cell of this person's column that is not as the table says."""
    found = {}
    page = who.client.headers["accept"] == "text/html"
    for method, template in cells(site):
        status, leads = who.send(method, path_of(site, template))
        if who.role in RIGHTS[row_of(method, template)]:
            right = status not in (401, 403, 500) and "/sign-in" not in leads.removesuffix("staff/cases")
        elif who.role in STAFF:
            right = status == 403
        else:
            right = "/staff/sign-in" in leads if page and "/v1/" not in template else status == 401
        if not right and not template.endswith(("/sign-in", "/sign-out")):
            found[f"{method} {template}"] = (status, leads)
    return found


def test_every_route_has_its_row_and_every_row_its_route(toy_settings: Settings, toy_resources: Resources) -> None:
    rows = {row_of(*route) for route in routes_of(create_app(toy_settings, toy_resources))}
    assert rows == set(RIGHTS), "write who has a right to a new route into api/gate/rights.py"
    assert all(set(roles) <= {*ANYONE, METRICS} for roles in RIGHTS.values())


@pytest.mark.parametrize("role", STAFF)
def test_somebody_signed_in_has_the_rights_of_the_table(site: Served, role: str) -> None:
    assert wrong(site, at_a_browser(site, role)) == {}


@pytest.mark.parametrize("role", STAFF)
def test_a_program_has_the_rights_of_its_role(site: Served, role: str) -> None:
    assert wrong(site, with_a_token(site, role)) == {}


@pytest.mark.parametrize("headers", [HTML, {}], ids=["browser", "program"])
def test_nobody_comes_in_without_a_role(site: Served, headers: dict[str, str]) -> None:
    assert wrong(site, nobody(site, headers)) == {}


@pytest.mark.parametrize("role", STAFF)
def test_a_form_of_another_site_is_refused_at_every_route(site: Served, role: str) -> None:
    here = at_a_browser(site, role)
    forms = [t for method, t in cells(site) if method == "POST" and "/staff/" in t and not t.endswith("/sign-in")]
    for key in ("", "guessed"):
        other = replace(here, form_key=key)
        answers = {template: other.send("POST", path_of(site, template))[0] for template in forms}
        assert answers == dict.fromkeys(forms, 403)


def test_a_guessed_id_opens_nothing(site: Served) -> None:
    opened = {}
    for who in (at_a_browser(site, "technician"), with_a_token(site, "administrator")):
        for method, template in cells(site):
            ids = re.findall(r"\{(case_id|token|photo_id)\}", template)
            path = re.sub(r"\{[^}]+\}", GUESSED, re.sub(r"\{(number|version)\}", "0", template))
            if ids and (status := who.send(method, f"{path}?after=0")[0]) not in (403, 404, 422):
                opened[f"{method} {template}"] = status
    assert opened == KEPT_FOR_WITHDRAWING

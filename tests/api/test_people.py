"""Named people: made by a command, signing in with a password, out when disabled, named in what they say."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from urllib.parse import urlencode

import pytest
from argon2 import PasswordHasher
from fastapi.testclient import TestClient
from sqlalchemy import select

from api.app import create_app
from api.cases.audit import audit_page
from api.cases.expiry import delete_expired
from api.cases.store import CaseStore, Said, Who
from api.cases.tables import sessions, sign_in_tries
from api.commands.main import main
from api.http.sessions import COOKIE, SESSION_MS
from api.identification import Resources
from api.people import passwords
from api.people.passwords import Passwords
from api.people.tries import OF_ADDRESS, count_try
from api.people.users import add_user, all_users, change_user, user_named, user_of_subject
from api.settings import Settings
from classifier.errors import InputError

pytestmark = pytest.mark.walk

AGENT_TOKEN = "the agents' own long token"
HTML = {"accept": "text/html"}
OPERATOR = Who("administrator", "command line")
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})


@pytest.fixture
def settings(own_settings: Callable[..., Settings], monkeypatch: pytest.MonkeyPatch) -> Settings:
    settings = own_settings(agent_token=AGENT_TOKEN)
    monkeypatch.setenv("HOISTLORE_DATABASE", settings.database)
    return settings


@pytest.fixture
def desk(settings: Settings, toy_resources: Resources) -> Iterator[TestClient]:
    with TestClient(create_app(settings, toy_resources), headers=HTML) as client:
        yield client


@pytest.fixture
def hoistlore(capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """Run a command, and give what it printed."""

    def run(*words: str, status: int = 0) -> str:
        assert main(words) == status
        told = capsys.readouterr()
        return told.out.strip() if status == 0 else told.err.strip()

    return run


def signed_in(desk: TestClient, name: str, password: str, **more: str):
    return desk.post("/en/staff/sign-in", data={"name": name, "password": password, **more})


def form_key(page: str) -> str:
    return re.search(r'name="form_key" value="([^"]+)', page)[1]


def test_a_person_made_by_a_command_signs_in_and_is_named_in_what_they_say(desk, hoistlore) -> None:
    password = hoistlore("users", "add", "Ana.Ruiz", "--role", "agent", "--called", "Ana Ruiz")
    page = signed_in(desk, "ana.ruiz", password)
    assert page.url.path == "/en/staff/cases" and "Ana Ruiz" in page.text and ", agent" in page.text
    case = desk.post("/en/staff/cases", data={"form_key": form_key(page.text)}).url.path.split("/")[-1]
    said = desk.app.state.cases.by_id(case).events[0]
    assert (said.role, said.actor) == ("agent", "Ana Ruiz")
    lines = [(line.action, line.actor) for line in audit_page(desk.app.state.cases).lines]
    assert lines == [("opened", "Ana Ruiz"), ("sign in", "Ana Ruiz"), ("user added: ana.ruiz", "command line")]


def test_no_password_is_kept_as_it_is(desk, hoistlore, monkeypatch) -> None:
    monkeypatch.setattr(passwords, "PasswordHasher", PasswordHasher)
    password = hoistlore("users", "add", "ana", "--role", "agent")
    kept = user_named(desk.app.state.cases, "ana").password_hash
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$") and password not in kept


def test_before_anybody_has_a_name_a_token_signs_in_and_afterwards_never_again(desk, hoistlore, caplog) -> None:
    page = desk.get("/en/staff/sign-in").text
    assert "Nobody has a user name here yet" in page and 'name="token"' in page
    inside = desk.post("/en/staff/sign-in", data={"name": "Ana", "token": AGENT_TOKEN})
    assert inside.url.path == "/en/staff/cases"
    hoistlore("users", "add", "bo", "--role", "administrator")
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"  # the shared token's session is over
    page = desk.get("/en/staff/sign-in").text
    assert "Nobody has" not in page and 'name="password"' in page
    for secret in ({"token": AGENT_TOKEN}, {"password": AGENT_TOKEN}):
        assert desk.post("/en/staff/sign-in", data={"name": "Ana", **secret}).status_code == 403
    program = {"authorization": f"Bearer {AGENT_TOKEN}"}
    assert desk.get("/v1/cases", headers=program).status_code == 200


def test_the_log_says_at_the_start_what_to_do_about_shared_tokens(settings, toy_resources, caplog, hoistlore) -> None:
    create_app(settings, toy_resources)
    assert "hoistlore users add NAME --role administrator" in caplog.text
    caplog.clear()
    hoistlore("users", "add", "bo", "--role", "administrator")
    create_app(settings, toy_resources)
    assert "users add" not in caplog.text


def test_whoever_is_disabled_is_out_at_the_next_request_and_cannot_come_back(desk, hoistlore) -> None:
    password = hoistlore("users", "add", "ana", "--role", "agent")
    hoistlore("users", "add", "bo", "--role", "agent")
    assert signed_in(desk, "ana", password).url.path == "/en/staff/cases"
    hoistlore("users", "disable", "ana")
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"
    assert signed_in(desk, "ana", password).status_code == 403
    assert "ana  agent  ana  DISABLED" in hoistlore("users", "list")
    hoistlore("users", "enable", "ana")
    assert signed_in(desk, "ana", password).url.path == "/en/staff/cases"


def test_a_new_password_and_a_new_role_end_the_sessions_of_before(desk, hoistlore) -> None:
    before = hoistlore("users", "add", "ana", "--role", "agent")
    signed_in(desk, "ana", before)
    after = hoistlore("users", "reset", "ana")
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"
    assert signed_in(desk, "ana", before).status_code == 403
    assert ", agent" in signed_in(desk, "ana", after).text
    hoistlore("users", "role", "ana", "technician")
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"
    assert ", technician" in signed_in(desk, "ana", after).text


def test_one_s_own_password_is_changed_at_a_page_and_ends_the_other_sessions(desk, hoistlore) -> None:
    password, fresh = hoistlore("users", "add", "ana", "--role", "agent"), "four words in a row"
    signed_in(desk, "ana", password)
    elsewhere = desk.cookies[COOKIE]
    desk.cookies.clear()
    signed_in(desk, "ana", password)
    page = desk.get("/en/staff/password").text
    form = {"form_key": form_key(page), "before": password}
    assert "15 to 200 are wanted" in desk.post("/en/staff/password", data={**form, "after": "too short"}).text
    wrong = desk.post("/en/staff/password", data={**form, "before": "guessed", "after": fresh})
    assert wrong.status_code == 422 and "is another one" in wrong.text
    assert desk.post("/en/staff/password", data={**form, "after": fresh}).url.path == "/en/staff/cases"
    desk.cookies.clear()
    desk.cookies.set(COOKIE, elsewhere)
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"
    assert signed_in(desk, "ana", fresh).url.path == "/en/staff/cases"


def test_a_session_that_somebody_else_planted_is_not_taken_over(desk, hoistlore) -> None:
    password = hoistlore("users", "add", "ana", "--role", "agent")
    signed_in(desk, "ana", password)
    planted = desk.cookies[COOKIE]
    signed_in(desk, "ana", password)
    assert desk.cookies[COOKIE] != planted
    desk.cookies.clear()
    desk.cookies.set(COOKIE, planted)
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"  # it ended when its browser signed in anew
    desk.cookies.clear()
    desk.cookies.set(COOKIE, "chosen-by-somebody-else")
    signed_in(desk, "ana", password)
    desk.cookies.clear()
    desk.cookies.set(COOKIE, "chosen-by-somebody-else")
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"


def test_another_site_signs_nobody_in(desk, hoistlore) -> None:
    password = hoistlore("users", "add", "ana", "--role", "agent")
    for site, status in (("cross-site", 403), ("same-site", 403), ("same-origin", 303), ("none", 303)):
        form = {"name": "ana", "password": password}
        headers = {"sec-fetch-site": site}
        answer = desk.post("/en/staff/sign-in", data=form, headers=headers, follow_redirects=False)
        assert answer.status_code == status


def test_403_and_404_look_like_the_staff_s_pages_in_their_language(desk, hoistlore) -> None:
    password = hoistlore("users", "add", "ana", "--role", "agent", "--called", "Ana Ruiz")
    outside = desk.get("/es/staff/nada")
    assert outside.status_code == 404 and 'class="staff"' in outside.text and "Esta página no está aquí" in outside.text
    assert "Ana Ruiz" not in outside.text
    signed_in(desk, "ana", password)
    for path, status, told in (
        ("/es/staff/audit", 403, "No puede hacer esto"),
        ("/es/staff/nada", 404, "Esta página no está aquí"),
        ("/es/staff/cases/0123456789abcdef", 404, "Esta página no está aquí"),
        ("/es/staff/sign-out", 405, "Esta página no está aquí"),
    ):
        page = desk.get(path)
        assert page.status_code == status and 'class="staff"' in page.text and '<html lang="es"' in page.text
        assert "Ana Ruiz" in page.text and told in page.text
        assert page.headers["content-security-policy"] and page.headers["cache-control"] == "no-store"


@pytest.mark.postgres
def test_people_sign_in_on_postgresql_as_well(own_settings, toy_resources, postgres, monkeypatch, hoistlore) -> None:
    settings = own_settings(database=postgres.case_database())
    monkeypatch.setenv("HOISTLORE_DATABASE", settings.database)
    password = hoistlore("users", "add", "ana", "--role", "agent")
    here, there = (TestClient(create_app(settings, toy_resources), headers=HTML) for _ in range(2))
    assert signed_in(here, "ana", password).url.path == "/en/staff/cases"
    there.cookies.set(COOKIE, here.cookies[COOKIE])
    assert there.get("/en/staff/cases").url.path == "/en/staff/cases"  # another server on this database
    hoistlore("users", "disable", "ana")
    assert {desk.get("/en/staff/cases").url.path for desk in (here, there)} == {"/en/staff/sign-in"}
    for desk in (here, there):
        desk.app.state.cases.engine.dispose()


def test_what_is_over_of_signing_in_is_deleted_with_the_rest(desk, hoistlore) -> None:
    password = hoistlore("users", "add", "ana", "--role", "agent")
    signed_in(desk, "ana", password)
    store = desk.app.state.cases
    count_try(store, "192.0.2.1", "ana")
    for ahead, left in ((0, 1), (SESSION_MS + 1, 0)):
        delete_expired(replace(store, now_ms=lambda ahead=ahead: store.now_ms() + ahead), 180)
        with store.engine.connect() as connection:
            assert len(connection.execute(select(sessions)).all()) == left
            assert len(connection.execute(select(sign_in_tries)).all()) == 3 * left  # two addresses, one name


def test_after_signing_in_again_one_lands_where_one_was(desk, hoistlore) -> None:
    password = hoistlore("users", "add", "ana", "--role", "agent")
    case_id, _ = desk.app.state.cases.start("en", Who("caregiver"), NOBODY_UP)
    here = f"/es/staff/cases/{case_id}"
    page = desk.get(here)
    assert page.url.path == "/es/staff/sign-in" and f'name="next" value="{here}"' in page.text
    assert f'href="/en/staff/sign-in?next={here.replace("/", "%2F")}"' in page.text  # a change of language keeps it
    assert signed_in(desk, "ana", password, next=here).url.path == here
    store = desk.app.state.cases
    desk.app.state.cases = replace(store, now_ms=lambda: store.now_ms() + SESSION_MS + 1)
    assert f'value="{here}"' in desk.post(f"{here}/answers", data={}).text
    found = desk.get("/en/staff/cases?code=ABC")
    assert 'name="next" value="/en/staff/cases?code=ABC"' in found.text


@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://evil.example/",
        "//evil.example/en/staff/cases",
        "/\\evil.example",
        "/en/staff/..//evil.example",
        "/xx/staff/cases",
        "/en/staff/sign-out",
        "/en/staff/cases\r\nSet-Cookie: a=b",
        "javascript:alert(1)",
        "/en/down",
        "/en/staff/" + "a" * 500,
    ],
)
def test_signing_in_leads_nowhere_else(desk, hoistlore, elsewhere: str) -> None:
    password = hoistlore("users", "add", "ana", "--role", "agent")
    form = {"name": "ana", "password": password, "next": elsewhere}
    answer = desk.post("/en/staff/sign-in", data=form, follow_redirects=False)
    assert answer.headers["location"] == "/en/staff/cases"
    page = desk.get("/en/staff/sign-in", params={"next": elsewhere}).text
    assert 'name="next" value=""' in page


@pytest.mark.parametrize(
    "name", ["\x00", "x" * 10_001, "\ud800", "a" * 10_000, "'; DROP TABLE users; --", "\u202eana", "🙂"]
)
def test_what_is_no_name_signs_nobody_in(desk, hoistlore, name: str) -> None:
    hoistlore("users", "add", "ana", "--role", "agent")
    for fields in ({"name": name, "password": "x"}, {"name": "ana", "password": name}):
        form = urlencode(fields, errors="surrogatepass")
        headers = {"content-type": "application/x-www-form-urlencoded"}
        assert desk.post("/en/staff/sign-in", content=form, headers=headers).status_code in (403, 422)
    assert [user.name for user in all_users(desk.app.state.cases)] == ["ana"]


def test_wrong_passwords_are_slowed_down_and_noted_for_a_name_that_there_is(desk, hoistlore) -> None:
    hoistlore("users", "add", "ana", "--role", "agent")
    tried = [signed_in(desk, "ana", f"guess {n}").status_code for n in range(OF_ADDRESS + 1)]
    assert tried == [403] * OF_ADDRESS + [429]
    refused = [line.actor for line in audit_page(desk.app.state.cases).lines if line.action == "sign in refused"]
    assert refused == ["ana"] * OF_ADDRESS


def test_who_has_no_password_and_who_does_not_exist_are_refused_alike(desk, hoistlore) -> None:
    store = desk.app.state.cases
    user_of_subject(store, "https://id.example", "1", "provider", "By Provider", "agent")
    hoistlore("users", "add", "ana", "--role", "agent")
    answers = [signed_in(desk, name, "a guess") for name in ("provider", "whoever", "ana")]
    assert {(answer.status_code, answer.text) for answer in answers} == {(403, answers[0].text)}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("add", "Ana Ruiz", "--role", "agent"), "is no user's name"),
        (("add", "ana", "--role", "chief"), "is no role; agent, technician, administrator are"),
        (("add", "ana", "--role", "agent", "--called", "x" * 81), "at most 80 characters"),
        (("add", "ana", "--role", "agent", "--called", "a\x1b[2J"), "at most 80 characters"),
        (("add", "bo", "--role", "agent"), "bo is a user's name already"),
        (("add", "ana", "--role", "agent", "--called", "Bo"), "bo is a user's name already, or is called so"),
        (("disable", "ana"), "No user has the name 'ana'"),
        (("role", "bo", "chief"), "'chief' is no role"),
    ],
)
def test_a_command_that_cannot_be_done_says_why(settings, hoistlore, words: tuple[str, ...], told: str) -> None:
    hoistlore("users", "add", "bo", "--role", "agent", "--called", "Bo")
    assert told in hoistlore("users", *words, status=2)
    assert hoistlore("users", "list") == "bo  agent  Bo"


def test_a_provider_s_user_never_takes_a_name_over(case_store: CaseStore) -> None:
    add_user(case_store, "ana", "Ana Ruiz", "administrator", Passwords().hashed("four words in a row"), OPERATOR)
    other = user_of_subject(case_store, "https://id.example", "7", "Ana", "Ana Ruiz", "agent")
    assert other.name.startswith("ana-") and other.called.startswith("Ana Ruiz (") and other.role == "agent"
    again = user_of_subject(case_store, "https://id.example", "7", "ana", "Ana Ruiz", "technician")
    assert (again.id, again.name, again.role) == (other.id, other.name, "technician")
    third = user_of_subject(case_store, "https://other.example", "7", "<script>", "\x00", "agent")
    assert third.id != other.id and re.fullmatch(r"script-[0-9a-f]{6}", third.name)
    assert len(all_users(case_store)) == 3
    change_user(case_store, "ana", "user disabled", OPERATOR, disabled_ms=1)
    with pytest.raises(InputError):
        change_user(case_store, "nobody", "user disabled", OPERATOR, disabled_ms=1)

"""Sign-in through an OpenID provider: a certified one that really runs, and one that lies about everything it signs."""

import base64
import hmac
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from urllib.parse import parse_qs, urlsplit

import pytest
from fastapi.testclient import TestClient
from joserfc.jwk import ECKey, OctKey

from api.app import create_app
from api.cases.audit import audit_page
from api.commands.main import main
from api.http.sessions import COOKIE
from api.identification import Resources
from api.people.openid import ALGORITHMS, AWAY_MS, _roles, check_openid
from api.people.users import all_users
from api.settings import Settings
from classifier.errors import SettingsError
from tests.support.openid_provider import Liar, Provider, certified_provider, lying_provider

pytestmark = pytest.mark.walk

SITE = "https://lifts.example.org"
BACK = f"{SITE}/openid/back"
SECRET = "a secret + that: needs % quoting, 40 characters"
CLIENTS = [
    {"client_id": "hoistlore", "client_secret": SECRET, "redirect_uris": [BACK]},
    {
        "client_id": "posting",
        "client_secret": SECRET,
        "redirect_uris": [BACK],
        "token_endpoint_auth_method": "client_secret_post",
    },
    {"client_id": "public", "redirect_uris": [BACK], "token_endpoint_auth_method": "none"},
]
PEOPLE = {
    "ana": {"name": "Ana Ruiz", "preferred_username": "Ana.Ruiz", "role": "agent"},
    "tom": {"name": "Tom", "groups": ["everybody", "agent", "technician"]},
    "guest": {"name": "Guest", "role": "chief"},
}


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    with certified_provider(CLIENTS, PEOPLE) as provider:
        yield provider


@pytest.fixture
def liar() -> Iterator[Liar]:
    with lying_provider() as liar:
        yield liar


@pytest.fixture
def opened(own_settings: Callable[..., Settings], toy_resources: Resources) -> Iterator[Callable[..., TestClient]]:
    """A browser at a server that signs in through a provider."""
    desks = []

    def start(issuer: str, client_id: str = "hoistlore", secret: str = SECRET, **more: str) -> TestClient:
        named = {"openid_issuer": issuer, "openid_client_id": client_id, "openid_client_secret": secret}
        settings = own_settings(public_address=SITE, **named, **more)
        desk = TestClient(create_app(settings, toy_resources), SITE, headers={"accept": "text/html"})
        desks.append(desk)
        return desk

    yield start
    for desk in desks:
        desk.app.state.cases.engine.dispose()


def left(desk: TestClient, next_: str = "") -> str:
    """Where the browser is sent to."""
    answer = desk.get("/en/staff/openid", params={"next": next_}, follow_redirects=False)
    assert answer.status_code == 303
    return answer.headers["location"]


def came_back(desk: TestClient, address: str):
    return desk.get(address.removeprefix(SITE), follow_redirects=False)


def test_somebody_signs_in_through_a_certified_provider_and_lands_where_they_were(opened, provider: Provider) -> None:
    desk = opened(provider.issuer)
    page = desk.get("/es/staff/cases?code=ABC")
    assert page.url.path == "/es/staff/sign-in"
    assert 'href="/es/staff/openid?next=%2Fes%2Fstaff%2Fcases%3Fcode%3DABC"' in page.text
    back = came_back(desk, provider.walk(left(desk, "/es/staff/cases?code=ABC"), "ana"))
    assert back.status_code == 200 and 'content="0; url=/es/staff/cases?code=ABC"' in back.text
    assert "Ana Ruiz" in desk.get("/es/staff/cases").text
    lines = [(line.action, line.actor) for line in audit_page(desk.app.state.cases).lines]
    assert lines == [("sign in", "Ana Ruiz"), ("user added: ana.ruiz", "")]


@pytest.mark.parametrize(("client_id", "secret"), [("posting", SECRET), ("public", "")])
def test_other_ways_to_prove_who_we_are(opened, provider: Provider, client_id: str, secret: str) -> None:
    desk = opened(provider.issuer, client_id, secret)
    assert came_back(desk, provider.walk(left(desk), "ana")).status_code == 200


def test_what_we_ask_for(opened, provider: Provider) -> None:
    asked = parse_qs(urlsplit(left(opened(provider.issuer))).query)
    assert asked["response_type"] == ["code"] and asked["code_challenge_method"] == ["S256"]
    assert asked["redirect_uri"] == [BACK] and "openid" in asked["scope"][0].split()
    assert all(len(asked[name][0]) >= 43 for name in ("state", "nonce", "code_challenge"))


def test_the_provider_itself_refuses_a_code_without_its_verifier(opened, provider: Provider, monkeypatch) -> None:
    desk = opened(provider.issuer)
    back = provider.walk(left(desk), "ana")
    monkeypatch.setattr("api.people.openid._challenge", lambda verifier: "x" * 43)
    other = opened(provider.issuer)
    mistaken = provider.walk(left(other), "ana")
    assert came_back(other, mistaken).status_code == 403  # its PKCE check, not ours, refused the exchange
    assert came_back(desk, back).status_code == 200


def test_a_role_comes_from_the_claim_that_a_setting_names(opened, provider: Provider) -> None:
    desk = opened(provider.issuer, openid_role_claim="groups")
    assert came_back(desk, provider.walk(left(desk), "tom")).status_code == 200
    assert ", technician" in desk.get("/en/staff/cases").text
    refused = came_back(desk, provider.walk(left(desk), "ana"))  # she has no groups
    assert refused.status_code == 403 and "gave you no role here" in refused.text


def test_a_role_that_only_the_second_question_tells(opened) -> None:
    with certified_provider(CLIENTS, PEOPLE, token_in_id=False) as provider:
        desk = opened(provider.issuer)
        assert came_back(desk, provider.walk(left(desk), "ana")).status_code == 200
        assert ", agent" in desk.get("/en/staff/cases").text


def test_whoever_has_no_role_stays_outside(opened, provider: Provider) -> None:
    desk = opened(provider.issuer)
    assert came_back(desk, provider.walk(left(desk), "guest")).status_code == 403
    assert all_users(desk.app.state.cases) == [] and COOKIE not in desk.cookies


def test_whoever_is_disabled_here_stays_outside(opened, provider: Provider, monkeypatch) -> None:
    desk = opened(provider.issuer)
    came_back(desk, provider.walk(left(desk), "ana"))
    monkeypatch.setenv("HOISTLORE_DATABASE", desk.app.state.settings.database)
    assert main(["users", "disable", "ana.ruiz"]) == 0
    assert desk.get("/en/staff/cases").url.path == "/en/staff/sign-in"
    assert came_back(desk, provider.walk(left(desk), "ana")).status_code == 403


def test_an_answer_counts_once_for_the_browser_that_went_and_for_ten_minutes(opened, provider: Provider) -> None:
    desk = opened(provider.issuer)
    back = provider.walk(left(desk), "ana")
    other = TestClient(desk.app, SITE, headers={"accept": "text/html"})
    assert came_back(other, back).status_code == 403  # an address that somebody was lured to
    assert came_back(desk, back).status_code == 200
    assert came_back(desk, back).status_code == 403
    late = provider.walk(left(desk), "ana")
    store = desk.app.state.cases
    desk.app.state.cases = replace(store, now_ms=lambda: store.now_ms() + AWAY_MS + 1)
    assert came_back(desk, late).status_code == 403


@pytest.mark.parametrize("query", ["", "state=guessed&code=x", "error=access_denied", "state=a&state=b&code=%00"])
def test_what_comes_back_without_having_gone_is_refused(opened, provider: Provider, query: str) -> None:
    desk = opened(provider.issuer)
    left(desk)
    refused = came_back(desk, f"/openid/back?{query}")
    assert refused.status_code == 403 and "did not work" in refused.text


def told(liar: Liar, desk: TestClient, caplog: pytest.LogCaptureFixture) -> tuple[int, str]:
    """The status of a sign-in whose nonce the liar knows, and what the log says."""
    asked = parse_qs(urlsplit(left(desk)).query)
    if not liar.nonce:
        liar.nonce = asked["nonce"][0]
    caplog.clear()
    return came_back(desk, f"/openid/back?code=x&state={asked['state'][0]}").status_code, caplog.text


def test_the_liar_is_believed_when_it_says_the_truth(opened, liar: Liar, caplog) -> None:
    assert told(liar, opened(liar.issuer), caplog)[0] == 200


@pytest.mark.parametrize(
    ("claims", "reason"),
    [
        ({"iss": "https://evil.example"}, "iss"),
        ({"aud": "another"}, "aud"),
        ({"aud": ["hoistlore", "another"], "azp": "another"}, "another program"),
        ({"nonce": "another"}, "nonce"),
        ({"nonce": None}, "nonce"),
        ({"exp": 1}, "expired"),
        ({"exp": None}, "exp"),
        ({"iat": 99_999_999_999}, "future"),
        ({"sub": None}, "sub"),
    ],
    ids=lambda value: value if isinstance(value, str) else "+".join(value),
)
def test_a_token_that_is_not_for_this_sign_in_is_refused(opened, liar: Liar, caplog, claims, reason: str) -> None:
    liar.claims = claims
    status, log = told(liar, opened(liar.issuer), caplog)
    assert status == 403 and reason in log


@pytest.mark.parametrize("forged", ["another key", "shared secret", "the public key as a secret", "none", "no token"])
def test_a_token_that_the_provider_did_not_sign_is_refused(opened, liar: Liar, caplog, forged: str) -> None:
    if forged == "another key":
        liar.signs_with = ECKey.generate_key("P-256", {"kid": "one"})
    elif forged == "shared secret":
        liar.signs_with, liar.header = OctKey.import_key(SECRET), {"alg": "HS256"}
    elif forged == "the public key as a secret":
        liar.token_by = lambda claims: signed_by_hand(claims, liar.key.as_pem(private=False))
    else:
        liar.token = "eyJhbGciOiJub25lIn0.eyJzdWIiOiI3In0." if forged == "none" else "no token"
    status, log = told(liar, opened(liar.issuer), caplog)
    assert status == 403 and "does not hold" in log


def signed_by_hand(claims: dict, secret: bytes) -> str:
    """A JWT by HMAC with any bytes as its secret, which a library would refuse to make."""
    parts = ({"alg": "HS256", "kid": "one"}, claims)
    head, body = (base64.urlsafe_b64encode(json.dumps(part).encode()).decode().rstrip("=") for part in parts)
    mac = hmac.digest(secret, f"{head}.{body}".encode(), "sha256")
    return f"{head}.{body}.{base64.urlsafe_b64encode(mac).decode().rstrip('=')}"


def test_only_signatures_by_a_private_key_are_taken() -> None:
    assert not [name for name in ALGORITHMS if name == "none" or name.startswith("HS")]


@pytest.mark.parametrize(
    ("document", "status"),
    [
        ({"issuer": "https://evil.example"}, 503),
        ({"authorization_endpoint": "http://evil.example/authorize"}, 503),
        ({"jwks_uri": "javascript:alert(1)"}, 503),
        ({"token_endpoint": None}, 503),
    ],
    ids=lambda value: "+".join(value) if isinstance(value, dict) else "",
)
def test_a_provider_that_names_unsafe_addresses_is_not_gone_to(opened, liar: Liar, document, status: int) -> None:
    liar.document = document
    answer = opened(liar.issuer).get("/en/staff/openid", follow_redirects=False)
    assert answer.status_code == status and "does not answer" in answer.text


def test_a_provider_that_is_down_is_said_so_and_passwords_go_on(opened, liar: Liar, monkeypatch, capsys) -> None:
    desk = opened(liar.issuer)
    liar.status = 500
    answer = desk.get("/en/staff/openid", follow_redirects=False)
    assert answer.status_code == 503 and "does not answer just now" in answer.text
    monkeypatch.setenv("HOISTLORE_DATABASE", desk.app.state.settings.database)
    main(["users", "add", "bo", "--role", "administrator"])
    password = capsys.readouterr().out.strip()
    assert desk.post("/en/staff/sign-in", data={"name": "bo", "password": password}).url.path == "/en/staff/cases"


def test_with_a_provider_no_token_signs_anybody_in(opened, liar: Liar) -> None:
    desk = opened(liar.issuer, agent_token="the agents' own long token")
    answer = desk.post("/en/staff/sign-in", data={"name": "Ana", "token": "the agents' own long token"})
    assert answer.status_code == 403 and "Token of your role" not in answer.text


@pytest.mark.parametrize(
    ("given", "told_"),
    [
        ({"openid_issuer": "http://id.example"}, "an https address is wanted"),
        ({"openid_issuer": "https://id.example"}, "HOISTLORE_OPENID_CLIENT_ID is wanted"),
        ({"openid_issuer": "https://id.example", "openid_client_id": "x"}, "HOISTLORE_PUBLIC_ADDRESS is wanted"),
    ],
)
def test_settings_that_cannot_work_are_refused_at_the_start(given: dict[str, str], told_: str) -> None:
    with pytest.raises(SettingsError, match=told_):
        check_openid(Settings(**given))


def test_nothing_is_kept_of_the_secrets_of_a_sign_in(opened, provider: Provider, tmp_path) -> None:
    desk = opened(provider.issuer)
    address = left(desk)
    state = parse_qs(urlsplit(address).query)["state"][0]
    kept = b"".join(path.read_bytes() for path in tmp_path.glob("cases.db*"))
    assert state.encode() not in kept and desk.cookies["hoistlore_openid"].encode() not in kept


def test_a_role_may_lie_deeper_in_a_claim() -> None:
    assert _roles({"realm_access": {"roles": ["x", "administrator", "agent"]}}, "realm_access.roles") == [
        "administrator",
        "agent",
    ]
    assert _roles({"role": {"agent": 1}}, "role") == _roles({"role": 7}, "role.deeper") == _roles({}, "role") == []

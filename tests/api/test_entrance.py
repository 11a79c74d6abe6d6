"""What every request passes: bodies that trickle, TLS that stays, and Host headers that lie."""

import socket
import time
from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.store import Said, Who
from api.gate import entrance
from api.identification import Resources
from api.settings import Settings
from tests.api.conftest import Served

TOKEN = "the agents' own long token"
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
HTML = {"accept": "text/html"}
EVIL = "evil.example"


def connected(site: Served) -> socket.socket:
    address = urlsplit(site.url)
    return socket.create_connection((address.hostname, address.port), timeout=20)


def answer_of(connection: socket.socket) -> bytes:
    reply = b""
    while chunk := connection.recv(65536):
        reply += chunk
    return reply


@pytest.mark.parametrize(
    ("path", "media_type"),
    [
        ("/v1/identifications", "multipart/form-data; boundary=x"),
        ("/v1/troubleshooting", "application/json"),
        ("/en/now", "application/x-www-form-urlencoded"),
        ("/en/staff/sign-in", "application/x-www-form-urlencoded"),
    ],
)
def test_a_body_that_trickles_is_ended(
    served: Callable[[Settings], Served], own_settings, monkeypatch, path: str, media_type: str
) -> None:
    monkeypatch.setattr(entrance, "GRACE_S", 0.4)
    with connected(served(own_settings())) as connection:
        head = f"POST {path} HTTP/1.1\r\nHost: x\r\nContent-Length: 2000\r\nContent-Type: {media_type}\r\n\r\n"
        connection.sendall(head.encode() + b"--x\r\n")
        began = time.monotonic()
        reply = answer_of(connection)
    assert reply.startswith(b"HTTP/1.1 408") and b"connection: close" in reply.lower()
    assert time.monotonic() - began < 10


def test_a_slow_body_that_keeps_coming_is_waited_for(served, own_settings, monkeypatch) -> None:
    monkeypatch.setattr(entrance, "GRACE_S", 0.5)
    body = b'{"role": "agent", "person_in_sling": "no"}'.ljust(1000)
    with connected(served(own_settings())) as connection:
        head = "POST /v1/troubleshooting HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Type: application/json\r\n"
        connection.sendall(f"{head}Content-Length: {len(body)}\r\n\r\n".encode())
        for start in range(0, len(body), 100):
            time.sleep(0.1)  # 1000 bytes a second, for longer than the grace alone
            connection.sendall(body[start : start + 100])
        assert answer_of(connection).startswith(b"HTTP/1.1 200")


@pytest.fixture
def desk(own_settings: Callable[..., Settings], toy_resources: Resources) -> Callable[..., TestClient]:
    def at(base_url: str, **more: str) -> TestClient:
        return TestClient(create_app(own_settings(agent_token=TOKEN, **more), toy_resources), base_url, headers=HTML)

    return at


@pytest.mark.parametrize(
    ("base_url", "public", "secure"),
    [
        ("https://testserver", "", True),
        ("http://testserver", "", False),
        ("http://lifts.example.org", "https://lifts.example.org", True),  # the proxy did not say that it had TLS
        ("http://127.0.0.1:8000", "https://lifts.example.org", False),
    ],
)
def test_behind_tls_a_browser_is_told_to_stay_there(desk, base_url: str, public: str, secure: bool) -> None:
    client = desk(base_url, public_address=public)
    for path in ("/en/", "/healthz", "/static/icon.svg", "/en/nothing", "/v1/cases"):
        assert client.get(path).headers.get("strict-transport-security") == ("max-age=31536000" if secure else None)
    answer = client.post("/en/staff/sign-in", data={"name": "Ana", "token": TOKEN}, follow_redirects=False)
    assert ("secure" in answer.headers["set-cookie"].lower()) == secure


def linked(client: TestClient, host: str) -> str:
    """The page after a link was asked for with this Host header."""
    store = client.app.state.cases
    case_id, _ = store.start("en", Who("caregiver"), NOBODY_UP)
    headers = {"authorization": f"Bearer {TOKEN}", "host": host}
    return client.post(f"/en/staff/cases/{case_id}/link", data={"x": "y"}, headers=headers).text


@pytest.mark.parametrize("host", [EVIL, f"{EVIL}:80", f"127.0.0.1@{EVIL}", f"127.0.0.1.{EVIL}", f"{EVIL}#127.0.0.1"])
def test_a_foreign_host_gets_into_no_link(desk, host: str) -> None:
    page = linked(desk("http://testserver"), host)
    assert EVIL not in page and ("was not told its public address" in page or "http://testserver/en/u/" in page)
    public = linked(desk("http://testserver", public_address="https://lifts.example.org/"), host)
    assert "https://lifts.example.org/en/u/" in public and EVIL not in public


@pytest.mark.parametrize("host", ["testserver", "127.0.0.1:8000", "localhost:8000", "[::1]:8000"])
def test_a_host_that_is_this_machine_gets_into_a_link(desk, host: str) -> None:
    assert f"http://{host}/en/u/" in linked(desk("http://testserver"), host)


@pytest.mark.parametrize(
    "path",
    ["/en", "/en/down/", "/docs", "/docs/", "/openapi.json", "/staff/cases", "/en/staff/cases", "/x/", f"//{EVIL}/en"],
)  # fmt: skip
def test_no_answer_leads_to_a_foreign_host(desk, path: str) -> None:
    client = desk("http://testserver")
    answer = client.get("http://testserver" + path, headers={"host": EVIL}, follow_redirects=False)
    told = answer.text + str(answer.headers) if not path.startswith("//") else answer.headers.get("location", "")
    assert EVIL not in told
    assert answer.headers.get("location", "/").startswith("/")


def test_an_address_is_found_with_and_without_its_last_slash(desk) -> None:
    client = desk("http://testserver")
    assert client.get("/en?x=1", follow_redirects=False).headers["location"] == "/en/?x=1"
    assert client.get("/en/down/").url.path == "/en/down"
    assert client.get("/en/staff/cases/").url.path == "/en/staff/sign-in"

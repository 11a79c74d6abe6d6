"""A connection that is lost in the middle of an upload: nothing stored, nothing half answered, the server goes on."""

import re
import socket
import struct
import time
from collections.abc import Callable
from urllib.parse import urlsplit

import httpx
import pytest

from api.cases.links import make_link
from api.cases.photos import photos_of
from api.cases.store import Who
from api.settings import Settings
from tests.api.conftest import Served
from tests.support.toy_networks import blob_photo, encoded

pytestmark = pytest.mark.walk

TOKEN = "the technicians' long token"
PHOTO = encoded(blob_photo(("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})))
OTHER = encoded(blob_photo(("control_box", (0.45, 0.5), 0.3, {"black": "above", "white": "left"})))
HEAD = b'--cut\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n'
END = b"\r\n--cut--\r\n"
HTML = {"accept": "text/html"}
PLACES = ["program", "caregiver", "link", "technician", "plate"]
MULTIPART = {"content-type": "multipart/form-data; boundary=cut"}
LEFT_AT = {
    "before the photo": len(HEAD) // 2,
    "in the photo": len(HEAD) + len(PHOTO) // 2,
    "before the last boundary": len(HEAD) + len(PHOTO),
    "in the last boundary": len(HEAD) + len(PHOTO) + 5,
}


@pytest.fixture
def office(served: Callable[[Settings], Served], own_settings: Callable[..., Settings]) -> Served:
    return served(own_settings(technician_token=TOKEN))


def place_of(office: Served, name: str) -> tuple[str, str, dict[str, str], bytes]:
    """A case's id, and where its photos go: path, headers, and the fields that come before the photo."""
    opened = httpx.post(f"{office.url}/en/now", data={"kind": "person_in_sling", "answer": "no"}, headers=HTML)
    case_id = office.app.state.cases.listed(1)[0]["id"]
    if name == "program":
        return case_id, "/v1/identifications", {}, b""
    if name == "caregiver":
        return case_id, f"{opened.headers['location']}/photos", HTML, b""
    if name == "link":
        token = make_link(office.app.state.cases, case_id, Who("agent"))
        return case_id, f"/en/u/{token}/photos", HTML, b""
    with httpx.Client(base_url=office.url, headers=HTML, follow_redirects=True) as client:
        page = client.post("/en/staff/sign-in", data={"token": TOKEN, "name": "Tom"})
        cookie = "; ".join(f"{key}={value}" for key, value in client.cookies.items())
        page = client.get(f"{page.url.path}/{case_id}")
    fields = {n: re.search(f'name="{n}" value="([^"]+)"', page.text)[1] for n in ("form_key", "version")}
    parts = "".join(f'--cut\r\nContent-Disposition: form-data; name="{n}"\r\n\r\n{v}\r\n' for n, v in fields.items())
    what = {"technician": "photos", "plate": "plate"}[name]
    return case_id, f"{page.url.path}/{what}", {**HTML, "cookie": cookie}, parts.encode()


def state_of(office: Served, case_id: str) -> tuple:
    """All that an upload could leave behind: events, photos, pictures in memory, places taken."""
    state = office.app.state
    events = [event.kind for event in state.cases.by_id(case_id).events]
    return events, [p.id for p in photos_of(state.cases, case_id)], len(state.shelf._held), state.slots.taken


def cut(office: Served, path: str, headers: dict[str, str], body: bytes, left_at: int, hard: bool) -> bytes:
    """Announce all of a body, send its beginning, hang up; what was answered before that."""
    address = urlsplit(office.url)
    lines = {**headers, **MULTIPART, "content-length": str(len(body)), "host": address.netloc}
    head = f"POST {path} HTTP/1.1\r\n" + "".join(f"{key}: {value}\r\n" for key, value in lines.items()) + "\r\n"
    with socket.create_connection((address.hostname, address.port), timeout=10) as connection:
        connection.sendall(head.encode() + body[:left_at])
        time.sleep(0.1)  # so that the server has begun to read
        if hard:  # a reset, as when a telephone loses its network for good
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            return b""
        connection.shutdown(socket.SHUT_WR)
        answered = b""
        while chunk := connection.recv(65536):
            answered += chunk
    return answered


@pytest.mark.parametrize("name", PLACES)
def test_an_upload_that_breaks_off_leaves_nothing_and_the_server_goes_on(
    office: Served, caplog: pytest.LogCaptureFixture, name: str
) -> None:
    case_id, path, headers, fields = place_of(office, name)
    before = state_of(office, case_id)
    body = fields + HEAD + PHOTO + END
    for left in LEFT_AT.values():
        for hard in (True, False):
            assert cut(office, path, headers, body, len(fields) + left, hard) == b""
    time.sleep(0.2)
    assert state_of(office, case_id) == before
    assert [r.getMessage() for r in caplog.records if r.levelname in ("ERROR", "CRITICAL")] == []
    whole = httpx.post(f"{office.url}{path}", content=body, headers={**headers, **MULTIPART})
    assert whole.status_code == {"program": 200, "plate": 422}.get(name, 303), whole.text  # the photo shows no code
    assert len(photos_of(office.app.state.cases, case_id)) == (0 if name in ("program", "plate") else 1)


@pytest.mark.parametrize("name", PLACES)
def test_a_form_that_lost_its_end_on_the_way_is_refused_as_a_whole(office: Served, name: str) -> None:
    """As behind something that forwards what it got, with a length that fits: one photo is whole, the next is not."""
    case_id, path, headers, fields = place_of(office, name)
    before = state_of(office, case_id)
    body = fields + HEAD + OTHER + b"\r\n" + HEAD + PHOTO + END
    for left in LEFT_AT.values():
        kept = body[: len(fields + HEAD + OTHER) + 2 + left]
        refused = httpx.post(f"{office.url}{path}", content=kept, headers={**headers, **MULTIPART})
        assert refused.status_code == 422
        assert "cut off on the way" in refused.text or headers  # a page says it in plain words
        assert state_of(office, case_id) == before

"""What the server refuses: sizes while they stream in, more work than it has places for, too many requests."""

import asyncio
import socket
import threading
import time
from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from functools import partial
from urllib.parse import urlsplit

import httpx
import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from api.app import create_app
from api.cases.database import open_database
from api.http.slots import Full, Slots, TooManyRequests
from api.identification import Resources
from api.servers.rate import OwnRate, Rate, SharedRate
from api.settings import Settings
from tests.api.conftest import Served
from tests.support.postgres_server import Postgres
from tests.support.toy_networks import blob_photo, encoded

PHOTO = encoded(blob_photo(("control_box", (0.3, 0.4), 0.3, {"black": "above"})))
Serve = Callable[[Settings], Served]


def assert_problem(response: httpx.Response, status: int, told: str) -> None:
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    assert told in response.json()["detail"]


def test_200_mb_are_refused_from_the_announcement_alone(served: Serve, toy_settings: Settings) -> None:
    address = urlsplit(served(toy_settings).url)
    with socket.create_connection((address.hostname, address.port), timeout=10) as connection:
        connection.sendall(
            b"POST /v1/identifications HTTP/1.1\r\nHost: x\r\nContent-Length: 200000000\r\n"
            b"Content-Type: multipart/form-data; boundary=x\r\n\r\n"
        )
        reply = b""
        while chunk := connection.recv(65536):  # the server answers, then hangs up, though no byte of the body came
            reply += chunk
    assert reply.startswith(b"HTTP/1.1 413")
    assert b"191 MiB were announced" in reply


def test_200_mb_without_an_announcement_are_cut_short(served: Serve, toy_settings: Settings) -> None:
    sent = 0

    def endless() -> Iterator[bytes]:
        nonlocal sent
        yield b'--x\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n\r\n'
        for _ in range(400):
            sent += 2**19
            yield PHOTO[:2] + bytes(2**19 - 2)

    address = served(replace(toy_settings, max_request_mib=4)).url
    headers = {"content-type": "multipart/form-data; boundary=x"}
    try:
        response = httpx.post(f"{address}/v1/identifications", content=endless(), headers=headers, timeout=30)
        assert_problem(response, 413, "at most 4 MiB")
    except httpx.WriteError:  # the server hung up while we were still sending, which is as early as it gets
        pass
    assert sent < 60 * 2**20


def test_a_photo_over_its_own_limit_is_413(toy_settings: Settings, toy_resources: Resources) -> None:
    small = replace(toy_settings, max_photo_mib=1)
    limited = Resources(toy_resources.model, toy_resources.catalogue, small.photo_limits)
    with TestClient(create_app(small, limited)) as client:
        response = client.post("/v1/identifications", files={"photos": ("big.jpg", PHOTO + bytes(2**20))})
    assert_problem(response, 413, "big.jpg: 1.0 MiB came, at most 1 MiB")


def test_when_every_place_is_taken_others_are_told_to_come_again(
    served: Serve, toy_settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    hold, working = threading.Event(), threading.Semaphore(0)

    def slow(photos: list, resources: Resources) -> tuple[list, list]:
        working.release()
        hold.wait(60)
        return [], []

    monkeypatch.setattr("api.http.routes.read_photos", slow)
    server = served(replace(toy_settings, slots=1, queue=1))
    address = server.url
    statuses: list[int] = []

    def ask() -> None:
        statuses.append(httpx.post(f"{address}/v1/identifications", files={"photos": PHOTO}, timeout=30).status_code)

    threads = [threading.Thread(target=ask) for _ in range(2)]
    try:
        for thread in threads:
            thread.start()
        assert working.acquire(timeout=20)
        deadline = time.monotonic() + 20
        while server.app.state.slots.taken < 2:
            assert time.monotonic() < deadline, "the second request never came to stand in the queue"
            time.sleep(0.01)
        response = httpx.post(f"{address}/v1/identifications", files={"photos": PHOTO}, timeout=30)
        assert_problem(response, 503, "again in 2 seconds")
        assert response.headers["retry-after"] == "2"
        assert httpx.get(f"{address}/healthz", timeout=20).status_code == 200  # the event loop is free all the while
    finally:
        hold.set()
        for thread in threads:
            thread.join(20)
    assert statuses == [200, 200]


def test_more_requests_than_the_rate_are_429(toy_settings: Settings, toy_resources: Resources) -> None:
    with TestClient(create_app(replace(toy_settings, requests_per_minute=3), toy_resources)) as client:
        codes = [client.post("/v1/identifications", files={"photos": PHOTO}).status_code for _ in range(3)]
        response = client.post("/v1/identifications", files={"photos": PHOTO})
        assert codes == [200, 200, 200]
        assert_problem(response, 429, "Wait")
        assert 1 <= int(response.headers["retry-after"]) <= 20
        assert client.get("/healthz").status_code == 200


@pytest.fixture(params=["of one server", "of several"])
def rate(request: pytest.FixtureRequest) -> Callable[[int, Callable[[], int]], Rate]:
    """Makes a limit of so many requests a minute by this clock."""
    if request.param == "of one server":
        return OwnRate
    engine = open_database(request.getfixturevalue("postgres").new_database())
    return partial(SharedRate, engine, "of a test")


def test_a_bucket_refills_evenly_and_each_address_has_its_own(rate: Callable[..., Rate]) -> None:
    now = 10**9
    limit = rate(60, lambda: now)
    for _ in range(60):
        limit.take("a")
    with pytest.raises(TooManyRequests) as caught:
        limit.take("a")
    assert caught.value.retry_after_s == 1
    limit.take("b")
    now += 1000
    limit.take("a")
    with pytest.raises(TooManyRequests):
        limit.take("a")
    now += 3_600_000
    for _ in range(60):
        limit.take("a")
    with pytest.raises(TooManyRequests):
        limit.take("a")


def test_of_servers_that_ask_at_once_no_more_come_through_than_may(postgres: Postgres) -> None:
    url, passed = postgres.new_database(), []
    limits = [SharedRate(open_database(url), "of a test", 20, lambda: 10**9) for _ in range(2)]

    def ask(number: int) -> None:
        with suppress(TooManyRequests):
            limits[number % 2].take("a")
            passed.append(number)

    with ThreadPoolExecutor(8) as threads:
        list(threads.map(ask, range(40)))
    assert len(passed) == 20


@given(st.lists(st.floats(0, 5), max_size=200), st.integers(1, 30))
def test_no_window_of_a_minute_lets_more_than_twice_the_rate_through(gaps_s: list[float], per_minute: int) -> None:
    now = 0
    limit, passed = OwnRate(per_minute, lambda: now), []
    for gap in gaps_s:
        now += round(gap * 1000)
        with suppress(TooManyRequests):
            limit.take("a")
            passed.append(now)
    for start in passed:
        assert sum(start <= t < start + 60_000 for t in passed) <= 2 * per_minute


def in_a_loop_of_its_own(story: Callable[[], Awaitable[None]]) -> None:
    """Run it in a thread of its own: a browser that another file left open may hold this thread's loop."""

    async def whole() -> None:
        await story()

    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, whole()).result(30)


def test_a_caller_who_goes_away_gives_no_place_back_before_the_work_is_done() -> None:
    async def story() -> None:
        slots, hold = Slots(1, 0), threading.Event()
        first = asyncio.create_task(slots.run(hold.wait, 10))
        await asyncio.sleep(0.05)
        first.cancel()
        await asyncio.sleep(0.05)
        with pytest.raises(Full):
            await slots.run(lambda: 1)
        hold.set()
        while True:
            await asyncio.sleep(0.01)
            try:
                assert await slots.run(lambda: 7) == 7
                break
            except Full:
                continue
        slots.close()

    in_a_loop_of_its_own(lambda: asyncio.wait_for(story(), 10))


def test_what_the_work_raises_reaches_the_caller_and_frees_the_place() -> None:
    async def story() -> None:
        slots = Slots(1, 0)
        for _ in range(3):
            with pytest.raises(ZeroDivisionError):
                await slots.run(lambda: 1 / 0)
            await asyncio.sleep(0)
        slots.close()

    in_a_loop_of_its_own(story)

"""Several servers on one PostgreSQL behind a proxy, while agents watch, callers send photos, and servers are killed.

Run: `python -m tests.bench.several_servers --agents 200 --uploads 50 --minutes 10 --seed 1 [--nginx FILE]`. Needs
PostgreSQL's server and nginx. Each agent has the page of a case open, as a browser does: its stream of changes is
opened again when it breaks off, and the page is fetched anew when it says so. Callers send a photo each, and send it
again until it is acknowledged, as their page does; every agent writes a note now and then. Every `--kill-s` seconds one
server, drawn by the seed, is ended with SIGKILL and started again; never while another one is still starting. At the
end everything that was acknowledged has to be in the database. Networks are the tests' tiny ones: it measures the
service and not the reading of photos.
"""

import argparse
import asyncio
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import numpy as np

from api.cases.photos import photos_of
from api.cases.store import CaseStore, Said, Who
from api.settings import MOST_PHOTOS
from tests.support.postgres_server import running_postgres
from tests.support.toy_networks import blob_photo, encoded, write_model

TOKEN = "a token for nothing but this measurement"
NOBODY_UP = Said("person_in_sling", {"id": "person_in_sling", "answer": "no"}, {})
PROXY = """
{user}daemon off; worker_processes 1; pid {folder}/nginx.pid; error_log {folder}/nginx.log error;
events {{ worker_connections 4096; }}
http {{
  access_log off; client_max_body_size 80m;
  client_body_temp_path {folder}/body; proxy_temp_path {folder}/proxy; fastcgi_temp_path {folder}/f;
  uwsgi_temp_path {folder}/u; scgi_temp_path {folder}/s;
  upstream hoistlore {{ {upstreams} }}
  server {{
    listen 127.0.0.1:{port};
    location / {{
      proxy_pass http://hoistlore; proxy_http_version 1.1; proxy_set_header Connection "";
      proxy_set_header Host $http_host; proxy_set_header X-Forwarded-For $remote_addr;
      proxy_set_header X-Forwarded-Proto $scheme; proxy_buffering off; proxy_connect_timeout 1s;
    }}
  }}
}}
"""


@dataclass
class Server:
    """One `hoistlore serve`."""

    port: int
    environment: dict[str, str]
    log: Path
    process: subprocess.Popen | None = None

    def start(self) -> None:
        """Start it, as a supervisor does."""
        command = [sys.executable, "-m", "api.commands.main", "serve", "--port", str(self.port)]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(command, env=self.environment, stderr=log)

    async def ready(self) -> bool:
        """Whether it answers."""
        try:
            async with httpx.AsyncClient() as client:
                return (await client.get(f"http://127.0.0.1:{self.port}/readyz", timeout=5)).status_code == 200
        except httpx.HTTPError:
            return False

    def end(self) -> None:
        """End it as if the power went."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()


@dataclass
class Case:
    """One case with its caregiver's address; what its agent has seen of it, and what was acknowledged since."""

    id: str
    token: str
    seen_version: int = 1
    waiting: list[tuple[int, float]] = field(default_factory=list)  # version, and when it was acknowledged
    acknowledged: list[str] = field(default_factory=list)  # notes, and photos' names


@dataclass
class Measured:
    """Seconds, and what went wrong on the way."""

    updates: list[float] = field(default_factory=list)
    pages: list[float] = field(default_factory=list)
    starts: list[float] = field(default_factory=list)
    troubles: Counter[str] = field(default_factory=Counter)
    kills: int = 0


class Load:
    """Agents and callers on one address."""

    def __init__(self, address: str, store: CaseStore, rng: random.Random) -> None:
        self.address, self.store, self.rng, self.measured = address, store, rng, Measured()
        self.ends = False

    async def agent(self, case: Case, number: int, answers_every_s: float) -> None:
        """Sign in, keep the case's page open, and write a note now and then."""
        async with self._client(number) as client:
            await asyncio.sleep(self.rng.uniform(0, 10))
            await self._until_there(
                client, "POST", "/en/staff/sign-in", data={"token": TOKEN, "name": f"agent {number}"}
            )
            watching = asyncio.create_task(self._watch(client, case))
            notes = 0
            while not self.ends:
                await asyncio.sleep(self.rng.uniform(0.5, 1.5) * answers_every_s)
                page = await self._page(client, case)
                key, notes = re.search(r'form_key" value="([^"]+)', page)[1], notes + 1
                form = {"form_key": key, "version": str(_version(page)), "kind": "note", "id": ""}
                form["answer"] = f"note {notes}"
                await self._until_there(client, "POST", f"/en/staff/cases/{case.id}/answers", data=form)
                case.acknowledged.append(form["answer"])
            await self._all_seen(case)
            watching.cancel()

    async def _watch(self, client: httpx.AsyncClient, case: Case) -> None:
        """The page as a browser keeps it up to date."""
        await self._page(client, case)
        retry_s = 3.0
        while True:
            try:
                address = f"/en/staff/cases/{case.id}/changes?after={case.seen_version}"
                async with client.stream("GET", address, timeout=httpx.Timeout(30, read=None)) as stream:
                    stream.raise_for_status()
                    told = ""
                    async for line in stream.aiter_lines():
                        if line.startswith("retry:"):
                            retry_s = int(line.split(":")[1]) / 1000
                        if line.startswith("data:") and told == "event: changed":
                            break
                        told = line
            except httpx.HTTPError as error:
                self.measured.troubles[f"stream: {type(error).__name__}"] += 1
                await asyncio.sleep(retry_s)
                continue
            await self._page(client, case)

    async def caller(self, case: Case, number: int) -> None:
        """Send one photo until it is acknowledged."""
        picture = blob_photo(("control_box", (0.3, 0.4), 0.3, {"black": "above"}))
        photo = encoded(picture, comment=str(number).encode())  # so that no two are the same file
        async with self._client(number) as client:
            files = {"photos": (f"{number}.jpg", photo, "image/jpeg")}
            await self._until_there(client, "POST", f"/en/c/{case.token}/photos", files=files)
        acknowledged, version = time.monotonic(), await asyncio.to_thread(self.store.version, case.id)
        case.acknowledged.append(f"photo {number}")
        case.waiting.append((version, acknowledged))
        self._up_to(case, case.seen_version)

    async def _page(self, client: httpx.AsyncClient, case: Case) -> str:
        page = (await self._until_there(client, "GET", f"/en/staff/cases/{case.id}")).text
        self._up_to(case, _version(page))
        return page

    def _up_to(self, case: Case, version: int) -> None:
        """The agent's page shows this version now."""
        now, case.seen_version = time.monotonic(), max(case.seen_version, version)
        self.measured.updates += [now - at for waited, at in case.waiting if waited <= case.seen_version]
        case.waiting = [(waited, at) for waited, at in case.waiting if waited > case.seen_version]

    async def _all_seen(self, case: Case) -> None:
        deadline = time.monotonic() + 60
        while case.waiting and time.monotonic() < deadline:
            await asyncio.sleep(0.1)

    async def _until_there(self, client: httpx.AsyncClient, method: str, path: str, **body) -> httpx.Response:
        """The answer, asked for until there is one; a page took as long as the time that it came."""
        while True:
            began = time.monotonic()
            try:
                answer = await client.request(method, path, **body)
                if answer.status_code < 400:
                    self.measured.pages.append(time.monotonic() - began)
                    return answer
                self.measured.troubles[f"{method}: {answer.status_code}"] += 1
            except httpx.HTTPError as error:
                self.measured.troubles[f"{method}: {type(error).__name__}"] += 1
            await asyncio.sleep(0.5)

    def _client(self, number: int) -> httpx.AsyncClient:
        """One of an address of its own, since sign-ins from one address are counted."""
        transport = httpx.AsyncHTTPTransport(local_address=f"127.1.{number // 250 % 250}.{1 + number % 250}")
        return httpx.AsyncClient(
            base_url=self.address, timeout=30, headers={"accept": "text/html"}, transport=transport
        )


def _version(page: str) -> int:
    return int(re.search(r'data-version="(\d+)', page)[1])


async def killing(servers: list[Server], every_s: float, rng: random.Random, measured: Measured) -> None:
    """End one server after the other, and start it again."""
    while True:
        await asyncio.sleep(every_s)
        while not all([await server.ready() for server in servers]):
            await asyncio.sleep(0.5)
        victim = rng.choice(servers)
        victim.end()
        measured.kills += 1
        victim.start()
        began = time.monotonic()
        while not await victim.ready():
            await asyncio.sleep(0.2)
        measured.starts.append(time.monotonic() - began)


async def loaded(load: Load, servers: list[Server], asked: argparse.Namespace) -> list[Case]:
    """The whole story; the cases as they were acknowledged."""
    who = Who("caregiver")
    cases = [Case(*load.store.start("en", who, NOBODY_UP)) for _ in range(asked.agents)]
    while not all([await server.ready() for server in servers]):
        await asyncio.sleep(0.5)
    agents = [load.agent(case, n, asked.answers_s) for n, case in enumerate(cases)]
    working = [asyncio.create_task(agent) for agent in agents]
    await asyncio.sleep(15)
    killer = asyncio.create_task(killing(servers, asked.kill_s, load.rng, load.measured))
    sent = min(int(asked.uploads * asked.minutes), len(cases) * MOST_PHOTOS)
    callers = []
    for number in range(sent):
        callers.append(asyncio.create_task(load.caller(cases[number % len(cases)], number)))
        await asyncio.sleep(60 / asked.uploads)
    killer.cancel()
    await asyncio.gather(*callers)
    load.ends = True
    await asyncio.gather(*working)
    return cases


def lost(cases: list[Case], store: CaseStore) -> list[str]:
    """What was acknowledged and is not in the database."""
    missing = []
    for case in cases:
        notes = {event.said.get("answer") for event in store.by_id(case.id).events}
        photos = [what for what in case.acknowledged if what.startswith("photo")]
        missing += [what for what in case.acknowledged if what not in photos and what not in notes]
        if len(photos_of(store, case.id)) < len(photos):
            missing.append(f"{case.id}: a photo")
    return missing


def main() -> None:
    """Print what was measured."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--servers", type=int, default=2)
    parser.add_argument("--agents", type=int, default=200)
    parser.add_argument("--answers-s", type=float, default=60, help="seconds between two notes of an agent")
    parser.add_argument("--uploads", type=float, default=50, help="photos a minute")
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--kill-s", type=float, default=30)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--nginx", default=shutil.which("nginx") or "nginx")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, running_postgres() as postgres:
        url, store, servers, proxy = postgres.new_database(), None, [], None
        try:
            store = CaseStore.open(url)
            settings = {"DATABASE": url, "AGENT_TOKEN": TOKEN, "WEIGHTS": str(write_model(Path(folder) / "model"))}
            settings |= {"REQUESTS_PER_MINUTE": "0", "REQUESTS_PER_MINUTE_PER_CASE": "0"}
            environment = {**os.environ, **{f"HOISTLORE_{name}": value for name, value in settings.items()}}
            first = 8100 + random.Random(asked.seed).randrange(800)
            servers = [Server(first + 1 + n, environment, Path(folder) / f"{n}.log") for n in range(asked.servers)]
            for server in servers:
                server.start()
            upstreams = " ".join(f"server 127.0.0.1:{s.port} max_fails=1 fail_timeout=2s;" for s in servers)
            user = "" if os.geteuid() else "user root; "  # else a worker of nobody cannot enter the folder
            config = Path(folder) / "nginx.conf"
            config.write_text(PROXY.format(folder=folder, port=first, upstreams=upstreams, user=user))
            proxy = subprocess.Popen([asked.nginx, "-c", str(config)], stderr=subprocess.DEVNULL)
            load = Load(f"http://127.0.0.1:{first}", store, random.Random(asked.seed))
            cases = asyncio.run(loaded(load, servers, asked))
            told(load.measured, cases, lost(cases, store), servers)
        finally:
            for server in servers:
                server.end()
            if proxy is not None:
                proxy.terminate()
                proxy.wait()
            if store is not None:
                store.engine.dispose()


def told(measured: Measured, cases: list[Case], missing: list[str], servers: list[Server]) -> None:
    """Print the figures."""
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for name, seconds in (("updates", measured.updates), ("pages", measured.pages), ("starts", measured.starts)):
        if seconds:
            p50, p99 = np.percentile(seconds, [50, 99])
            print(f"{name:<8} n {len(seconds):>6}  median {p50:6.2f}  p99 {p99:6.2f}  worst {max(seconds):6.2f} s")
    unseen, acknowledged = sum(len(case.waiting) for case in cases), sum(len(case.acknowledged) for case in cases)
    print(f"{len(servers)} servers, {measured.kills} killed; {acknowledged} acknowledged, lost: {missing or 'none'}")
    print(f"never seen: {unseen}; asked for again: {dict(measured.troubles)}")
    faults = sum(server.log.read_text().count("Traceback") for server in servers)
    print(f"faults in the servers' logs: {faults}")


if __name__ == "__main__":
    main()

"""How long the staff's pages take with very many cases in the database.

Run: `python -m tests.bench.many_cases --cases 100000 --seed 1 [--database URL] [--pages] [--unjudged]`. The cases are
drawn: who calls, where from, which lift, what is wrong, and how far it went; most are closed. Then the queue's
questions to the database are timed one after the other; with `--pages` also how long the application takes to start,
and an agent's requests to it. `--unjudged`: no closed case is judged and labelled yet, as after an upgrade. Processor
time of this process stands beside the time on the clock, which says more where others work on the same machine.
"""

import argparse
import platform
import random
import re
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import numpy as np
from fastapi.testclient import TestClient

from api.app import create_app
from api.cases.queue import Wanted, queue_page
from api.cases.store import CaseStore
from api.identification import Resources
from api.settings import Settings
from tests.bench.drawn_cases import MINUTE_MS, filled
from tests.support.toy_networks import write_model

TOKEN = "a token for nothing but this measurement"


def main() -> None:
    """Print processor, versions and percentiles of each kind of request."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--runs", type=int, default=15)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--pages", action="store_true")
    parser.add_argument("--unjudged", action="store_true")
    parser.add_argument("--database", default="", help="an empty PostgreSQL database; left out: SQLite in a folder")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = arguments.database or f"sqlite:///{folder}/cases.db"
        rng = random.Random(arguments.seed)
        store = CaseStore.open(url)
        started = time.perf_counter()
        filled(store, arguments.cases, rng, judged=not arguments.unjudged)
        print(f"filled in {time.perf_counter() - started:.0f} s")
        print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}, {url.split(':')[0]}")
        print(f"{arguments.cases} cases", flush=True)
        for name, wanted in asked_of_the_queue(rng).items():
            _row(
                f"queue: {name}",
                [_taken(lambda wanted=wanted: queue_page(store, *wanted())) for _ in range(arguments.runs)],
            )
        if not arguments.pages:
            return
        model = write_model(Path(folder) / "model")
        limits = {"requests_per_minute": 0, "requests_per_minute_per_case": 0}
        settings = Settings(weights=str(model), database=url, agent_token=TOKEN, **limits)
        resources = Resources.load(settings)
        _row("start, catalogue and networks apart", [_taken(lambda: create_app(settings, resources)) for _ in range(3)])
        app = create_app(settings, resources)
        with TestClient(app) as client:
            timed(client, arguments.runs, rng)


def asked_of_the_queue(rng: random.Random) -> dict[str, Callable[[], tuple]]:
    """What is asked of the queue, each time with another number where there is one."""
    return {
        "first page": lambda: (Wanted(),),
        "a later page": lambda: (Wanted(), (3, _ago(rng), f"{rng.randrange(1000):016x}")),
        "with a technician (none)": lambda: (Wanted(status="with a technician"),),
        "one's own": lambda: (Wanted(whose="Ana"),),
        "closed, a week ago": lambda: (Wanted(status="closed", days=7),),
        "an inventory number": lambda: (Wanted(text=f"L-{rng.randrange(10**5):05d}"),),
        "the end of a number": lambda: (Wanted(text=f"{rng.randrange(10**4):04d}"),),
        "a common word": lambda: (Wanted(text="house"),),
        "two common words": lambda: (Wanted(text="north ana"),),
        "a common word that nobody has": lambda: (Wanted(text="ward", whose="Zoe"),),
        "a word that is nowhere": lambda: (Wanted(text="xyzzy"),),
    }


Taken = tuple[float, float]
"""Seconds by the clock, and of this process's processor time."""


def _taken(ask: Callable[[], object]) -> Taken:
    started, worked = time.perf_counter(), time.process_time()
    ask()
    return time.perf_counter() - started, time.process_time() - worked


def timed(client: TestClient, runs: int, rng: random.Random) -> None:
    """Time each kind of request `runs` times."""
    client.headers["accept"] = "text/html"
    page = client.post("/en/staff/sign-in", data={"token": TOKEN, "name": "Ana"})
    key = re.search(r'form_key" value="([^"]+)', page.text)[1]
    queue = "/en/staff/cases"
    kinds: dict[str, Callable[[], object]] = {
        "queue, first page": lambda: client.get(queue),
        "queue, later pages": _later(client, queue, rng),
        "queue, open": lambda: client.get(queue, params={"status": "open"}),
        "queue, mine": lambda: client.get(queue, params={"whose": "mine"}),
        "queue, closed a week ago": lambda: client.get(queue, params={"status": "closed", "days": "7"}),
        "search, asset": lambda: client.get(queue, params={"q": f"L-{rng.randrange(10**5):05d}"}),
        "search, end of a number": lambda: client.get(queue, params={"q": f"{rng.randrange(10**4):04d}"}),
        "search, common word": lambda: client.get(queue, params={"q": "house"}),
        "search, two common words": lambda: client.get(queue, params={"q": "north ana"}),
        "search, a common word and another's name": lambda: client.get(queue, params={"q": "ward", "whose": "nobody"}),
        "search, nothing fits": lambda: client.get(queue, params={"q": "xyzzy"}),
    }
    for name, ask in kinds.items():
        _row(name, [_taken(lambda ask=ask: ask().raise_for_status()) for _ in range(runs)])
    for name, taken in _call(client, key, runs).items():
        _row(name, taken)


def _later(client: TestClient, queue: str, rng: random.Random) -> Callable[[], object]:
    return lambda: client.get(queue, params={"after": f"3-{_ago(rng)}-{rng.randrange(1000):016x}"})


def _ago(rng: random.Random) -> int:
    return time.time_ns() // 1_000_000 - rng.randrange(150 * 24 * 60) * MINUTE_MS


def _call(client: TestClient, key: str, runs: int) -> dict[str, list[Taken]]:
    """Whole calls: what it takes to open a case, to see the page after each answer, and to close it."""
    taken: dict[str, list[Taken]] = {"open a case": [], "an answer and the page after it": [], "close": []}

    def told(what: str, path: str, form: dict[str, str]) -> httpx.Response:
        pages: list[httpx.Response] = []
        taken[what].append(_taken(lambda: pages.append(client.post(path, data={"form_key": key, **form}))))
        return pages[0].raise_for_status()

    for _ in range(max(1, runs // 5)):
        page = told("open a case", "/en/staff/cases", {})
        here = page.url.path
        for form in _answers(page.text):
            form = {**form, "version": _version(page.text)}
            page = told("an answer and the page after it", f"{here}/answers", form)
        closing = {"kind": "closed", "id": "in_service", "answer": "pack_worn", "proof": "mended"}
        told("close", f"{here}/answers", {"version": _version(page.text), **closing})
    return taken


def _answers(_page: str) -> Iterator[dict[str, str]]:
    yield {"kind": "person_in_sling", "id": "person_in_sling", "answer": "no"}
    yield {"kind": "danger_signs", "id": "danger_signs", "answer": "none"}
    yield {"kind": "symptom", "id": "symptom", "answer": "dead"}
    for id_, answer in (("where_is_stop", "top"), ("how_battery_sits", "hung_pack"), ("buttons_on_box", "front")):
        yield {"kind": "observation", "id": id_, "answer": answer}


def _version(page: str) -> str:
    return re.search(r'name="version" value="(\d+)', page)[1]


def _row(name: str, taken: list[Taken]) -> None:
    by_clock, by_processor = np.array(taken).T * 1000
    p50, p95 = np.percentile(by_clock, [50, 95])
    print(
        f"{name:<42} n {len(taken):>3}  median {p50:7.1f}  p95 {p95:7.1f}  worst {by_clock.max():7.1f} ms"
        f"  (processor: median {np.median(by_processor):7.1f} ms)",
        flush=True,
    )


if __name__ == "__main__":
    main()

"""From the first page to a confirmed box with the guiding camera, lift by lift: a real server, a clip for a camera.

Run: `python -m tests.bench.guided_camera DIR`, with lifts that `tests.bench.guided_lifts` drew. A clip shows one front
corner, blurs while somebody walks round, shows the other one, and goes on so, held by a hand that is never quite still.
Where the camera ends with a question about the box, it is answered as the box is.
Camera seconds are from pressing the button until the server has said that the box is confirmed, and end after 30.
"""

import argparse
import json
import os
import platform
import shutil
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import uvicorn
from PIL import Image, ImageFilter, ImageOps
from playwright.sync_api import Page, sync_playwright

from api.app import create_app
from api.settings import Settings
from classifier.taxonomy import CONTROL_BOX_CONCEPTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, Catalogue, load
from guidance.catalogue.rows import Generation
from guidance.monitor.shares import Share
from tests.support.clips import flags_for, write_clip

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
CLIP_WH = (720, 960)
SIDE_S, HELD_S, WALK_S = 4.0, 0.5, 1.0
SHAKE = 0.015
"""Of the picture, by which a hand moves it."""

LONGEST_S = 30

HEAR = """{
  const asked = window.fetch;
  window.fetch = async (address, ...more) => {
    const answer = await asked(address, ...more);
    const kind = String(address).split('/').pop();
    if (answer.ok && ['look', 'photos'].includes(kind)) await window.heard(kind, await answer.clone().json());
    return answer;
  };
}"""
"""Tells what the server answered before the page acts on it: after that the page may be another one."""


@dataclass(frozen=True)
class Walk:
    """One lift: whether the box was confirmed and rightly so, in how many camera seconds, by how many taps.

    `said`: how often each hint was given.
    """

    confirmed: bool
    right: bool
    camera_s: float
    taps: int
    photos: int
    hints: int
    hinting_s: float
    said: dict[str, int]


def main() -> None:
    """Walk with every lift, and print the shares with their intervals."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("lifts", type=Path)
    arguments = parser.parse_args()
    rows = [json.loads(line) for line in (arguments.lifts / "lifts.jsonl").read_text("utf-8").splitlines()]
    catalogue = load(DEMO_CATALOGUE)
    with tempfile.TemporaryDirectory() as folder:
        url = _serve(Path(folder))
        walks = []
        for row in rows:
            clip = _clip(Path(folder) / "lift.mjpeg", [arguments.lifts / file for file in row["files"]])
            walks.append(_walk(url, clip, catalogue, row["generation"]))
            print(row["lift"], row["generation"], walks[-1], flush=True)
    _report(walks)


def _report(walks: list[Walk]) -> None:
    found = [walk for walk in walks if walk.confirmed and walk.right]
    share = Share(len(found), len(walks))
    low, high = share.interval
    print(f"{platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    print(f"confirmed, rightly: {len(found)} of {len(walks)}, 95 % interval {low:.2f} to {high:.2f}")
    print(f"confirmed, wrongly: {sum(walk.confirmed and not walk.right for walk in walks)}")
    if found:
        print(f"camera until then: median {np.median([walk.camera_s for walk in found]):.1f} s")
    lost = [walk for walk in walks if walk not in found]
    by_photos = sorted(Counter(walk.photos for walk in lost).items())
    print("not confirmed:", ", ".join(f"{n} with {photos} photos" for photos, n in by_photos) or "none")
    print("hints there:", dict(sum((Counter(walk.said) for walk in lost), Counter()).most_common()))
    print(f"taps: most {max(walk.taps for walk in walks)}; photos: most {max(walk.photos for walk in walks)}")
    rates = [walk.hints / walk.hinting_s for walk in walks if walk.hinting_s]
    print(f"hints a second between photos: median {np.median(rates):.1f}, least {min(rates):.1f}")


def _serve(folder: Path) -> str:
    app = create_app(Settings(database=f"sqlite:///{folder / 'cases.db'}"))
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="warning"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    return f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"


def _clip(path: Path, sides: list[Path]) -> Path:
    return write_clip(path, (part for side in sides for part in _held(Image.open(side))))


def _held(picture: Image.Image) -> Iterator[tuple[Image.Image, float]]:
    """A side as a hand holds it, then the walk to the next one."""
    rng = np.random.default_rng(picture.width)
    whole = ImageOps.exif_transpose(picture).convert("RGB").resize(CLIP_WH, Image.Resampling.BICUBIC)
    margin = round(SHAKE * CLIP_WH[0])
    for _ in range(round(SIDE_S / HELD_S)):
        left, top = rng.integers(0, 2 * margin + 1, 2)
        box = (left, top, CLIP_WH[0] - 2 * margin + left, CLIP_WH[1] - 2 * margin + top)
        yield whole.resize(CLIP_WH, Image.Resampling.BILINEAR, box=box), HELD_S
    yield whole.filter(ImageFilter.GaussianBlur(40)), WALK_S


def _walk(url: str, clip: Path, catalogue: Catalogue, generation: str) -> Walk:
    with sync_playwright() as playwright:
        program = shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=program, args=[*FLAGS, *flags_for(clip)])
        page = browser.new_context(base_url=url, viewport={"width": 390, "height": 844}, locale="en").new_page()
        try:
            return _walked(page, catalogue, next(row for row in catalogue.generations if row.id == generation))
        finally:
            browser.close()


def _walked(page: Page, catalogue: Catalogue, true: Generation) -> Walk:
    heard: list[tuple[str, float, dict]] = []
    page.expose_function("heard", lambda kind, body: heard.append((kind, time.monotonic(), body)))
    page.add_init_script(HEAR)
    page.goto("/")
    page.get_by_role("button", name="No, nobody").click()
    page.get_by_role("button", name="None of these").click()
    page.get_by_role("button", name="Let the camera guide you").click()
    began, taps = time.monotonic(), 3
    page.locator("#guide[open]").wait_for()
    while not _sure(heard) and time.monotonic() - began < LONGEST_S and page.locator("#guide[open]").count():
        page.wait_for_timeout(50)
    ended = (_sure(heard) or [time.monotonic()])[0]
    if page.locator("#guide[open]").count():
        page.get_by_role("button", name="Stop the camera and go on").click()
        taps += 1
    page.wait_for_timeout(1500)
    taps += _answered(page, catalogue, true)
    case = "/".join(page.url.split("/")[:6])
    page.goto(f"{case}/result")
    told = page.locator("h1").inner_text()
    looks = [(at, body["hint"]) for kind, at, body in heard if kind == "look"]
    gaps = [later - earlier for (earlier, _), (later, _) in zip(looks, looks[1:], strict=False)]
    quick = [gap for gap in gaps if gap < 2]  # a longer one held a photo
    photos, said = sum(kind == "photos" for kind, _, _ in heard), dict(Counter(hint for _, hint in looks))
    confirmed = told.startswith("This lift has the box")
    return Walk(confirmed, true.name in told, ended - began, taps, photos, len(quick), sum(quick), said)


def _answered(page: Page, catalogue: Catalogue, true: Generation) -> int:
    """Answer a question about the box as who stands at it sees it, where the camera left one; the taps."""
    asked = page.locator("h1").inner_text()
    seen = {concept: getattr(true, concept) for concept in CONTROL_BOX_CONCEPTS} | {"generation": true.id}
    row = next((row for row in catalogue.questions if row.ask == asked and row.about in seen), None)
    if row is None:
        return 0
    chances = row.reliability[seen[row.about]]
    page.locator(f"button[name=answer][value={max(chances, key=chances.__getitem__)}]").click()
    page.wait_for_load_state()
    return 1


def _sure(heard: list[tuple[str, float, dict]]) -> list[float]:
    """When the server said that the box is confirmed."""
    return [at for kind, at, body in heard if kind == "photos" and body["sure"]]


if __name__ == "__main__":
    main()

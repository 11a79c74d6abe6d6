"""An audit against `identify` in a loop, and its driver's memory: `python -m tests.bench.audit`.

Speed: whole commands on the same photos, taking turns, so that a busy machine hits both; wall-clock time, and
processor time, which a busy machine does not stretch, of the command's own process and of its workers. From those: how
many times as fast the audit is at best, were a core free for each worker and all that its own process does in series.
On a busy machine the wall clock tells less: whoever has twice as many processes does not get twice the time. Photos
are the committed renders with noise of their own. Memory: many photos and the toy networks, since the driver never
sees a network.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from PIL import Image

from tests.support.heaps import BOX, HEAD, photo
from tests.support.toy_networks import write_model

ROOT = Path(__file__).parents[2]
RENDERS = ROOT / "synthetic_samples" / "samples" / "images"
COMMAND = [sys.executable, "-m", "api.commands.main"]
TIMED = (
    "import os, sys\nfrom api.commands.main import main\nstatus = main(sys.argv[1:])\nused = os.times()\n"
    "print(used.user + used.system, used.children_user + used.children_system, file=sys.stderr)\nsys.exit(status)"
)
"""A command that says at the end how much processor time it took, and how much its ended workers did."""

WORKERS = 2


def main() -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.audit", description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=96, help="of the comparison with identify")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--loop", type=int, metavar="N", help="photos of the loop, whose pace does not change (all)")
    parser.add_argument("--flat", type=int, default=0, metavar="N", help="measure memory over so many photos instead")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if asked.flat:
            memory(Path(folder), asked.flat)
        else:
            speed(Path(folder), asked.photos, asked.loop or asked.photos, asked.rounds)


def speed(folder: Path, number: int, looped: int, rounds: int) -> None:
    """Photos a second of both ways, the first of them over `looped` of the photos."""
    photos = [noisy(folder / "photos", n) for n in range(number)]
    ways: dict[str, list[tuple[float, float, float]]] = {"identify --each": [], f"audit --workers {WORKERS}": []}
    each, audit = ways.values()
    size = sum(path.stat().st_size for path in photos) / number
    for turn in range(rounds):
        each.append(ran(["identify", "--each", *map(str, photos[:looped])]))
        asked = [str(folder / "photos"), "--out", str(folder / f"out {turn}"), "--workers", str(WORKERS)]
        audit.append(ran(["audit", *asked]))
    print(f"{number} photos of {size / 1024:.0f} KiB, {rounds} rounds, ", end="")
    print(f"load {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores")
    for (name, runs), count in zip(ways.items(), (looped, number), strict=True):
        wall, own, workers = (statistics.median(each) for each in zip(*runs, strict=True))
        print(f"{name:<20}{count / wall:>8.2f} photos/s of {count}; processor seconds a photo: ", end="")
        print(f"{own / count:.4f} of its own, {workers / count:.4f} of workers")
    share = number / looped
    tell("whole commands by the wall clock", [share * a[0] / b[0] for a, b in zip(each, audit, strict=True)])
    free = [share * a[1] / (b[1] + b[2] / WORKERS) for a, b in zip(each, audit, strict=True)]
    tell("with a free core for each", free)
    out = folder / "out 0"
    print("bytes a photo: " + ", ".join(f"{p.name} {p.stat().st_size / number:.0f}" for p in sorted(out.iterdir())))


def tell(what: str, ratios: list[float]) -> None:
    each = ", ".join(f"{ratio:.2f}" for ratio in sorted(ratios))
    print(f"times as fast, {what}: {each} (median {statistics.median(ratios):.2f})")


def noisy(folder: Path, number: int) -> Path:
    """One of the renders with noise, two to a lift's folder."""
    sources = sorted(RENDERS.glob("*.jpg"))
    pixels = np.asarray(Image.open(sources[number % len(sources)]).convert("RGB"))
    noise = np.random.default_rng(number).normal(0, 3, (*pixels.shape[:2], 1))
    path = folder / f"lift {number // 2:06d}" / f"{number}.jpg"
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.clip(pixels + noise, 0, 255).astype(np.uint8)).save(path, quality=90)
    return path


def ran(arguments: list[str]) -> tuple[float, float, float]:
    """Seconds by the wall, and of processors: of the command itself, and of its workers."""
    started = time.perf_counter()
    command = [sys.executable, "-c", TIMED, *arguments]
    done = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    own, workers = map(float, done.stderr.splitlines()[-1].split())
    return time.perf_counter() - started, own, workers


def memory(folder: Path, number: int) -> None:
    """The driver's resident memory while photos are read and lifts are answered."""
    for n in range(number):
        path = folder / "photos" / f"lift {n // 2:06d}" / f"{n}.jpg"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(photo(BOX if n % 2 else HEAD, shade=n))
    weights = write_model(folder / "toy")
    command = [*COMMAND, "audit", str(folder / "photos"), "--out", str(folder / "out"), "--workers", "2"]
    driver = subprocess.Popen(
        command, cwd=ROOT, env={**os.environ, "HOISTLORE_WEIGHTS": str(weights)}, stderr=subprocess.PIPE, text=True
    )
    said: list[tuple[float, str]] = []
    reader = threading.Thread(
        target=lambda: said.extend((time.monotonic(), line) for line in driver.stderr), daemon=True
    )
    reader.start()
    seen: list[tuple[float, float]] = []
    while driver.poll() is None:
        lines = dict(
            line.split(":", 1) for line in Path(f"/proc/{driver.pid}/status").read_text().splitlines() if ":" in line
        )
        if "VmRSS" in lines:
            seen.append((time.monotonic(), int(lines["VmRSS"].split()[0]) / 1024))
        time.sleep(0.2)
    reader.join()
    for what in ("photos", "lifts"):
        progress = [(at, int(line.split()[0])) for at, line in said if f" {what}, " in line]
        for share in (0.1, 0.25, 0.5, 0.75, 1.0):
            total = progress[-1][1]
            at = next(at for at, done in progress if done >= share * total)
            when, mib = min(seen, key=lambda s: abs(s[0] - at))
            print(f"{what}: {share:>5.0%} of {total}, after {when - seen[0][0]:.0f} s: {mib:.1f} MiB")
    print(f"most at any time: {max(mib for _, mib in seen):.1f} MiB (the page, at the end, among it)")


if __name__ == "__main__":
    main()

"""Speed and memory of the serving path against the naive route, in one run: `make bench`.

Compared are (1) whole processes, started anew for one photo, and (2) a warm server against a warm naive process. Both
read the same 12-megapixel JPEG. Every figure is a median; both sides take turns, so that a busy machine hits both.
"""

import io
import json
import os
import platform
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx
import numpy as np
import onnxruntime
import torch
from PIL import Image

from api.settings import Settings
from classifier.model import Model
from classifier.photo import Box, PhotoLimits, open_photo
from tests.bench.naive import save_checkpoint

ROOT = Path(__file__).parents[2]
PHOTO = ROOT / "tests" / "golden" / "photo.jpg"
PROCESS_RUNS, WARM_ROUNDS, WARM_RUNS = 7, 3, 12
SIZE_WH = (4032, 3024)


def main() -> None:
    """Measure, and print a table with what is wanted beside the figures."""
    with tempfile.TemporaryDirectory() as folder:
        photo, checkpoint = Path(folder, "photo.jpg"), Path(folder, "checkpoint.pt")
        photo.write_bytes(large_jpeg())
        save_checkpoint(checkpoint)
        boxes = _boxes(photo)
        naive = [sys.executable, "-m", "tests.bench.naive", str(photo), str(checkpoint), json.dumps(boxes)]
        ours, theirs = whole_processes(
            [sys.executable, "-m", "api.commands.main", "identify", str(photo)], [*naive, "1"]
        )
        served, warm_naive, memory = warm(photo, [*naive, str(WARM_RUNS + 2)])
        print(f"{platform.processor() or platform.machine()}, {_cpu()}; Python {platform.python_version()}, ", end="")
        print(f"torch {torch.__version__}, onnxruntime {onnxruntime.__version__}")
        print(f"photo {SIZE_WH[0]} × {SIZE_WH[1]}, {photo.stat().st_size / 2**20:.1f} MiB, {len(boxes)} subjects\n")
        _row("hoistlore identify, whole process", ours, "≤ 1.5 s")
        _row("naive route, whole process", theirs, "")
        print(f"{'':4}ratio {statistics.median(theirs) / statistics.median(ours):.1f}   (wanted: ≥ 3)\n")
        _row("POST /v1/identifications, warm", served, "")
        _row("naive route, warm", warm_naive, "")
        print(f"{'':4}ratio {statistics.median(warm_naive) / statistics.median(served):.1f}   (wanted: ≥ 3)\n")
        for name, mib in memory.items():
            print(f"serving process, {name}: {mib:.0f} MiB   (wanted: ≤ 400 MB = 381 MiB)")


def large_jpeg() -> bytes:
    """The committed photo of a box and a head, enlarged to 12 megapixels with noise, as heavy as a phone's own JPEG."""
    image = Image.open(PHOTO).convert("RGB").resize(SIZE_WH, Image.Resampling.BICUBIC)
    noise = np.random.default_rng(0).normal(0, 4, (SIZE_WH[1], SIZE_WH[0], 1))
    buffer = io.BytesIO()
    noisy = np.clip(np.asarray(image) + noise, 0, 255).astype(np.uint8)
    Image.fromarray(noisy).save(buffer, "JPEG", quality=90)
    return buffer.getvalue()


def whole_processes(ours: list[str], naive: list[str]) -> tuple[list[float], list[float]]:
    """Seconds of each run of both commands, taking turns."""
    seconds: tuple[list[float], list[float]] = ([], [])
    for _ in range(PROCESS_RUNS):
        for command, taken in zip((ours, naive), seconds, strict=True):
            started = time.perf_counter()
            subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
            taken.append(time.perf_counter() - started)
    return seconds


def warm(photo: Path, naive: list[str]) -> tuple[list[float], list[float], dict[str, float]]:
    """Seconds of each request to a running server and of each warm naive reading, and the server's memory in MiB."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-m", "api.commands.main", "serve", "--port", str(port)],
        cwd=ROOT,
        stderr=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
    )
    try:
        served, theirs = [], []
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60) as client:
            _wait_until_ready(client)
            for _ in range(WARM_ROUNDS):
                for _ in range(WARM_RUNS):
                    started = time.perf_counter()
                    client.post("/v1/identifications", files={"photos": photo.read_bytes()}).raise_for_status()
                    served.append(time.perf_counter() - started)
                done = subprocess.run(naive, cwd=ROOT, check=True, capture_output=True, text=True)
                theirs += json.loads(done.stdout)[2:]  # the first two warm up
        return served[2:], theirs, _memory_mib(server.pid)
    finally:
        server.terminate()
        server.wait(20)


def _wait_until_ready(client: httpx.Client) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        try:
            client.get("/readyz").raise_for_status()
            return
        except httpx.HTTPError:
            time.sleep(0.1)
    raise RuntimeError("the server did not become ready within 60 s")


def _memory_mib(pid: int) -> dict[str, float]:
    lines = dict(line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines() if ":" in line)
    return {"resident": int(lines["VmRSS"].split()[0]) / 1024, "peak": int(lines["VmHWM"].split()[0]) / 1024}


def _boxes(photo: Path) -> list[Box]:
    model = Model.load(Path(Settings.from_environment(os.environ).weights))
    return [found.box for found in model.finder(open_photo(photo.read_bytes(), photo.name, PhotoLimits()))]


def _cpu() -> str:
    models = [
        line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line
    ]
    return f"{len(models)} × {models[0]}" if models else "unknown processor"


def _row(name: str, seconds: list[float], wanted: str) -> None:
    median, p95 = statistics.median(seconds) * 1e3, float(np.percentile(seconds, 95)) * 1e3
    told = f"   (wanted: {wanted})" if wanted else ""
    print(f"{name:<36} median {median:7.0f} ms, p95 {p95:7.0f} ms, n = {len(seconds)}{told}")


if __name__ == "__main__":
    main()

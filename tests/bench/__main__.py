"""Speed and memory of the serving path against the naive route, in one run: `make bench`, some two minutes.

Compared are (1) whole processes, started anew for one photo, ours also with one that only imports what reading needs,
(2) a warm server with a warm naive process, and (3) an answer with the scaled decode that it begins with. All read the
same 12-megapixel JPEG and take turns, so that a busy machine hits all. A ratio is the median of the turns' ratios, with
the 95 % interval of that median (order statistics); where there are too few turns for one, with the lowest and highest.
"""

import io
import json
import math
import os
import platform
import resource
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

from api.identification import NamedPhoto, Resources, answer_for, read_photos
from api.settings import Settings
from classifier.model import Model
from classifier.photo import PhotoLimits, open_photo
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.bench.naive import save_checkpoint

ROOT = Path(__file__).parents[2]
PHOTO = ROOT / "tests" / "golden" / "photo.jpg"
PROCESS_TURNS, NAIVE_PROCESS_TURNS, WARM_TURNS, DECODE_TURNS = 9, 3, 9, 15
WARM_UP = 2
SIZE_WH, LARGE_PNG_WH = (4032, 3024), (8165, 6124)
BARE_IMPORTS = [sys.executable, "-c", "import PIL.Image, numpy, onnxruntime"]


def main() -> None:
    """Measure, and print a table with what is wanted beside the figures."""
    with tempfile.TemporaryDirectory() as folder:
        photo, checkpoint = Path(folder, "photo.jpg"), Path(folder, "checkpoint.pt")
        photo.write_bytes(large_jpeg())
        save_checkpoint(checkpoint)
        model = Model.load(Path(Settings.from_environment(os.environ).weights))
        boxes = [found.box for found in model.finder(open_photo(photo.read_bytes(), photo.name, PhotoLimits()))]
        print(f"{platform.processor() or platform.machine()}, {_cpu()}; Python {platform.python_version()}, ", end="")
        print(f"torch {torch.__version__}, onnxruntime {onnxruntime.__version__}")
        print(f"photo {SIZE_WH[0]} × {SIZE_WH[1]}, {photo.stat().st_size / 2**20:.1f} MiB, {len(boxes)} subjects\n")
        naive = [sys.executable, "-m", "tests.bench.naive", str(photo), str(checkpoint), json.dumps(boxes)]
        tell_processes([sys.executable, "-m", "api.commands.main", "identify", str(photo)], naive)
        tell_decode(photo.read_bytes(), model)
        tell_warm(photo, naive)


def large_jpeg() -> bytes:
    """The committed photo of a box and a head, enlarged to 12 megapixels with noise, as heavy as a phone's own JPEG."""
    image = Image.open(PHOTO).convert("RGB").resize(SIZE_WH, Image.Resampling.BICUBIC)
    noise = np.random.default_rng(0).normal(0, 4, (SIZE_WH[1], SIZE_WH[0], 1))
    buffer = io.BytesIO()
    noisy = np.clip(np.asarray(image) + noise, 0, 255).astype(np.uint8)
    Image.fromarray(noisy).save(buffer, "JPEG", quality=90)
    return buffer.getvalue()


def tell_processes(ours: list[str], naive: list[str]) -> None:
    """Seconds of whole processes, and the processor time of ours beside that of the bare imports."""
    taken = [(_process(BARE_IMPORTS), _process(ours)) for _ in range(PROCESS_TURNS)]
    compared = [(_process(ours)[0], _process(naive)[0]) for _ in range(NAIVE_PROCESS_TURNS)]
    _row("hoistlore identify, whole process", [ours[0] for _, ours in taken], "≤ 1.5 s")
    _row("naive route, whole process", [theirs for _, theirs in compared], "")
    _ratio([theirs / ours for ours, theirs in compared], "≥ 3")
    _row("hoistlore identify, processor time", [ours[1] for _, ours in taken], "")
    _row("bare imports, processor time", [bare[1] for bare, _ in taken], "")
    _ratio([ours[1] / bare[1] for bare, ours in taken], "≤ 4")


def _process(command: list[str]) -> tuple[float, float]:
    """Seconds and seconds of processor time of one process; a line comes in, which the naive route waits for."""
    started, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL, input=b"\n")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.perf_counter() - started, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def tell_decode(data: bytes, model: Model) -> None:
    """Processor time of an answer in this process, on one thread, beside that of the scaled decode."""
    resources, taken = Resources(model, load(DEMO_CATALOGUE), PhotoLimits()), []
    for _ in range(WARM_UP + DECODE_TURNS):
        started = time.process_time()
        image = Image.open(io.BytesIO(data))
        image.draft("RGB", (image.width // 8, image.height // 8))
        image.load()
        decoded = time.process_time()
        readings, _ = read_photos([NamedPhoto("photo.jpg", lambda: data)], resources)
        answer_for(readings, [], "caregiver", resources)
        taken.append((decoded - started, time.process_time() - decoded))
    _row("bytes to answer, processor time", [answer for _, answer in taken[WARM_UP:]], "")
    _row("scaled decode, processor time", [decode for decode, _ in taken[WARM_UP:]], "")
    _ratio([answer / decode for decode, answer in taken[WARM_UP:]], "≤ 4.5")


def tell_warm(photo: Path, naive: list[str]) -> None:
    """Seconds of requests to a running server and of warm naive readings, and the server's memory."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "HOISTLORE_DATABASE": f"sqlite:///{folder}/cases.db"}
        command = [sys.executable, "-m", "api.commands.main", "serve", "--port", str(port)]
        silent = {"stderr": subprocess.DEVNULL, "stdout": subprocess.DEVNULL}
        server = subprocess.Popen(command, cwd=ROOT, env=environment, **silent)
        try:
            with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60) as client:
                _wait_until_ready(client)
                _tell_turns(client, photo, naive)
                resident = _memory_mib(server.pid)["VmRSS"]
                _post(client, large_png())
            print(f"serving process, resident: {resident:.0f} MiB   (wanted: ≤ 300 MB = 286 MiB)")
            peak = _memory_mib(server.pid)["VmHWM"]
            print(f"serving process, peak on a PNG of 50 megapixels: {peak:.0f} MiB   (wanted: ≤ 420 MB = 400 MiB)")
        finally:
            server.terminate()
            server.wait(20)


def _tell_turns(client: httpx.Client, photo: Path, naive: list[str]) -> None:
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    taken = []
    with subprocess.Popen(naive, cwd=ROOT, text=True, **pipes) as theirs:
        for _ in range(WARM_UP + WARM_TURNS):
            started = time.perf_counter()
            _post(client, photo.read_bytes())
            ours = time.perf_counter() - started
            print(file=theirs.stdin, flush=True)
            taken.append((ours, float(theirs.stdout.readline())))
        theirs.stdin.close()
    _row("POST /v1/identifications, warm", [ours for ours, _ in taken[WARM_UP:]], "")
    _row("naive route, warm", [theirs for _, theirs in taken[WARM_UP:]], "")
    _ratio([theirs / ours for ours, theirs in taken[WARM_UP:]], "≥ 3")


def _post(client: httpx.Client, data: bytes) -> None:
    client.post("/v1/identifications", files={"photos": data}).raise_for_status()


def large_png() -> bytes:
    """The committed photo, enlarged to 50 megapixels."""
    buffer = io.BytesIO()
    Image.open(PHOTO).convert("RGB").resize(LARGE_PNG_WH[::-1]).save(buffer, "PNG", compress_level=1)
    return buffer.getvalue()


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
    return {name: int(lines[name].split()[0]) / 1024 for name in ("VmRSS", "VmHWM")}


def _cpu() -> str:
    models = [
        line.split(":")[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines() if "model name" in line
    ]
    return f"{len(models)} × {models[0]}" if models else "unknown processor"


def _row(name: str, seconds: list[float], wanted: str) -> None:
    low, median, high = (np.percentile(seconds, share) * 1e3 for share in (5, 50, 95))
    told = f"   (wanted: {wanted})" if wanted else ""
    print(f"{name:<36} median {median:7.0f} ms, p5 {low:7.0f}, p95 {high:7.0f}, n = {len(seconds)}{told}")


def _ratio(of_turns: list[float], wanted: str) -> None:
    low, high = median_interval(of_turns)
    print(f"{'':4}ratio {statistics.median(of_turns):.1f} [{low:.1f}, {high:.1f}]   (wanted: {wanted})\n", flush=True)


def median_interval(values: list[float]) -> tuple[float, float]:
    """The shortest pair of order statistics that holds the median with 95 %; of fewer than six all of them.

    As many of n values lie under the median as a fair coin shows heads (David and Nagaraja 2003, 7.1, from memory).
    """
    ranked, count = sorted(values), len(values)
    below, outside = 0, 1
    while 2 * (outside + math.comb(count, below + 1)) <= 0.05 * 2**count:
        below += 1
        outside += math.comb(count, below)
    return ranked[below], ranked[-1 - below]


if __name__ == "__main__":
    main()

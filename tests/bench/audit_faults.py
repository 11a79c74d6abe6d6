"""An audit under attack gives the undisturbed result: `python -m tests.bench.audit_faults`.

With the toy networks and real processes: a worker killed every few seconds; the whole audit killed and started again; a
disk (tmpfs) that fills up and is then enlarged, which wants root; an S3 server that is away for `--away` seconds; a
node of a simulated Ray cluster that is lost (`--ray`).
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from api.audit.run import WORK
from tests.support.heaps import BOX, HEAD, photo, rows
from tests.support.toy_networks import write_model

ROOT = Path(__file__).parents[2]


def main() -> None:
    """Attack an audit in each way, and compare its tables with the undisturbed ones."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.audit_faults", description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=300)
    parser.add_argument("--away", type=float, default=60.0, help="seconds that the store does not answer")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--ray", action="store_true", help="also on a simulated cluster that loses a node")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["HOISTLORE_WEIGHTS"] = str(write_model(folder / "toy"))
        source = heap_of(folder / "photos", asked.photos)
        wait_for(started(source, folder / "quiet"))
        wanted = tables_of(folder / "quiet")
        rng = random.Random(asked.seed)
        same("workers killed", wanted, workers_killed(source, folder / "killed", rng))
        same("audit killed and begun again", wanted, audit_killed(source, folder / "again", rng))
        same("store away", wanted, store_away(source, folder / "away", asked.away))
        if os.geteuid() == 0:
            same("disk full, then enlarged", wanted, disk_full(source, folder / "disk"))
        if asked.ray:
            same("node of a cluster lost", wanted, node_lost(source, folder / "ray"))


def heap_of(folder: Path, number: int) -> Path:
    """Photos in folders of two, one of them damaged in ten."""
    for n in range(number):
        path = folder / f"lift {n // 2:05d}" / f"{n}.jpg"
        path.parent.mkdir(parents=True, exist_ok=True)
        data = photo(BOX if n % 2 else HEAD, shade=n)
        path.write_bytes(data[: len(data) // 3] if n % 10 == 3 else data)
    return folder


def started(source: object, out: Path, *options: str) -> subprocess.Popen:
    command = [sys.executable, "-m", "api.commands.main", "audit", str(source), "--out", str(out), *options]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


def wait_for(audit: subprocess.Popen, wanted: int = 0) -> str:
    """What it said on standard error."""
    _, said = audit.communicate(timeout=1800)
    assert audit.returncode == wanted, said
    return said


def tables_of(out: Path) -> tuple[list[dict], list[dict]]:
    """Both tables; of the photos the number of those that come twice has to be none."""
    lifts, photos = rows(out / "lifts.parquet"), rows(out / "photos.parquet")
    assert len({row["photo"] for row in photos}) == len(photos) and len({row["lift"] for row in lifts}) == len(lifts)
    return lifts, photos


def same(what: str, wanted: tuple[list, list], told: tuple[str, tuple[list, list]]) -> None:
    how, found = told
    verdict = "equal" if found == wanted else "DIFFERENT"
    print(f"{what:<30} {verdict:<10} {len(found[0])} lifts, {len(found[1])} photos; {how}", flush=True)


def workers_killed(source: Path, out: Path, rng: random.Random) -> tuple[str, tuple]:
    audit, killed = started(source, out, "--workers", "2"), 0
    ended = threading.Thread(target=wait_for, args=(audit,))
    ended.start()
    while audit.poll() is None:
        time.sleep(rng.uniform(0.5, 3))
        children = Path(f"/proc/{audit.pid}/task/{audit.pid}/children")
        workers = (
            [pid for pid in children.read_text().split() if b"spawn_main" in command_of(pid)]
            if children.exists()
            else []
        )
        if workers:
            os.kill(int(rng.choice(workers)), signal.SIGKILL)
            killed += 1
    ended.join()
    return f"{killed} workers killed", tables_of(out)


def command_of(pid: str) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def audit_killed(source: Path, out: Path, rng: random.Random) -> tuple[str, tuple]:
    kills = 0
    while True:
        audit = started(source, out, "--workers", "2")
        try:
            wait = rng.uniform(2.5, 6) if kills < 4 else 1800
            audit.communicate(timeout=wait)
            assert audit.returncode == 0
            return f"killed {kills} times", tables_of(out)
        except subprocess.TimeoutExpired:
            audit.kill()
            audit.communicate()
            kills += 1


def store_away(source: Path, out: Path, seconds: float) -> tuple[str, tuple]:
    import s3fs
    from moto.server import ThreadedMotoServer

    first = ThreadedMotoServer(port=0, verbose=False)
    first.start()
    host, port = first.get_host_and_port()
    os.environ |= {
        "AWS_ENDPOINT_URL": f"http://{host}:{port}", "AWS_ACCESS_KEY_ID": "key", "AWS_SECRET_ACCESS_KEY": "secret",
        "AWS_DEFAULT_REGION": "us-east-1",
    }  # fmt: skip
    store = s3fs.S3FileSystem()
    store.mkdir("photos")
    store.put(str(source), "photos/", recursive=True)
    audit = started(f"s3://photos/{source.name}", out, "--workers", "2")
    while not list(out.glob("audit.work/photos/[0-9]*")):
        time.sleep(0.2)
    first.stop()
    time.sleep(seconds)
    again = ThreadedMotoServer(port=port, verbose=False)
    again.start()
    wait_for(audit)
    again.stop()
    return f"away for {seconds:.0f} s", tables_of(out)


def disk_full(source: Path, out: Path) -> tuple[str, tuple]:
    out.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", str(out)], check=True)
    try:
        said = wait_for(started(source, out / "result"), wanted=2)
        there = [path.name for path in (out / "result").iterdir() if path.name != WORK]
        assert not there, f"{', '.join(there)} is there already"
        subprocess.run(["mount", "-o", "remount,size=64m", str(out)], check=True)
        wait_for(started(source, out / "result"))
        return said.strip().splitlines()[-1].rpartition("(")[2].partition(")")[0], tables_of(out / "result")
    finally:
        subprocess.run(["umount", str(out)], check=True)


def node_lost(source: Path, out: Path) -> tuple[str, tuple]:
    from ray.cluster_utils import Cluster

    cluster = Cluster(initialize_head=True, head_node_args={"num_cpus": 1, "include_dashboard": False})
    node = cluster.add_node(num_cpus=1)
    audit = started(source, out, "--ray", cluster.address)
    while not list(out.glob("audit.work/photos/[0-9]*")):
        assert audit.poll() is None, audit.communicate()[1]
        time.sleep(0.2)
    cluster.remove_node(node, allow_graceful=False)
    wait_for(audit)
    cluster.shutdown()
    return "one of two nodes lost while photos were read", tables_of(out)


if __name__ == "__main__":
    main()

"""How much of more workers is used: `python -m tests.bench.cluster`.

`--waiting`: a simulated Ray cluster of 4 nodes whose cores are declared, not there, and pieces that wait instead of
computing: what handing out and collecting costs. `--computing`: pieces that compute, on 1 and on 2 workers of Ray.
"""

import argparse
import time

from tests.workers.pieces import computes, waits
from workers.cluster import Cluster
from workers.dispatch import results

ADDITIONS = 60_000_000
"""Of a piece that computes: most of a second, so that Ray's own processes, which have just begun, weigh little."""


def main() -> None:
    """Measure the efficiency: work done, over workers times wall-clock time."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.cluster", description=__doc__.splitlines()[0])
    parser.add_argument("--waiting", type=int, nargs="*", default=[4, 16, 64], metavar="WORKERS")
    parser.add_argument("--computing", type=int, nargs="*", default=[1, 2], metavar="WORKERS")
    parser.add_argument("--piece-seconds", type=float, default=4.0, help="that a piece waits")
    parser.add_argument("--pieces", type=int, default=10, help="of each worker")
    asked = parser.parse_args()
    from ray.cluster_utils import Cluster as Simulated

    cores = max([*asked.waiting, 4])
    simulated = Simulated(initialize_head=True, head_node_args={"num_cpus": cores // 4, "include_dashboard": False})
    for _ in range(3):
        simulated.add_node(num_cpus=cores // 4)
    for number in asked.waiting:
        wall = timed(waits, simulated.address, number, [asked.piece_seconds] * (number * asked.pieces))
        efficiency = asked.piece_seconds * asked.pieces / wall
        print(
            f"{number:>3} workers, {number * asked.pieces} pieces that wait {asked.piece_seconds} s: {efficiency:.3f}",
            flush=True,
        )
    alone = None
    for number in asked.computing:
        wall = timed(computes, simulated.address, number, [ADDITIONS] * (max(asked.computing) * asked.pieces))
        alone = alone or wall
        print(f"{number:>3} workers that compute: {wall:.1f} s, efficiency {alone / wall / number:.3f}", flush=True)
    simulated.shutdown()


def timed(begin, address: str, number: int, pieces: list) -> float:
    """Seconds for all pieces, once every worker runs."""
    workers = Cluster(begin, address, number)
    try:
        while workers.free < number:
            workers.wait()
        started = time.perf_counter()
        for _ in results(workers, pieces, lambda piece: []):
            pass
        return time.perf_counter() - started
    finally:
        workers.close()


if __name__ == "__main__":
    main()

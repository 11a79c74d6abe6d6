"""Workers, as processes and on Ray: every piece once, whatever is lost on the way."""

import importlib
import socket
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

import workers.cluster
from tests.support.local_ray import starting
from tests.workers.pieces import Begun, Numbers, Squares, cannot_begin
from workers.cluster import Cluster
from workers.dispatch import MOST_IN_A_ROW, MOST_LOSSES, Ended, WorkersError, results
from workers.processes import Processes

PIECES = [Numbers(tuple(range(first, first + 4))) for first in range(0, 20, 4)]


class Scripted:
    """Workers in this process: `loses` says of a piece whether its worker is lost this time."""

    def __init__(self, loses: Callable[[Numbers], bool], number: int = 2) -> None:
        self.loses, self.free, self.pieces, self.most_out = loses, number, {}, 0

    def submit(self, ticket: int, piece: Numbers) -> None:
        self.free -= 1
        self.pieces[ticket] = piece
        self.most_out = max(self.most_out, len(self.pieces))

    def wait(self) -> Ended:
        self.free += 1
        ticket, piece = self.pieces.popitem()
        lost = self.loses(piece)
        return Ended(ticket, lost=True) if lost else Ended(ticket, Squares().squares(piece))

    def close(self) -> None:
        pass


def squares_of(workers) -> tuple[list[tuple[int, int]], list[Numbers]]:
    """All squares in order, and the pieces that were given up."""
    came = list(results(workers, iter(PIECES), Numbers.halves))
    return sorted(pair for r in came if not r.given_up for pair in r.value), [r.piece for r in came if r.given_up]


def test_every_piece_ends_once_and_no_more_are_out_than_there_are_workers() -> None:
    workers = Scripted(lambda piece: False)
    assert squares_of(workers) == ([(n, n * n) for n in range(20)], [])
    assert workers.most_out == 2


def test_what_a_lost_worker_held_is_worked_on_again() -> None:
    lost = iter([True, False, True, True] + [False] * 20)
    assert squares_of(Scripted(lambda piece: next(lost))) == ([(n, n * n) for n in range(20)], [])


def test_a_piece_that_ends_every_worker_is_cut_until_the_culprit_is_alone() -> None:
    tries = []

    def loses(piece: Numbers) -> bool:
        tries.append(piece)
        return 13 in piece.values

    found, given_up = squares_of(Scripted(loses))
    assert found == [(n, n * n) for n in range(20) if n != 13]
    assert given_up == [Numbers((13,))]
    assert tries.count(Numbers((13,))) == MOST_LOSSES


def test_a_machine_that_ends_every_worker_is_said_and_not_put_on_the_pieces() -> None:
    pieces = (Numbers((n,)) for n in range(10_000))
    given_up = 0
    with pytest.raises(WorkersError, match="runs out of memory"):
        for result in results(Scripted(lambda piece: True), pieces, Numbers.halves):
            given_up += result.given_up
    assert given_up <= MOST_IN_A_ROW / MOST_LOSSES


def test_processes_lose_a_worker_and_no_piece(tmp_path: Path) -> None:
    workers = Processes(Begun(Squares(deadly=(6,), once=tmp_path / "lost")), 2)
    try:
        assert squares_of(workers) == ([(n, n * n) for n in range(20) if n != 6], [Numbers((6,))])
    finally:
        workers.close()


@pytest.mark.parametrize(("begin", "wanted"), [(cannot_begin, "no weights"), (Begun(Squares(wrong=9)), "9 has no")])
def test_what_a_worker_raises_comes_out(begin, wanted: str) -> None:
    workers = Processes(begin, 1)
    try:
        with pytest.raises(ValueError, match=wanted):
            squares_of(workers)
    finally:
        workers.close()


@pytest.mark.thorough
def test_ray_loses_a_worker_and_a_node_and_no_piece(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("ray")
    from ray.cluster_utils import Cluster as Simulated

    with starting():
        simulated = Simulated(initialize_head=True, head_node_args={"num_cpus": 1, "include_dashboard": False})
        node = simulated.add_node(num_cpus=1)
    try:
        workers = Cluster(Begun(Squares(once=tmp_path / "lost")), simulated.address, 2)
        try:
            found = []
            for number, result in enumerate(results(workers, iter(PIECES * 20), Numbers.halves)):
                found += result.value
                if number == 5:
                    simulated.remove_node(node, allow_graceful=False)
            assert sorted(found) == sorted((n, n * n) for n in range(20) for _ in range(20))
            workers.submit(0, Numbers(("no number",)))
            with pytest.raises(TypeError):
                workers.wait()
        finally:
            workers.close()
        (tmp_path / "only_here.py").write_text("def begin():\n    return len\n", "utf-8")
        monkeypatch.syspath_prepend(tmp_path)
        workers = Cluster(importlib.import_module("only_here").begin, simulated.address, 1)
        try:
            with pytest.raises(WorkersError, match="No module named 'only_here'. Hoistlore has to be installed on"):
                squares_of(workers)
        finally:
            workers.close()
    finally:
        simulated.shutdown()


def test_another_version_of_ray_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(**_: object) -> None:
        raise RuntimeError("Version mismatch: The cluster was started with:\n    Ray: 1.0\n    Python: 3.8")

    ray = SimpleNamespace(is_initialized=lambda: False, init=refuses)
    monkeypatch.setitem(sys.modules, "ray", ray)
    with pytest.raises(WorkersError, match="--ray auto: Version mismatch: .* Ray: 1.0 Python: 3.8. .*same versions"):
        Cluster(cannot_begin, "auto")


def test_an_address_without_a_cluster_is_said() -> None:
    pytest.importorskip("ray")
    with pytest.raises(WorkersError, match="--ray 127.0.0.1:9: .* Give the address of a running cluster"):
        Cluster(cannot_begin, "127.0.0.1:9")


@pytest.mark.parametrize(
    ("said", "told"), [(b"SSH-2.0-some\r\n", "who is no Ray cluster"), (b"", "did not answer for 0 s")]
)
def test_somebody_else_who_listens_there_is_said(said: bytes, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ray itself would try for minutes."""
    pytest.importorskip("ray")
    monkeypatch.setattr(workers.cluster, "ANSWERS_WITHIN_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            line, _ = server.accept()
            line.sendall(said)
            line.recv(1000)
            time.sleep(0.5)
            line.close()

        threading.Thread(target=answer, daemon=True).start()
        with pytest.raises(WorkersError, match=f"{told}. Give the address of a running cluster"):
            Cluster(cannot_begin, f"127.0.0.1:{server.getsockname()[1]}")

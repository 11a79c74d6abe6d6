"""Workers as processes of this machine, each with a pipe of its own, so that a lost one is known by its piece."""

import contextlib
import multiprocessing
import signal
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any

from workers.dispatch import Begin, Ended


@dataclass
class _Worker:
    process: BaseProcess
    end: Connection
    ticket: int | None = None


class Processes:
    """`Workers` on this machine; a process that dies is replaced."""

    def __init__(self, begin: Begin, number: int) -> None:
        # Spawned, not forked: whoever calls may have threads, as libraries for object stores do.
        self._context = multiprocessing.get_context("spawn")
        self._begin = begin
        self._workers = [self._started() for _ in range(number)]

    @property
    def free(self) -> int:
        return sum(worker.ticket is None for worker in self._workers)

    def submit(self, ticket: int, piece: Any) -> None:
        worker = next(worker for worker in self._workers if worker.ticket is None)
        worker.ticket = ticket
        with contextlib.suppress(OSError):  # it died while it was idle: `wait` finds its pipe closed
            worker.end.send(piece)

    def wait(self) -> Ended | None:
        busy = {worker.end: worker for worker in self._workers if worker.ticket is not None}
        worker = busy[wait(list(busy))[0]]
        ticket = worker.ticket
        worker.ticket = None
        try:
            done, came = worker.end.recv()
        except (EOFError, OSError):
            self._replace(worker)
            return Ended(ticket, lost=True)
        if not done:
            raise came
        return Ended(ticket, came)

    def close(self) -> None:
        for worker in self._workers:
            worker.process.terminate()
        for worker in self._workers:
            worker.process.join()
            worker.end.close()

    def _started(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=_serve, args=(theirs, self._begin), daemon=True)
        process.start()
        theirs.close()
        return _Worker(process, ours)

    def _replace(self, worker: _Worker) -> None:
        worker.end.close()
        worker.process.kill()
        worker.process.join()
        self._workers[self._workers.index(worker)] = self._started()


def _serve(end: Connection, begin: Begin) -> None:
    """A worker's life: it ends with the pipe, and leaves Ctrl-C to whoever started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    done, work = _tried(begin)
    with contextlib.suppress(EOFError, OSError):
        while True:
            piece = end.recv()
            end.send(_tried(work, piece) if done else (False, work))


def _tried(work: Callable[..., Any], *given: Any) -> tuple[bool, Any]:
    """What came of it, or what was raised."""
    try:
        return True, work(*given)
    except Exception as problem:  # whatever it is, it is raised where the piece came from
        return False, problem

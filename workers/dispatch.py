"""Pieces of work go out, results come back; what a lost worker held goes out again, and no result counts twice."""

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Any, Protocol

MOST_LOSSES = 3
"""Workers that one piece may cost before it is cut in two; a piece that cannot be cut is given up."""

MOST_IN_A_ROW = 40
"""Workers lost without any result between: then it is the machine, not a piece."""

Begin = Callable[[], Callable[[Any], Any]]
"""Called once in each worker, gives what is then called with each piece. It and the pieces have to be picklable."""


class WorkersError(Exception):
    """Workers cannot be started or reached, or end again and again; the message says what to do."""


@dataclass(frozen=True)
class Ended:
    """A worker is through with a piece: its result, or `lost`, when the worker went away over it."""

    ticket: int
    result: Any = None
    lost: bool = False


class Workers(Protocol):
    """Where pieces are worked on, one at a time a worker. What a piece raises, `wait` raises."""

    @property
    def free(self) -> int:
        """Workers that wait for a piece."""
        ...

    def submit(self, ticket: int, piece: Any) -> None:
        """Give a piece to a free worker."""
        ...

    def wait(self) -> Ended | None:
        """Wait until something happened: a piece that ended, or None when only workers came or went."""
        ...

    def close(self) -> None:
        """End all workers, whatever they do."""
        ...


@dataclass(frozen=True)
class Result:
    """What came of a piece; `given_up`: it cost a worker each time, and nothing came of it."""

    piece: Any
    value: Any = None
    given_up: bool = False


@dataclass
class _Job:
    piece: Any
    losses: int = 0


def results(workers: Workers, pieces: Iterable[Any], cut: Callable[[Any], Sequence[Any]]) -> Iterator[Result]:
    """Work on all pieces, taken from `pieces` no sooner than a worker is free; results in the order in which they end.

    `cut` makes smaller pieces of one, or none where it cannot be cut. Raises `WorkersError`, and what a piece raises.
    """
    coming, again, tickets = iter(pieces), deque[_Job](), count()
    out: dict[int, _Job] = {}
    in_a_row, more = 0, True
    while True:
        while workers.free and (again or more):
            job = again.popleft() if again else next(map(_Job, coming), None)
            if job is None:
                more = False
                break
            ticket = next(tickets)
            out[ticket] = job
            workers.submit(ticket, job.piece)
        if not (out or again or more):
            return
        ended = workers.wait()
        if ended is None:
            continue
        job = out.pop(ended.ticket)
        in_a_row = in_a_row + 1 if ended.lost else 0
        if in_a_row > MOST_IN_A_ROW:
            raise WorkersError(
                f"{in_a_row} workers were lost one after the other and nothing was finished. "
                "See whether the machine runs out of memory; fewer workers need less."
            )
        if not ended.lost:
            yield Result(job.piece, ended.result)
        elif (parts := _parts(job, cut)) is None:
            yield Result(job.piece, given_up=True)
        else:
            again.extend(parts)


def _parts(job: _Job, cut: Callable[[Any], Sequence[Any]]) -> list[_Job] | None:
    """What goes out again for a lost piece; None when it is given up."""
    job.losses += 1
    if job.losses < MOST_LOSSES:
        return [job]
    return [_Job(piece) for piece in cut(job.piece)] or None


def processor_cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1

"""Workers as actors of a Ray cluster. Each keeps what it loaded; this package has to be installed on every node."""

import os
import socket
from collections.abc import Callable, Mapping
from types import ModuleType
from typing import Any

from workers.dispatch import MOST_LOSSES, Begin, Ended, WorkersError

HTTP2_BEGINS = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + bytes([0, 0, 0, 4, 0, 0, 0, 0, 0])
HTTP2_SETTINGS = 4
"""What a client of HTTP/2 says first, and the kind of frame by which a server answers (RFC 9113, 3.4 and 6.5)."""

LOOK_EVERY_S = 1.0
"""How often it is looked whether there is room for another worker, while some are missing."""

ANSWERS_WITHIN_S = 10.0


class Cluster:
    """`Workers` on a Ray cluster, one for each of its processor cores or `number`. Raises `WorkersError`.

    Workers of a lost node start again where there is room; pieces go to workers that run, never to those that wait
    for room.
    """

    def __init__(
        self, begin: Begin, address: str, number: int | None = None, environment: Mapping[str, str] | None = None
    ) -> None:
        self._ray = _ray()
        self._ours = not self._ray.is_initialized()
        if self._ours:
            _connect(self._ray, address)
        told = {"runtime_env": {"env_vars": dict(environment)}} if environment else {}
        self._actor = self._ray.remote(num_cpus=1, max_restarts=0, **told)(_Actor)
        self._begin = self._ray.put(begin)  # once for all of them: it may hold networks
        self._wanted = number or max(1, int(self._ray.cluster_resources().get("CPU", 1)))
        self._starting: dict[Any, Any] = {}  # reference that tells when it runs -> actor
        self._idle: list[Any] = []
        self._busy: dict[Any, tuple[Any, int]] = {}  # reference of the result -> actor, ticket
        self._failed = 0  # workers that did not begin, one after the other
        self._start(self._wanted)

    @property
    def free(self) -> int:
        return len(self._idle)

    def submit(self, ticket: int, piece: Any) -> None:
        actor = self._idle.pop()
        self._busy[actor.work.remote(piece)] = (actor, ticket)

    def wait(self) -> Ended | None:
        missing = self._wanted - len(self._starting) - len(self._idle) - len(self._busy)
        if missing:
            room = int(self._ray.available_resources().get("CPU", 0))
            self._start(min(missing, room) or (not self._busy and not self._idle and not self._starting))
        watched = [*self._busy, *self._starting]
        ready, _ = self._ray.wait(watched, num_returns=1, timeout=LOOK_EVERY_S if missing else None)
        if not ready:
            return None
        if ready[0] in self._starting:
            return self._began(ready[0])
        actor, ticket = self._busy.pop(ready[0])
        found, value = self._fetched(ready[0])
        if not found:
            return Ended(ticket, lost=True)
        self._failed = 0
        self._idle.append(actor)
        return Ended(ticket, value)

    def close(self) -> None:
        for actor in [*self._idle, *self._starting.values(), *(actor for actor, _ in self._busy.values())]:
            self._ray.kill(actor)
        if self._ours:
            self._ray.shutdown()

    def _start(self, number: int) -> None:
        for _ in range(number):
            actor = self._actor.remote(self._begin)
            self._starting[actor.runs.remote()] = actor

    def _began(self, reference: Any) -> None:
        actor = self._starting.pop(reference)
        found, problem = self._fetched(reference)
        self._failed = 0 if found else self._failed + 1
        if found:
            self._idle.append(actor)
        elif self._failed > MOST_LOSSES * self._wanted:
            why = next((line.strip() for line in reversed(str(problem).splitlines()) if line.strip()), "no reason came")
            raise WorkersError(
                f"--ray: {self._failed} workers of the cluster ended as they began, the last one with: {why}. "
                "Hoistlore has to be installed on every node, in the same version and with the same extras."
            )

    def _fetched(self, reference: Any) -> tuple[bool, Any]:
        """Whether it came, and what, or why not. Raises what the piece raised."""
        try:
            return True, self._ray.get(reference)
        except self._ray.exceptions.RayTaskError as raised:
            raise raised.cause from None
        except self._ray.exceptions.RayError as problem:
            return False, problem


class _Actor:
    """What runs on a node. `begin` raises at the first call, so that its error comes back as any other."""

    def __init__(self, begin: Begin) -> None:
        self._begin = begin
        self._work: Callable[[Any], Any] | None = None

    def runs(self) -> bool:
        self._work = self._begin()
        return True

    def work(self, piece: Any) -> Any:
        return self._work(piece)


def _ray() -> ModuleType:
    os.environ.setdefault("RAY_USAGE_STATS_ENABLED", "0")  # nobody is told what runs here
    try:
        import ray
    except ModuleNotFoundError:
        raise WorkersError("--ray wants the extra `cluster` installed (ray is missing).") from None
    return ray


def _connect(ray: ModuleType, address: str) -> None:
    """Join the cluster. Ray itself tries a dead address for minutes, so somebody has to answer there."""
    try:
        host, colon, port = address.rpartition("//")[2].rpartition(":")
        if colon and port.isdigit():
            _check_somebody_answers(host.strip("[]"), int(port))
        ray.init(address=address, log_to_driver=False, logging_level="ERROR", configure_logging=True)
    except (ConnectionError, RuntimeError, ValueError, TimeoutError, OSError) as problem:
        why = str(problem).strip().splitlines()
        told = " ".join(line.strip() for line in why[:4]) if why else type(problem).__name__
        raise WorkersError(
            f"--ray {address}: {told}. Give the address of a running cluster of the same versions of Ray and Python, "
            "`auto` for the one of this machine, or `local` to start one here."
        ) from None


def _check_somebody_answers(host: str, port: int) -> None:
    """Raise `OSError` where nobody speaks HTTP/2, as Ray does; with Ray's TLS on, where nobody listens."""
    with socket.create_connection((host, port), timeout=ANSWERS_WITHIN_S) as line:
        if os.environ.get("RAY_USE_TLS", "0") != "0":
            return
        line.sendall(HTTP2_BEGINS)
        frame = b""
        try:
            while len(frame) < 4 and (more := line.recv(4 - len(frame))):
                frame += more
        except TimeoutError:
            raise ConnectionError(f"somebody listens there, and did not answer for {ANSWERS_WITHIN_S:.0f} s") from None
    if frame[3:] != bytes([HTTP2_SETTINGS]):
        raise ConnectionError("somebody listens there who is no Ray cluster")

"""Several processes train one network, a device each: each on its share of the pictures, all on the same weights."""

import os
import socket
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta

import torch
from torch import distributed, nn

PATIENCE = timedelta(minutes=5)
"""How long a member waits for the others before it gives up."""


@dataclass(frozen=True)
class Team:
    """One member of `size`; number 0 speaks for all: its clock counts, and it alone reports and writes files."""

    number: int = 0
    size: int = 1

    @property
    def speaks(self) -> bool:
        return self.number == 0

    def say(self, words: str) -> None:
        """Print a line, once for all."""
        if self.speaks:
            print(words, flush=True)

    def share(self, things: Sequence) -> Sequence:
        """What this member holds of `things` that are spread over all: every `size`-th."""
        return things[self.number :: self.size]

    def agree(self, value: float) -> float:
        """What the speaker holds `value` to be; every member asks at the same point."""
        if self.size == 1:
            return value
        told = torch.tensor([value], dtype=torch.float64)
        distributed.broadcast(told, 0)
        return float(told)

    def mean_gradients(self, parameters: Iterable[nn.Parameter]) -> None:
        """Each gradient becomes the mean of all members', as if one had seen the batches of all."""
        if self.size == 1:
            return
        gradients = [parameter.grad for parameter in parameters if parameter.grad is not None]
        flat = torch.cat([gradient.flatten() for gradient in gradients])
        distributed.all_reduce(flat)
        parts = flat.div_(self.size).split([gradient.numel() for gradient in gradients])
        torch._foreach_copy_(gradients, [part.view_as(to) for part, to in zip(parts, gradients, strict=True)])


ALONE = Team()


def free_port() -> int:
    """A port of this machine at which a team can meet."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def joined(team: Team, port: int, device: torch.device) -> Iterator[None]:
    """Be in touch with the other members, which all are on this machine, until the block ends."""
    if team.size == 1:
        yield
        return
    for setting in ("GLOO_SOCKET_IFNAME", "NCCL_SOCKET_IFNAME"):
        os.environ.setdefault(setting, "lo")  # a machine's own name need not be known to it
    backend = "cpu:gloo,cuda:nccl" if device.type == "cuda" else "gloo"
    address = f"tcp://127.0.0.1:{port}"
    distributed.init_process_group(backend, address, PATIENCE, team.size, team.number)
    try:
        yield
    finally:
        distributed.destroy_process_group()

"""Several processes train one network, a device each: each on its share of the pictures, all on the same weights."""

import os
import socket
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta

import torch
from torch import distributed, nn
from torch.nn.utils import parameters_to_vector, vector_to_parameters

PATIENCE = timedelta(minutes=5)
"""How long a member waits for the others before it gives up."""


@dataclass(frozen=True)
class ProcessGroup:
    """One member, by its rank, of `size`; rank 0 is the main one: its clock counts, it alone reports and writes."""

    rank: int = 0
    size: int = 1

    @property
    def is_main(self) -> bool:
        return self.rank == 0

    def log(self, words: str) -> None:
        """Print a line, once for all."""
        if self.is_main:
            print(words, flush=True)

    def shard(self, things: Sequence) -> Sequence:
        """What this member holds of `things` that are spread over all: every `size`-th."""
        return things[self.rank :: self.size]

    def from_main(self, value: float) -> float:
        """What the main member holds `value` to be; every member asks at the same point."""
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
        flat = parameters_to_vector(gradients)
        distributed.all_reduce(flat)
        vector_to_parameters(flat.div_(self.size), gradients)


SINGLE = ProcessGroup()


def free_port() -> int:
    """A port of this machine at which a group can meet."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def joined(group: ProcessGroup, port: int, device: torch.device) -> Iterator[None]:
    """Be in touch with the other members, which all are on this machine, until the block ends."""
    if group.size == 1:
        yield
        return
    for setting in ("GLOO_SOCKET_IFNAME", "NCCL_SOCKET_IFNAME"):
        os.environ.setdefault(setting, "lo")  # a machine's own name need not be known to it
    backend = "cpu:gloo,cuda:nccl" if device.type == "cuda" else "gloo"
    address = f"tcp://127.0.0.1:{port}"
    distributed.init_process_group(backend, address, PATIENCE, group.size, group.rank)
    try:
        yield
    finally:
        distributed.destroy_process_group()

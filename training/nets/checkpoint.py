"""Networks and half-finished runs on disk: small half-precision checkpoints, and a state from which a run resumes."""

import os
from pathlib import Path

import torch
from torch import nn

LARGEST_CHECKPOINT_BYTES = 16 * 2**20


class CheckpointError(ValueError):
    """A checkpoint that cannot be used; the message names the file and what to do."""


def save_network(path: Path, net: nn.Module, about: dict) -> None:
    """Write the weights, filters in half precision and the rest in single, with plain facts."""
    stored = {name: _stored(tensor) for name, tensor in net.state_dict().items()}
    write_whole(path, {"weights": stored, "about": about})
    size = path.stat().st_size
    if size > LARGEST_CHECKPOINT_BYTES:
        raise CheckpointError(f"{path}: {size} bytes, more than {LARGEST_CHECKPOINT_BYTES}; make the network narrower")


def load_network(path: Path, net: nn.Module) -> dict:
    """Fill `net`, in single precision, from a checkpoint; returns the facts stored with it."""
    kept = read_whole(path)
    try:
        net.load_state_dict(kept["weights"])
    except (KeyError, RuntimeError) as problem:
        raise CheckpointError(f"{path}: not weights of this network ({problem}); train it again") from None
    return kept["about"]


def take_over(path: Path, net: nn.Module) -> list[str]:
    """Fill `net` with what fits it in a checkpoint; returns the tensors that stay as they are.

    The networks of two releases differ in a few layers: what they share need not be learned again.
    """
    wanted, kept = net.state_dict(), read_whole(path)["weights"]
    fitting = {name: kept[name] for name in wanted if name in kept and kept[name].shape == wanted[name].shape}
    if 2 * len(fitting) < len(wanted):
        raise CheckpointError(f"{path}: {len(fitting)} of {len(wanted)} tensors fit; it is of another network")
    net.load_state_dict(fitting, strict=False)
    return [name for name in wanted if name not in fitting]


def read_whole(path: Path) -> dict:
    """What `write_whole` wrote: tensors and plain values only, never code."""
    if not path.is_file():
        raise CheckpointError(f"{path}: not there; run `python -m training train` first")
    return torch.load(path, map_location="cpu", weights_only=True)


def write_whole(path: Path, content: dict) -> None:
    """Write beside the file and then move over it, so that an interrupted run leaves a whole file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_suffix(".part")
    torch.save(content, beside)
    os.replace(beside, path)


def _stored(tensor: torch.Tensor) -> torch.Tensor:
    tensor = tensor.detach().cpu().contiguous()
    return tensor.half() if tensor.is_floating_point() and tensor.ndim >= 2 else tensor

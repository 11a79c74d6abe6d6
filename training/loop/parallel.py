"""Spread training jobs over devices: one process a device, which decodes its share of the pictures and keeps them."""

import multiprocessing
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import ExitStack
from pathlib import Path

import torch

from training.data.dataset import PictureBank, load_bank
from training.data.manifest import Record, read_manifests
from training.loop.process_group import SINGLE, ProcessGroup, free_port, joined
from training.loop.tasks import TASKS
from training.loop.train import RunConfig, train_task

ALGORITHMS_TRIED = 4
"""For each convolution; with the usual ten, over a minute went by on a GPU before the first step."""


def train_networks(
    data: Sequence[Path], config: RunConfig, devices: Sequence[str], tasks: Sequence[str] = tuple(TASKS)
) -> None:
    """Train the networks on all pictures of style train; side by side where there are two devices or more.

    One device: in this process, in order. The devices that are left over when each task has one help with the last.
    """
    records = read_manifests(data, "train")
    if len(devices) == 1:
        place = _Place(records, devices[0])
        for task in tasks:
            place.train(task, config)
        return
    groups = [[number % len(devices)] for number in range(len(tasks))]
    groups[-1] += range(len(tasks), len(devices))
    context = multiprocessing.get_context("spawn")
    with ExitStack() as pools:
        places = [
            pools.enter_context(ProcessPoolExecutor(1, context, _settle, (records, device))) for device in devices
        ]
        waiting = []
        for task, group in zip(tasks, groups, strict=True):
            port = free_port()
            waiting += [
                places[place].submit(_train_here, task, config, ProcessGroup(rank, len(group)), port)
                for rank, place in enumerate(group)
            ]
        for finished in as_completed(waiting):
            finished.result()


def made_ready(device: torch.device) -> None:
    """Let torch choose the fastest operations for shapes that stay the same, on a GPU."""
    if device.type == "cuda":
        torch.cuda.set_device(device)
        torch.backends.cudnn.benchmark = True
        torch.backends.cudnn.benchmark_limit = ALGORITHMS_TRIED
        torch.backends.cudnn.allow_tf32 = torch.backends.cuda.matmul.allow_tf32 = True


class _Place:
    """A device with the pictures that lie on it; clean twins take the place of as many as a job wants."""

    def __init__(self, records: Sequence[Record], device: str) -> None:
        self.records, self.device = list(records), torch.device(device)
        self.bank: PictureBank | None = None
        self.held_by: ProcessGroup | None = None
        made_ready(self.device)

    def train(self, task: str, config: RunConfig, group: ProcessGroup = SINGLE, port: int = 0) -> None:
        preset = config.preset
        if self.held_by != group:
            self.bank = None  # frees the first pictures before the others are loaded
            mine = group.shard(self.records)
            self.bank = load_bank(mine, preset.canvas_px, self.device, preset.workers, preset.clean)
            self.held_by = group
        with joined(group, port, self.device):
            train_task(TASKS[task], self.records, self.bank, config, group)


_PLACE: _Place | None = None


def _settle(records: Sequence[Record], device: str) -> None:
    global _PLACE
    _PLACE = _Place(records, device)


def _train_here(task: str, config: RunConfig, group: ProcessGroup, port: int) -> None:
    _PLACE.train(task, config, group, port)

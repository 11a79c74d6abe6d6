"""Spread training jobs over devices: one process a device, which decodes its share of the pictures and keeps them."""

import multiprocessing
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import torch

from training.config import Preset
from training.data.dataset import PictureBank, load_bank
from training.data.manifest import Record, read_manifests
from training.loop.team import ALONE, Team, free_port, joined
from training.loop.train import train_task

TASKS = ("finder", "reader")
ALGORITHMS_TRIED = 4
"""For each convolution; with the usual ten, over a minute went by on a GPU before the first step."""


@dataclass(frozen=True)
class TrainingJob:
    """One network of one run: its settings, the folder for its checkpoint, and that of the one it goes on from.

    `compiled`: its operations are fused first, which takes a minute or two and makes each step faster.
    """

    task: str
    preset: Preset
    seed: int
    folder: Path
    start: Path | None = None
    compiled: bool = False


def train_both(
    data: Sequence[Path],
    preset: Preset,
    seed: int,
    folder: Path,
    devices: Sequence[str],
    start: Path | None = None,
    compiled: bool = False,
    tasks: Sequence[str] = TASKS,
) -> None:
    """Train the networks on all pictures of style train; side by side where there are two devices or more.

    They begin with the checkpoints in the folder `start`, or without one with the ImageNet weights.
    """
    records = read_manifests(data, "train")
    for _ in run_jobs([TrainingJob(task, preset, seed, folder, start, compiled) for task in tasks], records, devices):
        pass


def run_jobs(jobs: Sequence[TrainingJob], records: Sequence[Record], devices: Sequence[str]) -> Iterator[TrainingJob]:
    """Train every job and give each back as soon as it is finished. One device: in this process, in order.

    The devices that are left over when each job has one help with the last.
    """
    if len(devices) == 1:
        place = _Place(records, devices[0])
        for job in jobs:
            yield place.train(job)
        return
    crews = [[number % len(devices)] for number in range(len(jobs))]
    crews[-1] += range(len(jobs), len(devices))
    context = multiprocessing.get_context("spawn")
    with ExitStack() as pools:
        places = [
            pools.enter_context(ProcessPoolExecutor(1, context, _settle, (records, device))) for device in devices
        ]
        speakers, waiting = {}, []
        for job, crew in zip(jobs, crews, strict=True):
            port = free_port()
            members = [places[place].submit(_train_here, job, Team(n, len(crew)), port) for n, place in enumerate(crew)]
            speakers[members[0]] = job
            waiting += members
        for finished in as_completed(waiting):
            finished.result()
            if finished in speakers:
                yield speakers[finished]


class _Place:
    """A device with the pictures that lie on it; clean twins take the place of as many as a job wants."""

    def __init__(self, records: Sequence[Record], device: str) -> None:
        self.records, self.device = list(records), torch.device(device)
        self.bank: PictureBank | None = None
        self.loaded: tuple | None = None
        if self.device.type == "cuda":
            torch.cuda.set_device(self.device)
            torch.backends.cudnn.benchmark = True
            torch.backends.cudnn.benchmark_limit = ALGORITHMS_TRIED
            torch.backends.cudnn.allow_tf32 = torch.backends.cuda.matmul.allow_tf32 = True

    def train(self, job: TrainingJob, team: Team = ALONE, port: int = 0) -> TrainingJob:
        preset = job.preset
        wanted = (team, preset.clean, preset.part_maps)
        if self.loaded != wanted:
            self.bank = None  # frees the first pictures before the others are loaded
            mine = team.share(self.records)
            self.bank = load_bank(mine, preset.canvas_px, self.device, preset.workers, preset.clean, preset.part_maps)
            self.loaded = wanted
        with joined(team, port, self.device):
            train_task(job.task, self.records, self.bank, preset, job.seed, job.folder, job.start, team, job.compiled)
        return job


_PLACE: _Place | None = None


def _settle(records: Sequence[Record], device: str) -> None:
    global _PLACE
    _PLACE = _Place(records, device)


def _train_here(job: TrainingJob, team: Team, port: int) -> None:
    _PLACE.train(job, team, port)

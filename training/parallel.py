"""Spread training jobs over devices: one process a device, which loads its pictures once."""

import multiprocessing
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

import torch

from training.config import Preset
from training.dataset import PictureBank, load_bank
from training.manifest import Record, read_manifests
from training.train import train_task

TASKS = ("finder", "reader")


@dataclass(frozen=True)
class TrainingJob:
    """One network of one run: its settings and the folder for its checkpoint."""

    task: str
    preset: Preset
    seed: int
    folder: Path


def train_both(data: Sequence[Path], preset: Preset, seed: int, folder: Path, devices: Sequence[str]) -> None:
    """Train finder and reader on all pictures of style train; side by side where there are two devices."""
    records = read_manifests(data, "train")
    for _ in run_jobs([TrainingJob(task, preset, seed, folder) for task in TASKS], records, devices):
        pass


def run_jobs(jobs: Sequence[TrainingJob], records: Sequence[Record], devices: Sequence[str]) -> Iterator[TrainingJob]:
    """Train every job and give each back when it is finished. One device: in this process, in order."""
    if len(devices) == 1:
        yield from _in_turn(jobs, records, devices[0])
        return
    context = multiprocessing.get_context("spawn")
    shares = [list(jobs[number :: len(devices)]) for number in range(len(devices))]
    with ProcessPoolExecutor(len(devices), context) as pool:
        waiting = [
            pool.submit(_share, share, records, device) for share, device in zip(shares, devices, strict=True) if share
        ]
        for finished in as_completed(waiting):
            yield from finished.result()


def _share(jobs: list[TrainingJob], records: Sequence[Record], device: str) -> list[TrainingJob]:
    return list(_in_turn(jobs, records, device))


def _in_turn(jobs: Sequence[TrainingJob], records: Sequence[Record], device: str) -> Iterator[TrainingJob]:
    place = torch.device(device)
    if place.type == "cuda":
        torch.cuda.set_device(place)
        torch.backends.cudnn.benchmark = True
        torch.backends.cudnn.allow_tf32 = torch.backends.cuda.matmul.allow_tf32 = True
    bank: PictureBank | None = None
    clean = None
    for job in jobs:
        if bank is None or clean != job.preset.clean:
            bank, clean = None, job.preset.clean  # frees the first pictures before the second ones are loaded
            bank = load_bank(records, job.preset.canvas_px, place, job.preset.workers, clean)
        train_task(job.task, list(records), bank, job.preset, job.seed, job.folder)
        yield job

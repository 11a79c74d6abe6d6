"""Several processes train one network: as one process that sees all their batches would, whatever the device."""

import math
import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import count
from pathlib import Path

import numpy as np
import torch
from torch import nn
from torch.nn import functional

from training.command import main
from training.config import PRESETS, Schedule
from training.loop.process_group import ProcessGroup, free_port, joined
from training.loop.train import Job, RunConfig, fit
from training.nets.checkpoint import read_whole

SEED, EACH = 5, 8
SCHEDULE = Schedule(steps=30, batch=EACH, learning_rate=3e-3, average_decay=0.5)


def _draw(rng: np.random.Generator, size: int) -> tuple[torch.Tensor, dict[str, torch.Tensor]]:
    points = torch.from_numpy(rng.normal(size=(size, 4))).float()
    return points, {"target": points.prod(dim=1, keepdim=True)}


def _loss(output: torch.Tensor, targets: dict[str, torch.Tensor]) -> dict[str, torch.Tensor]:
    return {"total": functional.mse_loss(output, targets["target"])}


def _trained(folder: Path, schedule: Schedule, draw: Callable, group: ProcessGroup) -> dict[str, torch.Tensor]:
    torch.manual_seed(0)
    net = nn.Sequential(nn.Linear(4, 16), nn.Tanh(), nn.Linear(16, 1))
    return fit(
        net,
        Job("product", draw, _loss, schedule, RunConfig(PRESETS["small"], SEED, folder), {"task": "product"}, group),
    ).state_dict()


def _member(folder: Path, group: ProcessGroup, port: int) -> dict[str, torch.Tensor]:
    with joined(group, port, torch.device("cpu")):
        return _trained(folder, SCHEDULE, _draw, group)


def test_two_members_learn_what_one_learns_from_both_their_batches(tmp_path: Path):
    steps = count()

    def draw_both(_: np.random.Generator, size: int) -> tuple[torch.Tensor, dict[str, torch.Tensor]]:
        step = next(steps)
        (ours, wanted), (theirs, too) = (_draw(np.random.default_rng([SEED, step, n]), size // 2) for n in (0, 1))
        return torch.cat([ours, theirs]), {"target": torch.cat([wanted["target"], too["target"]])}

    schedule = replace(SCHEDULE, batch=2 * EACH, learning_rate=SCHEDULE.learning_rate * math.sqrt(2))
    alone = _trained(tmp_path / "alone", schedule, draw_both, ProcessGroup())
    port = free_port()
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        members = [pool.submit(_member, tmp_path / str(n), ProcessGroup(n, 2), port) for n in (0, 1)]
        first, second = (member.result() for member in members)
    for name, wanted in alone.items():
        assert torch.equal(first[name], second[name])
        assert torch.allclose(first[name], wanted, atol=1e-5), name
    assert (tmp_path / "0" / "product.pt").is_file() and not (tmp_path / "1").exists()  # one writes for all


def test_devices_left_over_help_the_reader(drawn: dict[str, Path], tmp_path: Path, capfd, monkeypatch):
    monkeypatch.setenv("OMP_NUM_THREADS", "1")  # three processes, each with a thread a core, would wait for each other
    main(["train", "--data", str(drawn["train"]), "--out", str(tmp_path), "--preset", "small", "--devices",
          "cpu,cpu,cpu"])  # fmt: skip
    told = capfd.readouterr().out
    assert told.count("60 pictures decoded") == 1 and told.count("30 pictures decoded") == 2  # the reader's, shared
    assert {read_whole(tmp_path / f"{task}.pt")["about"]["pictures"] for task in ("finder", "reader")} == {60}

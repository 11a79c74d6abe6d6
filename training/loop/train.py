"""Train one network: new heads first, then everything; resumes where it was stopped."""

import copy
import hashlib
import math
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import torch
from torch import nn
from torch.optim.swa_utils import get_ema_multi_avg_fn

from training.config import Preset, Schedule
from training.data.dataset import PictureBank
from training.data.manifest import Record
from training.loop.pace import learning_rate_share, memory_layout, warm_up
from training.loop.process_group import SINGLE, ProcessGroup
from training.loop.tasks import Draw, Loss, Task
from training.nets.checkpoint import read_whole, save_network, take_over, write_whole
from training.nets.model import backbone_parameters, new_network

REPORT_EVERY_S = 5.0


class TrainingError(RuntimeError):
    """A run that cannot go on; the message says why and what to do."""


@dataclass(frozen=True)
class RunConfig:
    """Everything that decides a run beside its pictures and its device.

    The folder for its files, the folder of checkpoints to begin with (without one: ImageNet weights), whether the
    network's operations are fused first, and the command that started it, for the metadata.
    """

    preset: Preset
    seed: int
    folder: Path
    start: Path | None = None
    compiled: bool = False
    command: str | None = None


@dataclass(frozen=True)
class Job:
    """What one network learns from, and where its files go: `NAME.pt`, and `NAME.state.pt` until it is finished.

    `about` are plain facts that are stored with the weights, and that a resumed run must share.
    """

    name: str
    draw: Draw
    loss: Loss
    schedule: Schedule
    config: RunConfig
    about: dict
    group: ProcessGroup = SINGLE


def train_task(
    task: Task, records: list[Record], bank: PictureBank, config: RunConfig, group: ProcessGroup = SINGLE
) -> nn.Module:
    """Train a network on these pictures; returns it with averaged weights, in evaluation mode.

    It begins with what fits it in its checkpoint in the run's start, or without one with the ImageNet weights. One
    whose layers all fit learns more gently, at `going_on_rate` of the learning rate. Every member of `group` calls this
    with the same arguments but for `bank`, which holds the member's share of the records' pictures on its device.
    """
    torch.manual_seed(config.seed)
    net = new_network(task.name, pretrained=config.start is None)
    begun = config.start / f"{task.name}.pt" if config.start else None
    new = take_over(begun, net) if begun else []
    net.to(bank.device)
    batches, schedule = task.batches(group.shard(records), bank, config.preset), task.schedule(config.preset)
    about = {"task": task.name, "preset": config.preset.as_dict(), "seed": config.seed, "pictures": len(records)}
    if begun:
        about["pictures"] += read_whole(begun)["about"]["pictures"]  # it learned from those too
        about["went_on_from"] = hashlib.sha256(begun.read_bytes()).hexdigest()
        group.log(f"{task.name}: goes on from {config.start}, {len(new)} of its tensors are new")
        if not new:
            gentler = schedule.going_on_rate * schedule.learning_rate
            schedule = replace(schedule, head_only_share=0.0, learning_rate=gentler)
    return fit(net, Job(task.name, batches.draw, task.loss, schedule, config, about, group))


def fit(net: nn.Module, job: Job) -> nn.Module:
    """Train `net` on its device; returns the averaged weights and stores them in half precision."""
    state_path, final_path = job.config.folder / f"{job.name}.state.pt", job.config.folder / f"{job.name}.pt"
    run = Run(net, job)
    if state_path.is_file():
        run.resume(read_whole(state_path), state_path)
    elif final_path.is_file() and _without_command(read_whole(final_path)["about"]) == job.about:
        job.group.log(f"{job.name}: finished before, {final_path} is kept")
        net.load_state_dict(read_whole(final_path)["weights"])
        return net.eval()
    else:
        run.begin()
    saved = reported = time.monotonic()
    while (done := job.group.from_main(run.progress())) < 1:
        run.step(done)
        now = time.monotonic()
        if now - reported > REPORT_EVERY_S:
            run.report()
            reported = now
        if now - saved > job.schedule.save_every_s:
            if job.group.is_main:
                write_whole(state_path, run.state())
            saved = time.monotonic()
    run.report()
    if run.device.type == "cuda":
        job.group.log(f"{job.name}: {torch.cuda.max_memory_allocated() / 2**30:.1f} GiB of GPU memory at most")
    if job.group.is_main:
        save_network(final_path, run.averaged, job.about | {"command": job.config.command})
        state_path.unlink(missing_ok=True)
    return run.averaged.eval()


def _without_command(about: dict) -> dict:
    return {name: fact for name, fact in about.items() if name != "command"}


class Run:
    """The moving parts of one training: weights, their average, the optimiser, and how far it is."""

    def __init__(self, net: nn.Module, job: Job) -> None:
        self.net, self.job, self.schedule = net, job, job.schedule
        self.device = next(net.parameters()).device
        self.forward = torch.compile(net) if job.config.compiled else net
        self.averaged = copy.deepcopy(net).requires_grad_(False)
        backbone = backbone_parameters(net)
        known = {id(parameter) for parameter in backbone}
        heads = [parameter for parameter in net.parameters() if id(parameter) not in known]
        self.backbone = backbone
        groups = [{"params": heads, "scale": 1.0}] + (
            [{"params": backbone, "scale": self.schedule.backbone_rate}] if backbone else []
        )
        on_gpu = self.device.type == "cuda"
        self.optimiser = torch.optim.AdamW(groups, lr=1.0, weight_decay=self.schedule.weight_decay, fused=on_gpu)
        self.layout = memory_layout(self.device)
        for each in (self.net, self.averaged):
            each.to(memory_format=self.layout)
        self.steps, self.elapsed_s, self.losses, self.running_since = 0, 0.0, {}, time.monotonic()
        self.recent: list[tuple[float, int]] = []
        self.pairs: list[
            tuple[torch.Tensor, torch.Tensor]
        ] = []  # averaged and current, looked up once: it is every step

    def begin(self) -> None:
        """With minutes given, the clock starts after the first steps, which are slow."""
        if self.schedule.minutes:
            started = time.monotonic()
            warm_up(self._work, self.net)
            self.job.group.log(f"{self.job.name}: the first steps took {time.monotonic() - started:.0f} s")
        self.running_since = time.monotonic()

    def spent_s(self) -> float:
        return self.elapsed_s + time.monotonic() - self.running_since

    def progress(self) -> float:
        """Share of the work done: of the minutes, where they are given, else of the steps."""
        minutes = self.schedule.minutes
        return self.spent_s() / (60 * minutes) if minutes else self.steps / self.schedule.steps

    def _at(self) -> str:
        """How far it is in steps; how many there will be is known only where no clock ends them."""
        return f"step {self.steps}" + ("" if self.schedule.minutes else f" of {self.schedule.steps}")

    def _batch(self) -> int:
        """Pictures a step, of all members."""
        return self.schedule.batch * self.job.group.size

    def step(self, done: float) -> None:
        """One batch when the share `done` of the work is behind: loss, gradient, update, average."""
        head_only = done < self.schedule.head_only_share and bool(self.backbone)
        self._set_phase(head_only)
        heads_share = self.schedule.head_only_share if self.backbone else 0.0
        full_rate = self.schedule.learning_rate * math.sqrt(self.job.group.size)
        rate = full_rate * learning_rate_share(done, heads_share, self.schedule.warmup_share)
        for group in self.optimiser.param_groups:
            group["lr"] = rate * group["scale"]
        self.optimiser.zero_grad(set_to_none=True)
        self.losses = self._work(self.steps)
        self.job.group.mean_gradients(self.net.parameters())
        nn.utils.clip_grad_norm_(self.net.parameters(), self.schedule.clip_norm)
        self.optimiser.step()
        self.steps += 1
        self._average()

    def _work(self, step: int) -> dict[str, torch.Tensor]:
        seed, member = self.job.config.seed, self.job.group.rank
        torch.manual_seed((seed * 1_000_003 + step) + member * 2**40)  # dropout repeats in a resumed run
        rng = np.random.default_rng([seed, step, member])
        pictures, targets = self.job.draw(rng, self.schedule.batch)
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            output = self.forward(pictures.contiguous(memory_format=self.layout))
        losses = self.job.loss(output, targets)
        losses["total"].backward()
        return losses

    def _set_phase(self, head_only: bool) -> None:
        self.net.train()
        for parameter in self.backbone:
            parameter.requires_grad_(not head_only)
        if head_only:  # frozen features keep their ImageNet statistics too
            for name in ("backbone", "conv_head", "bn2"):
                getattr(self.net, name, nn.Identity()).eval()

    @torch.no_grad()
    def _average(self) -> None:
        decay = min(self.schedule.average_decay, (1 + self.steps) / (10 + self.steps))
        if not self.pairs:
            kept, moving = self.averaged.state_dict(), self.net.state_dict()
            self.pairs = [(kept[name], moving[name]) for name in kept if kept[name].is_floating_point()]
        get_ema_multi_avg_fn(decay)([kept for kept, _ in self.pairs], [moving for _, moving in self.pairs], None)

    def report(self) -> None:
        """One line: step, losses, learning rate, speed, time spent and left."""
        losses = {name: float(value.detach()) for name, value in self.losses.items()}
        if losses and not np.isfinite(losses["total"]):
            raise TrainingError(
                f"{self.job.name}: loss {losses} at step {self.steps}; lower the learning rate and resume"
            )
        spent = self.spent_s()
        self.recent = [*self.recent[-3:], (spent, self.steps)]
        (since, before), (until, now) = self.recent[0], self.recent[-1]
        pace = (now - before) / (until - since) if until > since and now > before else self.steps / max(spent, 1e-6)
        minutes = self.schedule.minutes
        left = 60 * minutes - spent if minutes else (self.schedule.steps - self.steps) / max(pace, 1e-6)
        named = " ".join(f"{name} {value:.3f}" for name, value in losses.items())
        rate = self.optimiser.param_groups[0]["lr"]
        self.job.group.log(
            f"{self.job.name}: {self._at()} {named} lr {rate:.1e} "
            f"{pace * self._batch():.0f} images/s {spent:.0f} s spent {max(left, 0):.0f} s left"
        )

    def state(self) -> dict:
        """All that a resumed run needs."""
        return {
            "net": self.net.state_dict(),
            "averaged": self.averaged.state_dict(),
            "optimiser": self.optimiser.state_dict(),
            "steps": self.steps,
            "elapsed_s": self.spent_s(),
            "about": self.job.about,
        }

    def resume(self, state: dict, path: Path) -> None:
        """Go on from a stored state; refuses one of another run."""
        if state["about"] != self.job.about:
            raise TrainingError(f"{path} belongs to a run with other settings; remove it or choose another --out")
        self.net.load_state_dict(state["net"])
        self.averaged.load_state_dict(state["averaged"])
        self.optimiser.load_state_dict(state["optimiser"])
        self.steps = state["steps"]
        self.elapsed_s, self.running_since = state["elapsed_s"], time.monotonic()
        self.job.group.log(f"{self.job.name}: goes on at {self._at()}")

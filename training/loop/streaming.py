"""Teach readers or finders by views that are rendered beside them: `python -m training stream`."""

import argparse
import copy
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import torch
from torch import nn
from torch.nn import functional

from classifier.recipe import CLASSES, Recipe
from synthetic_samples.render.stream import StreamPlan, ViewStream
from synthetic_samples.scene.layout import Brief
from training.config import PRESETS, STRIDE, Preset
from training.data.dataset import load_bank
from training.data.geometry import wobbled
from training.data.manifest import DatasetError, read_manifests
from training.data.nothing import nothing_bank, read_cut_outs
from training.loop.mixed import Mixed, WithNothing
from training.loop.parallel import made_ready
from training.loop.streamed import WOBBLE, Drawn, Streamed, StreamedPhotos, StreamedWindows
from training.loop.tasks import TASKS, Batches, Task
from training.loop.train import Job, Run, RunConfig
from training.loop.unfuse import served_network
from training.nets.checkpoint import save_network
from training.nets.model import BACKBONE, BACKBONE_WEIGHTS, COARSEST_STRIDE, new_network

IMAGENET = "imagenet"
STREAMED = {"reader": StreamedWindows, "finder": StreamedPhotos}
_STATISTICS_BATCHES, _STATISTICS_BATCH = 16, 32  # views by which a served network's norms are set apart
_REPORT_EVERY_S, _SAVE_EVERY_S = 15.0, 60.0
_NOTHINGS = 8  # pictures of nothing to be drawn from, for each window of a batch
_GROUP = 128  # views a batch whose loss is measured at the end


def stream(options: argparse.Namespace) -> None:
    """Start the stream, teach, store `OUT/NAME/TASK.pt` for each beginning, how it began, and `OUT/streamed.json`."""
    task = TASKS[options.task]
    if options.smaller and options.smaller % COARSEST_STRIDE:
        raise DatasetError(f"--smaller {options.smaller} came; want a multiple of {COARSEST_STRIDE}")
    preset = _preset(options, task)
    devices = (options.devices or ("cuda:0" if torch.cuda.is_available() else "cpu")).split(",")
    device, side_px = torch.device(devices[0]), getattr(preset, f"{task.name}_px")
    gpus = tuple(torch.device(each).index or 0 for each in devices)
    plan = StreamPlan(
        seed=options.seed, brief=Brief("train", (), False, options.grammar), views=options.views, side_px=side_px,
        samples=options.samples, depth=options.depth, builders=options.builders, renderers=options.renderers,
        variant=options.variant, gpus=gpus, whole=task.name == "finder",
    )  # fmt: skip
    options.out.mkdir(parents=True, exist_ok=True)
    made_ready(device)
    stored = _stored(options, task, preset, device)
    cut_outs = read_cut_outs(options.cut_outs, side_px).to(device) if options.cut_outs else None
    batches = STREAMED[task.name](ViewStream(plan), side_px, options.held, device, options.seed, options.unseen)
    draw = Mixed(batches, stored, options.stored).draw if stored else batches.draw
    try:
        if task.name == "reader" and options.nothing:
            count = _NOTHINGS * task.schedule(preset).batch
            pictures = nothing_bank(options.seed, count, side_px, device, cut_outs)
            draw = WithNothing(draw, options.nothing, pictures).draw
        begun = [begin(task, start, draw, device, options.seed) for start in options.begin or [IMAGENET]]
        if options.smaller and task.name == "reader":
            begun.append(_twin(begun[0], options.smaller))
        for each in begun:  # what `average` may mix the taught network with
            about = _about(task, each, preset, options.seed)
            save_network(options.out / each.name / "begun_from" / f"{task.name}.pt", each.net, about)
        train_streamed(task, begun, batches, RunConfig(preset, options.seed, options.out, command=options.line), draw)
    finally:
        batches.close()


def _stored(options: argparse.Namespace, task: Task, preset: Preset, device: torch.device) -> Batches | None:
    """Batches of the stored renders that are learned from beside the stream, where some are given."""
    if not options.data:
        return None
    records = read_manifests(options.data, "train")
    return task.batches(records, load_bank(records, preset.canvas_px, device, preset.workers, preset.clean), preset)


def _preset(options: argparse.Namespace, task: Task) -> Preset:
    """The preset with the minutes, the batch and, of a finder, the side that are asked for."""
    schedule = replace(task.schedule(PRESETS[options.preset]), minutes=options.minutes)
    if options.batch:
        schedule = replace(schedule, batch=options.batch)
    preset = replace(PRESETS[options.preset], **{task.name: schedule})
    return replace(preset, finder_px=options.smaller) if options.smaller and task.name == "finder" else preset


@dataclass(frozen=True)
class Begun:
    """A network to teach: its name, the network as it begins, and facts to store with it."""

    name: str
    net: nn.Module
    about: dict
    gently: bool = False  # at the learning rate of one that goes on from another
    side_px: int | None = None  # of a reader whose windows are smaller than they are drawn


def begin(task: Task, start: str, draw: Callable, device: torch.device, seed: int) -> Begun:
    """A network with ImageNet weights (`imagenet`, `imagenet-lite2`), or one that goes on from a served folder.

    `draw` is that of the batches.
    """
    torch.manual_seed(seed)
    backbone = start.removeprefix(f"{IMAGENET}-") if start != IMAGENET else BACKBONE
    if backbone in BACKBONE_WEIGHTS:
        return Begun(start, new_network(task.name, True, backbone).to(device), {"backbone": backbone})
    rng = np.random.default_rng(0)
    some = [draw(rng, _STATISTICS_BATCH, learned=False)[0] for _ in range(_STATISTICS_BATCHES)]
    about = {"went_on_from": start, "pictures": Recipe.read(Path(start))[0].trained_on.synthetic}
    return Begun("served", served_network(task.name, Path(start), some, device), about, gently=True)


def _twin(first: Begun, side_px: int) -> Begun:
    return replace(first, name=f"{first.name}-{side_px}", net=copy.deepcopy(first.net), side_px=side_px)


def train_streamed(
    task: Task, begun: Sequence[Begun], batches: Streamed, config: RunConfig, draw: Callable | None = None
) -> list[dict]:
    """Teach each network by the same views for the preset's minutes; stores them, and tells what was seen and lost.

    `draw`: where a batch holds more than streamed views.
    """
    shared = _shared(draw or batches.draw)
    runs = [Run(begun[0].net, _job(task, begun[0], shared, config))]
    of_twin = _soft_targets(shared, runs[0].averaged)
    runs += [Run(each.net, _job(task, each, of_twin if each.side_px else shared, config)) for each in begun[1:]]
    started = reported = saved = time.monotonic()
    for run in runs:
        run.running_since = started
    while (done := runs[0].progress()) < 1:
        for run in runs:
            run.step(done)
        now = time.monotonic()
        if now - reported > _REPORT_EVERY_S:
            reported = now
            for run in runs:
                run.report()
            print(_pace(batches, now - started), flush=True)
        if now - saved > _SAVE_EVERY_S:
            saved = now
            _save(task, runs, batches)
    _save(task, runs, batches)
    losses = [_losses(task, run.averaged.eval(), batches, e.side_px) for run, e in zip(runs, begun, strict=True)]
    told = [{"name": run.job.name, "steps": run.steps} | lost for run, lost in zip(runs, losses, strict=True)]
    summary = {"task": task.name, "runs": told, "views": batches.bank.added, "worlds": len(batches.bank.worlds),
               "drawn": batches.drawn, "left_out": batches.bank.left_out,
               "seconds": time.monotonic() - started}  # fmt: skip
    (config.folder / "streamed.json").write_text(json.dumps(summary, indent=1))
    print(json.dumps(summary), flush=True)
    return told


def _shared(draw: Callable) -> Callable:
    """Draws that are the same for all networks of one step, told by their generator's seed."""
    cached: dict[tuple[int, ...], tuple] = {}

    def shared(rng: np.random.Generator, count: int):
        key = tuple(np.asarray(rng.bit_generator.seed_seq.entropy).ravel().tolist())
        if key not in cached:
            cached.clear()
            cached[key] = draw(rng, count)
        return cached[key]

    return shared


def _soft_targets(draw: Callable, teacher: nn.Module) -> Callable:
    """Draws of windows as they are, with what a reader says of them among the targets."""

    def drawn(rng: np.random.Generator, count: int) -> Drawn:
        windows, targets = draw(rng, count)
        with torch.no_grad(), torch.autocast(windows.device.type, torch.bfloat16, windows.is_cuda):
            told = teacher.eval()(windows)
        return windows, targets | {"soft": {head: told[head].float() for head in ("kind", *CLASSES)}}

    return drawn


def _job(task: Task, each: Begun, draw: Callable, config: RunConfig) -> Job:
    schedule = task.schedule(config.preset)
    if each.gently:
        gentler = schedule.going_on_rate * schedule.learning_rate
        schedule = replace(schedule, head_only_share=0.0, learning_rate=gentler)
    about = _about(task, each, config.preset, config.seed)
    return Job(each.name, lambda *asked: smaller(draw(*asked), each.side_px), task.loss, schedule, config, about)


def smaller(drawn: Drawn, side_px: int | None) -> Drawn:
    """The same windows (N, 3, S, S) at another side and their parts; as they are for None."""
    if side_px is None:
        return drawn
    windows, targets = drawn
    reduced = functional.interpolate(windows, (side_px, side_px), mode="bilinear", antialias=True)
    return reduced, targets | {"parts": functional.adaptive_avg_pool2d(targets["parts"], side_px // STRIDE)}


def _about(task: Task, each: Begun, preset: Preset, seed: int) -> dict:
    if each.side_px:  # served a little larger than it is taught, as the preset has it
        served = round(each.side_px * preset.reader_served_px / preset.reader_px / COARSEST_STRIDE) * COARSEST_STRIDE
        preset = replace(preset, reader_px=each.side_px, reader_served_px=served)
    return {"pictures": 0} | each.about | {"task": task.name, "preset": preset.as_dict(), "seed": seed}


def _save(task: Task, runs: Sequence[Run], batches: Streamed) -> None:
    """Each network as it is by now: a run that is cut short leaves what it had a minute before."""
    for run in runs:
        pictures = run.job.about["pictures"] + batches.bank.added
        facts = run.job.about | {"pictures": pictures, "command": run.job.config.command}
        save_network(run.job.config.folder / run.job.name / f"{task.name}.pt", run.averaged, facts)


def _pace(batches: Streamed, spent_s: float) -> str:
    bank = batches.bank
    return (
        f"stream: {bank.added} views of {len(bank.worlds)} worlds, {bank.added / spent_s:.0f} a second, "
        f"{bank.left_out} left out, {batches.drawn / max(bank.added, 1):.2f} uses a view"
    )


@torch.no_grad()
def _losses(task: Task, net: nn.Module, batches: Streamed, side_px: int | None) -> dict[str, dict[str, float]]:
    """The mean loss on views that were learned from last and on as many that never were, in the same weather."""
    used = np.flatnonzero((batches.bank.uses >= 1) & (np.arange(batches.bank.capacity) < batches.bank.added))
    used = np.random.default_rng(4).permutation(used)[: batches.unseen.capacity]
    found = {}
    for name, bank, places in (
        ("learned", batches.bank, used),
        ("unseen", batches.unseen, np.arange(min(batches.unseen.added, batches.unseen.capacity))),
    ):
        sums: dict[str, float] = {}
        groups = np.array_split(places, max(1, len(places) // _GROUP))
        for number, group in enumerate(groups):
            rng = np.random.default_rng([5, number])
            maps = wobbled(batches.plain_maps(len(group)), WOBBLE, rng)
            windows, targets = smaller(batches.shown(bank, group, maps, rng), side_px)
            for key, value in task.loss(net(windows), targets).items():
                sums[key] = sums.get(key, 0.0) + float(value) * len(group)
        found[name] = {key: round(value / len(places), 4) for key, value in sums.items()}
    return found

"""The training loop itself: it learns, and it goes on where it was stopped."""

import copy
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import torch
from sklearn import svm
from sklearn.datasets import load_digits
from torch import nn
from torch.nn import functional

from training.config import PRESETS, Schedule
from training.loop.pace import learning_rate_share
from training.loop.train import Job, RunConfig, TrainingError, fit

SCHEDULE = Schedule(steps=500, batch=64, learning_rate=3e-3, average_decay=0.98, save_every_s=1e9)


def digit_job(folder: Path, schedule: Schedule = SCHEDULE) -> tuple[nn.Module, Job]:
    """A small net and the first half of scikit-learn's handwritten digits."""
    images = torch.from_numpy(load_digits().images).float()[:, None] / 8 - 1  # (1797, 1, 8, 8)
    labels = torch.from_numpy(load_digits().target)
    half = len(images) // 2

    def draw(rng: np.random.Generator, count: int):
        chosen = torch.from_numpy(rng.integers(0, half, count))
        return images[chosen], {"label": labels[chosen]}

    def loss(output, targets):
        return {"total": functional.cross_entropy(output, targets["label"])}

    torch.manual_seed(0)
    net = nn.Sequential(
        *(nn.Conv2d(1, 32, 3, padding=1), nn.BatchNorm2d(32), nn.ReLU(), nn.MaxPool2d(2)),
        *(nn.Conv2d(32, 64, 3, padding=1), nn.BatchNorm2d(64), nn.ReLU(), nn.Flatten(), nn.Dropout(0.3)),
        nn.Linear(64 * 16, 10),
    )
    return net, Job("digits", draw, loss, schedule, RunConfig(PRESETS["small"], 3, folder), {"task": "digits"})


def test_reaches_what_the_documented_example_reaches_on_handwritten_digits(tmp_path: Path):
    """Source: scikit-learn's example "Recognizing hand-written digits": same halves, a support vector machine, 97 %."""
    digits = load_digits()
    flat, half = digits.images.reshape(len(digits.images), -1), len(digits.images) // 2
    documented = svm.SVC(gamma=0.001).fit(flat[:half], digits.target[:half]).score(flat[half:], digits.target[half:])
    assert round(documented, 2) == 0.97
    net = fit(*digit_job(tmp_path))
    with torch.no_grad():
        answers = net(torch.from_numpy(digits.images[half:]).float()[:, None] / 8 - 1).argmax(1).numpy()
    assert (answers == digits.target[half:]).mean() >= 0.96


@pytest.mark.skipif(not shutil.which("g++"), reason="fusing a network's operations needs a C++ compiler")
def test_a_compiled_network_learns_the_same(tmp_path: Path):
    torch.manual_seed(0)
    net, job = digit_job(tmp_path, replace(SCHEDULE, steps=12))
    net[-2].p = 0.0  # compiled, it would draw other random numbers
    fused, same = copy.deepcopy(net), replace(job, config=replace(job.config, folder=tmp_path / "fused", compiled=True))
    pictures, _ = job.draw(np.random.default_rng(0), 200)
    plain, fused = fit(net, job), fit(fused, same)
    with torch.no_grad():
        assert torch.allclose(plain(pictures), fused(pictures), atol=0.02)


def test_a_stopped_run_goes_on_to_the_same_weights(tmp_path: Path):
    schedule = replace(SCHEDULE, steps=40, save_every_s=0.0)
    whole = fit(*digit_job(tmp_path / "whole", schedule))
    net, job = digit_job(tmp_path / "stopped", schedule)
    calls = []

    def draw_until_stopped(rng, count):
        calls.append(count)
        if len(calls) == 25:
            raise KeyboardInterrupt
        return job.draw(rng, count)

    with pytest.raises(KeyboardInterrupt):
        fit(net, replace(job, draw=draw_until_stopped))
    assert (tmp_path / "stopped" / "digits.state.pt").is_file() and not (tmp_path / "stopped" / "digits.pt").exists()
    again = fit(*digit_job(tmp_path / "stopped", schedule))
    for ours, theirs in zip(whole.state_dict().values(), again.state_dict().values(), strict=True):
        assert torch.equal(ours, theirs)
    assert not (tmp_path / "stopped" / "digits.state.pt").exists()


def test_refuses_to_go_on_with_other_settings(tmp_path: Path):
    net, job = digit_job(tmp_path, replace(SCHEDULE, steps=10, save_every_s=0.0))

    def stop_late(rng, count):
        if (tmp_path / "digits.state.pt").is_file():
            raise KeyboardInterrupt
        return job.draw(rng, count)

    with pytest.raises(KeyboardInterrupt):
        fit(net, replace(job, draw=stop_late))
    net, job = digit_job(tmp_path, job.schedule)
    with pytest.raises(TrainingError, match="other settings"):
        fit(net, replace(job, about={"task": "digits", "seed": 9}))


def test_a_loss_that_is_no_number_stops_the_run(tmp_path: Path):
    net, job = digit_job(tmp_path, replace(SCHEDULE, steps=3))
    broken = replace(job, loss=lambda output, targets: {"total": output.sum() * float("nan")})
    with pytest.raises(TrainingError, match="lower the learning rate"):
        fit(net, broken)


def test_minutes_end_the_run_however_slow_it_is(tmp_path: Path):
    schedule = replace(SCHEDULE, minutes=0.03)
    net, job = digit_job(tmp_path, schedule)
    fit(net, job)
    assert (tmp_path / "digits.pt").is_file()


def test_learning_rate_warms_up_twice_and_ends_near_nothing():
    shares = [learning_rate_share(progress, 0.1, 0.04) for progress in np.linspace(0, 1, 1001)]
    assert shares[0] < 0.1 and max(shares[:100]) == 1 and shares[101] < 0.2 and max(shares[101:]) > 0.95
    assert shares[-1] == pytest.approx(0.01)

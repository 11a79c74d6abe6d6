"""Networks to train, made of the served ones: they compute the same, and stand on statistics of their own pictures."""

import json
from pathlib import Path

import numpy as np
import onnxruntime
import pytest
import torch
from torch import nn

from training.command import main
from training.data.manifest import read_manifests
from training.loop.unfuse import set_statistics, unfuse
from training.nets.checkpoint import load_network, read_whole
from training.nets.export import (
    READER_OUTPUTS,
    ServedFinder,
    ServedReader,
    export_network,
    fuse_batch_norms,
    round_to_half,
)
from training.nets.model import new_network

SERVED = {"finder": (ServedFinder, ("heat", "ltrb"), 160), "reader": (ServedReader, READER_OUTPUTS, 96)}


@pytest.fixture(scope="module")
def begun(small_run: Path, drawn: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("begun")
    unfuse(small_run / "weights", read_manifests([drawn["train"]], "train"), out, torch.device("cpu"), 1)
    return out


def restored(begun: Path, task: str) -> nn.Module:
    net = new_network(task, pretrained=False)
    load_network(begun / f"{task}.pt", net)
    return net.eval()


@pytest.mark.parametrize("task", SERVED)
def test_it_computes_what_is_served(begun: Path, small_run: Path, task: str, tmp_path: Path):
    served, outputs, side = SERVED[task]
    inputs = np.random.default_rng(4).uniform(-1, 1, (2, 3, side, side)).astype(np.float32)
    session = onnxruntime.InferenceSession(small_run / "weights" / f"{task}.onnx")
    wanted = dict(zip(outputs, session.run(list(outputs), {"pictures": inputs}), strict=True))
    with torch.no_grad():
        came = dict(zip(outputs, served(restored(begun, task))(torch.from_numpy(inputs)), strict=True))
    for name, theirs in wanted.items():
        np.testing.assert_allclose(came[name].numpy(), theirs, rtol=1e-3, atol=1e-3, err_msg=name)
    # Exported again it is the same file but for rounding: no filter lost a bit.
    ready = served(round_to_half(fuse_batch_norms(restored(begun, task)))).eval()
    export_network(ready, tmp_path / "again.onnx", side, outputs)
    again = onnxruntime.InferenceSession(tmp_path / "again.onnx").run(list(outputs), {"pictures": inputs})
    for name, ours in zip(outputs, again, strict=True):
        np.testing.assert_allclose(ours, wanted[name], rtol=1e-4, atol=1e-4, err_msg=name)


def test_what_is_not_served_begins_at_nought(begun: Path):
    parts = restored(begun, "finder").parts
    assert not parts.weight.any() and not parts.bias.any()


def test_norms_stand_on_the_pictures_that_they_meet():
    """Against a batch norm's own running statistics, momentum None, which is their plain mean."""
    torch.manual_seed(0)
    net = nn.Sequential(nn.Conv2d(3, 4, 3, bias=False), nn.BatchNorm2d(4), nn.ReLU(), nn.Conv2d(4, 2, 1, bias=False),
                        nn.BatchNorm2d(2))  # fmt: skip
    nn.init.uniform_(net[1].weight, 0.2, 3)
    nn.init.uniform_(net[4].bias, -1, 1)
    pictures = [torch.randn(8, 3, 6, 6) * 2 + 1 for _ in range(4)]
    with torch.no_grad():
        before = net.eval()(pictures[0])
        set_statistics(net, pictures)
        torch.testing.assert_close(net(pictures[0]), before, rtol=1e-4, atol=1e-5)
        wanted = nn.BatchNorm2d(4, momentum=None)
        wanted(torch.cat([net[0](p) for p in pictures]))
        torch.testing.assert_close(net[1].running_mean, wanted.running_mean, rtol=1e-4, atol=1e-5)
        torch.testing.assert_close(net[1].running_var, wanted.running_var, rtol=2e-3, atol=1e-4)
        trained = net.train()(torch.cat(pictures))
        torch.testing.assert_close(trained, net.eval()(torch.cat(pictures)), rtol=1e-2, atol=1e-2)


def test_training_goes_on_from_served_weights(small_run: Path, drawn: dict[str, Path], tmp_path: Path):
    main(["train", "--data", str(drawn["train"]), "--preset", "small", "--devices", "cpu", "--out", str(tmp_path),
          "--start", str(small_run / "weights")])  # fmt: skip
    told = json.loads((small_run / "weights" / "model.json").read_text())["trained_on"]["synthetic"]
    for task in SERVED:
        assert read_whole(tmp_path / f"{task}.pt")["about"]["pictures"] == told + 60


def test_networks_of_other_sizes_are_refused(small_run: Path, drawn: dict[str, Path], tmp_path: Path, capsys):
    weights = tmp_path / "weights"
    weights.mkdir()
    metadata = json.loads((small_run / "weights" / "model.json").read_text())
    metadata["reader"]["input_px"] = 128
    (weights / "model.json").write_text(json.dumps(metadata))
    with pytest.raises(SystemExit):
        main(["train", "--data", str(drawn["train"]), "--preset", "small", "--devices", "cpu", "--out",
              str(tmp_path / "out"), "--start", str(weights)])  # fmt: skip
    assert "look at 160 and 128 pixels" in capsys.readouterr().err

"""Checkpoint averaging: averaged by hand, and the average of least loss is kept."""

import hashlib
from pathlib import Path

import numpy as np
import pytest
import torch

from classifier.recipe import CLASSES
from classifier.taxonomy import SUBJECTS
from synthetic_samples.render.part_maps import PARTS
from training.calibrate.averaging import (
    INITIAL_SHARES,
    average_checkpoints,
    loss_of_finder,
    mixed,
    two_fold_loss,
)
from training.command import main
from training.data.dataset import load_bank
from training.data.manifest import read_manifests
from training.loop.finding import cell_targets
from training.nets.checkpoint import CheckpointError, load_network, read_whole, write_whole
from training.nets.model import new_network


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_an_average_is_the_sum_by_shares():
    one = {"weight": torch.tensor([1.0, 2.0]), "count": torch.tensor(7)}
    other = {"weight": torch.tensor([3.0, -2.0]), "count": torch.tensor(9)}
    found = mixed([(one, 0.75), (other, 0.25)])
    assert found["weight"].tolist() == [1.5, 1.0] and found["count"] == 7


def test_two_fold_loss_of_logits_that_say_nothing_is_that_of_guessing_by_the_priors():
    """A third of the cases in each of three classes: log 3, and a little for the penalty on offsets."""
    truths = np.tile([0, 1, 2], 400)
    logits = np.zeros((len(truths), len(CLASSES["stop_position"])))
    folds = np.arange(len(truths)) // 3 % 2
    assert two_fold_loss("stop_position", logits, truths, folds) == pytest.approx(np.log(3), abs=2e-3)


def test_the_average_of_least_loss_is_kept_and_the_finder_stays(
    small_run: Path, drawn: dict[str, Path], tmp_path: Path
):
    """A run that unlearned everything loses to the initial checkpoint, and to every interpolation with it."""
    spoilt = read_whole(small_run / "reader.pt")
    noise = torch.Generator().manual_seed(1)
    for name, tensor in spoilt["weights"].items():
        if name.endswith("weight") and tensor.ndim == 2:
            spoilt["weights"][name] = torch.randn(tensor.shape, generator=noise).half()
    write_whole(tmp_path / "spoilt" / "reader.pt", spoilt)
    out = tmp_path / "out"
    out.mkdir()
    renders = read_manifests([drawn["calibration"]], "calibration")
    (losses,) = average_checkpoints(small_run, [tmp_path / "spoilt"], renders, out, torch.device("cpu"), 1).values()
    assert len(losses) == 1 + len(INITIAL_SHARES)
    assert min(losses, key=losses.__getitem__) == "the initial checkpoint"
    kept, began = new_network("reader", pretrained=False), new_network("reader", pretrained=False)
    (constituent,) = load_network(out / "reader.pt", kept)["constituents"]
    load_network(small_run / "reader.pt", began)
    assert constituent["share"] == 1 and constituent["sha256"] == sha256(small_run / "reader.pt")
    for ours, theirs in zip(kept.state_dict().values(), began.state_dict().values(), strict=True):
        assert torch.equal(ours, theirs)
    assert (out / "finder.pt").read_bytes() == (small_run / "finder.pt").read_bytes()


def test_a_run_without_any_network_is_refused(small_run: Path, drawn: dict[str, Path], tmp_path: Path):
    renders = read_manifests([drawn["calibration"]], "calibration")
    with pytest.raises(CheckpointError, match=r"nowhere.reader\.pt"):
        average_checkpoints(small_run, [tmp_path / "nowhere"], renders, tmp_path, torch.device("cpu"), 1)


def test_a_finder_that_a_run_holds_is_averaged_by_its_own_loss(small_run: Path, drawn: dict[str, Path], tmp_path: Path):
    spoilt = read_whole(small_run / "finder.pt")
    spoilt["weights"] = {n: t * 3 if t.is_floating_point() else t for n, t in spoilt["weights"].items()}
    write_whole(tmp_path / "spoilt" / "finder.pt", spoilt)
    (tmp_path / "out").mkdir()
    renders = read_manifests([drawn["calibration"]], "calibration")
    found = average_checkpoints(small_run, [tmp_path / "spoilt"], renders, tmp_path / "out", torch.device("cpu"), 1)
    assert list(found) == ["finder"] and min(found["finder"], key=found["finder"].get) == "the initial checkpoint"
    kept = read_whole(tmp_path / "out" / "finder.pt")
    (constituent,) = kept["about"]["constituents"]
    assert constituent["checkpoint"].endswith("finder.pt") and constituent["share"] == 1
    assert (tmp_path / "out" / "reader.pt").read_bytes() == (small_run / "reader.pt").read_bytes()


@pytest.mark.parametrize(("shifted_cells", "least", "most"), [(0.0, 0.0, 0.1), (3.0, 2.0, 50.0)])
def test_a_finder_that_puts_every_box_in_its_place_loses_next_to_nothing(
    shifted_cells: float, least: float, most: float, drawn: dict[str, Path]
):
    """Places by hand: a picture in the middle of a square of 160 px, cells of 8 px."""
    record = next(r for r in read_manifests([drawn["calibration"]], "calibration") if r.subjects)
    bank = load_bank([record], 320, torch.device("cpu"), 1)
    size = np.tile(bank.sizes_wh[0], 2) * 160 / bank.sizes_wh[0].max()
    boxes = np.array([s.box for s in record.subjects]) * size + (160 - size) / 2
    kinds = torch.tensor([[SUBJECTS.index(s.kind) for s in record.subjects]])
    cells = torch.from_numpy(boxes[None] / 8 + shifted_cells).float()
    told = cell_targets(cells, kinds, 20)
    said = (torch.where(told["heat"] > 0.3, torch.logit(told["heat"].clamp(0.01, 0.9999)), -9.0), told["sides"].log())
    loss = loss_of_finder(lambda pictures: (*said, torch.zeros(1, len(PARTS), 20, 20)), bank, [record], 160)
    assert least <= loss <= most


def test_the_command_says_what_it_lacks(drawn: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture):
    with pytest.raises(SystemExit):
        main(["average", "--data", str(drawn["calibration"]), "--out", str(tmp_path), "--devices", "cpu"])
    assert "required: --start, --run" in capsys.readouterr().err


def test_one_network_can_be_taught_alone(drawn: dict[str, Path], tmp_path: Path):
    main(["train", "--only", "reader", "--data", str(drawn["train"]), "--out", str(tmp_path), "--preset", "small",
          "--workers", "1", "--devices", "cpu"])  # fmt: skip
    assert (tmp_path / "reader.pt").is_file() and not (tmp_path / "finder.pt").exists()

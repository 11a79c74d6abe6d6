"""The whole way on a CPU: train, export, calibrate, evaluate, from one command."""

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import pytest
import torch

from classifier.model import Model
from classifier.taxonomy import CONCEPTS
from training.command import main
from training.config import PRESETS
from training.data.manifest import manifest_sha256
from training.loop.parallel import train_networks
from training.loop.train import RunConfig
from training.nets.checkpoint import (
    LARGEST_CHECKPOINT_BYTES,
    CheckpointError,
    load_network,
    read_whole,
    save_network,
    take_over,
    write_whole,
)
from training.nets.export import LARGEST_LOGIT_DIFFERENCE, LARGEST_TOTAL_BYTES
from training.nets.model import new_network


def test_served_files_load_and_say_where_they_come_from(small_run: Path):
    model = Model.load(small_run / "weights")
    provenance = model.recipe.provenance
    assert provenance.seed == 1 and provenance.git_revision and provenance.unknown == ()
    assert max(provenance.parity_max_abs.values()) <= LARGEST_LOGIT_DIFFERENCE
    assert model.info.trained_on == {"synthetic": 60, "owned_photos": 0}
    assert set(model.recipe.metrics["calibration_split"]["concepts"]) == set(CONCEPTS)


def test_metadata_names_checkpoints_pictures_and_commands(small_run: Path, drawn: dict[str, Path]):
    provenance = Model.load(small_run / "weights").recipe.provenance
    for task in ("finder", "reader"):
        (own,) = provenance.constituents[task]
        assert (own.share, own.sha256) == (1, hashlib.sha256((small_run / f"{task}.pt").read_bytes()).hexdigest())
    styles = {"training": "train", "calibration": "calibration", "evaluation": "heldout"}
    for which, style in styles.items():
        assert provenance.pictures[which].manifest_sha256 == manifest_sha256([drawn[style]])
    assert set(provenance.commands) == {"train", "export", "calibrate", "evaluate"}
    assert all(line.startswith("python -m training all ") for line in provenance.commands.values())


def test_values_count_as_often_as_calibration_was_asked_for(small_run: Path):
    """Half of the boxes have the gauge, the others any of the three displays; heads are as in the pictures."""
    priors = Model.load(small_run / "weights").facts.priors
    assert priors["charge_display"] == pytest.approx({"lamp_row": 1 / 6, "gauge": 2 / 3, "none": 1 / 6})
    assert priors["lowering"]["none"] != pytest.approx(1 / 4, abs=1e-3)


def test_sizes_keep_their_limits(small_run: Path):
    networks = [small_run / "weights" / f"{task}.onnx" for task in ("finder", "reader")]
    assert sum(path.stat().st_size for path in networks) <= LARGEST_TOTAL_BYTES
    for task in ("finder", "reader"):
        assert (small_run / f"{task}.pt").stat().st_size <= LARGEST_CHECKPOINT_BYTES


def test_checkpoint_keeps_filters_in_half_precision_and_the_rest_whole(tmp_path: Path):
    net = new_network("reader", pretrained=False)
    save_network(tmp_path / "reader.pt", net, {"seed": 1})
    again = new_network("reader", pretrained=False)
    assert load_network(tmp_path / "reader.pt", again) == {"seed": 1}
    for (name, ours), theirs in zip(net.state_dict().items(), again.state_dict().values(), strict=True):
        wanted = ours.half().float() if ours.is_floating_point() and ours.ndim >= 2 else ours
        assert torch.equal(wanted, theirs), name


def test_report_counts_every_held_out_picture(small_run: Path):
    report = json.loads((small_run / "evaluation" / "evaluation.json").read_text())
    assert report["styles"] == ["heldout"] and report["all photos"]["photos"] == 40
    empty = report["all photos"]["not_seen_without_a_lift"]
    low, high = empty["interval_95"]
    assert empty["n"] > 0 and 0 <= low <= empty["share"] <= high <= 1
    text = (small_run / "evaluation" / "evaluation.txt").read_text()
    assert "fair close photos" in text and "confirmed but wrong" in text


def test_a_second_run_keeps_finished_networks(small_run: Path, drawn: dict[str, Path], capsys: pytest.CaptureFixture):
    before = (small_run / "reader.pt").stat().st_mtime_ns
    main(["train", "--data", str(drawn["train"]), "--out", str(small_run), "--preset", "small", "--devices", "cpu"])
    assert (small_run / "reader.pt").stat().st_mtime_ns == before
    assert capsys.readouterr().out.count("finished before") == 2


def test_training_goes_on_from_given_checkpoints(small_run: Path, drawn: dict[str, Path], tmp_path: Path, capsys):
    arguments = ["train", "--data", str(drawn["train"]), "--preset", "small", "--devices", "cpu", "--out"]
    main([*arguments, str(tmp_path / "more"), "--start", str(small_run)])
    for task in ("finder", "reader"):
        begun = hashlib.sha256((small_run / f"{task}.pt").read_bytes()).hexdigest()
        about = read_whole(tmp_path / "more" / f"{task}.pt")["about"]
        assert about["went_on_from"] == begun and about["pictures"] == 2 * 60  # it learned from these twice over
    with pytest.raises(SystemExit):
        main([*arguments, str(tmp_path / "none"), "--start", str(tmp_path / "nowhere")])
    assert "nowhere/finder.pt: not there" in capsys.readouterr().err


def test_a_network_that_goes_on_moves_as_far_as_the_rate_for_it_says(
    small_run: Path, drawn: dict[str, Path], tmp_path: Path
):
    preset, start = PRESETS["small"], read_whole(small_run / "reader.pt")["weights"]
    moved = {}
    for rate in (0.0, 0.25, 1.0):
        going = replace(preset, reader=replace(preset.reader, going_on_rate=rate))
        train_networks([drawn["train"]], RunConfig(going, 1, tmp_path / str(rate), small_run), ["cpu"])
        ends = read_whole(tmp_path / str(rate) / "reader.pt")["weights"]
        learned = [name for name in start if name.endswith("weight")]
        moved[rate] = sum(float((ends[name].float() - start[name].float()).abs().sum()) for name in learned)
    assert moved[0.0] == 0 and 0 < 2 * moved[0.25] < moved[1.0]


def test_a_network_with_other_layers_takes_over_what_fits(small_run: Path, tmp_path: Path):
    kept = read_whole(small_run / "reader.pt")
    changed = {name: tensor for name, tensor in kept["weights"].items() if not name.startswith("mix.")}
    changed["neck.mix.0.weight"] = changed["neck.mix.0.weight"][:5]
    write_whole(tmp_path / "reader.pt", {"weights": changed, "about": kept["about"]})
    net = new_network("reader", pretrained=False)
    before = net.mix.weight.clone()
    assert take_over(tmp_path / "reader.pt", net) == ["neck.mix.0.weight", "mix.weight", "mix.bias"]
    assert torch.equal(net.kind.weight.half(), changed["kind.weight"]) and torch.equal(net.mix.weight, before)
    with pytest.raises(CheckpointError, match="another network"):
        take_over(small_run / "reader.pt", torch.nn.Linear(2, 3))


def test_an_absent_split_is_said_before_any_training(drawn: dict[str, Path], tmp_path: Path, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["all", "--data", str(drawn["train"]), "--out", str(tmp_path), "--preset", "small"])
    assert stopped.value.code == 2
    assert "no picture of style 'calibration'" in capsys.readouterr().err
    assert not (tmp_path / "finder.pt").exists()

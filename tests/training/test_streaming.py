"""Views that are learned from as they come: developed, never more than twice, never those that measure."""

import json
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import torch
from PIL import Image

from classifier.identify import WEIGHTS_DIR
from classifier.recipe import CLASSES, KINDS
from classifier.taxonomy import CONCEPTS_OF
from synthetic_samples.annotate.shot_labels import OTHER, Label
from synthetic_samples.render.part_maps import PARTS, part_map, part_numbers
from synthetic_samples.render.stream import Batch
from training.command import main
from training.config import PRESETS, STRIDE
from training.data.dataset import load_bank
from training.data.manifest import Reading, read_manifests
from training.data.nothing import nothing_bank
from training.data.targets import HIDDEN_SHARES, Balance, relations_of, target_of
from training.data.view_bank import MOST_USES, WindowBank, reduced_parts, within
from training.loop import finding, streaming
from training.loop.mixed import Mixed, WithNothing
from training.loop.reading import ReaderBatches, reader_loss
from training.loop.streamed import StreamedPhotos, StreamedWindows
from training.loop.streaming import Begun, train_streamed
from training.loop.tasks import TASKS
from training.loop.train import RunConfig
from training.nets.checkpoint import read_whole
from training.nets.model import new_network

SAMPLES = Path(__file__).parents[2] / "synthetic_samples" / "samples"
SIDE, VIEWS = 96, 4
CPU = torch.device("cpu")
KIND_OF = ("control_box", "actuator_head", OTHER, None)


def _batch(world: int, rng: np.random.Generator, side: int = SIDE) -> Batch:
    shape = (VIEWS, side, side)
    normal = np.zeros((3, *shape), np.int8)
    normal[2] = 127
    labels = []
    for kind in KIND_OF:
        concepts = {
            concept: {"value": values[world % len(values)], "visible": True, "evidence_px": 900}
            for concept, values in CONCEPTS_OF.get(kind, {}).items()
        }
        labels.append(Label(kind, concepts, np.diag([0.9, 0.9, 1.0]), 0.3, world))
    return Batch(
        rng.gamma(2, 0.2, (3, *shape)).astype(np.float16),
        rng.integers(20, 235, (3, *shape), dtype=np.uint8),
        normal,
        rng.integers(0, len(PARTS), shape, dtype=np.uint8),
        labels,
    )


class _Stream:
    """A stream of invented batches, `most` of them."""

    def __init__(
        self, most: int = 10_000, problem: Exception | None = None, boxes: tuple = (), side: int = SIDE
    ) -> None:
        self.most, self.problem, self.closed, self.boxes, self.side = most, problem, False, boxes, side
        self.read_now = False

    def batches(self):
        rng = np.random.default_rng(1)
        for world in range(self.most):
            if self.closed:
                return
            batch = _batch(world, rng, self.side)
            self.read_now = True
            try:
                yield replace(batch, labels=[replace(label, boxes=self.boxes) for label in batch.labels])
            finally:  # also when the reader stops in the middle of one
                self.read_now = False
        if self.problem:
            raise self.problem
        while not self.closed:
            time.sleep(0.01)

    def end(self) -> None:
        self.closed = True

    def close(self) -> None:
        assert not self.read_now  # its memory is gone then


def test_part_maps_are_reduced_as_the_renderer_does_it() -> None:
    rng = np.random.default_rng(4)
    labels = ["", "control_box/unit/front", "control_box/stop", "control_box/service_buttons", "actuator_head/neck"]
    ids = rng.choice(len(labels), (40, 40), p=[0.3, 0.4, 0.1, 0.1, 0.1])
    parts = part_numbers(labels, {None: {}})[ids]
    ours = reduced_parts(torch.from_numpy(parts)[None])[0].numpy()
    assert np.array_equal(ours, part_map(ids, labels, {None: {}}))


def test_what_lies_beside_the_photo_is_grey_and_marked() -> None:
    bank = WindowBank(8, SIDE, CPU, Balance())
    batch = _batch(0, np.random.default_rng(5))
    beside = np.array([[1.0, 0, 1.0], [0, 1.0, 0], [0, 0, 1]])  # the photo ends at the window's middle
    batch = replace(batch, labels=[replace(label, to_photo=beside) for label in batch.labels])
    places = bank.add(batch, np.random.default_rng(6))
    assert len(places) == VIEWS - 1 and bank.left_out == 1
    right = bank.pixels[torch.from_numpy(places), :, :, SIDE // 2 + 1 :]
    assert (right[:, :3] == 128).all() and (right[:, 3] == 0).all()
    assert (bank.pixels[places[0], 3, :, : SIDE // 2] == 255).all()
    assert within(torch.from_numpy(beside)[None], SIDE, CPU)[0, 0].sum() == SIDE // 2
    assert [KINDS[kind] for kind in bank.kinds[places]] == list(KIND_OF[:3])


def test_no_view_is_learned_from_more_than_twice_and_those_that_measure_never() -> None:
    stream = _Stream(most=20)  # 60 views that tell something, of which the first 12 measure
    batches = StreamedWindows(stream, SIDE, 64, CPU, 1, unseen=12)
    rng = np.random.default_rng(7)
    for _ in range(7):
        windows, targets = batches.draw(rng, 8)
        assert windows.shape == (8, 3, SIDE, SIDE) and torch.isfinite(windows).all()
        assert set(targets) == {*CONCEPTS_OF["control_box"], "lowering", "kind", "parts", "part_weights", "relations"}
    batches.draw(rng, 8, learned=False)
    filled = batches.bank.added
    assert batches.bank.uses[:filled].max() <= MOST_USES
    assert batches.bank.uses[:filled].sum() == batches.drawn == 56
    assert batches.unseen.added >= 12 and (batches.unseen.uses[:12] == 0).all()
    batches.close()


def test_what_ends_the_stream_is_told_to_who_draws() -> None:
    batches = StreamedWindows(_Stream(most=1, problem=RuntimeError("no views came")), SIDE, 16, CPU, 1, unseen=3)
    with pytest.raises(RuntimeError, match="no views came"):
        batches.draw(np.random.default_rng(8), 8)
    batches.close()


def test_the_command_begins_where_it_is_told_and_stores_what_came_of_it(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(streaming, "_STATISTICS_BATCHES", 1)
    monkeypatch.setattr(streaming, "ViewStream", lambda plan: _Stream())
    given = ["--preset", "small", "--batch", "4", "--minutes", "0.02", "--held", "64", "--unseen", "6"]
    begun = ["--begin", "imagenet", "--begin", str(WEIGHTS_DIR)]
    main(["stream", "--out", str(tmp_path), "--devices", "cpu", *given, *begun])
    summary = json.loads((tmp_path / "streamed.json").read_text())
    assert [run["name"] for run in summary["runs"]] == ["imagenet", "served"]
    about = [read_whole(tmp_path / name / "reader.pt")["about"] for name in ("imagenet", "served")]
    assert "went_on_from" not in about[0] and about[1]["went_on_from"] == str(WEIGHTS_DIR)
    assert all(each["command"].startswith("python -m training stream") for each in about)


def test_a_smaller_twin_learns_by_the_same_windows(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(streaming, "_STATISTICS_BATCHES", 1)
    monkeypatch.setattr(streaming, "ViewStream", lambda plan: _Stream())
    given = ["--preset", "small", "--batch", "4", "--minutes", "0.02", "--held", "64", "--unseen", "6"]
    given += ["--smaller", "64"]
    main(["stream", "--out", str(tmp_path), "--devices", "cpu", "--begin", str(WEIGHTS_DIR), *given])
    told = [read_whole(tmp_path / name / "reader.pt")["about"]["preset"] for name in ("served", "served-64")]
    assert [(preset["reader_px"], preset["reader_served_px"]) for preset in told] == [(96, 96), (64, 64)]
    summary = json.loads((tmp_path / "streamed.json").read_text())
    assert summary["runs"][0]["steps"] == summary["runs"][1]["steps"]
    assert summary["runs"][0]["unseen"] != summary["runs"][1]["unseen"]


def test_a_smaller_window_is_that_of_pillow_and_its_parts_keep_their_shares() -> None:
    windows = torch.rand(2, 3, 96, 96, generator=torch.Generator().manual_seed(3))
    parts = torch.rand(2, 5, 12, 12)
    reduced, targets = streaming.smaller((windows, {"parts": parts}), 64)
    for ours, whole in zip(reduced.flatten(0, 1), windows.flatten(0, 1), strict=True):
        other = Image.fromarray(whole.numpy(), "F").resize((64, 64), Image.Resampling.BILINEAR)
        np.testing.assert_allclose(ours, np.asarray(other), atol=1e-5)
    assert targets["parts"].shape == (2, 5, 8, 8)
    torch.testing.assert_close(targets["parts"].mean((2, 3)), parts.mean((2, 3)), atol=0.05, rtol=0)


def test_a_batch_holds_stored_renders_beside_streamed_views() -> None:
    records = read_manifests([SAMPLES])[:4]
    stored = ReaderBatches(records, load_bank(records, 128, CPU, 1), SIDE)
    streamed = StreamedWindows(_Stream(), SIDE, 48, CPU, 1, unseen=6)
    windows, targets = Mixed(streamed, stored, 0.25).draw(np.random.default_rng(11), 8)
    streamed.close()
    assert streamed.drawn == 6 and len(windows) == 8
    assert {len(values) for name, values in targets.items() if name != "part_weights"} == {8}
    rng = np.random.default_rng(11)  # the same draws, one after the other
    streamed = StreamedWindows(_Stream(), SIDE, 48, CPU, 1, unseen=6)
    streamed.draw(rng, 6)
    streamed.close()
    alone, known = stored.draw(rng, 2)
    assert torch.equal(windows[6:], alone) and torch.equal(targets["battery"][6:], known["battery"])
    assert targets["relations"][6:].isnan().all()
    torch.manual_seed(4)
    assert all(torch.isfinite(loss) for loss in reader_loss(new_network("reader", False)(windows), targets).values())


def test_a_batch_holds_pictures_of_nothing_that_are_no_lift_part() -> None:
    streamed = StreamedWindows(_Stream(), SIDE, 48, CPU, 1, unseen=6)
    pictures = nothing_bank(3, 4, SIDE, CPU)
    windows, targets = WithNothing(streamed.draw, 0.25, pictures).draw(np.random.default_rng(12), 8)
    streamed.close()
    assert streamed.drawn == 6 and windows.shape == (8, 3, SIDE, SIDE) and torch.isfinite(windows).all()
    assert {len(values) for name, values in targets.items() if name != "part_weights"} == {8}
    assert [KINDS[kind] for kind in targets["kind"][6:]] == [OTHER, OTHER]
    assert all(not targets[concept][6:].any() for concept in CLASSES) and targets["relations"][6:].isnan().all()
    assert (targets["parts"][6:, PARTS.index("background")] == 1).all() and targets["parts"][6:].sum(1).eq(1).all()
    torch.manual_seed(4)
    losses = reader_loss(new_network("reader", False)(windows), targets)
    assert all(torch.isfinite(loss) for loss in losses.values())


def test_a_finder_learns_from_stored_renders_beside_the_stream_too() -> None:
    some, more = (torch.rand(n, 3, SIDE, SIDE) for n in (3, 2))
    boxes = torch.tensor([[[1.0, 1.0, 6.0, 6.0]]])
    told = [finding.cell_targets(boxes.repeat(n, 1, 1), torch.zeros(n, 1, dtype=int), SIDE // STRIDE) for n in (3, 2)]
    shares = [torch.zeros(n, len(PARTS), SIDE // STRIDE, SIDE // STRIDE) for n in (3, 2)]
    (one, other), weights = (t | {"parts": p} for t, p in zip(told, shares, strict=True)), torch.ones(len(PARTS))
    streamed = SimpleNamespace(draw=lambda rng, count, learned: (some[:count], one | {"part_weights": weights}))
    stored = SimpleNamespace(draw=lambda rng, count: (more[:count], other | {"part_weights": 2 * weights}))
    pictures, targets = Mixed(streamed, stored, 0.4).draw(np.random.default_rng(1), 5)
    assert torch.equal(pictures, torch.cat([some, more])) and torch.equal(targets["part_weights"], weights)
    assert float(targets["boxes"]) == 5 and len(targets["heat"]) == len(targets["sides_weight"]) == 5
    torch.manual_seed(4)
    losses = finding.finder_loss(new_network("finder", False)(pictures), targets)
    assert all(torch.isfinite(loss) for loss in losses.values())


def test_a_smaller_side_is_of_whole_cells(tmp_path, capsys) -> None:
    with pytest.raises(SystemExit):
        main(["stream", "--out", str(tmp_path), "--minutes", "0.02", "--smaller", "208"])
    assert "--smaller 208 came" in capsys.readouterr().err


def test_two_readers_learn_from_the_same_views(tmp_path) -> None:
    torch.manual_seed(9)
    batches = StreamedWindows(_Stream(), SIDE, 48, CPU, 1, unseen=6)
    preset = PRESETS["small"]
    preset = replace(preset, reader=replace(preset.reader, batch=4, minutes=0.05))
    begun = [Begun(name, new_network("reader", False), {}, gently) for name, gently in (("a", False), ("b", True))]
    told = train_streamed(TASKS["reader"], begun, batches, RunConfig(preset, 1, tmp_path))
    batches.close()
    assert [run["name"] for run in told] == ["a", "b"] and told[0]["steps"] == told[1]["steps"] >= 1
    assert batches.drawn == 4 * told[0]["steps"]  # drawn once for both
    summary = json.loads((tmp_path / "streamed.json").read_text())
    assert summary["runs"] == told and summary["drawn"] == batches.drawn
    for run in told:
        assert set(run["learned"]) == set(run["unseen"]) and np.isfinite(run["unseen"]["total"])
        kept = read_whole(tmp_path / run["name"] / "reader.pt")
        assert kept["about"]["task"] == "reader" and 0 < kept["about"]["pictures"] <= summary["views"]


def test_a_stream_counts_as_calibration_renders_do_whatever_it_shows() -> None:
    """Seven views in ten hide their mechanism and most others are pulled: weighed, all values count alike."""
    rng = np.random.default_rng(10)
    rows = np.eye(5, dtype=np.float32)[rng.choice(5, 4000, p=[0.03, 0.06, 0.06, 0.17, 0.68])]
    balance = Balance()
    balance.add({"lowering": rows})
    mass = balance.weighed("lowering", rows).sum(axis=0) / len(rows)
    assert mass[-1] == pytest.approx(HIDDEN_SHARES["lowering"], abs=1e-3)
    assert mass[1:4] == pytest.approx(np.full(3, (1 - HIDDEN_SHARES["lowering"]) / 4), abs=1e-3)
    assert mass[0] < mass[1]  # so rare that it would outweigh: no view counts more than four


def test_faint_evidence_keeps_its_ratio_and_what_does_not_apply_stays_nothing() -> None:
    faint = target_of("battery", Reading("hung_pack", False, ("hung_pack",), 39.0))
    balance = Balance()
    balance.add({"battery": np.stack([faint, np.eye(4, dtype=np.float32)[0]])})
    weighed = balance.weighed("battery", np.stack([faint, np.zeros(4, np.float32)]))
    assert weighed[0, 2] / weighed[0, 3] == pytest.approx(faint[2] / faint[3], rel=1e-5)
    assert not weighed[1].any()


def test_a_window_of_weight_two_is_learned_from_as_two() -> None:
    torch.manual_seed(3)
    read = {concept: torch.randn(2, len(classes)) for concept, classes in CLASSES.items()}
    read |= {"kind": torch.randn(2, len(KINDS)), "parts": torch.zeros(2, len(PARTS), 2, 2)}
    shares, nothing = torch.zeros(2, len(PARTS), 2, 2), torch.ones(len(PARTS))

    def loss(rows: list[int], weights: list[float]) -> float:
        targets = {c: torch.eye(len(v))[[0, 1]][rows] * torch.tensor(weights)[:, None] for c, v in CLASSES.items()}
        targets |= {"kind": torch.tensor([0, 1])[rows], "parts": shares[rows], "part_weights": nothing}
        return float(reader_loss({name: values[rows] for name, values in read.items()}, targets)["battery"])

    assert loss([0, 1], [2.0, 1.0]) == pytest.approx(loss([0, 0, 1], [1.0, 1.0, 1.0]), rel=1e-6)


def test_relations_follow_from_what_a_mechanism_is_and_are_not_told_where_it_is_hidden() -> None:
    clear = Reading("pull_twist_knob", True, ("pull_twist_knob",), 900.0)
    assert relations_of(clear) == (1, 0, 0)
    assert relations_of(replace(clear, value="squeeze_tabs", possible=("squeeze_tabs",))) == (0, 1, 0)
    assert relations_of(replace(clear, value="twist_knob", possible=("twist_knob",))) == (0, 0, 1)
    left_open = relations_of(replace(clear, possible=("twist_knob", "pull_twist_knob")))
    assert np.isnan(left_open[0]) and left_open[1] == 0 and np.isnan(left_open[2])
    assert np.isnan(relations_of(replace(clear, visible=False))).all() and np.isnan(relations_of(None)).all()


def test_only_relations_that_are_told_are_learned() -> None:
    torch.manual_seed(4)
    net = new_network("reader", False).eval()
    batches = StreamedWindows(_Stream(), SIDE, 32, CPU, 1, unseen=3)
    windows, targets = batches.draw(np.random.default_rng(1), 8)
    batches.close()
    heads = targets["kind"] == KINDS.index("actuator_head")
    assert heads.any() and not heads.all()
    assert torch.equal(~targets["relations"].isnan().any(dim=1), heads)
    read = net(windows)
    before = reader_loss(read, targets)["relations"]
    others = read["relations"].clone()
    others[~heads] += 5
    assert torch.equal(reader_loss(read | {"relations": others}, targets)["relations"], before)


def test_a_finder_is_taught_the_boxes_of_whole_photos_and_half_a_thing_is_not_asked_for() -> None:
    """A box in the left half and a head that the frame cuts off in the right: heat in the left half alone."""
    boxes = (("control_box", (0.1, 0.3, 0.4, 0.7)), ("half_a_thing", (0.6, 0.3, 0.9, 0.7)))
    batches = StreamedPhotos(_Stream(boxes=boxes), SIDE, 32, CPU, 1, unseen=3)
    batches.wait_for(4)
    _, targets = batches.draw(np.random.default_rng(0), 4)
    plain = batches.plain_maps(4)
    _, targets = batches.shown(batches.bank, np.arange(4), plain, np.random.default_rng(0))
    batches.close()
    heat, weight = targets["heat"], targets["heat_weight"]
    cells = SIDE // STRIDE
    assert heat[:, 0, :, : cells // 2].amax() > 0.9 and not heat[:, 1:].any()
    assert not heat[:, :, :, cells // 2 + 1 :].gt(0.05).any()
    assert (weight[:, 0, cells // 2, int(0.75 * cells)] == 0).all() and weight[:, 0, 0, 0].all()
    assert targets["boxes"] == 4


@pytest.mark.parametrize(("asked", "side_px"), [([], PRESETS["small"].finder_px), (["--smaller", "96"], 96)])
def test_the_command_teaches_a_finder(tmp_path, monkeypatch, asked: list[str], side_px: int) -> None:
    plans = []
    monkeypatch.setattr(streaming, "_STATISTICS_BATCHES", 1)
    monkeypatch.setattr(streaming, "ViewStream", lambda plan: plans.append(plan) or _Stream(side=plan.side_px))
    given = ["--preset", "small", "--batch", "4", "--minutes", "0.02", "--held", "64", "--unseen", "6"]
    given += [*asked, "--out", str(tmp_path), "--devices", "cpu", "--begin", str(WEIGHTS_DIR)]
    main(["stream", "--task", "finder", *given])
    assert plans[0].whole and plans[0].side_px == side_px
    about = read_whole(tmp_path / "served" / "finder.pt")["about"]
    assert about["task"] == "finder" and about["preset"]["finder_px"] == side_px
    assert json.loads((tmp_path / "streamed.json").read_text())["task"] == "finder"

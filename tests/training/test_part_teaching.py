"""Part maps: they move with the pixels, small parts count, and pooling reads what lies at a part."""

from pathlib import Path

import numpy as np
import pytest
import torch
from PIL import Image

from classifier.taxonomy import SUBJECTS
from synthetic_samples.render.part_maps import PARTS, REDUCTION
from training.config import STRIDE
from training.data.dataset import UNKNOWN_PART, PictureBank, load_part_map
from training.data.geometry import Wobble, letterbox_maps, sample_windows, window_maps, wobbled
from training.data.manifest import DatasetError, read_manifests
from training.loop.finding import cell_targets, finder_loss
from training.nets.model import PartPooling
from training.nets.part_teaching import part_loss, part_overlap, part_shares, part_weights

KNOB, FRONT = PARTS.index("knob"), PARTS.index("unit_front")


def bank_of(spots: np.ndarray, folder: Path) -> PictureBank:
    """A picture a part map, white where the knob is and black elsewhere."""
    for number, one in enumerate(spots):
        Image.fromarray(one).save(folder / f"{number}.part.png")
        grey = (one == KNOB).astype(np.uint8).repeat(REDUCTION, 0).repeat(REDUCTION, 1) * 255
        Image.fromarray(grey).convert("RGB").save(folder / f"{number}.png")
    names = range(len(spots))
    maps = [folder / f"{number}.part.png" for number in names]
    size = spots.shape[1] * REDUCTION
    return PictureBank([folder / f"{n}.png" for n in names], size, torch.device("cpu"), 1, maps)


def test_parts_move_with_the_pixels(tmp_path: Path):
    spots = np.full((6, 48, 48), FRONT, np.uint8)
    spots[:, 10:26, 20:34] = KNOB
    bank = bank_of(spots, tmp_path)
    wobble = Wobble(rotation_deg=30, rotation_share=1, zoom=0.3, shift=0.05, perspective=0.08)
    maps = wobbled(letterbox_maps(bank.sizes_wh), wobble, np.random.default_rng(0))
    pictures, inside = sample_windows(bank.pixels, bank.sizes_wh, maps, 192)
    shares = part_shares(bank, np.arange(6), maps, 192, STRIDE)
    white = torch.nn.functional.avg_pool2d(pictures[:, :1] * inside, STRIDE)[:, 0]
    knob = shares[:, KNOB]
    assert torch.allclose(shares.sum(1), torch.ones_like(knob), atol=1e-5)
    assert ((white > 0.9) & (knob < 0.9)).sum() == 0 and ((white < 0.02) & (knob > 0.4)).sum() == 0
    assert (shares[:, 0] > 0.5).any()  # what the wobble brought in from beside the picture is background


def test_a_picture_without_a_part_map_teaches_nothing(tmp_path: Path):
    bank = bank_of(np.full((2, 40, 40), KNOB, np.uint8), tmp_path)
    bank.parts[1] = UNKNOWN_PART
    maps = window_maps(np.full((2, 2), 80.0), np.full(2, 300.0))  # wider than the picture
    shares = part_shares(bank, np.arange(2), maps, 96, STRIDE)
    assert shares[0].sum(0).min() == pytest.approx(1) and shares[1].sum() == 0
    logits = torch.randn((2, len(PARTS), 12, 12), generator=torch.Generator().manual_seed(0), requires_grad=True)
    part_loss(logits, shares, part_weights(shares)).backward()
    assert logits.grad[0].abs().sum() > 0 and logits.grad[1].abs().sum() == 0
    assert part_loss(logits, shares * 0, part_weights(shares)).item() == 0


def test_rare_parts_weigh_more_but_not_without_limit():
    shares = torch.zeros((1, len(PARTS), 10, 10))
    shares[:, 0] = 1
    shares[:, :, 3, 3] = torch.eye(len(PARTS))[KNOB]
    weights = part_weights(shares)
    assert weights[KNOB] == pytest.approx(10 * float(weights[0]), rel=0.05)
    assert weights.max() <= 20


def test_loss_is_least_for_the_true_map_and_overlap_is_whole_there():
    shares = torch.zeros((2, len(PARTS), 8, 8))
    shares[:, FRONT] = 1
    shares[:, :, 2:4, 2:4] = torch.eye(len(PARTS))[KNOB][:, None, None]
    weights, right = part_weights(shares), 12 * shares
    assert part_loss(right, shares, weights) < 0.02 and part_overlap(right, shares) == {"unit_front": 1.0, "knob": 1.0}
    without = torch.zeros_like(right)
    without[:, FRONT] = 12
    assert part_loss(without, shares, weights) > 1  # four cells of sixty-four, and they cost more than a slip
    assert part_overlap(without, shares)["knob"] == 0


def test_the_finder_learns_parts_beside_boxes():
    targets = cell_targets(torch.tensor([[[4.0, 6.0, 12.0, 14.0]]]), torch.tensor([[1]]), 20)
    shares = torch.zeros((1, len(PARTS), 20, 20))
    shares[:, FRONT] = 1
    targets |= {"parts": shares, "part_weights": part_weights(shares)}
    parts = torch.zeros((1, len(PARTS), 20, 20), requires_grad=True)
    heat, sides = torch.zeros((1, len(SUBJECTS), 20, 20)), torch.zeros((1, 4, 20, 20))
    finder_loss((heat, sides, parts), targets)["total"].backward()
    assert (parts.grad[:, FRONT] < 0).all()


def test_pooling_reads_features_place_and_size_at_a_part():
    logits = torch.zeros((1, len(PARTS), 9, 9), requires_grad=True)
    hot = torch.zeros_like(logits)
    hot[:, FRONT] = 20
    hot[:, FRONT, 1, 7], hot[:, KNOB, 1, 7] = 0, 20
    detail = torch.zeros((1, 3, 9, 9), requires_grad=True)
    ones = torch.zeros_like(detail)
    ones[0, :, 1, 7] = torch.tensor([1.0, 2.0, 3.0])
    looked = PartPooling()(detail + ones, logits + hot).reshape(len(PARTS), PartPooling.width(3))
    at_knob = looked[KNOB].detach().numpy() * 2  # one cell of area 1: half of the mean
    assert at_knob[:3] == pytest.approx([1, 2, 3], abs=1e-3)
    assert at_knob[3 + FRONT] == pytest.approx(15 / 25, abs=0.01)  # of the 25 cells round it nine lie outside
    assert at_knob[-4:-2] == pytest.approx([0.75, -0.75], abs=1e-3)  # x, y
    assert float(looked[KNOB, -1].detach()) == pytest.approx(1, abs=1e-3)
    assert looked[PARTS.index("tabs")].abs().max() < 0.01
    looked.sum().backward()
    assert logits.grad is None  # the maps are not bent by what is read from them


def test_reads_part_maps_of_the_manifest_and_refuses_broken_ones(drawn: dict[str, Path], tmp_path: Path):
    records = read_manifests([drawn["train"]], "train")
    spots = load_part_map(records[0].parts_path, records[0].width, records[0].height)
    assert spots.shape == (records[0].height // REDUCTION, records[0].width // REDUCTION) and spots.max() < len(PARTS)
    halved = load_part_map(records[0].parts_path, records[0].width // 2, records[0].height // 2)
    assert halved.shape == (spots.shape[0] // 2, spots.shape[1] // 2)
    Image.fromarray(np.full((4, 4), len(PARTS), np.uint8)).save(tmp_path / "wrong.png")
    (tmp_path / "broken.png").write_bytes(b"no picture")
    for name in ("wrong", "broken"):
        with pytest.raises(DatasetError, match="render it again"):
            load_part_map(tmp_path / f"{name}.png", 16, 16)

"""What the networks are trained on is what they are served, and boxes move with the pictures."""

from pathlib import Path

import numpy as np
import pytest
import skimage.data
import torch
from PIL import Image

from classifier.finder import decode, letterbox, overlap
from classifier.photo import cut_window
from classifier.reader import square_window
from classifier.taxonomy import SUBJECTS
from synthetic_samples.render.part_maps import PARTS
from training.config import STRIDE, VIEWS
from training.data.augment import Augmentation, augmented
from training.data.dataset import PictureBank
from training.data.geometry import Wobble, letterbox_maps, move_boxes, sample_windows, window_maps, wobbled
from training.data.manifest import read_manifests
from training.loop.finding import FinderBatches, cell_targets, finder_loss
from training.loop.reading import windows_round

LARGEST_MEAN_DIFFERENCE = (
    3.5 / 255
)  # between our sampling and Pillow's, on photographs; the letterbox rounds to whole pixels


@pytest.fixture(scope="module")
def photographs(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[np.ndarray], PictureBank]:
    folder = tmp_path_factory.mktemp("photographs")
    pictures = [skimage.data.cat(), skimage.data.astronaut()[:, :380], skimage.data.coffee()[:, 100:580]]
    for number, picture in enumerate(pictures):
        Image.fromarray(picture).save(folder / f"{number}.png")
    paths = [folder / f"{number}.png" for number in range(len(pictures))]
    return pictures, PictureBank(paths, 512, torch.device("cpu"), workers=2)


def test_whole_pictures_equal_the_served_letterbox(photographs):
    pictures, bank = photographs
    ours, _ = sample_windows(bank.pixels, bank.sizes_wh, letterbox_maps(bank.sizes_wh), 320)
    for picture, mine in zip(pictures, ours, strict=True):
        served, _ = letterbox(picture, 320)
        assert np.abs(served * 0.5 + 0.5 - mine.numpy()).mean() < LARGEST_MEAN_DIFFERENCE


@pytest.mark.parametrize(
    "box", [(0.3, 0.3, 0.7, 0.6), (0.0, 0.1, 0.9, 1.0), (0.45, 0.4, 0.6, 0.5), (0.7, 0.6, 1.0, 1.0)]
)
def test_windows_equal_the_served_windows(photographs, box: tuple):
    pictures, bank = photographs
    boxes_px = np.array(box) * np.tile(bank.sizes_wh, 2)
    ours, _ = sample_windows(bank.pixels, bank.sizes_wh, windows_round(boxes_px, VIEWS[0].margin), 256)
    for picture, mine in zip(pictures, ours, strict=True):
        image = Image.fromarray(picture)
        served = cut_window(image, square_window(box, *image.size, VIEWS[0].margin), 256)
        assert np.abs(served.transpose(2, 0, 1) / 255 - mine.numpy()).mean() < LARGEST_MEAN_DIFFERENCE


def test_outside_a_picture_is_the_grey_that_is_served(photographs):
    _, bank = photographs
    maps = window_maps(np.full((3, 2), -400.0), np.full(3, 100.0))
    pictures, inside = sample_windows(bank.pixels, bank.sizes_wh, maps, 64)
    assert torch.allclose(pictures, torch.full_like(pictures, 128 / 255), atol=1e-6) and inside.sum() == 0


@pytest.mark.parametrize("flip", [0.0, 1.0])
def test_boxes_move_with_the_pixels(flip: float):
    """A white rectangle on black, moved by a random map: its box must lie round the white pixels."""
    rng = np.random.default_rng(4)
    pixels = torch.zeros((8, 3, 200, 200), dtype=torch.uint8)
    pixels[:, :, 60:120, 80:150] = 255
    sizes = np.full((8, 2), 200.0, np.float32)
    wobble = Wobble(rotation_deg=8, rotation_share=1, zoom=0.2, shift=0.03, perspective=0.05, flip_share=flip)
    maps = wobbled(letterbox_maps(sizes), wobble, rng)
    drawn, _ = sample_windows(pixels, sizes, maps, 160)
    boxes = move_boxes(np.tile([80.0, 60.0, 150.0, 120.0], (8, 1, 1)), maps, 160)
    for picture, box in zip(drawn, boxes[:, 0], strict=True):
        rows, columns = np.nonzero(picture[0].numpy() > 0.75)
        seen = (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
        assert overlap(tuple(box), seen) > 0.85


def test_decoding_perfect_targets_gives_the_true_boxes_back():
    rng = np.random.default_rng(0)
    for _ in range(20):
        left, top = rng.uniform(0, 200, (2, 3))
        wide, tall = rng.uniform(16, 110, (2, 3))
        boxes = np.stack([left, top, left + wide, top + tall], axis=1)
        kinds = rng.permutation(len(SUBJECTS))[:3]
        targets = cell_targets(torch.tensor(boxes / STRIDE)[None].float(), torch.tensor(kinds)[None], 40)
        _, fitted = letterbox(np.zeros((320, 320, 3), np.uint8), 320)
        heat = torch.logit(targets["heat"][0], eps=1e-4).numpy()
        found = decode(heat, targets["sides"][0].numpy(), fitted, STRIDE, SUBJECTS, 1.0, dict.fromkeys(SUBJECTS, 0.9))
        for kind, box in zip(kinds, boxes, strict=True):
            best = max((overlap(f.box, tuple(box / 320)) for f in found if f.kind == SUBJECTS[kind]), default=0)
            shared = max(overlap(tuple(box), tuple(other)) for other in boxes if other is not box)
            assert best > 0.95 or shared > 0.1  # a cell answers for one box only


def test_loss_is_least_at_the_targets():
    targets = cell_targets(torch.tensor([[[4.0, 6.0, 12.0, 14.0]]]), torch.tensor([[1]]), 20)
    heat, sides = torch.logit(targets["heat"], eps=1e-6), targets["sides"].log()
    parts = torch.zeros((1, len(PARTS), 20, 20))
    targets |= {"parts": parts, "part_weights": torch.ones(len(PARTS))}  # no part map: they add nothing
    at_best = finder_loss((heat, sides, parts), targets)["total"]
    assert at_best < 0.05
    assert finder_loss((heat, sides + 0.3, parts), targets)["total"] > at_best
    assert finder_loss((heat.flip(1), sides, parts), targets)["total"] > at_best


def test_look_alikes_weigh_more():
    box, look_alike = torch.tensor([[[4.0, 4.0, 8.0, 8.0]]]), torch.tensor([[len(SUBJECTS)]])
    targets = cell_targets(box, look_alike, 20)
    assert targets["heat"].sum() == 0 and targets["heat_weight"][0, :, 5, 5].min() > 1
    assert targets["heat_weight"][0, :, 0, 0].min() == 1


def test_augmentation_repeats_with_the_same_generator_and_stays_in_range():
    pictures = torch.rand((12, 3, 64, 64), generator=torch.Generator().manual_seed(0))
    drawn = [augmented(pictures.clone(), Augmentation(), np.random.default_rng(seed)) for seed in (1, 1, 2)]
    assert torch.equal(drawn[0], drawn[1]) and not torch.equal(drawn[0], drawn[2])
    assert drawn[0].min() >= 0 and drawn[0].max() <= 1 and (drawn[0] - pictures).abs().mean() > 0.02


def test_batches_repeat_with_the_same_generator(drawn: dict[str, Path]):
    records = read_manifests([drawn["train"]], "train")
    bank = PictureBank([record.path for record in records], 320, torch.device("cpu"), workers=2)
    batches = FinderBatches(records, bank, 160)
    first, second = (batches.draw(np.random.default_rng(7), 4) for _ in range(2))
    assert torch.equal(first[0], second[0]) and torch.equal(first[1]["heat"], second[1]["heat"])


def test_pictures_of_rare_kinds_are_drawn_three_times_as_often(drawn: dict[str, Path]):
    records = read_manifests([drawn["train"]], "train")
    bank = PictureBank([record.path for record in records], 320, torch.device("cpu"), workers=2)
    chances = np.diff(FinderBatches(records, bank, 160).cumulative, prepend=0)
    for record, chance in zip(records, chances, strict=True):
        assert chance == (3 if {"hand_control", "charger"} & {subject.kind for subject in record.subjects} else 1)

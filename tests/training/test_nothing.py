"""Pictures of nothing: the noise falls as it is asked to, and leaves cover each other."""

from pathlib import Path

import numpy as np
import pytest
import torch
from PIL import Image
from scipy import signal, stats

from training.data.manifest import DatasetError
from training.data.nothing import noise_pictures, nothing_pictures, read_cut_outs

CPU = torch.device("cpu")


@pytest.mark.parametrize("fall", [1.0, 2.0])
def test_the_power_falls_with_the_frequency_as_scipy_measures_it(fall: float) -> None:
    pictures = noise_pictures(np.full(8, fall), 256, torch.Generator().manual_seed(1)).numpy()
    grey = pictures.mean(axis=1) - pictures.mean(axis=(1, 2, 3))[:, None, None]
    # Power along lines of a picture is that of the plane, summed over the other frequency: one less steep for 2.
    frequency, power = signal.periodogram(grey, axis=2, window="hann")
    plane = noise_of_lines(fall)
    band = slice(4, 60)
    found = stats.linregress(np.log(frequency[band]), np.log(power.mean(axis=(0, 1))[band])).slope
    wanted = stats.linregress(np.log(frequency[band]), np.log(plane[band])).slope
    assert found == pytest.approx(wanted, abs=0.15)


def noise_of_lines(fall: float, side: int = 256) -> np.ndarray:
    """The plane's power |f|^-fall summed over the frequency down, by numpy alone."""
    down, across = np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None]
    return (np.maximum(np.hypot(down, across), 1 / side) ** -fall).sum(axis=0)


def test_every_other_picture_is_of_leaves_that_differ() -> None:
    pictures = nothing_pictures(np.random.default_rng(2), 6, 96, CPU)
    assert pictures.shape == (6, 3, 96, 96) and pictures.min() >= 0 and pictures.max() <= 1
    assert len({float(picture.mean()) for picture in pictures}) == 6 and pictures.std(dim=(1, 2, 3)).min() > 0.01
    steps = (pictures[:, :, :, 1:] - pictures[:, :, :, :-1]).abs().mean(dim=1).flatten(1)
    edges = torch.quantile(steps, 0.995, dim=1) / steps.median(dim=1).values
    assert edges[1::2].min() > edges[::2].max()  # leaves have outlines, noise has none
    again = nothing_pictures(np.random.default_rng(2), 6, 96, CPU)
    assert torch.equal(pictures, again)


def test_one_alone_is_noise() -> None:
    assert nothing_pictures(np.random.default_rng(3), 1, 32, CPU).shape == (1, 3, 32, 32)


def test_things_that_were_cut_out_lie_on_four_pictures_in_five_and_hide_what_is_behind(tmp_path: Path) -> None:
    thing = Image.new("RGBA", (60, 40))
    thing.paste((255, 0, 255, 255), (10, 10, 50, 30))
    thing.save(tmp_path / "thing.png")
    cut_outs = read_cut_outs(tmp_path, 32)
    assert cut_outs.shape == (1, 4, 32, 32)
    assert float(cut_outs[0, 3].mean()) == pytest.approx(0.5, abs=0.05)  # cropped to what is opaque: two by one
    pictures = nothing_pictures(np.random.default_rng(5), 40, 64, CPU, cut_outs)
    magenta = torch.tensor([1.0, 0.0, 1.0])[None, :, None, None]
    shown = ((pictures - magenta).abs().amax(dim=1) < 0.01).float().mean(dim=(1, 2))
    assert (shown[:8] == 0).all() and (shown[8:] > 0.01).float().mean() > 0.9 and shown.max() > 0.5


def test_a_cut_out_that_is_no_picture_is_named(tmp_path: Path) -> None:
    (tmp_path / "broken.png").write_text("no picture")
    with pytest.raises(DatasetError, match=r"broken\.png: cannot be read as a picture"):
        read_cut_outs(tmp_path, 32)


def test_a_folder_without_cut_outs_is_named(tmp_path: Path) -> None:
    with pytest.raises(DatasetError, match=r"no \.png or \.webp file there"):
        read_cut_outs(tmp_path, 32)

"""What happens to a training picture's light, colour and sharpness: strong and varied, so that no renderer is learned.

Everything works on whole batches, float (N, 3, H, W) in [0, 1], on the batch's own device.
"""

import math
from dataclasses import dataclass

import numpy as np
import torch
from torch.nn import functional

LUMA = (0.299, 0.587, 0.114)  # ITU-R BT.601, from memory

JPEG_LUMA_TABLE = (  # the example table of ITU-T T.81 Annex K, from memory; only its rough shape matters here
    (16, 11, 10, 16, 24, 40, 51, 61),
    (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77),
    (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101),
    (72, 92, 95, 98, 112, 100, 103, 99),
)

MEAN_RANGE = (0.12, 0.75)  # of a whole picture, after its light and colour were changed


@dataclass(frozen=True)
class Augmentation:
    """Shares of a batch that each change touches."""

    colour: float = 0.8
    grey: float = 0.08
    light: float = 0.4
    filtered: float = 0.1
    blurred: float = 0.25
    coarse: float = 0.25
    noisy: float = 0.4
    compressed: float = 0.3
    covered: float = 0.25
    cover_side: float = 0.3  # of the picture's side, at most


def augmented(pictures: torch.Tensor, augmentation: Augmentation, rng: np.random.Generator) -> torch.Tensor:
    """The batch under other light, seen by other cameras; covers come first, so that they are augmented too."""
    pictures = _cover(pictures, augmentation, rng)
    pictures = _light(pictures, augmentation.light, rng)
    pictures = _recolour(pictures, augmentation, rng)
    pictures = _filter(pictures, augmentation.filtered, rng)
    pictures = _coarsen(_blur(pictures, augmentation.blurred, rng), augmentation.coarse, rng)
    pictures = _noise(pictures, augmentation.noisy, rng)
    return _compress(pictures, augmentation.compressed, rng).clamp_(0, 1)


def _some(like: torch.Tensor, share: float, groups: int, rng: np.random.Generator) -> list[torch.Tensor]:
    """Row numbers of a random share of a batch, in groups, on its device.

    The sizes are always the same: a GPU library that tunes itself for each new size would do little else.
    """
    count = round(share * len(like))
    chosen = torch.from_numpy(rng.permutation(len(like))[:count]).to(like.device, non_blocking=True)
    return [group for group in chosen.tensor_split(groups) if len(group)]


def column(values: np.ndarray, like: torch.Tensor) -> torch.Tensor:
    """One number a sample, shaped (N, 1, 1, 1) on the batch's device; the copy does not wait for the device."""
    return _moved(values, like).reshape(-1, 1, 1, 1)


def _moved(values: np.ndarray, like: torch.Tensor) -> torch.Tensor:
    return torch.as_tensor(values, dtype=like.dtype).to(like.device, non_blocking=True)


def _cover(pictures: torch.Tensor, augmentation: Augmentation, rng: np.random.Generator) -> torch.Tensor:
    """Cover a rectangle of some pictures by what another one shows there: things stand in front of things."""
    if not augmentation.covered:
        return pictures
    count, _, height, width = pictures.shape
    chosen = rng.random(count) < augmentation.covered
    halves = np.sqrt(rng.random((2, count))) * augmentation.cover_side / 2 * chosen
    middles = rng.random((2, count))
    down = (torch.arange(height, device=pictures.device) + 0.5).reshape(1, 1, -1, 1) / height
    along = (torch.arange(width, device=pictures.device) + 0.5).reshape(1, 1, 1, -1) / width
    covered = (down - column(middles[0], pictures)).abs() < column(halves[0], pictures)
    covered = covered & ((along - column(middles[1], pictures)).abs() < column(halves[1], pictures))
    return torch.where(covered, pictures.roll(1, 0).flip(3), pictures)


def _light(pictures: torch.Tensor, share: float, rng: np.random.Generator) -> torch.Tensor:
    """Uneven light: shadows and bright sides as a smooth random field."""
    count = len(pictures)
    coarse = np.exp(rng.normal(0, 0.35, (count, 1, 3, 3)) * (rng.random((count, 1, 1, 1)) < share))
    field = _moved(coarse, pictures)
    return pictures * functional.interpolate(field, pictures.shape[-2:], mode="bilinear", align_corners=True)


def _recolour(pictures: torch.Tensor, augmentation: Augmentation, rng: np.random.Generator) -> torch.Tensor:
    """Brightness, contrast, saturation, hue, white balance and gamma: one colour matrix and a power for each sample."""
    count = len(pictures)
    luma = np.tile(np.array(LUMA), (3, 1))
    amount = np.where(rng.random(count) < augmentation.colour, 1.0, 0.0)
    saturation = np.exp(rng.normal(0, 0.35, count) * amount) * (rng.random(count) >= augmentation.grey)
    matrix = luma + saturation[:, None, None] * (np.eye(3) - luma)
    hue = np.where(rng.random(count) < 0.15, rng.uniform(-np.pi, np.pi, count), rng.normal(0, 0.2, count)) * amount
    matrix = _hue_turns(hue) @ matrix
    gains = np.exp(rng.normal(0, 0.12, (count, 3, 1)) * amount[:, None, None])
    contrast = np.exp(rng.normal(0, 0.2, count) * amount)
    brightness = np.exp(rng.normal(0, 0.25, count) * amount)
    matrix = matrix * gains * (contrast * brightness)[:, None, None]
    offset = (rng.normal(0, 0.05, count) * amount) + 0.45 * (1 - contrast)
    mixed = torch.einsum("nij,njhw->nihw", _moved(matrix, pictures), pictures)
    mixed = _exposed(mixed + column(offset, pictures))
    return mixed.clamp_(1e-4, 1).pow(column(np.exp(rng.normal(0, 0.2, count) * amount), pictures))


def _exposed(pictures: torch.Tensor) -> torch.Tensor:
    """Brought back where the changes left a picture all but black or white: nobody could say what it shows."""
    mean = pictures.mean(dim=(1, 2, 3), keepdim=True).clamp(min=1e-3)
    return pictures * (mean.clamp(*MEAN_RANGE) / mean)


def _hue_turns(angles: np.ndarray) -> np.ndarray:
    """Rotations (N, 3, 3) of colours about the grey axis (Rodrigues' formula)."""
    cross = np.array([[0, -1, 1], [1, 0, -1], [-1, 1, 0]]) / math.sqrt(3)
    cosine, sine = np.cos(angles)[:, None, None], np.sin(angles)[:, None, None]
    return cosine * np.eye(3) + (1 - cosine) / 3 * np.ones((3, 3)) + sine * cross


def _filter(pictures: torch.Tensor, share: float, rng: np.random.Generator) -> torch.Tensor:
    """Random convolutions (arXiv 2007.13003): texture changes, shape stays. A few kernels serve a batch."""
    for chosen in _some(pictures, share, 3, rng):
        size = int(rng.choice([1, 3, 5]))
        kernel = rng.normal(0, 1 / math.sqrt(3 * size * size), (3, 3, size, size))
        part = pictures[chosen]
        drawn = functional.conv2d(part - 0.5, _moved(kernel, part), padding=size // 2) + 0.5
        pictures[chosen] = torch.lerp(part, drawn, float(rng.uniform(0.2, 0.6))).clamp_(0, 1)
    return pictures


def _blur(pictures: torch.Tensor, share: float, rng: np.random.Generator) -> torch.Tensor:
    """Defocus and motion: a round or a drawn-out kernel for each of a few groups."""
    for chosen in _some(pictures, share, 4, rng):
        long, short = rng.uniform(0.4, 2.2), rng.uniform(0.3, 1.0)
        kernel = spread(long, long if rng.random() < 0.5 else short, rng.uniform(0, np.pi))
        weight = _moved(kernel, pictures).expand(3, 1, *kernel.shape)
        pictures[chosen] = functional.conv2d(pictures[chosen], weight, padding=kernel.shape[0] // 2, groups=3)
    return pictures


def spread(long_px: float, short_px: float, angle: float) -> np.ndarray:
    """A Gaussian with these two standard deviations along and across an angle, summing to 1."""
    reach = 5
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    along, across = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    kernel = np.exp(-0.5 * ((along / long_px) ** 2 + (across / short_px) ** 2))
    return kernel / kernel.sum()


def _coarsen(pictures: torch.Tensor, share: float, rng: np.random.Generator) -> torch.Tensor:
    """Fewer pixels, enlarged again: a small thing far away, or a picture sent through a messenger."""
    for chosen in _some(pictures, share, 3, rng):
        size = pictures.shape[-2:]
        fewer = [max(8, int(side * rng.uniform(0.35, 0.9))) for side in size]
        part = functional.interpolate(pictures[chosen], fewer, mode="area")
        pictures[chosen] = functional.interpolate(part, size, mode="bilinear", align_corners=False)
    return pictures


def _noise(pictures: torch.Tensor, share: float, rng: np.random.Generator) -> torch.Tensor:
    """Sensor noise, partly common to the three channels."""
    count, _, height, width = pictures.shape
    strength = column(np.abs(rng.normal(0, 0.028, count)) * (rng.random(count) < share), pictures)
    own = torch.Generator(pictures.device).manual_seed(int(rng.integers(2**62)))
    common = torch.randn((count, 1, height, width), generator=own, device=pictures.device, dtype=pictures.dtype)
    each = torch.randn(pictures.shape, generator=own, device=pictures.device, dtype=pictures.dtype)
    return pictures + strength * (0.7 * common + 0.7 * each)


def _compress(pictures: torch.Tensor, share: float, rng: np.random.Generator) -> torch.Tensor:
    """JPEG's losses: the cosine transform of 8x8 blocks, rounded; sides that are no multiple of 8 are left alone."""
    height, width = pictures.shape[-2:]
    if height % 8 or width % 8:
        return pictures
    for chosen in _some(pictures, share, 1, rng):
        pictures[chosen] = rounded_waves(pictures[chosen], rng)
    return pictures


def rounded_waves(pictures: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    count, _, height, width = pictures.shape
    k = np.arange(8)
    basis = np.cos((2 * k[None, :] + 1) * k[:, None] * np.pi / 16) * np.where(k == 0, math.sqrt(1 / 8), 0.5)[:, None]
    dct = _moved(basis, pictures)
    blocks = pictures.reshape(count, 3, height // 8, 8, width // 8, 8)
    waves = torch.einsum("ui,ncaibj,vj->ncaubv", dct, blocks, dct)
    table = _moved(np.array(JPEG_LUMA_TABLE), pictures)[:, None, :] / 255  # (8, 1, 8), to the axes u, b, v
    step = column(np.exp(rng.uniform(np.log(0.3), np.log(2.5), count)), pictures)[..., None, None] * table
    waves = torch.round(waves / step) * step
    return torch.einsum("ui,ncaubv,vj->ncaibj", dct, waves, dct).reshape(pictures.shape)

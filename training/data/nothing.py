"""Pictures that show no lift part, so that what is none is not only what the renderer draws.

Coloured noise whose power falls with the frequency as in photographs, and leaves: blobs of all sizes that cover each
other, each with a shade and a grain of its own (the dead leaves model). Both have edges and grain and are no object.
On them lie things cut out of photographs, where a folder of such is given.
"""

from pathlib import Path

import numpy as np
import torch
from PIL import Image
from torch.nn import functional

from training.data.manifest import DatasetError

_FALL = (0.8, 3.0)  # of the power of a spatial frequency; photographs have about 2
_LEAVES, _LARGEST, _SMALLEST = 70, 0.6, 0.02  # radii as shares of the side
_WAVES = 4  # of an outline
_AT_ONCE = 64
_COLOURFUL = 0.3  # how far a leaf's colour strays from grey, on average
_MOST_THINGS, _ANOTHER = 3, 0.4  # cut-outs a picture, and the chance of each after the first
_SIZES = (0.4, 2.5)  # their sides as shares of the picture's
_FAR_AWAY = 9.0


def nothing_pictures(
    rng: np.random.Generator, count: int, side_px: int, device: torch.device, cut_outs: torch.Tensor | None = None
) -> torch.Tensor:
    """Pictures (N, 3, S, S) in [0, 1] on the device: every other one noise, the others leaves.

    `cut_outs` (M, 4, C, C) as `read_cut_outs` gives them lie on four in five, where given.
    """
    pictures = noise_pictures(rng.uniform(*_FALL, count), side_px, _generator(rng, device))
    pictures[1::2] = _leaves(rng, pictures[1::2], _generator(rng, device))
    if cut_outs is not None:
        bare = count // 5
        pictures[bare:] = _strewn(rng, pictures[bare:], cut_outs)
    return pictures


def nothing_bank(
    seed: int, count: int, side_px: int, device: torch.device, cut_outs: torch.Tensor | None = None
) -> torch.Tensor:
    """Pictures of nothing as uint8 (N, 3, S, S), to be cut and turned again and again."""
    rng, parts = np.random.default_rng([seed, 6]), []
    for start in range(0, count, _AT_ONCE):
        pictures = nothing_pictures(rng, min(_AT_ONCE, count - start), side_px, device, cut_outs)
        parts.append((pictures * 255).round().to(torch.uint8))
    return torch.cat(parts)


def read_cut_outs(folder: Path, side_px: int) -> torch.Tensor:
    """Every picture in a folder, as float16 (M, 4, C, C) in [0, 1], colours times their opacity.

    Raises `DatasetError` where there is none, and of one that cannot be read.
    """
    found = []
    for path in sorted(each for each in folder.rglob("*") if each.suffix in (".png", ".webp")):
        try:
            picture = Image.open(path).convert("RGBA")
        except OSError as error:
            raise DatasetError(f"{path}: cannot be read as a picture ({error}); leave it out") from None
        picture = picture.crop(picture.getchannel("A").getbbox())
        picture.thumbnail((side_px, side_px))
        whole = Image.new("RGBA", (side_px, side_px))
        whole.paste(picture, ((side_px - picture.width) // 2, (side_px - picture.height) // 2))
        colours = np.asarray(whole, np.float32) / 255
        colours[..., :3] *= colours[..., 3:]
        found.append(torch.from_numpy(colours.transpose(2, 0, 1)).half())
    if not found:
        raise DatasetError(f"{folder}: no .png or .webp file there; want pictures of things, cut out of their ground")
    return torch.stack(found)


def _strewn(rng: np.random.Generator, ground: torch.Tensor, cut_outs: torch.Tensor) -> torch.Tensor:
    """Things on the ground (N, 3, S, S), each anywhere, of any size and turned, mirrored half the time."""
    pictures, count = ground, len(ground)
    for turn in range(_MOST_THINGS):
        rows = torch.as_tensor(rng.integers(len(cut_outs), size=count), device=cut_outs.device)
        small, large = np.log(_SIZES)
        size = np.exp(rng.uniform(small, large, count))
        angle = np.where(rng.random(count) < 0.5, rng.normal(0, 0.3, count), rng.uniform(-np.pi, np.pi, count))
        x, y = rng.uniform(-0.6, 0.6, (2, count))
        mirrored = rng.choice([-1.0, 1.0], count)
        away = np.where(rng.random(count) < (_ANOTHER if turn else 1.0), 0.0, _FAR_AWAY)  # not each has so many
        to_thing = np.stack(
            [
                np.stack([mirrored * np.cos(angle), mirrored * np.sin(angle), away - x], axis=-1) / size[:, None],
                np.stack([-np.sin(angle), np.cos(angle), away - y], axis=-1) / size[:, None],
            ],
            axis=1,
        )
        theta = torch.as_tensor(to_thing, dtype=torch.float32, device=ground.device)
        grid = functional.affine_grid(theta, list(ground.shape), align_corners=False)
        things = cut_outs[rows].to(ground.device, torch.float32)
        laid = functional.grid_sample(things, grid, align_corners=False)
        pictures = laid[:, :3] + (1 - laid[:, 3:]) * pictures
    return pictures.clamp(0, 1)


def noise_pictures(fall: np.ndarray, side_px: int, generator: torch.Generator) -> torch.Tensor:
    """Coloured noise (N, 3, S, S) in [0, 1]; the power of picture n falls with the frequency to the `fall[n]`."""
    device, count = generator.device, len(fall)
    white = torch.randn((count, 3, side_px, side_px), generator=generator, device=device)
    down = torch.fft.fftfreq(side_px, device=device)[:, None]
    across = torch.fft.rfftfreq(side_px, device=device)[None]
    frequency = torch.hypot(down, across).clamp(min=1 / side_px)
    power = torch.as_tensor(fall, dtype=torch.float32, device=device)[:, None, None, None]
    grey = torch.fft.irfft2(torch.fft.rfft2(white) * frequency ** (-power / 2), s=(side_px, side_px))
    grey = grey / grey.std(dim=(2, 3), keepdim=True)
    mixed = torch.randn((count, 3, 3), generator=generator, device=device) * 0.12
    mixed[:, :, 0] += 0.8  # what the colours share: light and shade
    colours = torch.einsum("nij,njhw->nihw", mixed, grey)
    contrast = torch.rand((count, 1, 1, 1), generator=generator, device=device) * 0.16 + 0.04
    middle = torch.rand((count, 1, 1, 1), generator=generator, device=device) * 0.6 + 0.2
    middle = middle + torch.randn((count, 3, 1, 1), generator=generator, device=device) * 0.06
    return (middle + contrast * colours).clamp(0, 1)


def _leaves(rng: np.random.Generator, ground: torch.Tensor, generator: torch.Generator) -> torch.Tensor:
    """Blobs on the ground (N, 3, S, S), the small ones oftener and later than the large ones."""
    device, count, side = ground.device, len(ground), ground.shape[-1]
    axis = (torch.arange(side, device=device) + 0.5) / side
    grain = noise_pictures(rng.uniform(*_FALL, max(count, 1)), side, generator)[:count] - 0.5
    pictures = ground.clone()
    for radius in np.sort(_LARGEST * (_SMALLEST / _LARGEST) ** rng.random((_LEAVES, count)), axis=0)[::-1].copy():
        r, x, y, lit = (
            torch.as_tensor(each, dtype=torch.float32, device=device)[:, None, None]
            for each in (radius, *rng.uniform(-0.1, 1.1, (2, count)), rng.uniform(-1, 1, count))
        )
        right, below = axis[None, None, :] - x, axis[None, :, None] - y
        way = torch.atan2(below, right)
        outline = torch.ones_like(way)
        for wave in range(1, _WAVES + 1):
            deep, turned = rng.uniform(0, 0.4 / wave, count), rng.uniform(0, 2 * np.pi, count)
            deep, turned = (
                torch.as_tensor(each, dtype=torch.float32, device=device)[:, None, None] for each in (deep, turned)
            )
            outline = outline + deep * torch.cos(wave * way + turned)
        covers = (torch.hypot(right, below) < r * outline)[:, None]
        grey = torch.rand((count, 1, 1, 1), generator=generator, device=device)
        colour = grey + _COLOURFUL * (torch.rand((count, 3, 1, 1), generator=generator, device=device) - 0.5)
        shade = (lit * (right + below) / r.clamp(min=1e-3)).clamp(-1, 1)[:, None] * 0.2
        grained = rng.uniform(0, 1.2)
        pictures = torch.where(covers, (colour + shade + grained * grain).clamp(0, 1), pictures)
    return pictures


def _generator(rng: np.random.Generator, device: torch.device) -> torch.Generator:
    generator = torch.Generator(device)
    generator.manual_seed(int(rng.integers(2**62)))
    return generator

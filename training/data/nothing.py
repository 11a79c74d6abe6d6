"""Pictures of nothing at all, so that what is no lift part is not only what the renderer draws.

Coloured noise whose power falls with the frequency as in photographs, and leaves: blobs of all sizes that cover each
other, each with a shade and a grain of its own (the dead leaves model). Both have edges and grain and are no object.
"""

import numpy as np
import torch

_FALL = (0.8, 3.0)  # of the power of a spatial frequency; photographs have about 2
_LEAVES, _LARGEST, _SMALLEST = 70, 0.6, 0.02  # radii as shares of the side
_WAVES = 4  # of an outline


def nothing_pictures(rng: np.random.Generator, count: int, side_px: int, device: torch.device) -> torch.Tensor:
    """Pictures (N, 3, S, S) in [0, 1] on the device: every other one noise, the others leaves."""
    pictures = noise_pictures(rng.uniform(*_FALL, count), side_px, _generator(rng, device))
    pictures[1::2] = _leaves(rng, pictures[1::2], _generator(rng, device))
    return pictures


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
    mixed = torch.randn((count, 3, 3), generator=generator, device=device) * 0.35
    mixed[:, :, 0] += 0.8  # what the colours share: light and shade
    colours = torch.einsum("nij,njhw->nihw", mixed, grey)
    contrast = torch.rand((count, 1, 1, 1), generator=generator, device=device) * 0.16 + 0.04
    middle = torch.rand((count, 3, 1, 1), generator=generator, device=device) * 0.6 + 0.2
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
        colour = torch.rand((count, 3, 1, 1), generator=generator, device=device)
        shade = (lit * (right + below) / r.clamp(min=1e-3)).clamp(-1, 1)[:, None] * 0.2
        grained = rng.uniform(0, 1.2)
        pictures = torch.where(covers, (colour + shade + grained * grain).clamp(0, 1), pictures)
    return pictures


def _generator(rng: np.random.Generator, device: torch.device) -> torch.Generator:
    generator = torch.Generator(device)
    generator.manual_seed(int(rng.integers(2**62)))
    return generator

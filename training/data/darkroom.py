"""Rendered light to photos, in batches on the device that trains: what a phone does, and the renderer's noise first.

The same steps as `synthetic_samples/phone`, each drawn anew for every view: few light paths are smoothed as
`synthetic_samples/render/denoise.py` does it, exposed, blurred, sensed, balanced, toned, sharpened and stored.
"""

import numpy as np
import torch
from torch.nn import functional

from training.data.augment import LUMA, column, rounded_waves, spread

_LEAST_COLOUR = 0.05
_ACCIDENT = 4.0  # a pixel this many times brighter than the mean round it is an accident of sampling
_PASSES = ((1, 0), (1, 1), (2, 0), (3, 1), (5, 0))  # step in pixels, straight or diagonal neighbours
_PASSES_DONE = (0.03, 0.04, 0.08, 0.15, 0.3, 0.4)  # chance of 0 to 5: after fewer, grain hides what is small
_PHOTO_SIDE_PX = (560, 1100)
"""Longer side of the photo that a window is cut from. Evidence is counted in a photo 500 wide: were the photo much
larger, a small window would be sharp, and would show plainly what its label calls hidden."""


@torch.no_grad()
def developed(
    light: torch.Tensor, colour: torch.Tensor, normal: torch.Tensor, share: np.ndarray, rng: np.random.Generator
) -> torch.Tensor:
    """Photos uint8 (V, 3, S, S) of linear light, surface colour 0..1 and normals (V, 3, S, S), float32.

    `share` (V,) is that of the photo's longer side which each window spans: a window of a small share has few pixels.
    """
    passes = int(rng.choice(len(_PASSES_DONE), p=_PASSES_DONE))
    light = smoothed(light, colour, normal, passes)
    light = _through_lens(_exposed(light, rng), rng)
    signal = _sensed(light, rng)
    shown = _sharpened(_toned(_balanced(signal, rng), rng), rng)
    shown = _stored(_reduced(shown, share, rng), rng)
    return (shown.clamp(0, 1) * 255).round().to(torch.uint8)


def smoothed(light: torch.Tensor, colour: torch.Tensor, normal: torch.Tensor, passes: int) -> torch.Tensor:
    """Light smoothed within surfaces by an edge-avoiding wavelet filter; texture stays: it is divided out first."""
    if passes == 0:
        return light
    surface = (normal.abs().sum(dim=1, keepdim=True) > 0.1).to(light.dtype)
    ground = torch.where(surface > 0, colour.clamp(min=_LEAST_COLOUR), torch.ones_like(colour))
    fall = light / ground
    around = (functional.avg_pool2d(fall, 3, 1, 1, count_include_pad=False) * 9 - fall) / 8
    fall = torch.minimum(fall, _ACCIDENT * around.mean(dim=1, keepdim=True) + 1e-4)
    normal = functional.normalize(normal, dim=1)
    for step, diagonal in _PASSES[:passes]:
        fall = _one_pass(fall, normal, surface, step, diagonal)
    return fall * ground


def _one_pass(
    fall: torch.Tensor, normal: torch.Tensor, surface: torch.Tensor, step: int, diagonal: int
) -> torch.Tensor:
    """The mean of five pixels `step` apart; those of another surface, normal or brightness count less."""
    tone = functional.avg_pool2d((fall.mean(dim=1, keepdim=True) + 1e-3).log(), 5, 1, 2, count_include_pad=False)
    total, weights = fall.clone(), torch.ones_like(surface)
    for down, along in ((step, step * diagonal), (step * diagonal, -step) if diagonal else (0, step)):
        for sign in (1, -1):
            move = (sign * down, sign * along)
            theirs, their_normal, their_tone, their_surface = (
                torch.roll(plane, move, (2, 3)) for plane in (fall, normal, tone, surface)
            )
            alike = (normal * their_normal).sum(dim=1, keepdim=True).clamp(0, 1).pow(16)
            alike = torch.where((surface + their_surface) == 0, torch.ones_like(alike), alike)
            weight = alike * (-2 * (tone - their_tone).square()).exp()
            total += theirs * weight
            weights += weight
    return total / weights


def _exposed(light: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Automatic exposure that is now and then wrong: the log mean goes to a key, the brightest part is guarded."""
    count = len(light)
    level = light.mean(dim=1)  # (V, S, S)
    mean = level.clamp(min=1e-5).log().mean(dim=(1, 2)).exp()
    top = functional.avg_pool2d(level[:, None], 8).flatten(1).quantile(0.97, dim=1).clamp(min=1e-5)
    wrong = np.exp(rng.normal(0, 0.45, count) * (rng.random(count) < 0.5))
    gain = torch.as_tensor(rng.uniform(0.1, 0.22, count) * wrong, device=light.device, dtype=light.dtype) / mean
    guard = torch.as_tensor(rng.uniform(0.2, 0.8, count), device=light.device, dtype=light.dtype)
    gain = gain ** (1 - guard) * torch.minimum(gain, 1.3 / top) ** guard
    return (light * gain[:, None, None, None]).clamp(0, 24)


def _through_lens(light: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Veiling light on some, and a blur on one in three: out of focus, or a shake."""
    count = len(light)
    haze = column(rng.beta(1, 12, count) * (rng.random(count) < 0.4), light)
    light = light * (1 - haze) + light.mean(dim=(2, 3), keepdim=True) * haze
    blurred = np.flatnonzero(rng.random(count) < 0.33)
    if len(blurred):
        long = float(np.exp(rng.uniform(np.log(0.4), np.log(2.4))))
        kernel = spread(long, long if rng.random() < 0.5 else 0.4, float(rng.uniform(0, np.pi)))
        weight = torch.as_tensor(kernel, device=light.device, dtype=light.dtype).expand(3, 1, *kernel.shape)
        chosen = torch.from_numpy(blurred).to(light.device)
        soft = functional.conv2d(light[chosen], weight.contiguous(), padding=kernel.shape[0] // 2, groups=3)
        light = light.index_copy(0, chosen, soft)
    return light


def _sensed(light: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Shot and read noise, fine in brightness and blotchy in colour; clipped at full well."""
    count, _, height, width = light.shape
    strength = column(np.exp(rng.normal(np.log(0.006), 0.8, count)), light)
    fine = torch.randn((count, 1, height, width), device=light.device, dtype=light.dtype)
    coarse = torch.randn((count, 3, height // 2, width // 2), device=light.device, dtype=light.dtype)
    blotches = functional.interpolate(coarse, (height, width), mode="bilinear", align_corners=False)
    deviation = (light * strength + strength.square()).clamp(min=0).sqrt() * 0.35
    return (light + deviation * (0.7 * fine + blotches)).clamp(0, 1)


def _balanced(signal: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Automatic white balance as far as it is trusted, what remains wrong, and a saturation."""
    count = len(signal)
    light = signal.pow(5).mean(dim=(2, 3)).pow(0.2).clamp(min=1e-4)  # (V, 3)
    trust = torch.as_tensor(rng.uniform(0.4, 0.95, (count, 1)), device=signal.device, dtype=signal.dtype)
    gains = (light.mean(dim=1, keepdim=True) / light).clamp(0.4, 2.5) ** trust
    cast = torch.as_tensor(np.exp(rng.normal(0, 0.07, (count, 3))), device=signal.device, dtype=signal.dtype)
    balanced = signal * (gains * cast)[:, :, None, None]
    grey = (balanced * torch.tensor(LUMA, device=signal.device, dtype=signal.dtype)[:, None, None]).sum(1, keepdim=True)
    return grey + (balanced - grey) * column(rng.uniform(0.75, 1.45, count), signal)


def _toned(signal: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """The display's curve (IEC 61966-2-1, from memory), a contrast and a gamma."""
    count = len(signal)
    linear = signal.clamp(0, 1)
    shown = torch.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear.clamp(min=1e-6).pow(1 / 2.4) - 0.055)
    shown = shown.clamp(0, 1).pow(column(rng.uniform(0.9, 1.1, count), signal))
    curved = shown * shown * (3 - 2 * shown)
    return shown + column(rng.uniform(0, 0.65, count), signal) * (curved - shown)


def _sharpened(shown: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """Halos of sharpening, or the smear of noise reduction where the amount is negative."""
    soft = functional.avg_pool2d(shown, 3, 1, 1, count_include_pad=False)
    return shown + column(rng.uniform(-0.7, 1.1, len(shown)), shown) * (shown - soft)


def _reduced(shown: torch.Tensor, share: np.ndarray, rng: np.random.Generator) -> torch.Tensor:
    """Views of few pixels enlarged again: what an arm's length and a messenger leave of a small thing."""
    side = shown.shape[-1]
    photo = np.exp(rng.uniform(*np.log(_PHOTO_SIDE_PX), len(shown)))
    for view, wanted in enumerate(np.asarray(share) * photo):
        if wanted < 0.9 * side:
            size = max(24, int(wanted))
            small = functional.interpolate(shown[view : view + 1], (size, size), mode="area")
            shown[view] = functional.interpolate(small, (side, side), mode="bicubic", align_corners=False)[0]
    return shown


def _stored(shown: torch.Tensor, rng: np.random.Generator) -> torch.Tensor:
    """JPEG's losses on two views in three, where the side is a multiple of eight."""
    if shown.shape[-1] % 8:
        return shown
    chosen = torch.from_numpy(np.flatnonzero(rng.random(len(shown)) < 0.66)).to(shown.device)
    return shown.index_copy(0, chosen, rounded_waves(shown[chosen], rng)) if len(chosen) else shown

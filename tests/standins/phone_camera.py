"""Turns linear light into a phone photo: metering, lens, sensor noise, white balance, tone curve, sharpening, JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageFilter


@dataclass(frozen=True)
class PhoneShot:
    """One exposure's settings; `blur_px` and `shake_px` are radii on the photo."""

    name: str
    exposure_ev: float
    noise: float
    blur_px: float
    shake_px: float
    shake_deg: float
    balance: tuple[float, float, float]
    vignette: float
    contrast: float
    saturation: float
    sharpen: float
    quality: int


PHONES = ("plain", "punchy", "old", "soft")


def shot(rng: np.random.Generator, conditions: set[str]) -> PhoneShot:
    """Settings drawn for one of four phones, pushed where a hard condition asks for it."""
    name = str(rng.choice(PHONES))
    old, punchy, soft = name == "old", name == "punchy", name == "soft"
    exposure = float(rng.normal(0, 0.25))
    exposure += (
        rng.uniform(-2.6, -1.6) if "dark" in conditions else rng.uniform(1.3, 2.2) if "overexposed" in conditions else 0
    )
    warm = float(rng.normal(0, 0.05))
    blurred = "blurred" in conditions
    moved = blurred and rng.random() < 0.5
    return PhoneShot(
        name,
        exposure,
        float(rng.uniform(0.004, 0.012) * (2.2 if old else 1) * (2.5 if "dark" in conditions else 1)),
        float(rng.uniform(1.8, 3.2) if blurred and not moved else rng.uniform(0.2, 0.7) + 0.35 * soft),
        float(rng.uniform(5, 11) if moved else 0),
        float(rng.uniform(0, 180)),
        (1 + warm, 1 + float(rng.normal(0, 0.015)), 1 - warm),
        float(rng.uniform(0.02, 0.2) + 0.15 * old),
        float(rng.uniform(0.9, 1.1) + 0.2 * punchy),
        float(rng.uniform(0.85, 1.1) + 0.15 * punchy),
        float(rng.uniform(0, 0.6) + 0.7 * punchy),
        int(rng.integers(62, 82) if old else rng.integers(78, 95)),
    )


def develop(linear: np.ndarray, settings: PhoneShot, rng: np.random.Generator) -> Image.Image:
    """An sRGB picture of linear light (H, W, 3)."""
    height, width = linear.shape[:2]
    light = np.maximum(np.nan_to_num(linear), 0) * _metered_gain(linear) * 2.0**settings.exposure_ev
    grey = light.reshape(-1, 3).mean(axis=0)
    light = light * (grey.mean() / np.maximum(grey, 1e-6)) ** 0.55 * np.array(settings.balance)
    light = _lens(light, settings)
    rows, columns = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    light = light * (1 - settings.vignette * (rows**2 + columns**2) / 2)[..., None]
    noise = settings.noise * np.sqrt(np.maximum(light, 0) + 0.02) * rng.normal(size=light.shape)
    light = np.clip(light + 2.2 * noise + 0.4 * settings.noise * rng.normal(size=(height, width, 1)), 0, None)
    shown = _tone(light, settings.contrast)
    grey_level = shown.mean(axis=2, keepdims=True)
    shown = np.clip(grey_level + (shown - grey_level) * settings.saturation, 0, 1)
    picture = Image.fromarray((shown * 255 + 0.5).astype(np.uint8))
    if settings.sharpen:
        picture = picture.filter(ImageFilter.UnsharpMask(1.1, int(100 * settings.sharpen), 2))
    return picture


def jpeg(picture: Image.Image, quality: int) -> bytes:
    stream = io.BytesIO()
    picture.save(stream, "JPEG", quality=quality)
    return stream.getvalue()


def _metered_gain(linear: np.ndarray) -> float:
    """Brings the centre-weighted log mean to mid grey, less where highlights would be lost."""
    height, width = linear.shape[:2]
    luminance = np.maximum(linear @ np.array([0.2126, 0.7152, 0.0722]), 1e-5)
    rows, columns = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    weight = np.exp(-(rows**2 + columns**2) / 0.7)
    gain = 0.2 / float(np.exp((np.log(luminance) * weight).sum() / weight.sum()))
    return min(gain, 3.0 / float(np.percentile(luminance, 97)))


def _lens(light: np.ndarray, settings: PhoneShot) -> np.ndarray:
    """Defocus as a Gaussian, shake as a line."""
    radius = int(np.ceil(max(3 * settings.blur_px, settings.shake_px)))
    size = 2 * radius + 1
    offset = np.arange(size) - radius
    if settings.shake_px:
        angle = np.radians(settings.shake_deg)
        result = np.zeros_like(light)
        steps = np.linspace(-settings.shake_px / 2, settings.shake_px / 2, 2 * int(settings.shake_px) + 1)
        for step in steps:
            moved = np.roll(light, int(round(step * np.sin(angle))), axis=0)
            result += np.roll(moved, int(round(step * np.cos(angle))), axis=1)
        light = result / len(steps)
    kernel = np.exp(-0.5 * (offset / settings.blur_px) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        padding = [(radius, radius) if a == axis else (0, 0) for a in range(3)]
        padded = np.pad(light, padding, mode="edge")
        light = sum(
            weight * np.take(padded, np.arange(light.shape[axis]) + place, axis=axis)
            for place, weight in enumerate(kernel)
        )
    return light


def _tone(light: np.ndarray, contrast: float) -> np.ndarray:
    """A shoulder for highlights, then the sRGB curve and a little contrast about mid grey."""
    rolled = np.where(light < 0.6, light, 0.6 + 0.4 * (1 - np.exp(-(light - 0.6) / 0.4)))
    encoded = np.where(rolled <= 0.0031308, 12.92 * rolled, 1.055 * np.maximum(rolled, 1e-8) ** (1 / 2.4) - 0.055)
    return np.clip(0.46 + (encoded - 0.46) * contrast, 0, 1)

"""Few light paths a pixel, little time: their noise is smoothed before the phone adds its own.

An edge-avoiding wavelet filter over the light that falls on surfaces: divided by their colour first, so that
textures stay sharp, and guided by normals and depth, so that shapes do (after Dammertz et al., 2010; from memory).
"""

import cv2
import numpy as np

_FIREFLY = 4.0  # a pixel this many times brighter than the median round it is an accident of sampling
_STEPS_PX = (1, 2, 4, 8)
_NEIGHBOURS = tuple((dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1) if dy or dx)


def denoise(radiance: np.ndarray, albedo: np.ndarray, normal: np.ndarray, depth: np.ndarray, passes: int) -> np.ndarray:
    """Smooth radiance (H, W, 3) float32, guided by surface colour, normal (H, W, 3) and depth (H, W; 0 is the sky).

    `passes`, 0 to 4, is how often: each reaches twice as far as the one before.
    """
    surface = np.where(depth[..., None] > 0, np.maximum(albedo, 0.03), 1.0).astype(np.float32)
    light = _without_fireflies(np.ascontiguousarray(radiance / surface, np.float32))
    for step in _STEPS_PX[:passes]:
        light = _smoothed(light, normal, depth, step)
    return light * surface


def _without_fireflies(light: np.ndarray) -> np.ndarray:
    middle = cv2.medianBlur(light, 3)
    glaring = light.max(axis=2) > _FIREFLY * middle.max(axis=2) + 1e-4
    return np.where(glaring[..., None], middle, light)


def _smoothed(light: np.ndarray, normal: np.ndarray, depth: np.ndarray, step: int) -> np.ndarray:
    """One pass: the mean of nine pixels `step` apart, neighbours on another surface or in another light counting less."""
    height, width = depth.shape
    tone = cv2.blur(np.log(light.mean(axis=2) + 1e-3), (3, 3))
    stack = np.dstack([light, normal, depth, tone]).astype(np.float32)  # (H, W, 8)
    padded = cv2.copyMakeBorder(stack[..., :4], step, step, step, step, cv2.BORDER_REFLECT)
    padded = np.dstack([padded, cv2.copyMakeBorder(stack[..., 4:], step, step, step, step, cv2.BORDER_REFLECT)])
    total, weights = light * 0.25, np.full((height, width), 0.25, np.float32)
    tolerance = 0.03 * depth + 1e-3
    for dy, dx in _NEIGHBOURS:
        other = padded[step + dy * step :, step + dx * step :][:height, :width]
        alike = np.clip((other[..., 3:6] * normal).sum(axis=2), 0, 1) + (depth <= 0)
        weight = alike**16 * np.exp(-np.abs(other[..., 6] - depth) / tolerance - ((other[..., 7] - tone) / 0.5) ** 2)
        weight *= 0.125 if dy == 0 or dx == 0 else 0.0625
        total += other[..., :3] * weight[..., None]
        weights += weight
    return total / weights[..., None]

"""Few light paths a pixel, little time: their noise is smoothed before the phone adds its own.

An edge-avoiding wavelet filter over the light that falls on surfaces: divided by their colour first, so that
textures stay sharp, and guided by normals and depth, so that shapes do (after Dammertz et al., 2010; from memory).
"""

import cv2
import numpy as np

_FIREFLY = 4.0  # a pixel this many times brighter than the median round it is an accident of sampling
_CROSS = ((-1, 0), (1, 0), (0, -1), (0, 1))
_DIAGONAL = ((-1, -1), (-1, 1), (1, -1), (1, 1))
_PASSES = ((1, _CROSS), (1, _DIAGONAL), (2, _CROSS), (3, _DIAGONAL), (5, _CROSS))  # step in pixels, neighbours


def denoise(radiance: np.ndarray, albedo: np.ndarray, normal: np.ndarray, depth: np.ndarray, passes: int) -> np.ndarray:
    """Smooth radiance (H, W, 3) float32, guided by surface colour, normal (H, W, 3) and depth (H, W; 0 is the sky).

    `passes`, 0 to 5, is how often; each reaches farther than the one before.
    """
    # A pixel on an outline is part surface, part sky: the mean normal's length tells how much; the sky's "colour" is 1.
    covered = np.clip(np.linalg.norm(normal, axis=2, keepdims=True), 0, 1) * (depth[..., None] > 0)
    surface = (np.maximum(albedo, 0.03) * (covered > 0) + (1 - covered)).astype(np.float32)
    light = _without_fireflies(np.ascontiguousarray(radiance / surface, np.float32))
    for step, neighbours in _PASSES[:passes]:
        light = _smoothed(light, normal, depth, step, neighbours)
    return light * surface


def _without_fireflies(light: np.ndarray) -> np.ndarray:
    middle = cv2.medianBlur(light, 3)
    glaring = light.max(axis=2) > _FIREFLY * middle.max(axis=2) + 1e-4
    return np.where(glaring[..., None], middle, light)


def _smoothed(light: np.ndarray, normal: np.ndarray, depth: np.ndarray, step: int, neighbours) -> np.ndarray:
    """One pass: the mean of five pixels `step` apart; those on another surface or in another light count less."""
    height, width = depth.shape
    tone = cv2.blur(cv2.log(light.mean(axis=2) + np.float32(1e-3)), (3, 3))
    guides = [_padded(plane, step) for plane in (light, normal, depth, tone)]
    total, weights = light.copy(), np.ones((height, width), np.float32)
    tolerance = np.float32(1) / (np.float32(0.03) * depth + np.float32(1e-3))
    sky = (depth <= 0).astype(np.float32)
    for dy, dx in neighbours:
        rows, columns = (
            slice(step * (1 + dy), step * (1 + dy) + height),
            slice(step * (1 + dx), step * (1 + dx) + width),
        )
        their_light, their_normal, their_depth, their_tone = (plane[rows, columns] for plane in guides)
        alike = np.einsum("ijk,ijk->ij", their_normal, normal)
        np.clip(alike, 0, 1, out=alike)
        for _ in range(4):
            alike *= alike
        unlike = np.abs(their_depth - depth) * tolerance + np.square(their_tone - tone) * np.float32(4)
        weight = (alike + sky) * cv2.exp(-unlike)
        total += their_light * weight[..., None]
        weights += weight
    return total / weights[..., None]


def _padded(plane: np.ndarray, step: int) -> np.ndarray:
    return cv2.copyMakeBorder(np.ascontiguousarray(plane, np.float32), step, step, step, step, cv2.BORDER_REFLECT)

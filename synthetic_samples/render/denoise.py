"""Few light paths a pixel, little time: their noise is smoothed before the phone adds its own.

An edge-avoiding wavelet filter over the light that falls on surfaces: divided by their colour first, so that
textures stay sharp, and guided by normals and depth, so that shapes do (after Dammertz et al., 2010; from memory).
Every picture of a run passes here, so whole planes go through OpenCV, which is twice as fast as numpy on them.
"""

import cv2
import numpy as np

_ACCIDENT = 4.0  # a pixel this many times brighter or darker than the median round it is an accident of sampling
_SAME_WAY = 0.8  # dot product of two normals from which both belong to one surface here
_CROSS = ((0, 1), (1, 0))  # rows and columns to one of two neighbours; the other lies opposite
_DIAGONAL = ((1, 1), (1, -1))
_PASSES = ((1, _CROSS), (1, _DIAGONAL), (2, _CROSS), (3, _DIAGONAL), (5, _CROSS))  # step in pixels, neighbours
_SUM = np.ones((1, 3), np.float32)  # of three channels, as a colour transform
_COMPANY = 1.5  # summed weight, its own 1 included, from which a pixel has been smoothed; one on an outline stays alone
_LEAST_COLOUR = (0.03, 0.03, 0.03, 0.0)


def denoise(radiance: np.ndarray, albedo: np.ndarray, normal: np.ndarray, depth: np.ndarray, passes: int) -> np.ndarray:
    """Smooth radiance (H, W, 3) by surface colour, normal (H, W, 3) and depth (H, W; 0 is the sky), all float32.

    `passes`, 0 to 5, is how often; each reaches farther than the one before.
    """
    # A pixel on an outline is part surface, part sky: the mean normal's length tells how much; the sky's "colour" is 1.
    # On an edge between two surfaces that mean is short as well, and no sky is near.
    length = cv2.sqrt(cv2.transform(cv2.multiply(normal, normal), _SUM))
    near_sky = cv2.dilate((depth <= 0).astype(np.uint8), np.ones((3, 3), np.uint8))
    sky = _thrice((1 - cv2.min(length, 1.0) * (depth > 0)) * near_sky)
    colour = np.where(sky < 1, cv2.max(albedo, _LEAST_COLOUR), 0) + sky
    light = _without_accidents(cv2.divide(radiance, colour), normal)
    lonely = np.full(depth.shape, passes > 0)
    for step, neighbours in _PASSES[:passes]:
        light, company = _smoothed(light, normal, depth, step, neighbours)
        lonely &= company < _COMPANY
    return np.where(lonely[..., None], cv2.medianBlur(light, 3), light) * colour


def _without_accidents(light: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Fireflies are single; dark specks, which no path to a lamp reached, come in twos and threes in a shadow.

    What is dark at a surface's corner is no speck: most of what lies round it looks another way.
    """
    near, far = cv2.medianBlur(light, 3), cv2.medianBlur(light, 5)
    brightest = _brightest(light)
    glaring = brightest > _ACCIDENT * _brightest(near) + 1e-4
    amid_its_like = cv2.transform(cv2.multiply(normal, cv2.medianBlur(normal, 5)), _SUM) > _SAME_WAY
    dull = (brightest * _ACCIDENT < _brightest(far)) & amid_its_like
    return np.where(glaring[..., None], near, np.where(dull[..., None], far, light))


def _brightest(light: np.ndarray) -> np.ndarray:
    red, green, blue = cv2.split(light)
    return cv2.max(cv2.max(red, green), blue)


def _smoothed(
    light: np.ndarray, normal: np.ndarray, depth: np.ndarray, step: int, neighbours
) -> tuple[np.ndarray, np.ndarray]:
    """One pass: the mean of five pixels `step` apart and its summed weight; those unlike the middle one count less.

    What one pixel is to another the other is to it, so that each pair is weighed once.
    """
    tone = cv2.blur(cv2.log(cv2.transform(light, _SUM / 3) + np.float32(1e-3)), (3, 3))
    sky = (depth <= 0).astype(np.float32)
    total, weights = light.copy(), np.ones(depth.shape, np.float32)
    for dy, dx in neighbours:
        planes = (light, normal, depth, tone, sky, total, weights)
        ours, theirs = zip(*(_pairs(plane, step * dy, step * dx) for plane in planes), strict=True)
        weight = _likeness(ours[1:5], theirs[1:5])
        ours[5][...] += cv2.multiply(theirs[0], _thrice(weight))
        theirs[5][...] += cv2.multiply(ours[0], _thrice(weight))
        ours[6][...] += weight
        theirs[6][...] += weight
    return cv2.divide(total, _thrice(weights)), weights


def _pairs(plane: np.ndarray, dy: int, dx: int) -> tuple[np.ndarray, np.ndarray]:
    """Views of all pixels that have a neighbour `dy` rows down and `dx` columns along, and of those neighbours."""
    height, width = plane.shape[:2]
    left, right = max(0, -dx), max(0, dx)
    return plane[: height - dy, left : width - right], plane[dy:, right : width - left]


def _likeness(ours: tuple[np.ndarray, ...], theirs: tuple[np.ndarray, ...]) -> np.ndarray:
    """How much two pixels have to say to each other, from their normals, depths, tones and being sky."""
    (normal, depth, tone, sky), (their_normal, their_depth, their_tone, their_sky) = ours, theirs
    alike = cv2.transform(cv2.multiply(normal, their_normal), _SUM)
    alike = cv2.pow(np.clip(alike, 0, 1, out=alike), 16)
    unlike = cv2.absdiff(depth, their_depth) / (np.float32(0.03) * cv2.min(depth, their_depth) + np.float32(1e-3))
    contrast = cv2.subtract(tone, their_tone)
    unlike += cv2.multiply(contrast, contrast, scale=4)
    return cv2.multiply(alike + sky * their_sky, cv2.exp(-unlike))


def _thrice(plane: np.ndarray) -> np.ndarray:
    return cv2.merge([plane] * 3)

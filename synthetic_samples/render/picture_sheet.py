"""All flat pictures of a scene on one sheet: however many stickers and displays there are, they take one texture."""

from collections.abc import Sequence

import cv2
import numpy as np

from synthetic_samples.geometry import Material, Picture

_WIDTH_PX = 1024
_BORDER_PX = 2  # each picture's edge is repeated round it, so that filtering mixes no neighbours


def on_one_sheet(pictures: Sequence[Picture]) -> tuple[Material, np.ndarray]:
    """The sheet's material, and where each picture lies on it: left, top, right, bottom (N, 4), shares of the sheet.

    Rows of the sheet run like those of a texture: the first is the bottom of the pictures.
    """
    tall_first = sorted(range(len(pictures)), key=lambda number: -pictures[number].pixels.shape[0])
    corners, x, y, row_height = np.zeros((len(pictures), 2), int), 0, 0, 0
    for number in tall_first:
        height, width = (side + 2 * _BORDER_PX for side in pictures[number].pixels.shape[:2])
        if x and x + width > _WIDTH_PX:
            x, y, row_height = 0, y + row_height, 0
        corners[number] = x + _BORDER_PX, y + _BORDER_PX
        x, row_height = x + width, max(row_height, height)
    sizes = np.array([picture.pixels.shape[1::-1] for picture in pictures])  # width, height
    width, height = (corners + sizes).max(axis=0) + _BORDER_PX
    colour, roughness = np.zeros((height, width, 3), np.float32), np.zeros((height, width), np.float32)
    for picture, (left, top) in zip(pictures, corners - _BORDER_PX, strict=True):
        framed = cv2.copyMakeBorder(picture.pixels[::-1], *[_BORDER_PX] * 4, cv2.BORDER_REPLICATE)
        place = np.s_[top : top + framed.shape[0], left : left + framed.shape[1]]
        colour[place], roughness[place] = framed, picture.roughness
    return Material(colour, roughness), np.hstack([corners, corners + sizes]) / (width, height, width, height)

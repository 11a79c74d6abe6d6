"""Photos as a camera stores them: turned, or as HEIC."""

import io

import numpy as np
import pillow_heif
from PIL import Image

# How a camera held that way stores the upright picture: the inverse of what orientation 1…8 asks a viewer to do.
# CIPA DC-008 (Exif), tag 0x0112: which visual side the stored 0th row and 0th column are; from memory.
STORED_ROW_AND_COLUMN = {
    1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
    5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom"),
}  # fmt: skip


def stored(upright: np.ndarray, orientation: int) -> np.ndarray:
    """Lay the upright picture out so that its 0th row and 0th column are the sides that the standard's table names."""
    row, column = STORED_ROW_AND_COLUMN[orientation]
    if row in ("left", "right"):
        upright = upright.transpose(1, 0, 2)  # the stored rows run along what is left and right upright
    if row in ("bottom", "right"):
        upright = upright[::-1]
    if column in ("right", "bottom"):
        upright = upright[:, ::-1]
    return np.ascontiguousarray(upright)


def encoded_heic(rgb: np.ndarray, exif: bytes) -> bytes:
    buffer = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(rgb)).save(buffer, quality=90, **({"exif": exif} if exif else {}))
    return buffer.getvalue()

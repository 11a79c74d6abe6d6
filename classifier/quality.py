"""Whether a photo is worth showing to the networks, and if not, what to do about it."""

from dataclasses import dataclass

import numpy as np
from PIL import Image

from classifier.photo import Photo

SMALLEST_SIDE_PX = 96
"""A shorter side under this holds no part with enough pixels to read."""

GATE_SIZE_PX = 320
"""The longest side at which darkness and blur are measured: what the finder sees."""

DARK_P99 = 36
"""Too dark when 99 % of the pixels have a luma (0–255) under this."""

BRIGHT_P1 = 235
"""Overexposed when 99 % of the pixels have a luma (0–255) above this."""

BLANK_RANGE = 12
"""Blank when the luma of the middle 98 % of the pixels spans less than this."""

SHARP_EDGE = 0.055
"""Blurred when the steepest 0.5 % of pixel steps are under this share of the photo's own luma range.

The step across an edge softened by a Gaussian of s pixels is 1 / (s √(2π)) of its height, so this is an edge spread
over some 7 of the 320 pixels: nobody can tell a knob from a cap there. Milder blur is left to the networks.
"""

ADVICE = {
    "too_small": "The picture is too small to read. Send the original photo, not a thumbnail.",
    "too_dark": "The photo is too dark. Turn on a light or the flash and take it again.",
    "overexposed": "The photo is washed out. Turn away from the light, or tap on the part before you take it again.",
    "blank": "The photo shows an even surface and nothing else. Check that no finger or cover is on the lens.",
    "blurred": "The photo is blurred. Hold still, tap on the part so that the phone focuses on it, and take it again.",
    "first_frame_only": "The file is an animation; only its first picture was looked at.",
    "duplicate": "This is the same file as an earlier photo; it was counted once.",
}
"""Every problem id with the sentence that says what to do."""

HARMLESS = frozenset({"first_frame_only", "duplicate"})
"""Problems that are said, but do not keep a photo from being read."""


@dataclass(frozen=True)
class Quality:
    """Whether a photo was read, and the ids of its problems (keys of `ADVICE`)."""

    usable: bool
    problems: tuple[str, ...]


def judge(photo: Photo) -> Quality:
    """Judge a photo on its reduced picture. Decodes it, so it raises what `Photo.reduced` raises."""
    problems = ["first_frame_only"] if photo.first_frame_only else []
    if min(photo.width, photo.height) < SMALLEST_SIDE_PX:
        return Quality(False, (*problems, "too_small"))
    problem = _light_or_blur(_luma(photo.reduced(GATE_SIZE_PX)))
    problems += [problem] if problem else []
    return Quality(HARMLESS.issuperset(problems), tuple(problems))


def _luma(rgb: np.ndarray) -> np.ndarray:
    image = Image.fromarray(rgb).convert("L")
    image.thumbnail((GATE_SIZE_PX, GATE_SIZE_PX), Image.Resampling.BILINEAR)
    return np.asarray(image, dtype=np.float32)  # (h, w)


def _light_or_blur(luma: np.ndarray) -> str | None:
    p1, p99 = np.percentile(luma, (1, 99))
    if p99 < DARK_P99:
        return "too_dark"
    if p1 > BRIGHT_P1:
        return "overexposed"
    if p99 - p1 < BLANK_RANGE:
        return "blank"
    steps = np.concatenate([np.abs(np.diff(luma, axis=0)).ravel(), np.abs(np.diff(luma, axis=1)).ravel()])
    return "blurred" if np.percentile(steps, 99.5) < SHARP_EDGE * (p99 - p1) else None

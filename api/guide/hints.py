"""One small frame of the camera judged, lightly: what to change until it is fit to be taken. Nothing is kept of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from PIL import Image

from api.guide.framing import NOTHING, TOO_FAR, WRONG_SIDE, View, problem_of, share
from classifier.finder import Found
from classifier.identify import decide
from classifier.model import Model
from classifier.photo import Box, Photo, PhotoLimits, open_photo
from classifier.quality import HARMLESS, judge
from classifier.taxonomy import ACTUATOR_HEAD, CONTROL_BOX, FAIR_SUBJECT_FRACTION

MOST_FRAME_BYTES = 512 * 1024
FRAME_LIMITS = PhotoLimits(MOST_FRAME_BYTES, 1_000_000)
"""A frame for a hint is some 480 pixels long; of no other size is it worth a decoder's time."""

EDGE = 0.005
"""Of the picture: a part that comes nearer to its edge is taken to go on beyond it."""

LOOK_PX = 12
LEVELS = 16
SAME_LOOK = 0.7
"""Correlation of two looks from which on they are of one side. In renders of style `calibration` it was 0.83 or more in
98 of 100 pairs of one side, held a little differently, and at most 0.6 of two sides (5 lifts, 125 pairs)."""

CUT_OFF, OTHER_SIDE, GOOD = "cut_off", "other_side", "good"

LOOK_FOR = {
    CONTROL_BOX: "Look for the box with the red stop button.",
    ACTUATOR_HEAD: "Look for the motor end: the thick end of the tube that lifts the arm.",
}
HINT_WORDS = {
    "too_small": "The picture is too small. Turn the phone.",
    "too_dark": "Too dark. Turn on a light.",
    "overexposed": "Too bright. Turn away from the light.",
    "blank": "Only an even surface is seen. Is something on the lens?",
    "blurred": "Blurred. Hold still.",
    TOO_FAR: "Go closer.",
    CUT_OFF: "Step back a little: show the whole part.",
    WRONG_SIDE: "Go a little to the side, so that more of it shows.",
    OTHER_SIDE: "This side is done. Go round to the other one.",
    GOOD: "Good. Hold still.",
}
"""Every hint but that nothing is found, which says what to look for (`LOOK_FOR`)."""


@dataclass(frozen=True)
class Hint:
    """What is wrong with a frame, or `GOOD`; where the part was found in it; and how the part looks, once it is good.

    `look` tells this side of the part from another one: `LOOK_PX`² hexadecimal digits.
    """

    id: str
    box: Box | None = None
    look: str = ""

    def words(self, view: View) -> str:
        """What whoever holds the camera is told."""
        return LOOK_FOR[view.kind] if self.id == NOTHING else HINT_WORDS[self.id]


def hint_of(data: bytes, view: View, taken: Sequence[str], model: Model) -> Hint:
    """Judge a frame as this view, its parts read only when it is framed well.

    `taken`: the looks of the frames that were taken of this part. Raises a `PhotoError`.
    """
    photo = open_photo(data, "frame", FRAME_LIMITS)
    quality = judge(photo)
    if not quality.usable:
        return Hint(next(problem for problem in quality.problems if problem not in HARMLESS))
    own = [found for found in model.finder(photo) if found.kind == view.kind]
    if not own:
        return Hint(NOTHING)
    found = max(own, key=lambda each: each.probability)
    return _framed(photo, found, view, taken, model)


def _framed(photo: Photo, found: Found, view: View, taken: Sequence[str], model: Model) -> Hint:
    box = found.box
    if share(box) < FAIR_SUBJECT_FRACTION:
        return Hint(TOO_FAR, box)
    if min(box[0], box[1]) < EDGE or max(box[2], box[3]) > 1 - EDGE:
        return Hint(CUT_OFF, box)
    look = look_of(photo, box)
    if any(likeness(look, other) >= SAME_LOOK for other in taken):
        return Hint(OTHER_SIDE, box)
    problem = problem_of(decide([found], model.reader(photo, [found]), model), _after(view, taken))
    return Hint(problem, box) if problem else Hint(GOOD, box, look)


def _after(view: View, taken: Sequence[str]) -> View:
    """What a frame has to show once another side was taken: of a box anything, since that one showed what all have."""
    return replace(view, concepts=()) if taken and view.kind == CONTROL_BOX else view


def look_of(photo: Photo, box: Box) -> str:
    """The part in the box as `LOOK_PX`² hexadecimal digits of brightness, from its darkest to its brightest."""
    luma = np.asarray(Image.fromarray(photo.window(box, LOOK_PX)).convert("L"), np.float32)
    low, high = float(luma.min()), float(luma.max())
    levels = np.rint((luma - low) / max(high - low, 1.0) * (LEVELS - 1)).astype(int)
    return "".join(f"{level:x}" for level in levels.ravel())


def likeness(one: str, other: str) -> float:
    """Correlation of two looks, -1 to 1; 0 where one is even."""
    a, b = (np.array([int(digit, 16) for digit in look], np.float64) for look in (one, other))
    a, b = a - a.mean(), b - b.mean()
    size = float(np.linalg.norm(a) * np.linalg.norm(b))
    return float(a @ b) / size if size else 0.0

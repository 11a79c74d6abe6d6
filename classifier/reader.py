"""What each concept reads: a closer look at a square window around every subject that was found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from classifier.finder import Found, normalise
from classifier.photo import Box, Photo


@dataclass(frozen=True)
class Reader:
    """The reader network with its recipe. `session` is an ONNX Runtime session, `recipe` the metadata's `reader`."""

    session: Any
    recipe: Mapping[str, Any]

    def __call__(self, photo: Photo, found: Sequence[Found]) -> list[dict[str, np.ndarray]]:
        """For each found subject the logits of `kind` and of every concept, by name; one run for all of them."""
        if not found:
            return []
        heads = ["kind", *self.recipe["concepts"]]
        outputs = self.session.run(heads, {self.session.get_inputs()[0].name: self.windows(photo, found)})
        return [{head: logits[n] for head, logits in zip(heads, outputs, strict=True)} for n in range(len(found))]

    def windows(self, photo: Photo, found: Sequence[Found]) -> np.ndarray:
        """What the network is shown: float32 (N, 3, input_px, input_px), cut from the photo's own pixels."""
        size, margin = self.recipe["input_px"], self.recipe["margin"]
        cuts = [photo.window(square_window(f.box, photo.width, photo.height, margin), size) for f in found]
        return np.stack([normalise(cut, self.recipe["mean"], self.recipe["std"]) for cut in cuts])


def square_window(box: Box, width: int, height: int, margin: float) -> Box:
    """The square in pixels around a box's centre, side max(w, h) × (1 + 2 × margin), in fractions of the photo.

    It may leave the photo on any side.
    """
    side_px = max((box[2] - box[0]) * width, (box[3] - box[1]) * height, 1.0) * (1.0 + 2.0 * margin)
    centre_x, centre_y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    half_x, half_y = side_px / width / 2, side_px / height / 2
    return centre_x - half_x, centre_y - half_y, centre_x + half_x, centre_y + half_y

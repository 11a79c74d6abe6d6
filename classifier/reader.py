"""What each concept reads: square windows around every subject that was found, as test-time augmentation wants."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from classifier.finder import Found, normalise
from classifier.photo import Box, Photo
from classifier.recipe import ReaderRecipe, View
from classifier.taxonomy import CONCEPTS_OF

FEATURES = "features"
"""The reader's output that its heads decide from; the distance from what is in distribution is taken in it."""


@dataclass(frozen=True)
class Reader:
    """The reader network with its recipe. `session` is an ONNX Runtime session, `recipe` the metadata's `reader`."""

    session: Any
    recipe: ReaderRecipe

    def __call__(self, photo: Photo, found: Sequence[Found]) -> list[dict[str, np.ndarray]]:
        """For each found subject the logits of `kind` and of every concept, and the features, by name.

        Each is the mean over the recipe's views; those that are only there to read are left out where nothing is: of a
        kind without concepts, and of what the first view takes for another kind. One window at a time: on a processor a
        batch is no faster, and it would take as many times the memory.
        """
        heads = ["kind", *self.recipe.concepts, FEATURES]
        name = self.session.get_inputs()[0].name
        read = []
        for each in found:
            seen: list[dict[str, np.ndarray]] = []
            for view in self.recipe.views:
                if not view.to_read or self._says_more(each, seen[0]["kind"]):
                    told = self.session.run(heads, {name: self._window(photo, each, view)[None]})
                    seen.append({head: values[0] for head, values in zip(heads, told, strict=True)})
            read.append({head: np.mean([of_view[head] for of_view in seen], axis=0) for head in heads})
        return read

    def windows(self, photo: Photo, found: Found) -> list[np.ndarray]:
        """What the network is shown, view by view: float32 (3, input_px, input_px), cut from the photo's own pixels."""
        return [self._window(photo, found, view) for view in self.recipe.views]

    def _window(self, photo: Photo, found: Found, view: View) -> np.ndarray:
        recipe = self.recipe
        box = square_window(found.box, photo.width, photo.height, view.margin)
        pixels = normalise(photo.window(box, recipe.input_px), recipe.mean, recipe.std)
        return np.ascontiguousarray(pixels[:, :, ::-1]) if view.mirrored else pixels

    def _says_more(self, found: Found, kinds: np.ndarray) -> bool:
        """Whether a further view can tell something that is asked: `kinds` are the logits of the first."""
        return bool(CONCEPTS_OF.get(found.kind)) and self.recipe.kinds[int(np.argmax(kinds))] == found.kind


def square_window(box: Box, width: int, height: int, margin: float) -> Box:
    """The square in pixels around a box's centre, side max(w, h) × (1 + 2 × margin), in fractions of the photo.

    It may leave the photo on any side.
    """
    side_px = max((box[2] - box[0]) * width, (box[3] - box[1]) * height, 1.0) * (1.0 + 2.0 * margin)
    centre_x, centre_y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    half_x, half_y = side_px / width / 2, side_px / height / 2
    return centre_x - half_x, centre_y - half_y, centre_x + half_x, centre_y + half_y

"""One photo with what the shipped networks say of it."""

from classifier.finder import Found
from classifier.model import Model
from classifier.photo import Photo

SURE = 0.3
"""The finder's thresholds lie so low that what barely reaches them is another matter with another JPEG decoder."""


def sure_boxes(model: Model, photo: Photo) -> list[Found]:
    """The boxes that the finder is sure of."""
    return [found for found in model.finder(photo) if found.probability >= SURE]

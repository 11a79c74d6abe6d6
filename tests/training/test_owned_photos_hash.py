"""The perceptual hash: the same as a published implementation's, and telling copies from other pictures."""

import io
from itertools import combinations

import imagehash
import numpy as np
import pytest
from PIL import Image

from tests.support.standin_photos import STANDINS
from training.owned.hash import SAME_PICTURE_BITS, differing_bits, perceptual_hash


@pytest.fixture(scope="module")
def pictures() -> list[Image.Image]:
    return [Image.open(path).convert("RGB") for path in sorted((STANDINS / "images").glob("*.jpg"))]


def hash_of(picture: Image.Image) -> int:
    return perceptual_hash(np.asarray(picture))


def test_equals_the_hash_of_the_package_imagehash(pictures: list[Image.Image]):
    """Source: ImageHash (PyPI), `phash` with its defaults."""
    for picture in pictures:
        theirs = np.packbits(imagehash.phash(picture).hash.ravel()).tobytes()
        assert hash_of(picture) == int.from_bytes(theirs, "big")


def test_a_copy_is_known_again_and_two_pictures_are_two(pictures: list[Image.Image]):
    hashes = [hash_of(picture) for picture in pictures]
    for known, picture in zip(hashes, pictures, strict=True):
        sent = io.BytesIO()
        picture.resize((picture.width * 6 // 10, picture.height * 6 // 10)).save(sent, "JPEG", quality=40)
        assert differing_bits(known, hash_of(Image.open(sent).convert("RGB"))) <= SAME_PICTURE_BITS
    assert min(differing_bits(a, b) for a, b in combinations(hashes, 2)) > SAME_PICTURE_BITS + 2

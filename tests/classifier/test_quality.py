"""The gate before the networks: refuses what nobody could read, and lets poor but readable photos through."""

import io

import numpy as np
import pytest
from PIL import Image, ImageEnhance, ImageFilter
from skimage import data as skimage_data

from classifier.photo import PhotoLimits, open_photo
from classifier.quality import ADVICE, HARMLESS, judge


def problems(image: Image.Image) -> tuple[str, ...]:
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    quality = judge(open_photo(buffer.getvalue(), "photo", PhotoLimits()))
    assert quality.usable == HARMLESS.issuperset(quality.problems)
    assert set(quality.problems) <= set(ADVICE)
    return quality.problems


@pytest.fixture(scope="module", params=["coffee", "astronaut", "chelsea", "rocket"])
def real_photo(request: pytest.FixtureRequest) -> Image.Image:
    """Photographs that scikit-image ships; none shows a lift."""
    return Image.fromarray(getattr(skimage_data, request.param)())


def test_an_ordinary_photo_passes(real_photo: Image.Image) -> None:
    assert problems(real_photo) == ()


def test_a_dim_or_bright_or_slightly_soft_photo_still_passes(real_photo: Image.Image) -> None:
    assert problems(ImageEnhance.Brightness(real_photo).enhance(0.35)) == ()
    assert problems(ImageEnhance.Brightness(real_photo).enhance(1.8)) == ()
    assert problems(real_photo.filter(ImageFilter.GaussianBlur(1.0))) == ()


def test_nearly_black_is_too_dark(real_photo: Image.Image) -> None:
    assert problems(ImageEnhance.Brightness(real_photo).enhance(0.08)) == ("too_dark",)


def test_nearly_white_is_overexposed(real_photo: Image.Image) -> None:
    washed = Image.fromarray((240 + np.asarray(real_photo) * (15 / 255)).astype(np.uint8))
    assert problems(washed) == ("overexposed",)


def test_heavy_blur_is_noticed(real_photo: Image.Image) -> None:
    assert problems(real_photo.filter(ImageFilter.GaussianBlur(real_photo.width / 25))) == ("blurred",)


def test_a_covered_lens_is_blank() -> None:
    assert problems(Image.new("RGB", (640, 480), (120, 80, 60))) == ("blank",)


@pytest.mark.parametrize("size", [(1, 1), (50, 4000), (95, 95)])
def test_a_thumbnail_is_too_small(size: tuple[int, int]) -> None:
    assert problems(Image.effect_noise(size, 60).convert("RGB")) == ("too_small",)


def test_white_paper_around_a_part_is_no_overexposure() -> None:
    image = Image.new("RGB", (640, 480), (255, 255, 255))
    image.paste(Image.effect_noise((150, 200), 60).convert("RGB"), (200, 100))
    assert problems(image) == ()

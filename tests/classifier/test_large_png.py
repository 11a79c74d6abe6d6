"""Strips of a PNG against Pillow's own decode of the whole: the same pixels at every scale, or no answer."""

import io

import numpy as np
import pytest
from PIL import Image

from classifier.large_png import STRIP_ROWS, Rows, reduced_png, says_all_before_the_pixels
from classifier.photo import EXIF_ORIENTATION, PhotoLimits, _to_rgb, cut_window, open_photo

SHRINKS = (8, 4, 2)

pytestmark = pytest.mark.walk


def picture(mode: str, size: tuple[int, int]) -> Image.Image:
    """Soft noise, so that every filter of the encoder comes up."""
    random = np.random.default_rng(size[0])
    coarse = Image.fromarray(random.integers(0, 256, (9, 7, 4), dtype=np.uint8), "RGBA").resize(size)
    return coarse.convert(mode) if mode != "P" else coarse.convert("RGB").quantize(64)


def png(image: Image.Image, **options: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, "PNG", **options)
    return buffer.getvalue()


def of_the_whole(data: bytes, shrink: int) -> np.ndarray:
    image = Image.open(io.BytesIO(data))
    image.load()
    return np.asarray(_to_rgb(image).reduce(shrink))


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "LA", "P"])
@pytest.mark.parametrize("size", [(301, 2 * STRIP_ROWS + 5), (64, 3 * STRIP_ROWS), (1000, 77), (90, 1)])
@pytest.mark.parametrize("level", [0, 1, 9])
def test_every_scale_is_pixel_for_pixel_that_of_the_whole(mode: str, size: tuple[int, int], level: int) -> None:
    data = png(picture(mode, size), compress_level=level)
    small = reduced_png(data, SHRINKS, _to_rgb)
    assert small is not None
    for shrink in SHRINKS:
        np.testing.assert_array_equal(np.asarray(small[shrink]), of_the_whole(data, shrink))


@pytest.mark.parametrize("mode, transparency", [("RGB", (10, 20, 30)), ("L", 40), ("P", 3), ("P", bytes(range(64)))])
def test_what_is_transparent_stays_so(mode: str, transparency: object) -> None:
    data = png(picture(mode, (120, 600)), transparency=transparency)
    small = reduced_png(data, SHRINKS, _to_rgb)
    assert small is not None
    np.testing.assert_array_equal(np.asarray(small[2]), of_the_whole(data, 2))


def test_what_is_not_read_in_strips_or_not_whole_is_left_to_the_decode_of_the_whole() -> None:
    image = picture("RGB", (200, 700))
    whole = png(image)
    for other in (
        png(Image.fromarray(np.full((600, 9), 40_000, np.uint16))), png(image.convert("1")), whole[:-40], whole[:60],
        png(image, save_all=True, append_images=[image.rotate(180)]), whole[:-40] + b"12345678" + whole[-32:], b"",
    ):  # fmt: skip
        assert reduced_png(other, SHRINKS, _to_rgb) is None


def test_a_large_png_is_decoded_once_for_all_its_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("classifier.photo._decode", lambda *_: pytest.fail("decoded whole"))
    image = picture("RGB", (4000, 3000))
    photo = open_photo(png(image, compress_level=1), "large.png", PhotoLimits())
    np.testing.assert_array_equal(photo.reduced(320), np.asarray(image.reduce(4)))
    photo.window((0.4, 0.4, 0.6, 0.7), 352)
    assert set(photo._at_scale) == {4, 2}


@pytest.mark.parametrize("behind", [False, True])
def test_how_a_png_is_turned_is_found_before_and_behind_its_pixels(behind: bool) -> None:
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = 6
    data = png(picture("RGB", (90, 60)), exif=exif)
    start = data.index(b"eXIf") - 4
    end = start + 12 + int.from_bytes(data[start : start + 4], "big")
    without, chunk = data[:start] + data[end:], data[start:end]
    place = without.index(b"IEND" if behind else b"IDAT") - 4
    data = without[:place] + chunk + without[place:]
    assert says_all_before_the_pixels(data) is not behind
    assert open_photo(data, "turned.png", PhotoLimits()).width == 60


@pytest.mark.parametrize("mode", ["RGB", "P"])
def test_windows_at_full_size_are_those_of_the_whole_and_few_rows_are_decoded(mode: str) -> None:
    data = png(picture(mode, (700, 6000)), compress_level=1)
    whole = open_photo(data, "whole.png", PhotoLimits())
    parts = open_photo(data, "parts.png", PhotoLimits())
    parts.reduced(320)
    for box in ((0.1, 0.52, 0.2, 0.58), (-0.1, -0.05, 0.1, 0.02), (0.9, 0.97, 1.1, 1.06), (0.4, 0.2, 0.41, 0.25)):
        for out_px in (352, 64, 9):
            beside = 2 * (box[3] - box[1]) / out_px + 2 / 6000
            part = parts._image(1.0, box[1] - beside, box[3] + beside)
            np.testing.assert_array_equal(cut_window(part, box, out_px), cut_window(whole._image(1.0), box, out_px))
        np.testing.assert_array_equal(parts.window(box, 352), whole.window(box, 352))
    rows = parts._at_scale[1]
    assert isinstance(rows, Rows) and len(rows.there) < 6000 / STRIP_ROWS / 2
    np.testing.assert_array_equal(np.asarray(parts._image(1.0)), np.asarray(whole._image(1.0)))

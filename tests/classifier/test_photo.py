"""Bytes to upright pixels: formats, turns, limits and every kind of damage."""

import io
import struct
import time
import zlib
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from classifier.errors import NotAPhoto, PhotoTooLarge, UnreadablePhoto
from classifier.photo import EXIF_ORIENTATION, MID_GREY, MOST_SCANS, PhotoLimits, cut_window, open_photo
from tests.support.encoded_photos import encoded_heic, stored
from tests.support.toy_networks import blob_photo, encoded

LIMITS = PhotoLimits()
SCENE = blob_photo(
    ("control_box", (0.3, 0.4), 0.3, {"black": "above", "white": "left"}), ("charger", (0.8, 0.7), 0.2, {})
)


def pixels(data: bytes, size: int = 640) -> np.ndarray:
    return open_photo(data, "photo", LIMITS).reduced(size)


def nearly_equal(a: np.ndarray, b: np.ndarray, mean_difference: float = 3.0) -> bool:
    return a.shape == b.shape and float(np.abs(a.astype(int) - b.astype(int)).mean()) < mean_difference


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_every_exif_orientation_comes_out_upright(orientation: int, form: str) -> None:
    turned = Image.fromarray(stored(np.asarray(SCENE), orientation))
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = orientation
    photo = open_photo(encoded(turned, form, exif=exif), "photo", LIMITS)
    assert (photo.width, photo.height) == SCENE.size
    assert nearly_equal(photo.reduced(640), np.asarray(SCENE))


def test_a_heic_obeys_its_own_rotation_and_not_exif() -> None:
    upright = np.asarray(SCENE)
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = 6  # the encoder turns this into the file's own rotation box
    data = encoded_heic(stored(upright, 6), exif.tobytes())
    assert b"irot" in data
    photo = open_photo(data, "IMG_0001.HEIC", LIMITS)
    assert (photo.width, photo.height) == SCENE.size
    assert nearly_equal(photo.reduced(640), upright, 5.0)


def test_exif_in_a_heic_turns_nothing() -> None:
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = 6
    data = encoded_heic(np.asarray(SCENE), exif.tobytes())
    at = data.index(b"irot")
    turned_by = data[at + 4]
    assert turned_by != 0
    own_rotation_0 = data[: at + 4] + b"\x00" + data[at + 5 :]  # now only the EXIF block asks for a turn
    photo = open_photo(own_rotation_0, "IMG_0002.HEIC", LIMITS)
    assert (photo.width, photo.height) == SCENE.size
    assert nearly_equal(photo.reduced(640), np.asarray(SCENE), 5.0)


def test_grey_16_bit_is_scaled_and_not_clipped() -> None:
    ramp = np.linspace(0, 65535, 256, dtype=np.uint16)[None].repeat(128, axis=0)
    came = pixels(encoded(Image.fromarray(ramp), "PNG"))
    assert came.shape == (128, 256, 3)
    assert np.abs(came[0, :, 0].astype(int) - np.arange(256)).max() <= 1


def test_colour_16_bit_png() -> None:
    rows = b"".join(b"\x00" + struct.pack(">HHH", 0xFFFF, 0x8080, 0) * 8 for _ in range(8))
    header = struct.pack(">IIBBBBB", 8, 8, 16, 2, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in ((b"IHDR", header), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    )
    assert pixels(data)[0, 0].tolist() == [255, 128, 0]


def test_cmyk_jpeg_keeps_its_colours() -> None:
    came = pixels(encoded(SCENE.convert("CMYK"), "JPEG"))
    assert nearly_equal(came, np.asarray(SCENE), 8.0)


def test_palette_png_with_transparency_lies_on_grey() -> None:
    image = Image.new("P", (64, 64), 0)
    image.putpalette([10, 200, 30, 250, 0, 0] + [0] * 762)
    image.paste(1, (0, 0, 32, 64))
    came = pixels(encoded(image, "PNG", transparency=0))
    assert came[5, 5].tolist() == [250, 0, 0]
    assert came[5, 50].tolist() == [MID_GREY] * 3


def test_transparent_pixels_do_not_show_their_hidden_colour() -> None:
    came = pixels(encoded(Image.new("RGBA", (64, 64), (255, 0, 0, 0)), "WEBP", lossless=True))
    assert came[0, 0].tolist() == [MID_GREY] * 3


@pytest.mark.parametrize("form", ["WEBP", "PNG"])
def test_of_an_animation_the_first_picture_is_read_and_that_is_said(form: str) -> None:
    other = Image.new("RGB", SCENE.size, (200, 10, 10))
    options = {"lossless": True} if form == "WEBP" else {}
    photo = open_photo(encoded(SCENE, form, save_all=True, append_images=[other], **options), "a", LIMITS)
    assert photo.first_frame_only
    assert nearly_equal(photo.reduced(640), np.asarray(SCENE))
    assert not open_photo(encoded(SCENE, form), "still", LIMITS).first_frame_only


def test_the_multi_picture_file_of_a_phone_is_an_ordinary_photo() -> None:
    buffer = io.BytesIO()
    SCENE.save(buffer, "MPO", save_all=True, append_images=[SCENE.resize((160, 120))], quality=92)
    photo = open_photo(buffer.getvalue(), "portrait.jpg", LIMITS)
    assert (photo.width, photo.height, photo.first_frame_only) == (640, 480, False)
    assert nearly_equal(photo.reduced(640), np.asarray(SCENE))


@pytest.mark.parametrize(
    ("data", "came"),
    [
        (b"GIF89a" + bytes(40), "a GIF"),
        (b"%PDF-1.7 ...", "a PDF"),
        (b"hello, I am no photo", "no picture"),
        (b"\x00", "no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture"),
        (b"II*\x00" + bytes(60), "no picture"),
    ],
)
def test_what_is_no_photo_is_refused_whatever_its_name(data: bytes, came: str) -> None:
    with pytest.raises(NotAPhoto, match=came) as caught:
        open_photo(data, "holiday.jpg", LIMITS)
    assert str(caught.value).startswith("holiday.jpg: ")
    assert "JPEG, PNG, WebP and HEIC" in str(caught.value)


def test_the_content_decides_and_not_the_name() -> None:
    assert nearly_equal(open_photo(encoded(SCENE, "PNG"), "photo.jpg", LIMITS).reduced(640), np.asarray(SCENE))


def test_an_empty_file_is_named_as_such() -> None:
    with pytest.raises(UnreadablePhoto, match="empty"):
        open_photo(b"", "a.jpg", LIMITS)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize("kept", [0.02, 0.3, 0.7, 0.97])
def test_a_cut_off_file_is_never_half_read(form: str, kept: float) -> None:
    noisy = noisy_scene()
    data = encoded_heic(np.asarray(noisy), b"") if form == "HEIF" else encoded(noisy, form)
    with pytest.raises(UnreadablePhoto):
        pixels(data[: max(20, int(len(data) * kept))])


@pytest.mark.parametrize("kept", [0.1, 0.5, 0.9])
def test_a_cut_off_jpeg_with_an_end_mark_is_noticed(kept: float) -> None:
    data = encoded(noisy_scene(), "JPEG")
    with pytest.raises(UnreadablePhoto, match="lower part"):
        pixels(data[: int(len(data) * kept)] + b"\xff\xd9")


def test_a_progressive_jpeg_cut_off_in_its_first_scan_is_noticed() -> None:
    data = encoded(noisy_scene(), "JPEG", progressive=True)
    first_scan = data.index(b"\xff\xda")
    second_scan = data.index(b"\xff\xda", first_scan + 2)
    with pytest.raises(UnreadablePhoto, match="lower part"):
        pixels(data[: (first_scan + second_scan) // 2] + b"\xff\xd9")


@pytest.mark.parametrize("dropped", [512, 4000])
def test_a_jpeg_that_lost_a_piece_in_its_middle_is_noticed(dropped: int) -> None:
    data = encoded(noisy_scene(), "JPEG")
    for at in range(2000, len(data) - 2 * dropped, len(data) // 20):
        with pytest.raises(UnreadablePhoto):
            pixels(data[:at] + data[at + dropped :])


def test_a_truly_grey_jpeg_is_whole() -> None:
    grey = Image.new("RGB", (640, 480), (MID_GREY,) * 3)
    assert (pixels(encoded(grey)) == MID_GREY).all()
    assert pixels(encoded(blob_photo(("charger", (0.5, 0.2), 0.2, {})))).shape == (480, 640, 3)


def noisy_scene() -> Image.Image:
    noise = np.random.default_rng(5).normal(0, 12, (480, 640, 3))
    return Image.fromarray(np.clip(np.asarray(SCENE) + noise, 0, 255).astype(np.uint8))


def test_too_many_pixels_are_refused_before_they_are_decoded() -> None:
    header = struct.pack(">IIBBBBB", 30_000, 30_000, 8, 2, 0, 0, 0)
    body = b"IHDR" + header
    bomb = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    idat = b"IDAT" + zlib.compress(bytes(1000))
    bomb += struct.pack(">I", len(idat) - 4) + idat + struct.pack(">I", zlib.crc32(idat))
    with pytest.raises(PhotoTooLarge, match="pixels"):
        open_photo(bomb, "bomb.png", LIMITS)
    with pytest.raises(PhotoTooLarge, match="640 × 480 pixels came"):
        open_photo(encoded(SCENE), "a.jpg", PhotoLimits(max_pixels=300_000))


def with_scans(size: tuple[int, int], more: int) -> bytes:
    """A progressive JPEG of one colour whose last scan comes so many times more."""
    data = encoded(Image.new("RGB", size, (90, 120, 60)), "JPEG", progressive=True)
    last, end = data.rindex(b"\xff\xda"), data.rindex(b"\xff\xd9")
    return data[:end] + data[last:end] * more + data[end:]


def test_a_progressive_jpeg_of_many_scans_is_refused_before_it_is_decoded() -> None:
    usual = encoded(Image.new("RGB", (64, 48)), "JPEG", progressive=True)
    assert 3 < usual.count(b"\xff\xda") < MOST_SCANS / 4, "what a camera or an editor writes is far below"
    assert open_photo(with_scans((64, 48), 40), "a.jpg", LIMITS).reduced(64).shape[2] == 3
    data = with_scans((6000, 4000), 10_000)
    with pytest.raises(PhotoTooLarge, match="100[01][0-9] scans of a JPEG came, at most 64"):
        open_photo(data, "a.jpg", LIMITS)


def test_scans_are_counted_in_the_picture_that_is_decoded_and_nowhere_else() -> None:
    film = b"\xff\xda" * 2000  # as often stands by chance in a film of some MiB behind the photo
    assert open_photo(encoded(SCENE) + film, "moving.jpg", LIMITS).reduced(64).shape[2] == 3
    many = with_scans((64, 48), 100)
    for hidden_behind in (b"\xff\xd9", film):  # in metadata before the scans, as of a small picture
        metadata = b"\xff\xe5" + struct.pack(">H", len(hidden_behind) + 2) + hidden_behind
        assert open_photo(encoded(SCENE)[:2] + metadata + encoded(SCENE)[2:], "a.jpg", LIMITS).reduced(64).any()
        with pytest.raises(PhotoTooLarge, match="scans"):
            open_photo(many[:2] + metadata + many[2:], "a.jpg", LIMITS)


def test_a_jpeg_of_endless_segments_is_refused_before_it_is_opened() -> None:
    data = encoded(SCENE)[:2] + b"\xff\xfe\x00\x02" * 2_000_000 + encoded(SCENE)[2:]
    started = time.process_time()
    with pytest.raises(UnreadablePhoto, match="damaged"):
        open_photo(data, "a.jpg", LIMITS)
    assert time.process_time() - started < 0.5, "as long as it takes to look at some thousands"


def test_too_many_bytes_are_refused() -> None:
    with pytest.raises(PhotoTooLarge, match="MiB"):
        open_photo(encoded(SCENE) + bytes(2**20), "a.jpg", PhotoLimits(max_bytes=2**20))


@pytest.mark.parametrize("size", [(1, 1), (1, 400), (3, 2)])
def test_tiny_pictures_open_without_a_fault(size: tuple[int, int]) -> None:
    photo = open_photo(encoded(Image.new("RGB", size)), "dot.jpg", LIMITS)
    assert photo.reduced(320).shape == (size[1], size[0], 3)


@pytest.mark.filterwarnings("ignore:Corrupt EXIF data")
@settings(max_examples=150, deadline=None)
@given(
    rubbish=st.binary(max_size=400),
    head=st.sampled_from([b"", b"Exif\x00\x00", b"Exif\x00\x00II*\x00\x08\x00\x00\x00"]),
)
def test_rubbish_in_the_metadata_changes_no_pixel(rubbish: bytes, head: bytes) -> None:
    plain = encoded(SCENE.resize((160, 120)))
    segment = (head + rubbish)[:65_000]
    data = plain[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + plain[2:]
    came, want = pixels(data), pixels(plain)
    assert sorted(came.shape) == sorted(want.shape)  # a rubbish block may by chance be a valid turn
    assert abs(float(came.mean()) - float(want.mean())) < 1e-6


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_damaged_bytes_give_a_picture_or_a_photo_error(data: st.DataObject) -> None:
    form = data.draw(st.sampled_from(["JPEG", "PNG", "WEBP"]))
    good = bytearray(encoded(SCENE.resize((96, 64)), form))
    for _ in range(data.draw(st.integers(1, 6))):
        good[data.draw(st.integers(0, len(good) - 1))] = data.draw(st.integers(0, 255))
    with suppress(UnreadablePhoto, NotAPhoto, PhotoTooLarge):
        assert pixels(bytes(good)).ndim == 3


def test_a_large_jpeg_is_decoded_small_and_only_as_large_as_a_crop_needs() -> None:
    big = SCENE.resize((4000, 3000))
    photo = open_photo(encoded(big), "big.jpg", LIMITS)
    assert photo.reduced(320).shape == (750, 1000, 3)
    assert photo.window((0.1, 0.1, 0.9, 0.9), 256).shape == (256, 256, 3)
    assert set(photo._at_scale) == {4}
    photo.window((0.4, 0.4, 0.45, 0.46), 256)
    assert set(photo._at_scale) == {4, 1}


def test_a_window_equals_the_same_window_of_the_whole_picture() -> None:
    photo = open_photo(encoded(SCENE.resize((2000, 1500)), "PNG"), "a.png", LIMITS)
    box = (0.15, 0.2, 0.45, 0.6)
    small, full = photo.window(box, 128), cut_window(SCENE.resize((2000, 1500)), box, 128)
    assert nearly_equal(small, full, 1.5)


def test_a_window_that_leaves_the_photo_is_grey_there() -> None:
    white = Image.new("RGB", (200, 100), (255, 255, 255))
    cut = cut_window(white, (-0.25, -0.5, 0.25, 0.5), 100)
    assert (cut[:50] == MID_GREY).all()
    assert (cut[:, :50] == MID_GREY).all()
    assert (cut[50:, 50:] == 255).all()
    assert (cut_window(white, (1.5, 1.5, 2.0, 2.0), 20) == MID_GREY).all()

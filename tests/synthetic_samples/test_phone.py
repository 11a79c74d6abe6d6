"""The phone: same seed same bytes, upright again after any orientation, each hard condition does what its name says."""

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from synthetic_samples.phone.families import FAMILIES, HARD_CONDITIONS, draw_phone, phone_families
from synthetic_samples.phone.phone import develop, encode_jpeg, stored_pixels


def _picture() -> np.ndarray:
    """(120, 160, 3) linear light: blocks of colour with a gradient, no symmetry."""
    rng = np.random.default_rng(5)
    blocks = np.kron(rng.random((6, 8, 3)), np.ones((20, 20, 1)))
    return (blocks * np.linspace(0.2, 2.0, 160)[None, :, None]).astype(np.float32)


def _photo(family: str, seed: int = 1, hard: tuple[str, ...] = ()) -> np.ndarray:
    rng = np.random.default_rng(seed)
    phone = draw_phone(rng, family, hard)
    return develop(_picture(), phone, rng)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_pillow_turns_every_orientation_upright_again(orientation):
    """Pillow's exif_transpose is the outside check of the tag's meaning."""
    rng = np.random.default_rng(0)
    phone = replace(
        draw_phone(rng, "crisp_flagship"),
        orientation=orientation, jpeg_quality=96, jpeg_subsampling=0, resave_quality=0,
    )  # fmt: skip
    upright = cv2.GaussianBlur(
        np.kron(rng.integers(30, 220, (6, 8, 3)).astype(np.uint8), np.ones((16, 16, 1), np.uint8)), (0, 0), 3
    )
    image = Image.open(io.BytesIO(encode_jpeg(upright, phone, rng)))
    assert image.getexif()[0x0112] == orientation
    assert image.size == ((128, 96) if orientation < 5 else (96, 128))
    turned = np.asarray(ImageOps.exif_transpose(image)).astype(int)
    assert turned.shape == upright.shape
    assert np.abs(turned - upright).mean() < 3


def test_stored_pixels_refuses_a_tag_outside_the_standard():
    with pytest.raises(ValueError, match="1 to 8"):
        stored_pixels(np.zeros((2, 2, 3), np.uint8), 9)


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_same_seed_same_bytes_and_another_seed_others(family):
    def file(seed: int) -> bytes:
        rng = np.random.default_rng(seed)
        phone = draw_phone(rng, family)
        return encode_jpeg(develop(_picture(), phone, rng), phone, rng)

    assert file(3) == file(3)
    assert file(3) != file(4)


def test_no_family_belongs_to_two_styles():
    styles = [phone_families(style) for style in ("train", "calibration", "heldout")]
    names = [name for style in styles for name in style]
    assert len(names) == len(set(names)) == len(FAMILIES)
    assert [len(style) >= least for style, least in zip(styles, (6, 1, 1), strict=True)] == [True] * 3
    with pytest.raises(ValueError, match="nowhere"):
        phone_families("nowhere")


def test_an_unknown_condition_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match="overexposed"):
        draw_phone(np.random.default_rng(0), "plain_natural", ["upside_down"])


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_dark_is_darker_and_overexposed_brighter_than_normal(family):
    plain = np.mean([_photo(family, seed).mean() for seed in range(6)])
    dark = np.mean([_photo(family, seed, ("dark",)).mean() for seed in range(6)])
    bright = np.mean([_photo(family, seed, ("overexposed",)).mean() for seed in range(6)])
    assert dark < 0.75 * plain
    assert bright > 1.15 * plain


def test_noisy_is_noisier_blurred_softer_and_haze_paler():
    flat = np.full((120, 160, 3), 0.3, np.float32)

    def mean_over_phones(measure, hard: tuple[str, ...], picture: np.ndarray) -> float:
        values = []
        for family in phone_families("train"):
            for seed in range(3):
                rng = np.random.default_rng(seed)
                values.append(measure(develop(picture, draw_phone(rng, family, hard), rng).astype(float)))
        return float(np.mean(values))

    def grain(photo: np.ndarray) -> float:
        return float(np.diff(photo, axis=1).std())  # neighbours: neither vignette nor tint counts

    assert mean_over_phones(grain, ("noisy",), flat) > 2 * mean_over_phones(grain, (), flat)
    edges = np.where((np.arange(160) // 8 % 2)[None, :, None], 1.0, 0.05) * np.ones((120, 1, 3))
    edges = edges.astype(np.float32)

    def steepest(photo: np.ndarray) -> float:
        return float(np.abs(np.diff(cv2.GaussianBlur(photo.mean(axis=2), (0, 0), 0.5), axis=1)).max())

    def contrast(photo: np.ndarray) -> float:
        return float(np.ptp(np.percentile(photo, (10, 90))))

    wide = cv2.resize(edges, (480, 360), interpolation=cv2.INTER_NEAREST)
    assert mean_over_phones(steepest, ("blurred",), wide) < mean_over_phones(steepest, (), wide)
    assert mean_over_phones(contrast, ("haze",), edges) < 0.95 * mean_over_phones(contrast, (), edges)


def test_exposure_does_not_depend_on_the_scale_of_the_render():
    rng = np.random.default_rng(0)
    phone = draw_phone(rng, "plain_natural")
    once = develop(_picture(), phone, np.random.default_rng(1)).astype(int)
    bright = develop(_picture() * 37.0, phone, np.random.default_rng(1)).astype(int)
    assert np.abs(once - bright).max() <= 2


def test_broken_pixels_of_a_render_do_not_spread():
    picture = _picture()
    picture[10, 10] = np.nan
    picture[20, 20] = np.inf
    picture[30, 30] = -1.0
    rng = np.random.default_rng(0)
    photo = develop(picture, draw_phone(rng, "plain_natural"), rng)
    healthy = develop(_picture(), draw_phone(np.random.default_rng(0), "plain_natural"), np.random.default_rng(0))
    assert photo.dtype == np.uint8
    assert abs(float(photo.mean()) - float(healthy.mean())) < 25


def test_develop_refuses_a_picture_that_is_not_rgb():
    rng = np.random.default_rng(0)
    with pytest.raises(ValueError, match="height, width, 3"):
        develop(np.zeros((4, 4), np.float32), draw_phone(rng, "plain_natural"), rng)


def test_distortion_moves_no_corner_beyond_what_the_docstring_promises():
    for family, habits in FAMILIES.items():
        assert max(abs(value) for value in habits.distortion) <= 0.005, family


def test_exif_names_no_place_and_no_maker():
    rng = np.random.default_rng(0)
    phone = draw_phone(rng, "crisp_flagship")
    exif = Image.open(io.BytesIO(encode_jpeg(np.zeros((48, 64, 3), np.uint8), phone, rng))).getexif()
    assert exif[0x010F] == "Synthetic"
    assert not exif.get_ifd(0x8825)
    assert exif.get_ifd(0x8769)[0x9003]


def test_hard_conditions_are_all_drawable():
    for name in HARD_CONDITIONS:
        draw_phone(np.random.default_rng(0), "vivid_warm", [name])

"""Phones as families of habits: what each one's lens, sensor and picture processing tend to do."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np

Range = tuple[float, float]

HARD_CONDITIONS: Final = ("dark", "overexposed", "blurred", "haze", "noisy")
"""Hard conditions that the phone itself can add to a picture; without one the photo is a decent one."""

CONDITIONS: Final = (*HARD_CONDITIONS, "tilted", "covered", "backlit", "flash")
"""Every hard condition: the phone's own, and those of how the photo was taken; a manifest adds `far` (small parts)."""

_ORIENTATIONS: Final = ((1, 0.62), (6, 0.14), (3, 0.08), (8, 0.08), (2, 0.02), (4, 0.02), (5, 0.02), (7, 0.02))
_DRAWN_AS_THEY_ARE: Final = (
    "key", "distortion", "fringe", "vignette", "chroma_noise", "grain_sigma", "white_balance_trust",
    "local_tone", "contrast", "black_point", "gamma", "denoise_chroma_sigma", "sharpen_amount",
    "sharpen_sigma", "detail_scale",
)  # fmt: skip
_PIXEL_OF_480: Final = 1 / 480  # one pixel of a picture 480 wide


@dataclass(frozen=True)
class PhoneStyle:
    """All that one phone does to one picture; blur sizes are fractions of the picture's longest side.

    `white_balance` and `colour_matrix` act on linear RGB; noise is the standard deviation of a 0..1 linear signal:
    sqrt(shot_noise * signal + read_noise ** 2).
    """

    family: str
    key: float  # linear level that automatic exposure aims the log-mean at
    exposure_ev: float
    highlight_guard: float  # 0: exposes for the mean; 1: never lets the brightest percent clip
    distortion: float  # share of the half diagonal by which a corner moves
    fringe: float  # sideways colour error at the corner, share of the half diagonal
    defocus_radius: float
    motion_length: float
    motion_angle_deg: float
    haze: float  # share of light that a smeared lens scatters
    haze_radius: float
    vignette: float  # light lost in the corners
    shot_noise: float
    read_noise: float
    chroma_noise: float  # 0: grey grain only, 1: independent channels
    grain_sigma: float  # how far the grain is smeared by demosaicing, pixels
    white_balance_trust: float  # share of the light's colour cast that automatic white balance takes out
    white_balance: tuple[float, float, float]  # gains that remain wrong after it
    colour_matrix: tuple[tuple[float, float, float], ...]
    local_tone: float  # how strongly shadows are lifted and lights held against their surroundings
    contrast: float
    black_point: float
    gamma: float
    denoise_luma: float  # grey levels that count as noise
    denoise_chroma_sigma: float  # pixels
    sharpen_amount: float
    sharpen_sigma: float  # pixels
    detail_scale: float  # below 1 the picture was enlarged from fewer pixels
    resave_quality: int  # 0, or the quality of an earlier JPEG save
    jpeg_quality: int
    jpeg_subsampling: int  # Pillow's code: 0 is 4:4:4, 1 is 4:2:2, 2 is 4:2:0
    orientation: int  # EXIF tag 0x0112


@dataclass(frozen=True)
class PhoneFamily:
    """Ranges that one kind of phone draws its pictures' parameters from."""

    style: str
    key: Range = (0.11, 0.17)
    highlight_guard: Range = (0.3, 0.7)
    distortion: Range = (-0.003, 0.003)
    fringe: Range = (0.0, 0.0004)
    softness_px: Range = (0.0, 0.5)
    haze: Range = (0.0, 0.03)
    vignette: Range = (0.0, 0.2)
    noise: Range = (0.6, 1.4)
    chroma_noise: Range = (0.3, 0.8)
    grain_sigma: Range = (0.0, 0.6)
    white_balance_trust: Range = (0.6, 0.95)
    warmth: Range = (-0.06, 0.08)
    tint: Range = (-0.02, 0.03)
    saturation: Range = (0.95, 1.2)
    hue_twist: Range = (-0.03, 0.03)
    local_tone: Range = (0.0, 0.25)
    contrast: Range = (0.1, 0.45)
    black_point: Range = (0.0, 0.008)
    gamma: Range = (0.95, 1.05)
    denoise_luma: Range = (4, 12)
    denoise_chroma_sigma: Range = (0.6, 1.5)
    sharpen_amount: Range = (0.3, 0.8)
    sharpen_sigma: Range = (0.6, 1.1)
    detail_scale: Range = (1.0, 1.0)
    resave_quality: Range = (0, 0)
    jpeg_quality: Range = (80, 95)
    subsampling: tuple[int, ...] = (2,)


FAMILIES: Final[dict[str, PhoneFamily]] = {
    "crisp_flagship": PhoneFamily("train", sharpen_amount=(0.6, 1.1), local_tone=(0.2, 0.4), jpeg_quality=(88, 96)),
    "plain_natural": PhoneFamily(
        "train",
        sharpen_amount=(0.0, 0.25),
        contrast=(0.0, 0.2),
        saturation=(0.85, 1.02),
        softness_px=(0.1, 0.7),
        denoise_luma=(0, 6),
        subsampling=(0, 1),
        jpeg_quality=(88, 96),
    ),
    "vivid_warm": PhoneFamily(
        "train",
        saturation=(1.2, 1.55),
        warmth=(0.05, 0.22),
        white_balance_trust=(0.4, 0.8),
        contrast=(0.35, 0.7),
        black_point=(0.004, 0.015),
        key=(0.14, 0.2),
    ),
    "cheap_smeared": PhoneFamily(
        "train",
        denoise_luma=(20, 45),
        denoise_chroma_sigma=(1.5, 3.5),
        noise=(1.5, 3.0),
        softness_px=(0.5, 1.1),
        sharpen_amount=(0.6, 1.3),
        sharpen_sigma=(1.0, 1.7),
        vignette=(0.15, 0.4),
        haze=(0.02, 0.09),
        fringe=(0.0005, 0.0018),
        jpeg_quality=(55, 85),
    ),
    "grainy_cool": PhoneFamily(
        "train",
        noise=(2.0, 4.5),
        chroma_noise=(0.6, 1.0),
        denoise_luma=(0, 5),
        denoise_chroma_sigma=(0, 0.6),
        warmth=(-0.22, -0.04),
        white_balance_trust=(0.3, 0.8),
        tint=(-0.05, 0.02),
        saturation=(0.8, 1.05),
        grain_sigma=(0.3, 0.9),
        jpeg_quality=(70, 92),
        subsampling=(1, 2),
    ),
    "lifted_shadows": PhoneFamily(
        "train",
        local_tone=(0.45, 0.75),
        highlight_guard=(0.7, 1.0),
        contrast=(-0.05, 0.2),
        sharpen_sigma=(1.2, 2.2),
        sharpen_amount=(0.4, 0.9),
        saturation=(1.05, 1.35),
        key=(0.13, 0.18),
    ),
    "forwarded_copy": PhoneFamily(
        "train",
        detail_scale=(0.5, 0.85),
        resave_quality=(45, 75),
        jpeg_quality=(45, 75),
        sharpen_amount=(0.2, 0.7),
    ),
    "greenish_tablet": PhoneFamily(
        "calibration",
        tint=(0.03, 0.08),
        warmth=(-0.1, 0.05),
        saturation=(0.75, 1.0),
        contrast=(0.2, 0.5),
        haze=(0.02, 0.08),
        vignette=(0.1, 0.3),
        noise=(1.2, 2.5),
        softness_px=(0.3, 0.8),
        denoise_luma=(8, 20),
        sharpen_amount=(0.3, 1.0),
        sharpen_sigma=(0.8, 1.4),
        jpeg_quality=(65, 90),
        gamma=(0.92, 1.0),
    ),
    "amber_compact": PhoneFamily(
        "calibration",
        warmth=(0.04, 0.16),
        tint=(-0.02, 0.02),
        saturation=(1.0, 1.25),
        contrast=(0.15, 0.4),
        local_tone=(0.15, 0.4),
        noise=(0.7, 1.6),
        sharpen_amount=(0.4, 0.9),
        distortion=(-0.004, 0.004),
        jpeg_quality=(72, 94),
        subsampling=(0, 2),
    ),
    "night_stacker": PhoneFamily(
        "heldout",
        local_tone=(0.4, 0.65),
        denoise_luma=(15, 35),
        denoise_chroma_sigma=(1.5, 3.0),
        noise=(1.5, 3.0),
        sharpen_amount=(0.6, 1.2),
        sharpen_sigma=(0.8, 1.4),
        warmth=(0.0, 0.18),
        saturation=(0.85, 1.1),
        contrast=(0.2, 0.5),
        jpeg_quality=(75, 92),
    ),
    "punchy_magenta": PhoneFamily(
        "heldout",
        tint=(-0.08, -0.025),
        warmth=(-0.08, 0.1),
        contrast=(0.4, 0.75),
        saturation=(1.1, 1.4),
        black_point=(0.005, 0.02),
        vignette=(0.05, 0.3),
        hue_twist=(-0.07, 0.07),
        gamma=(1.0, 1.1),
        distortion=(-0.005, 0.005),
        fringe=(0.0003, 0.0012),
        jpeg_quality=(60, 92),
        subsampling=(0, 2),
    ),
}
"""Every phone family, each of one style only: what calibration and the held-out report see, training never saw."""


def phone_families(style: str) -> tuple[str, ...]:
    """Names of the families of `style`: "train", "calibration" or "heldout"."""
    names = tuple(name for name, family in FAMILIES.items() if family.style == style)
    if not names:
        raise ValueError(f"style {style!r} has no phones: give 'train', 'calibration' or 'heldout'")
    return names


def draw_phone(rng: np.random.Generator, family: str, hard: Collection[str] = ()) -> PhoneStyle:
    """One phone's treatment of one picture; `hard` names the HARD_CONDITIONS that the photo is to suffer from.

    Raises ValueError for an unknown family or condition.
    """
    _refuse_unknown(family, hard)
    habits = FAMILIES[family]

    def pick(range_: Range) -> float:
        return float(rng.uniform(*range_))

    noise = pick(habits.noise) * float(rng.lognormal(0.0, 0.35))
    noise *= pick((6.0, 14.0)) if "noisy" in hard else pick((2.0, 4.5)) if "dark" in hard else 1.0
    defocus, motion = _blur(rng, pick(habits.softness_px), "blurred" in hard)
    resave = int(pick(habits.resave_quality))
    codes, shares = zip(*_ORIENTATIONS, strict=True)
    return PhoneStyle(
        family=family,
        **{name: pick(getattr(habits, name)) for name in _DRAWN_AS_THEY_ARE},
        exposure_ev=_exposure_ev(rng, hard),
        highlight_guard=0.0 if "overexposed" in hard else pick(habits.highlight_guard),
        defocus_radius=defocus,
        motion_length=motion,
        motion_angle_deg=pick((0, 180)),
        haze=pick((0.2, 0.5)) if "haze" in hard else pick(habits.haze),
        haze_radius=pick((0.03, 0.12)),
        shot_noise=(0.0024 * noise) ** 2 / 0.18,  # little: many pixels of a sensor make one of these
        read_noise=0.0006 * noise,
        white_balance=_white_balance(pick(habits.warmth), pick(habits.tint)),
        colour_matrix=_colour_matrix(pick(habits.saturation), pick(habits.hue_twist)),
        denoise_luma=pick(habits.denoise_luma) * (1.5 if "noisy" in hard else 1.0),
        resave_quality=resave,
        jpeg_quality=int(pick(habits.jpeg_quality)),
        jpeg_subsampling=int(rng.choice(habits.subsampling)),
        orientation=int(rng.choice(codes, p=shares)),
    )


def _refuse_unknown(family: str, hard: Collection[str]) -> None:
    if family not in FAMILIES or set(hard) - set(HARD_CONDITIONS):
        raise ValueError(
            f"phone family {family!r} with conditions {sorted(hard)}: families are {sorted(FAMILIES)}, "
            f"conditions are {list(HARD_CONDITIONS)}"
        )


def _blur(rng: np.random.Generator, softness_px: float, blurred: bool) -> tuple[float, float]:
    """Radius of defocus and length of motion, as fractions of the longest side."""
    pixel = _PIXEL_OF_480
    motion_px = float(rng.exponential(0.4))
    if blurred and rng.random() < 0.6:
        motion_px = float(rng.uniform(4.0, 13.0))
    elif blurred:
        softness_px = float(rng.uniform(2.0, 4.5))
    return softness_px * pixel, (motion_px if motion_px > 1.0 else 0.0) * pixel


def _exposure_ev(rng: np.random.Generator, hard: Collection[str]) -> float:
    if "dark" in hard:
        return float(rng.uniform(-3.0, -1.6))
    if "overexposed" in hard:
        return float(rng.uniform(1.1, 2.2))
    return float(np.clip(rng.normal(0.0, 0.25), -0.6, 0.6))


def _white_balance(warmth: float, tint: float) -> tuple[float, float, float]:
    """Channel gains; warmth lifts red over blue, tint lifts green."""
    return (1 + warmth, 1 + tint, 1 - warmth)


def _colour_matrix(saturation: float, hue_twist: float) -> tuple[tuple[float, float, float], ...]:
    """Saturation about luminance (Rec. 709 weights) and a slight turn of hues; greys stay grey."""
    luminance = np.tile([0.2126, 0.7152, 0.0722], (3, 1))
    cycle = np.array([[0.0, 1.0, -1.0], [-1.0, 0.0, 1.0], [1.0, -1.0, 0.0]]) * hue_twist
    matrix = luminance + saturation * (np.eye(3) - luminance) + cycle
    return tuple(tuple(row) for row in matrix.tolist())

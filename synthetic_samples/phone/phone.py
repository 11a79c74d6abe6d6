"""What a phone does to a picture: linear light goes in, the bytes of an ordinary photo file come out."""

import io

import cv2
import numpy as np
from PIL import Image

from synthetic_samples.phone.families import HARD_CONDITIONS, PhoneStyle, draw_phone, phone_families

__all__ = ["HARD_CONDITIONS", "PhoneStyle", "develop", "draw_phone", "encode_jpeg", "phone_families", "stored_pixels"]

_LEVELS = 1 << 14  # steps of the tone table; a step in the darkest shadow is a fifth of an 8-bit level
_LUMINANCE = np.array([[0.2126, 0.7152, 0.0722]], np.float32)


def develop(linear_rgb: np.ndarray, phone: PhoneStyle, rng: np.random.Generator) -> np.ndarray:
    """Photograph a rendered picture: (H, W, 3) linear float32 of any scale to (H, W, 3) uint8 sRGB.

    Optics, exposure, sensor and processing follow in the order in which light and signal meet them. Lens distortion
    moves no pixel by more than half a percent of the half diagonal, so boxes measured before still hold.
    Raises ValueError for another shape.
    """
    if linear_rgb.ndim != 3 or linear_rgb.shape[2] != 3:
        raise ValueError(f"a linear picture has shape {linear_rgb.shape}, wanted (height, width, 3)")
    light = _exposed(np.minimum(np.fmax(linear_rgb.astype(np.float32, copy=False), 0), 1e4), phone)
    light = _through_lens(light, phone)
    signal = _sensed(light, phone, rng)
    gains = _neutralising_gains(signal, phone.white_balance_trust) * phone.white_balance
    gains /= gains.min()  # clipped light stays white
    signal = cv2.transform(signal, (np.array(phone.colour_matrix) @ np.diag(gains)).astype(np.float32))
    if phone.local_tone > 0:
        signal *= _local_gain(signal, phone.local_tone)[..., None]
    signal *= _LEVELS - 1
    levels = np.clip(signal, 0, _LEVELS - 1, out=signal).astype(np.uint16)
    return _processed(np.take(_tone_table(phone), levels), phone)


def encode_jpeg(rgb: np.ndarray, phone: PhoneStyle, rng: np.random.Generator) -> bytes:
    """JPEG bytes of an upright (H, W, 3) uint8 photo, stored turned as the phone was held, with ordinary EXIF."""
    if phone.resave_quality:
        rgb = _resaved(rgb, phone.resave_quality)
    image = Image.fromarray(np.ascontiguousarray(stored_pixels(rgb, phone.orientation)))
    exif = _exif(image.size, phone, rng)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=phone.jpeg_quality, subsampling=phone.jpeg_subsampling, exif=exif)
    return buffer.getvalue()


def stored_pixels(upright: np.ndarray, orientation: int) -> np.ndarray:
    """The pixel order in which a camera stores an upright picture under an EXIF orientation tag of 1 to 8.

    Source (from memory): CIPA DC-008 (Exif), tag 0x0112: which side of the scene the 0th row and the 0th column are.
    """
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.swapaxes(0, 1),
        6: np.rot90(upright, 1),
        7: upright[::-1, ::-1].swapaxes(0, 1),
        8: np.rot90(upright, -1),
    }
    if orientation not in stored:
        raise ValueError(f"EXIF orientation {orientation!r}: wanted a whole number from 1 to 8")
    return stored[orientation]


# Light --------------------------------------------------------------------------------------------------------------


def _exposed(light: np.ndarray, phone: PhoneStyle) -> np.ndarray:
    """Automatic exposure: the middle-weighted log-mean goes to the key, the brightest percent guards the top."""
    height, width = light.shape[:2]
    step = max(1, min(height, width) // 90)
    sample = light[::step, ::step] @ _LUMINANCE[0]  # (h, w)
    rows = np.hanning(sample.shape[0] + 2)[1:-1, None] + 0.35
    weights = rows * (np.hanning(sample.shape[1] + 2)[1:-1] + 0.35)
    brightest = float(np.percentile(sample, 99)) + 1e-9
    floor = 1e-3 * brightest + 1e-9
    mean = float(np.exp(np.average(np.log(np.maximum(sample, floor)), weights=weights)))
    gain = phone.key / mean
    guarded = min(gain, 1.3 / brightest)
    gain = gain ** (1 - phone.highlight_guard) * guarded**phone.highlight_guard
    return np.minimum(light * np.float32(gain * 2.0**phone.exposure_ev), np.float32(24.0))


def _through_lens(light: np.ndarray, phone: PhoneStyle) -> np.ndarray:
    """Distortion, colour fringes, defocus, motion, scattered light and vignetting; (H, W, 3) linear light."""
    height, width = light.shape[:2]
    longest = max(height, width)
    light = _bent(light, phone)
    if phone.defocus_radius * longest > 0.15:
        light = cv2.filter2D(light, -1, _disc(phone.defocus_radius * longest), borderType=cv2.BORDER_REFLECT)
    if phone.motion_length * longest > 1.0:
        kernel = _line(phone.motion_length * longest, phone.motion_angle_deg)
        light = cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REFLECT)
    if phone.haze > 0:
        small = cv2.resize(light, (max(width // 8, 1), max(height // 8, 1)), interpolation=cv2.INTER_AREA)
        glow = cv2.GaussianBlur(small, (0, 0), max(phone.haze_radius * longest / 8, 0.5), borderType=cv2.BORDER_REFLECT)
        glow = 0.6 * glow + 0.4 * small.mean((0, 1))
        glow = cv2.resize(glow.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
        light = cv2.addWeighted(light, 1 - phone.haze, glow, phone.haze, 0)
    if phone.vignette > 0:
        x = np.linspace(-1, 1, width, dtype=np.float32) ** 2
        y = np.linspace(-1, 1, height, dtype=np.float32)[:, None] ** 2
        light = light * (1 - np.float32(phone.vignette) * ((x + y) / 2) ** np.float32(1.5))[..., None]
    return light


def _bent(light: np.ndarray, phone: PhoneStyle) -> np.ndarray:
    """Residual barrel or pincushion distortion, red and blue slightly enlarged against green."""
    if abs(phone.distortion) < 5e-4 and phone.fringe < 1e-4:
        return light
    height, width = light.shape[:2]
    x = np.arange(width, dtype=np.float32) - (width - 1) / 2
    y = (np.arange(height, dtype=np.float32) - (height - 1) / 2)[:, None]
    radius2 = (x**2 + y**2) / ((width**2 + height**2) / 4)
    channels = []
    for channel, fringe in zip(cv2.split(light), (phone.fringe, 0.0, -phone.fringe), strict=True):
        scale = 1 + phone.distortion * radius2 + np.float32(fringe)
        map_x, map_y = x * scale + (width - 1) / 2, y * scale + (height - 1) / 2
        channels.append(cv2.remap(channel, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT))
    return cv2.merge(channels)


def _disc(radius_px: float) -> np.ndarray:
    """Kernel of an out-of-focus point: a disc with a one-pixel soft rim."""
    reach = int(np.ceil(radius_px + 0.5))
    offsets = np.arange(-reach, reach + 1)
    distance = np.hypot(offsets[:, None], offsets)
    kernel = np.clip(radius_px + 0.5 - distance, 0, 1).astype(np.float32)
    return kernel / kernel.sum()


def _line(length_px: float, angle_deg: float) -> np.ndarray:
    """Kernel of a straight shake."""
    reach = int(np.ceil(length_px / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    steps = np.linspace(-length_px / 2, length_px / 2, 4 * int(np.ceil(length_px)) + 1)
    x = reach + steps * np.cos(np.radians(angle_deg))
    y = reach + steps * np.sin(np.radians(angle_deg))
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    for dx, dy in ((0, 0), (0, 1), (1, 0), (1, 1)):
        share = (1 - abs(x - left - dx)) * (1 - abs(y - top - dy))
        np.add.at(kernel, (top + dy, left + dx), share)
    return kernel / kernel.sum()


# Signal -------------------------------------------------------------------------------------------------------------


def _sensed(light: np.ndarray, phone: PhoneStyle, rng: np.random.Generator) -> np.ndarray:
    """Add shot and read noise, fine in brightness and blotchy in colour, and clip at full well."""
    height, width = light.shape[:2]
    blotches = rng.standard_normal((height // 2 + 1, width // 2 + 1, 3), np.float32)
    grain = cv2.resize(blotches, (width, height), interpolation=cv2.INTER_LINEAR)
    grain *= np.float32(1.6 * np.sqrt(phone.chroma_noise))  # interpolation takes that much of their strength
    fine = rng.standard_normal((height, width), np.float32)
    if phone.grain_sigma > 0.25:
        fine = cv2.GaussianBlur(fine, (0, 0), phone.grain_sigma)
        fine *= np.float32(np.sqrt(1 + 4 * np.pi * phone.grain_sigma**2))
    grain += (fine * np.float32(np.sqrt(1 - phone.chroma_noise)))[..., None]
    deviation = light * np.float32(phone.shot_noise)
    deviation += np.float32(phone.read_noise**2)
    grain *= np.sqrt(deviation, out=deviation)
    grain += light
    return np.clip(grain, 0, 1, out=grain)


def _neutralising_gains(signal: np.ndarray, trust: float) -> np.ndarray:
    """(3,) gains of automatic white balance: the Minkowski mean of order 5 over unclipped pixels goes towards grey.

    Source of the rule: G. Finlayson and E. Trezzi, "Shades of Gray and Colour Constancy", 2004 (from memory).
    """
    sample = signal[::4, ::4].reshape(-1, 3)
    sample = sample[sample.max(axis=1) < 0.98]
    if not len(sample):
        return np.ones(3)
    light = np.maximum((sample.astype(float) ** 5).mean(axis=0) ** 0.2, 1e-4)
    return np.clip(light.mean() / light, 0.4, 2.5) ** trust


def _local_gain(signal: np.ndarray, strength: float) -> np.ndarray:
    """(H, W) gain that lifts dark regions and holds bright ones, smooth but stopping at strong edges."""
    height, width = signal.shape[:2]
    luminance = cv2.transform(signal, _LUMINANCE)
    small = cv2.resize(luminance, (width // 6 + 1, height // 6 + 1), interpolation=cv2.INTER_AREA)
    base = cv2.bilateralFilter(np.log2(np.clip(small, 0.004, 1)).astype(np.float32), 9, 1.2, 4)
    gain = np.exp2(np.clip(-(base - np.float32(np.log2(0.2))) * np.float32(0.5 * strength), -0.25, 1.5))
    return cv2.resize(cv2.GaussianBlur(gain, (0, 0), 2), (width, height), interpolation=cv2.INTER_LINEAR)


def _tone_table(phone: PhoneStyle) -> np.ndarray:
    """(_LEVELS,) uint8: linear signal to display level: sRGB curve (IEC 61966-2-1, from memory), S-curve."""
    linear = np.linspace(0, 1, _LEVELS, dtype=np.float32)
    linear = np.clip((linear - phone.black_point) / (1 - phone.black_point), 0, 1)
    shown = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** np.float32(1 / 2.4) - 0.055)
    shown = np.clip(shown, 0, 1) ** np.float32(phone.gamma)
    curved = shown * shown * (3 - 2 * shown)
    return np.round(np.clip(shown + phone.contrast * (curved - shown), 0, 1) * 255).astype(np.uint8)


def _processed(rgb: np.ndarray, phone: PhoneStyle) -> np.ndarray:
    """Noise reduction that smears, sharpening that leaves halos, and loss of detail; (H, W, 3) uint8."""
    height, width = rgb.shape[:2]
    luma, *chroma = cv2.split(cv2.cvtColor(rgb, cv2.COLOR_RGB2YCrCb))
    if phone.denoise_luma > 2:
        luma = cv2.bilateralFilter(luma, 5, phone.denoise_luma, 2.0)
    if phone.denoise_chroma_sigma > 0.3:
        chroma = [cv2.GaussianBlur(plane, (0, 0), phone.denoise_chroma_sigma) for plane in chroma]
    if phone.sharpen_amount > 0.05:
        soft = cv2.GaussianBlur(luma, (0, 0), phone.sharpen_sigma)
        luma = cv2.addWeighted(luma, 1 + phone.sharpen_amount, soft, -phone.sharpen_amount, 0)
    rgb = cv2.cvtColor(cv2.merge([luma, *chroma]), cv2.COLOR_YCrCb2RGB)
    if phone.detail_scale < 0.99:
        size = (max(1, round(width * phone.detail_scale)), max(1, round(height * phone.detail_scale)))
        small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
        rgb = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    return rgb


# File ---------------------------------------------------------------------------------------------------------------


def _resaved(rgb: np.ndarray, quality: int) -> np.ndarray:
    ok, packed = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not ok:
        raise RuntimeError(f"OpenCV could not save a picture of shape {rgb.shape} as JPEG")
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1])


def _exif(size_wh: tuple[int, int], phone: PhoneStyle, rng: np.random.Generator) -> Image.Exif:
    """Fields that any phone writes, no place among them; the maker says openly that this is no real photograph."""
    exif = Image.Exif()
    day = np.datetime64("2024-01-01T08:00:00") + np.timedelta64(int(rng.integers(0, 600 * 86400)), "s")
    stamp = str(day).replace("-", ":").replace("T", " ")
    iso = int(np.clip(50 * round(3000 * phone.read_noise), 50, 6400))
    exif[0x0112] = phone.orientation
    exif[0x010F], exif[0x0110], exif[0x0131] = "Synthetic", phone.family, "synthetic_samples"
    exif[0x011A], exif[0x011B], exif[0x0128] = 72.0, 72.0, 2  # dots per inch
    exif[0x0132] = stamp
    camera = exif.get_ifd(0x8769)
    camera[0x829A] = 1.0 / float(rng.choice([15, 30, 60, 120, 250]))  # exposure time, s
    camera[0x829D] = round(float(rng.uniform(1.6, 2.4)), 1)  # f-number
    camera[0x8827], camera[0x9003], camera[0xA001] = iso, stamp, 1  # ISO, taken at, sRGB
    camera[0xA002], camera[0xA003] = size_wh
    camera[0x9209] = 16  # flash off
    return exif

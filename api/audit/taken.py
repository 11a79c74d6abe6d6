"""When and where a photo was taken, by what its camera wrote into the file; asked only when the owner allows it."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from PIL import Image

from classifier.photo import sniff

# Tags of CIPA DC-008 (Exif), from memory.
EXIF_PART, GPS_PART, TAKEN_AT = 0x8769, 0x8825, 0x9003
LATITUDE_SIDE, LATITUDE, LONGITUDE_SIDE, LONGITUDE = 1, 2, 3, 4
EARTH_M = 6_371_000.0


@dataclass(frozen=True)
class Taken:
    """Seconds by the camera's own clock, and degrees; None for what the file does not say."""

    at_s: float | None = None
    latitude: float | None = None
    longitude: float | None = None


def taken(data: bytes, name: str) -> Taken:
    """What the metadata say. Nothing for a photo without them, or with rubbish in them."""
    try:
        if sniff(data, name) == "HEIF":
            from pillow_heif import HeifImageFile

            exif = HeifImageFile(io.BytesIO(data)).getexif()
        else:
            exif = Image.open(io.BytesIO(data)).getexif()
        written = exif.get_ifd(EXIF_PART).get(TAKEN_AT)
        place = exif.get_ifd(GPS_PART)
        return Taken(_seconds(written), *_degrees(place))
    except Exception:  # rubbish in the metadata says nothing about the photo
        return Taken()


def metres_apart(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Between two places close to each other, in degrees of latitude and longitude."""
    north = math.radians(other[0] - one[0])
    east = math.radians(other[1] - one[1]) * math.cos(math.radians(one[0]))
    return EARTH_M * math.hypot(north, east)


def _seconds(written: Any) -> float | None:
    if not written:
        return None
    return datetime.strptime(str(written).strip("\0 "), "%Y:%m:%d %H:%M:%S").replace(tzinfo=UTC).timestamp()


def _degrees(place: Any) -> tuple[float | None, float | None]:
    if LATITUDE not in place or LONGITUDE not in place:
        return None, None
    both = []
    for value, side, negative in ((LATITUDE, LATITUDE_SIDE, "S"), (LONGITUDE, LONGITUDE_SIDE, "W")):
        degrees, minutes, seconds = (float(part) for part in place[value])
        angle = degrees + minutes / 60 + seconds / 3600
        if not math.isfinite(angle):
            return None, None
        both.append(-angle if str(place.get(side, "")).upper().startswith(negative) else angle)
    return both[0], both[1]

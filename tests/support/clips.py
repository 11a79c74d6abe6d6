"""Pictures as a clip that Chromium takes for its camera (`--use-file-for-fake-video-capture`): JPEGs, 30 a second."""

import io
from collections.abc import Iterable
from pathlib import Path

from PIL import Image

FRAMES_PER_S = 30

CAMERA_FLAGS = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
"""Chromium plays a clip as its camera, over and over, and grants its use."""


def write_clip(path: Path, parts: Iterable[tuple[Image.Image, float]]) -> Path:
    """Each picture for so many seconds, one after the other; all are of one size. Returns the path."""
    with path.open("wb") as file:
        for picture, seconds in parts:
            buffer = io.BytesIO()
            picture.convert("RGB").save(buffer, "JPEG", quality=88)
            file.write(buffer.getvalue() * round(seconds * FRAMES_PER_S))
    return path


def flags_for(clip: Path) -> list[str]:
    """What Chromium is started with so that this clip is its camera."""
    return [*CAMERA_FLAGS, f"--use-file-for-fake-video-capture={clip}"]

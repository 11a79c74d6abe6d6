"""Pictures as JPEG files, made anew from pixels: no place, no date and no camera stands in them."""

import io

from PIL import Image

from classifier.photo import Photo


def jpeg_bytes(image: Image.Image, quality: int = 88) -> bytes:
    """A picture as a JPEG file."""
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, optimize=True)
    return buffer.getvalue()


def small_jpeg(photo: Photo, longest_px: int, quality: int) -> bytes:
    """A photo, its longest side `longest_px` at most. Raises a `PhotoError` where it cannot be decoded."""
    image = Image.fromarray(photo.reduced(min(longest_px, max(photo.width, photo.height))))
    image.thumbnail((longest_px, longest_px), Image.Resampling.BILINEAR)
    return jpeg_bytes(image, quality)

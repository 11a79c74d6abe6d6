"""The barcodes and DataMatrix codes in a photo of a rating plate."""

from datetime import date

import zxingcpp

from api.plate.gs1 import Plate, read_plate
from classifier.errors import InputError
from classifier.photo import PhotoLimits, open_photo

LONGEST_SIDE_PX = 2400
"""Fine enough for a small code in a photo of a whole plate."""


def plate_in_photo(data: bytes, name: str, limits: PhotoLimits, today: date) -> Plate:
    """Read the first GS1 code that a photo shows. Raises a `PhotoError`, or `InputError` when there is none."""
    photo = open_photo(data, name, limits)
    picture = photo.reduced(min(LONGEST_SIDE_PX, max(photo.width, photo.height)))
    found = [code for code in zxingcpp.read_barcodes(picture) if code.valid]
    if not found:
        raise InputError("No barcode or DataMatrix was found. Fill the picture with the plate, in even light.")
    refused = None
    for code in found:
        try:
            return _plate(code, today)
        except InputError as error:
            refused = error
    raise refused


def _plate(code: zxingcpp.Barcode, today: date) -> Plate:
    if code.content_type == zxingcpp.ContentType.GS1:
        return read_plate(code.bytes.decode("ascii", "replace"), today)
    if code.format in (zxingcpp.BarcodeFormat.EAN13, zxingcpp.BarcodeFormat.UPCA, zxingcpp.BarcodeFormat.EAN8):
        return read_plate("01" + code.text.zfill(14), today)
    raise InputError(f"The code says {code.text[:60]!r}, which is no GS1 element string. Photograph the other code.")

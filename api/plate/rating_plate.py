"""The barcodes and DataMatrix codes in a photo of a rating plate."""

from contextlib import suppress
from datetime import date

import zxingcpp

from api.plate.gs1 import Plate, is_gs1_text, read_plate
from classifier.errors import InputError
from classifier.messages import Message
from classifier.photo import PhotoLimits, open_photo

NOT_GS1 = "The code says {text}, which is no GS1 element string. Photograph the other code."

NO_CODE = Message("No barcode or DataMatrix was found. Fill the picture with the plate, in even light.")

OF_AN_ARTICLE = (zxingcpp.BarcodeFormat.EAN13, zxingcpp.BarcodeFormat.UPCA, zxingcpp.BarcodeFormat.EAN8)

LONGEST_SIDE_PX = 2400
"""Fine enough for a small code in a photo of a whole plate."""


LONGEST_NUMBER = 60
"""Characters of a code that is taken as an inventory number."""


def plate_in_photo(data: bytes, name: str, limits: PhotoLimits, today: date) -> Plate:
    """Read the first GS1 code that a photo shows. Raises a `PhotoError`, or `InputError` when there is none."""
    refused = None
    for code in _codes(data, name, limits):
        try:
            return _plate(code, today)
        except InputError as error:
            refused = error
    raise refused or InputError(NO_CODE)


def label_in_photo(data: bytes, name: str, limits: PhotoLimits, today: date) -> Plate | str:
    """What tells one lift from all others: a plate with a serial number, or the text of any other code.

    Raises a `PhotoError`, or `InputError` when no such code is there.
    """
    codes = _codes(data, name, limits)
    for code in codes:
        with suppress(InputError):
            plate = _plate(code, today)
            if plate.serial:
                return plate
    texts = [" ".join(code.text.split()) for code in codes if not _is_gs1(code)]
    for text in texts:
        if 0 < len(text) <= LONGEST_NUMBER and text.isprintable():
            return text
    raise InputError(NO_CODE)


def _codes(data: bytes, name: str, limits: PhotoLimits) -> list[zxingcpp.Barcode]:
    photo = open_photo(data, name, limits)
    picture = photo.reduced(min(LONGEST_SIDE_PX, max(photo.width, photo.height)))
    return [code for code in zxingcpp.read_barcodes(picture) if code.valid]


def _is_gs1(code: zxingcpp.Barcode) -> bool:
    """Also the code of an article, which is the same on every piece."""
    own = code.content_type == zxingcpp.ContentType.GS1 or code.format in OF_AN_ARTICLE
    return own or is_gs1_text(code.text)


def _plate(code: zxingcpp.Barcode, today: date) -> Plate:
    if code.content_type == zxingcpp.ContentType.GS1:
        return read_plate(code.bytes.decode("ascii", "replace"), today)
    if code.format in OF_AN_ARTICLE:
        return read_plate("01" + code.text.zfill(14), today)
    if is_gs1_text(code.text):
        return read_plate(code.text, today)
    raise InputError(Message(NOT_GS1, text=f"{code.text[:60]!r}"))

"""What Schemathesis sends as a photo: photos of every kind that is read, photos that are damaged, and any bytes."""

import schemathesis
from hypothesis import strategies as st

from tests.support.toy_networks import blob_photo, encoded

BOX = ("control_box", (0.35, 0.5), 0.3, {"black": "above", "white": "left"})
PHOTOS = [encoded(blob_photo(BOX, size_wh=(320, 240)), kind) for kind in ("JPEG", "PNG", "WEBP", "GIF")]
DAMAGED = [photo[: len(photo) // 2] for photo in PHOTOS]

schemathesis.openapi.format("binary", st.sampled_from([*PHOTOS, *PHOTOS, *DAMAGED]) | st.binary(max_size=64))

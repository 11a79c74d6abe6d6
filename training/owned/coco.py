"""COCO JSON (images, annotations, categories) to rows of labels.

A category is named by a label. An annotation's `attributes.hidden` may list the concepts that the photo does not show;
an image may state `lift`, `consent`, `source`, `conditions` and what an export of cases says of it. An image without
annotations shows no lift part.
"""

from collections.abc import Iterator
from pathlib import Path

from PIL import Image

from classifier.photo import EXIF_ORIENTATION


def coco_rows(content: dict, folder: Path) -> Iterator[dict]:
    """One plain row an annotation (`label` None for an image without any). Raises `KeyError` or `ValueError`."""
    names = {category["id"]: str(category["name"]) for category in content["categories"]}
    annotations: dict[object, list[dict]] = {image["id"]: [] for image in content["images"]}
    for annotation in content["annotations"]:
        if annotation["image_id"] not in annotations:
            raise ValueError(f"annotation {annotation.get('id')}: image {annotation['image_id']} is not listed")
        annotations[annotation["image_id"]].append(annotation)
    for image in content["images"]:
        facts = {
            "path": folder / image["file_name"],
            "where": f"image {image['id']}",
            "lift": str(image["lift"]) if image.get("lift") is not None else None,
            "consent": str(image.get("consent", "")),
            "source": str(image.get("source", "")),
            "conditions": tuple(image.get("conditions", ())),
            "origin": image.get("origin") or None,
            "said_by": str(image.get("said_by", "")),
            "surely": str(image.get("surely", "")),
        }
        if not annotations[image["id"]]:
            yield facts | {"label": None}
        for annotation in annotations[image["id"]]:
            attributes = annotation.get("attributes", {})
            hidden = attributes.get("hidden")
            yield facts | {
                "label": names[annotation["category_id"]],
                "hidden": None if hidden is None else tuple(hidden),
                "box_from": attributes.get("box_from", "owner"),
                "box": _fractions(annotation["bbox"], image, facts["path"]),
            }


def _fractions(bbox: list[float], image: dict, path: Path) -> tuple[float, float, float, float]:
    """`bbox` is left, top, width, height in pixels of the upright picture; refused where it is seen not to be."""
    width, height = float(image["width"]), float(image["height"])
    box = (bbox[0] / width, bbox[1] / height, (bbox[0] + bbox[2]) / width, (bbox[1] + bbox[3]) / height)
    if not (-0.01 <= box[0] < box[2] <= 1.01 and -0.01 <= box[1] < box[3] <= 1.01):
        raise ValueError(f"bbox {bbox} of image {image['id']} leaves its {width:.0f} × {height:.0f} pixels")
    left, top, right, bottom = (min(max(side, 0.0), 1.0) for side in box)
    stored, upright = _sizes(path)
    if upright not in (None, stored) and (width, height) == stored:
        raise ValueError(
            f"image {image['id']} states the size before its EXIF turn ({width:.0f} × {height:.0f}); "
            "save the photo upright and annotate that"
        )
    return left, top, right, bottom


def _sizes(path: Path) -> tuple[tuple[int, int] | None, tuple[int, int] | None]:
    """Size as stored and size upright; None for a file that cannot be opened, which is told later with its reason."""
    try:
        with Image.open(path) as picture:
            sideways = picture.getexif().get(EXIF_ORIENTATION, 1) in (5, 6, 7, 8)
            return picture.size, picture.size[::-1] if sideways else picture.size
    except (OSError, ValueError):
        return None, None

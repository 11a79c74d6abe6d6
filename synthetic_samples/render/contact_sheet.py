"""Pictures on one sheet with their labels: `python -m synthetic_samples.render.contact_sheet DIR --out sheet.jpg`."""

import argparse
import json
import sys
from pathlib import Path

from PIL import Image, ImageDraw, ImageOps

_TILE_PX = 256
_CAPTION_PX = 36
_COLOURS = {
    "control_box": (40, 230, 60),
    "actuator_head": (255, 160, 0),
    "hand_control": (70, 170, 255),
    "charger": (255, 80, 200),
}


def contact_sheet(folder: Path, records: list[dict], columns: int) -> Image.Image:
    """Draw the pictures of manifest records with boxes; a value in brackets is not visible, one with ? is ambiguous."""
    rows = -(-len(records) // columns)
    sheet = Image.new("RGB", (columns * _TILE_PX, rows * (_TILE_PX + _CAPTION_PX)), (24, 24, 24))
    for number, record in enumerate(records):
        left, top = number % columns * _TILE_PX, number // columns * (_TILE_PX + _CAPTION_PX)
        with Image.open(folder / record["file"]) as image:
            tile = ImageOps.exif_transpose(image)
            tile.thumbnail((_TILE_PX - 2, _TILE_PX - 2))
        _draw_boxes(tile, record)
        sheet.paste(tile, (left, top))
        draw = ImageDraw.Draw(sheet)
        for line, text in enumerate(_captions(record)[:3]):
            draw.text((left + 2, top + _TILE_PX + 11 * line), text, fill=(235, 235, 235))
    return sheet


def _draw_boxes(tile: Image.Image, record: dict) -> None:
    draw = ImageDraw.Draw(tile)
    for subject in record["subjects"]:
        left, top, right, bottom = subject["box"]
        corners = (left * tile.width, top * tile.height, right * tile.width, bottom * tile.height)
        draw.rectangle(corners, outline=_COLOURS[subject["kind"]])


def _captions(record: dict) -> list[str]:
    lines = [
        f"{record['index']} {record['framing']}{' fair' if record['fair'] else ''} {' '.join(record['conditions'])}"
    ]
    for subject in record["subjects"]:
        values = []
        for concept in subject["concepts"].values():
            text = concept["value"] if concept["visible"] else f"({concept['value']})"
            values.append(text + ("?" if "possible" in concept else ""))
        if values:
            lines.append(" ".join(values))
    return lines


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m synthetic_samples.render.contact_sheet", description=__doc__)
    parser.add_argument("folder", type=Path, help="folder with manifest.jsonl")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--count", type=int, default=48)
    parser.add_argument("--columns", type=int, default=8)
    options = parser.parse_args(arguments)
    lines = (options.folder / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    records = [json.loads(line) for line in lines[options.start : options.start + options.count]]
    contact_sheet(options.folder, records, options.columns).save(options.out, quality=88)
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Looks at drawn pictures: a labelled contact sheet, and a random subset small enough to commit.

`python -m tests.standins.gallery sheet DIR OUT.jpg --first 0 --count 20`
`python -m tests.standins.gallery subset DIR OUT_DIR --count 48 --seed 3 --quality 85`
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

CELL = 400


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    verbs = parser.add_subparsers(dest="verb", required=True)
    one = verbs.add_parser("sheet")
    one.add_argument("folder", type=Path)
    one.add_argument("out", type=Path)
    one.add_argument("--first", type=int, default=0)
    one.add_argument("--count", type=int, default=20)
    two = verbs.add_parser("subset")
    two.add_argument("folder", type=Path)
    two.add_argument("out", type=Path)
    two.add_argument("--count", type=int, default=48)
    two.add_argument("--seed", type=int, required=True)
    two.add_argument("--quality", type=int, default=85)
    options = parser.parse_args()
    entries = sorted(
        (json.loads(line) for line in (options.folder / "manifest.jsonl").read_text().splitlines()),
        key=lambda entry: entry["index"],
    )
    if options.verb == "sheet":
        sheet(entries[options.first : options.first + options.count], options.folder).save(options.out, quality=88)
        return
    subset(entries, options.folder, options.out, options.count, options.quality, np.random.default_rng(options.seed))


def sheet(entries: list[dict], folder: Path, columns: int = 5) -> Image.Image:
    """Thumbnails with boxes and, below each, what the manifest says of it."""
    rows = -(-len(entries) // columns)
    page = Image.new("RGB", (columns * CELL, rows * (CELL + 92)), "white")
    for place, entry in enumerate(entries):
        x, y = place % columns * CELL, place // columns * (CELL + 92)
        picture = Image.open(folder / entry["file"])
        width, height = picture.size
        pen = ImageDraw.Draw(picture)
        for item, colour in [(s, "lime") for s in entry["subjects"]] + [(a, "orange") for a in entry["look_alikes"]]:
            left, top, right, bottom = item["box"]
            pen.rectangle((left * width, top * height, right * width - 1, bottom * height - 1), outline=colour, width=2)
        picture.thumbnail((CELL - 6, CELL - 4))
        page.paste(picture, (x, y))
        text = [
            f"{entry['index']} {entry['framing']}{' FAIR' if entry['fair'] else ''} {' '.join(entry['conditions'])}"
        ]
        text += [_caption(subject) for subject in entry["subjects"]]
        ImageDraw.Draw(page).text((x + 3, y + CELL - 2), "\n".join(text), fill="black", font=ImageFont.load_default(13))
    return page


def subset(entries: list[dict], folder: Path, out: Path, count: int, quality: int, rng: np.random.Generator) -> None:
    """Copies a random choice, compressed again, with its own manifest."""
    (out / "images").mkdir(parents=True, exist_ok=True)
    chosen = sorted(rng.choice(len(entries), count, replace=False).tolist())
    for number in chosen:
        Image.open(folder / entries[number]["file"]).save(
            out / entries[number]["file"], "JPEG", quality=quality, optimize=True
        )
    (out / "manifest.jsonl").write_text("".join(json.dumps(entries[number]) + "\n" for number in chosen))


def _caption(subject: dict) -> str:
    values = [
        f"{c['value']}{'' if c['visible'] else '(hid)'}{'?' if 'possible' in c else ''}:{c['evidence_px']}"
        for c in subject["concepts"].values()
    ]
    cut = " CUT" if subject["cut_off"] else ""
    return f"{subject['kind'][:8]} {subject['visible_fraction']:.2f}{cut} " + " ".join(values)


if __name__ == "__main__":
    main()

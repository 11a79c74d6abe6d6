"""Keep photos that their owner allows us to learn from: `DIR/manifest.jsonl` and `DIR/images`, as the renders lie.

No picture leaves this machine or is written anywhere but here, and the names of the files that came are not kept.
Pixels are stored upright and without any metadata, so that no place, time or phone comes along. All photos of one lift
lie in one split, and a lift stays in the split that it was given.
"""

import hashlib
import io
import json
import os
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

from classifier.errors import PhotoError
from classifier.photo import Photo, PhotoLimits, open_photo
from training.data.manifest import Box, DatasetError
from training.owned.hash import SAME_PICTURE_BITS, differing_bits, perceptual_hash
from training.owned.labels import Labelled, LabelledPhoto

STORE = Path("owned_photos")
"""Where an owner's photos are kept, unless another folder is named."""

SPLIT_SHARES = {"train": 0.5, "calibration": 0.2, "heldout": 0.3}
EVERY_LABEL = ""
WHOLE: Box = (0.0, 0.0, 1.0, 1.0)
CLOSE_SIDE, WIDE_SIDE = 0.35, 0.15  # the largest part's longer side, as a share of the photo's

Propose = Callable[[Photo, Labelled], tuple[Box, str, tuple[str, ...]]]
"""For a part without a box or without `hidden`: a box, where it comes from, and the concepts that look hidden."""


@dataclass
class Added:
    """What became of the photos that were brought: stored, refused (with reasons), and remarks.

    `changed`: photos that were stored before under the same origin, whose label or lift is another now. `known`: how
    many were stored before as they are.
    """

    stored: list[dict] = field(default_factory=list)
    changed: list[dict] = field(default_factory=list)
    known: int = 0
    refused: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def add_photos(photos: Sequence[LabelledPhoto], store: Path, propose: Propose, only_split: str | None = None) -> Added:
    """Add labelled photos to a store. The manifest is replaced last: a stopped run leaves the old one whole.

    A photo that cannot be read, or that is there already, is refused by name; the others are added. One of a known
    origin takes its new label and lift instead.
    """
    kept = read_entries(store)
    of_origin = {entry["owned"]["origin"]: entry for entry in kept if entry["owned"].get("origin")}
    prints = [(int(entry["owned"]["perceptual_hash"], 16), entry) for entry in kept]
    _prepare(store)
    added = Added()
    for photo in photos:
        held = of_origin.get(photo.origin)
        if held is not None and held["owned"]["stated"] == _stated(photo) and (store / held["file"]).is_file():
            added.known += 1
            continue
        try:
            upright, rgb = _upright(photo.path)
        except (PhotoError, OSError) as problem:
            added.refused.append(f"{photo.where}: {getattr(problem, 'reason', problem)}")
            continue
        print_ = perceptual_hash(rgb)
        twins = (e for bits, e in prints if e is not held and differing_bits(bits, print_) <= SAME_PICTURE_BITS)
        if (twin := next(twins, None)) is not None:
            added.refused.append(_duplicate(photo, twin))
            continue
        entry = _entry(photo, upright, rgb, print_, store, propose)
        prints.append((print_, entry))
        if held is None:
            added.stored.append(entry)
        else:
            added.changed.append({**entry, "index": held["index"], "style": held["style"]})
    _settle(store, kept, added, only_split)
    return added


def photo_id(entry: dict) -> str:
    """The name under which a model's metadata lists a photo that it learned from (`learned_from`)."""
    return entry["owned"].get("origin") or entry["owned"]["sha256"][:20]


def write_entries(store: Path, entries: Sequence[dict]) -> None:
    """Replace the manifest of a store, whole or not at all."""
    _write_whole(store / "manifest.jsonl", "".join(json.dumps(entry) + "\n" for entry in entries).encode())


def read_entries(store: Path) -> list[dict]:
    """The lines of a store's manifest; none where there is no store yet."""
    manifest = store / "manifest.jsonl"
    return [json.loads(line) for line in manifest.read_text().splitlines() if line] if manifest.is_file() else []


def check_still_there(store: Path, ids: Collection[str]) -> None:
    """Raise `DatasetError` where one of these photos was taken out of the store, as while a model learned from it."""
    if gone := set(ids) - {photo_id(entry) for entry in read_entries(store)}:
        raise DatasetError(
            f"{store}: {len(gone)} photos were taken out while a model learned from them; it was thrown away. Start "
            "again"
        )


def _prepare(store: Path) -> None:
    (store / "images").mkdir(parents=True, exist_ok=True)
    os.chmod(store, 0o700)
    (store / ".gitignore").write_text("*\n")  # photos of people's homes are not to be committed by accident


def _settle(store: Path, kept: Sequence[dict], added: Added, only_split: str | None) -> None:
    """Give what is new or changed its split and its place, and write the manifest."""
    changed = {entry["index"]: entry for entry in added.changed}
    same = [entry for entry in kept if entry["index"] not in changed]
    _split(same, [*added.changed, *added.stored], only_split)
    after = max((entry["index"] for entry in kept), default=-1) + 1
    for number, entry in enumerate(added.stored, start=after):
        entry["index"] = number
    write_entries(store, [*(changed.get(entry["index"], entry) for entry in kept), *added.stored])
    added.remarks += _remarks([*added.changed, *added.stored])


def _stated(photo: LabelledPhoto) -> str:
    """What was said of a photo, by its hash: the same label again is known before the picture is opened."""
    said = {name: value for name, value in asdict(photo).items() if name not in ("path", "where")}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def _upright(path: Path) -> tuple[Photo, np.ndarray]:
    photo = open_photo(path.read_bytes(), path.name, PhotoLimits())
    return photo, photo.reduced(max(photo.width, photo.height))


def _duplicate(photo: LabelledPhoto, twin: dict) -> str:
    same = {s["kind"]: {c: r["value"] for c, r in s["concepts"].items()} for s in twin["subjects"]}
    stated = {subject.kind: subject.values for subject in photo.subjects}
    if stated == same:
        return f"{photo.where}: the same picture is stored already ({twin['file']}); not added again"
    return (
        f"{photo.where}: the same picture is stored already ({twin['file']}) under another label; "
        "not added. If it shows both parts, name both in one CSV; if one label is wrong, mend it"
    )


def _entry(photo: LabelledPhoto, upright: Photo, rgb: np.ndarray, print_: int, store: Path, propose: Propose) -> dict:
    data = io.BytesIO()
    Image.fromarray(rgb).save(data, "JPEG", quality=95, subsampling=0)  # new bytes: no metadata can come along
    digest = hashlib.sha256(data.getvalue()).hexdigest()
    name = f"images/{digest[:20]}.jpg"
    _write_whole(store / name, data.getvalue())
    subjects = [_subject(labelled, upright, propose) for labelled in photo.subjects]
    framing = _framing([subject["box"] for subject in subjects])
    return {
        "schema": "1", "index": -1, "seed": None, "file": name, "width": upright.width, "height": upright.height,
        "style": "", "families": {}, "framing": framing, "conditions": list(photo.conditions),
        "fair": framing == "close" and not photo.conditions, "camera": {}, "look_alikes": [], "subjects": subjects,
        "code_version": "owned",
        "owned": {"lift": photo.lift, "consent": photo.consent, "source": photo.source, "sha256": digest,
                  "perceptual_hash": f"{print_:016x}", "origin": photo.origin, "said_by": photo.said_by,
                  "surely": photo.surely, "stated": _stated(photo)},
    }  # fmt: skip


def _subject(labelled: Labelled, upright: Photo, propose: Propose) -> dict:
    box, box_from, hidden, hidden_from = labelled.box, labelled.box_from, labelled.hidden, "owner"
    if box is None or hidden is None:
        proposed_box, proposed_from, looks_hidden = propose(upright, labelled)
        if box is None:
            box, box_from = proposed_box, proposed_from
        if hidden is None:
            hidden, hidden_from = looks_hidden, "model"
    area = (box[2] - box[0]) * (box[3] - box[1])
    return {
        "kind": labelled.kind, "box": [round(side, 5) for side in box], "box_from": box_from,
        "hidden_from": hidden_from, "visible_px": round(area * upright.width * upright.height),
        "visible_fraction": 1.0, "cut_off": False,
        "concepts": {c: {"value": v, "visible": c not in hidden} for c, v in labelled.values.items()},
    }  # fmt: skip


def _framing(boxes: Sequence[Sequence[float]]) -> str:
    if not boxes:
        return "none"
    side = max(max(right - left, bottom - top) for left, top, right, bottom in boxes)
    return "close" if side >= CLOSE_SIDE else "wide" if side < WIDE_SIDE else "mid"


def _split(kept: Sequence[dict], new: Sequence[dict], only_split: str | None) -> None:
    """Give each new lift the split furthest behind its share, of its label and of all; known lifts keep theirs.

    A photo whose lift is another now goes where that lift lies, and stays where it is while the lift is new.
    """
    split_of = {entry["owned"]["lift"]: entry["style"] for entry in kept if entry["owned"]["lift"]}
    counts = Counter((name, entry["style"]) for entry in kept for name in (_main_label(entry), EVERY_LABEL))
    groups: dict[str, list[dict]] = {}
    for entry in new:
        groups.setdefault(entry["owned"]["lift"] or entry["owned"]["sha256"], []).append(entry)
    for name, group in sorted(groups.items(), key=lambda item: hashlib.sha256(item[0].encode()).hexdigest()):
        behind: Counter[str] = Counter()
        for label in (_main_label(group[0]), EVERY_LABEL):
            total = sum(counts[label, split] for split in SPLIT_SHARES) + len(group)
            behind.update({split: part * total - counts[label, split] for split, part in SPLIT_SHARES.items()})
        split = only_split or split_of.get(name) or group[0]["style"] or max(behind, key=behind.__getitem__)
        for entry in group:
            entry["style"] = split
            counts.update([(_main_label(entry), split), (EVERY_LABEL, split)])


def _main_label(entry: dict) -> str:
    subjects = entry["subjects"]
    return json.dumps([(s["kind"], {c: r["value"] for c, r in s["concepts"].items()}) for s in subjects[:1]])


def _remarks(stored: Sequence[dict]) -> list[str]:
    loose = sum(entry["owned"]["lift"] is None for entry in stored)
    subjects = [subject for entry in stored for subject in entry["subjects"]]
    proposed = sum(subject["box_from"] != "owner" for subject in subjects)
    judged = sum(subject["hidden_from"] == "model" and bool(subject["concepts"]) for subject in subjects)
    remarks = []
    if loose:
        remarks.append(
            f"{loose} photos name no lift and count as one lift each. If several show the same lift, held-out figures "
            "come out too good: put them into LABEL/LIFT/ or fill the column lift"
        )
    if proposed:
        remarks.append(
            f"{proposed} parts came without a box: the present model (or the whole photo) gave one. They teach "
            "the reader, never the finder, and count in none of the finder's figures"
        )
    if judged:
        remarks.append(
            f"of {judged} parts nobody said what the photo hides: the present model judged it, so a comparison with it "
            "leans its way; fill the column hidden to settle that"
        )
    return remarks


def _write_whole(path: Path, data: bytes) -> None:
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_bytes(data)
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)

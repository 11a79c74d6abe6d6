"""Manifests with something wrong in them: named, never guessed."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
import torch
from PIL import Image

from tests.support.drawn_pictures import draw_folder
from training.data.dataset import load_bank, load_upright
from training.data.manifest import DatasetError, read_manifests


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return draw_folder(tmp_path / "data", 6, "train", seed=5)


def change_line(folder: Path, number: int, change) -> None:
    lines = (folder / "manifest.jsonl").read_text().splitlines()
    entry = json.loads(lines[number])
    change(entry)
    lines[number] = json.dumps(entry)
    (folder / "manifest.jsonl").write_text("\n".join(lines))


def test_reads_what_was_drawn(folder: Path):
    records = read_manifests([folder], "train")
    assert len(records) == 6 and all(record.path.is_file() for record in records)
    assert len(read_manifests([folder, folder])) == 12


def test_several_subjects_of_a_kind_are_each_read(folder: Path):
    before = read_manifests([folder])[0].subjects
    change_line(folder, 0, lambda entry: entry["subjects"].extend(entry["subjects"]))
    assert before and read_manifests([folder])[0].subjects == (*before, *before)


def test_what_a_reading_carries_beside_is_passed_over(folder: Path):
    before = read_manifests([folder])
    for number in range(len(before)):
        change_line(folder, number, _with_more)
    assert read_manifests([folder]) == before


def _with_more(entry: dict) -> None:
    for subject in entry["subjects"]:
        for concept in subject["concepts"].values():
            concept["weaker_px"] = 12


def test_an_absent_style_says_what_is_there(folder: Path):
    with pytest.raises(DatasetError, match=r"style 'heldout'.*'train': 6.*synthetic_samples"):
        read_manifests([folder], "heldout")


def test_an_absent_manifest_is_named(tmp_path: Path):
    with pytest.raises(DatasetError, match="manifest.jsonl: not there"):
        read_manifests([tmp_path])


def test_missing_pictures_are_named(folder: Path):
    (folder / "images" / "000002.jpg").unlink()
    with pytest.raises(DatasetError, match=r"1 of 6 pictures.*000002\.jpg"):
        read_manifests([folder])


def test_a_few_missing_among_many_are_left_out_with_a_warning(folder: Path):
    lines = (folder / "manifest.jsonl").read_text().splitlines()
    lines += [lines[0]] * 200 + [lines[3].replace("000003.jpg", "lost.jpg")]
    (folder / "manifest.jsonl").write_text("\n".join(lines))
    with pytest.warns(UserWarning, match=r"lost\.jpg"):
        assert len(read_manifests([folder])) == 206


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda entry: entry.pop("style"), "KeyError: 'style'"),
        (lambda entry: entry.pop("file"), "KeyError: 'file'"),
        (lambda entry: entry["look_alikes"].append({"kind": "x", "box": [0.5, 0.5, 0.4, 0.9]}), "positive area"),
        (lambda entry: entry["subjects"].append({"kind": "kettle", "box": [0, 0, 1, 1]}), "'kettle'"),
        (lambda entry: entry["subjects"].append({"kind": "actuator_head", "box": [0, 0, 1, 1], "concepts":
            {"lowering": {"value": "lever", "visible": True}}}), "lowering 'lever'"),  # fmt: skip
    ],
)  # fmt: skip
def test_a_wrong_line_is_named_with_its_reason(folder: Path, change, reason: str):
    change_line(folder, 3, change)
    with pytest.raises(DatasetError, match=f"line 4: .*{reason}"):
        read_manifests([folder])


def test_a_cut_off_line_is_named(folder: Path):
    text = (folder / "manifest.jsonl").read_text()
    (folder / "manifest.jsonl").write_text(text[: len(text) - 40])
    with pytest.raises(DatasetError, match="line 6"):
        read_manifests([folder])


def test_an_unreadable_picture_is_named(folder: Path):
    (folder / "images" / "000001.jpg").write_bytes(b"no picture")
    with pytest.raises(DatasetError, match=r"000001\.jpg: not a readable picture"):
        load_upright(folder / "images" / "000001.jpg", 320)


def test_turned_pictures_are_loaded_upright(tmp_path: Path):
    from PIL import Image

    picture = Image.new("RGB", (40, 20))
    exif = picture.getexif()
    exif[0x0112] = 6
    picture.save(tmp_path / "turned.jpg", exif=exif)
    assert load_upright(tmp_path / "turned.jpg", 512).shape == (40, 20, 3)


@pytest.mark.parametrize(("share", "white"), [(0.0, []), (0.5, [2, 5]), (1.0, [0, 2, 4, 5])])
def test_a_share_of_the_pictures_with_a_clean_twin_are_the_twin(
    folder: Path, tmp_path: Path, share: float, white: list[int]
):
    twin = tmp_path / "white.png"
    Image.new("RGB", (32, 24), "white").save(twin)
    records = [
        replace(record, clean_path=twin if at in (0, 2, 4, 5) else None)
        for at, record in enumerate(read_manifests([folder]))
    ]
    bank = load_bank(records, 64, torch.device("cpu"), 1, share)
    assert [at for at in range(len(records)) if bank.pixels[at, :, :24, :32].min() == 255] == white

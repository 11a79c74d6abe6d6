"""Adding photos: what is kept, what is stripped, what is refused. The photos are drawn stand-ins, no photographs."""

import json
import re
import shutil
import socket
from pathlib import Path

import pytest
from PIL import Image, ImageOps

from classifier.taxonomy import CONCEPTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.support.standin_photos import STANDINS, as_csv, label_of, standins, with_metadata, write_csv
from training.command import main
from training.data.manifest import read_manifests
from training.owned.labels import COLUMNS, NOTHING, meaning
from training.owned.photos import read_entries
from training.owner_command import OWNER_COMMANDS
from training.store_command import STORE_COMMANDS

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return as_csv(tmp_path_factory.mktemp("photos"), standins(16))


def add(folder: Path, store: Path, weights: Path, *more: str) -> list[dict]:
    main(["add-photos", str(folder), "--store", str(store), "--weights", str(weights), "--consent", "form 7",
          "--source", "loan pool", *more])  # fmt: skip
    return read_entries(store)


def refusal(folder: Path, store: Path, weights: Path, capsys: pytest.CaptureFixture) -> str:
    with pytest.raises(SystemExit) as stopped:
        add(folder, store, weights)
    assert stopped.value.code == 2 and not (store / "manifest.jsonl").exists()
    return capsys.readouterr().err


def test_stored_photos_are_upright_and_carry_no_metadata(photos: Path, tmp_path: Path, toy_model_dir: Path):
    entries = add(photos, tmp_path / "store", toy_model_dir)
    assert len(entries) == 16
    for number, entry in enumerate(entries):
        original = ImageOps.exif_transpose(Image.open(photos / f"photo {number}.jpg"))
        kept = Image.open(tmp_path / "store" / entry["file"])
        assert kept.size == original.size == (entry["width"], entry["height"])
        assert not kept.getexif() and "comment" not in kept.info and "exif" not in kept.info
        raw = (tmp_path / "store" / entry["file"]).read_bytes()
        assert b"SecretPhone" not in raw and b"bathroom" not in raw
        assert entry["owned"]["consent"] == "form 7" and entry["owned"]["source"] == "loan pool"


def test_training_reads_a_store_as_it_reads_renders(photos: Path, tmp_path: Path, toy_model_dir: Path):
    add(photos, tmp_path / "store", toy_model_dir)
    records, truth = read_manifests([tmp_path / "store"]), standins(16)
    for record, entry in zip(records, truth, strict=True):
        assert [s.kind for s in record.subjects] == [s["kind"] for s in entry["subjects"]]
        for ours, theirs in zip(record.subjects, entry["subjects"], strict=True):
            assert ours.box == pytest.approx(theirs["box"], abs=1e-4)
            wanted = {c: (read["value"], read["visible"]) for c, read in theirs["concepts"].items()}
            assert {c: (read.value, read.visible) for c, read in ours.concepts.items()} == wanted


def test_photos_of_one_lift_stay_in_one_split_even_when_added_later(photos: Path, tmp_path: Path, toy_model_dir: Path):
    store, later = tmp_path / "store", tmp_path / "later"
    first = {e["owned"]["lift"]: e["style"] for e in add(photos, store, toy_model_dir)}
    with_metadata(STANDINS / standins()[20]["file"], later / "new.jpg")
    write_csv(later / "labels.csv", [{"file": "new.jpg", "label": "nothing", "lift": "lift-3"}])
    entries = add(later, store, toy_model_dir)
    assert entries[-1]["style"] == first["lift-3"] and len(entries) == 17
    assert all(first[entry["owned"]["lift"]] == entry["style"] for entry in entries)
    assert {entry["style"] for entry in entries} == {"train", "calibration", "heldout"}


def test_nothing_is_sent_and_no_name_of_a_photo_is_kept(
    photos: Path, tmp_path: Path, toy_model_dir: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
):
    def refuse(*arguments, **options):
        raise AssertionError("a connection was opened")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    add(photos, tmp_path / "store", toy_model_dir)
    assert "photo 3" not in (tmp_path / "store" / "manifest.jsonl").read_text()
    said = capsys.readouterr()
    assert "photo 3" not in said.out + said.err
    assert (tmp_path / "store").stat().st_mode & 0o077 == 0
    assert (tmp_path / "store" / ".gitignore").read_text() == "*\n"


def test_the_same_picture_again_is_refused_whatever_its_size(photos: Path, tmp_path: Path, toy_model_dir: Path, capsys):
    store, again = tmp_path / "store", tmp_path / "again"
    add(photos, store, toy_model_dir)
    again.mkdir()
    picture = ImageOps.exif_transpose(Image.open(photos / "photo 3.jpg"))
    picture.resize((picture.width * 7 // 10, picture.height * 7 // 10)).save(again / "smaller.jpg", quality=60)
    write_csv(again / "labels.csv", [{"file": "smaller.jpg", "label": "hand_control"}])
    assert len(add(again, store, toy_model_dir)) == 16
    assert "row 2: the same picture is stored already" in capsys.readouterr().err


def test_folders_name_label_and_lift(tmp_path: Path, toy_model_dir: Path, capsys: pytest.CaptureFixture):
    folder = tmp_path / "folders"
    single = [entry for entry in standins() if len(entry["subjects"]) == 1][:4]
    for number, entry in enumerate(single):
        with_metadata(STANDINS / entry["file"], folder / label_of(entry["subjects"][0]) / "ward-2" / f"{number}.jpg")
    (folder / "twist_knob").mkdir(exist_ok=True)
    entries = add(folder, tmp_path / "store", toy_model_dir)
    assert sorted(e["subjects"][0]["kind"] for e in entries) == sorted(e["subjects"][0]["kind"] for e in single)
    assert {entry["owned"]["lift"] for entry in entries} == {"ward-2"} and len({e["style"] for e in entries}) == 1
    said = capsys.readouterr().out
    assert "twist_knob: an empty class" in said and "came without a box" in said
    assert {s["box_from"] for e in entries for s in e["subjects"]} <= {"model", "whole photo"}
    assert len(read_manifests([tmp_path / "store"])) == 4


def coco(folder: Path, entries: list[dict]) -> dict:
    images, annotations, categories = [], [], {}
    for number, entry in enumerate(entries):
        with_metadata(STANDINS / entry["file"], folder / f"{number}.jpg")
        images.append({"id": number, "file_name": f"{number}.jpg", "width": entry["width"], "height": entry["height"],
                       "lift": number})  # fmt: skip
        for subject in entry["subjects"]:
            left, top, right, bottom = subject["box"]
            bbox = [left * entry["width"], top * entry["height"], (right - left) * entry["width"],
                    (bottom - top) * entry["height"]]  # fmt: skip
            hidden = [c for c, read in subject["concepts"].items() if not read["visible"]]
            category = categories.setdefault(label_of(subject), len(categories) + 1)
            annotations.append({"id": len(annotations), "image_id": number, "category_id": category, "bbox": bbox,
                                "attributes": {"hidden": hidden}})  # fmt: skip
    named = [{"id": number, "name": name} for name, number in categories.items()]
    return {"images": images, "annotations": annotations, "categories": named}


def test_coco_gives_what_the_csv_gives(tmp_path: Path, toy_model_dir: Path):
    (tmp_path / "coco").mkdir()
    (tmp_path / "coco" / "annotations.json").write_text(json.dumps(coco(tmp_path / "coco", standins(8))))
    from_coco = add(tmp_path / "coco", tmp_path / "a", toy_model_dir)
    from_csv = add(as_csv(tmp_path / "csv", standins(8)), tmp_path / "b", toy_model_dir)
    for ours, theirs in zip(from_coco, from_csv, strict=True):
        for a, b in zip(ours["subjects"], theirs["subjects"], strict=True):
            assert a["concepts"] == b["concepts"] and a["box"] == pytest.approx(b["box"], abs=1e-3)


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ({"label": "hung-topp"}, "row 2: label 'hung-topp' is unknown; known are nothing, sealed-"),
        ({"label": "battery=hung_pack"}, "is unknown"),
        ({"label": "hung-top", "hidden": "lowering"}, "hidden lowering is no concept of a control_box"),
        ({"label": "hung-top", "conditions": "foggy"}, "condition foggy is unknown"),
        ({"label": "hung-top", "left": 0.5, "top": 0.1, "right": 0.4, "bottom": 0.9}, "box 0.5, 0.1, 0.4, 0.9"),
        ({"label": "hung-top", "left": "a", "top": 0.1, "right": 0.4, "bottom": 0.9}, "could not convert"),
        ({"label": "hung-top", "file": "lost.jpg"}, "lost.jpg is not there"),
    ],
)
def test_a_wrong_row_stops_everything_before_anything_is_stored(
    row: dict, reason: str, tmp_path: Path, toy_model_dir: Path, capsys: pytest.CaptureFixture
):
    with_metadata(STANDINS / standins(1)[0]["file"], tmp_path / "in" / "a.jpg")
    write_csv(tmp_path / "in" / "labels.csv", [{"file": "a.jpg"} | row])
    assert reason in refusal(tmp_path / "in", tmp_path / "store", toy_model_dir, capsys)


def test_a_photo_named_twice_with_two_labels_is_refused(tmp_path: Path, toy_model_dir: Path, capsys):
    with_metadata(STANDINS / standins(1)[0]["file"], tmp_path / "in" / "a.jpg")
    rows = [{"file": "a.jpg", "label": label} for label in ("hung-top", "sealed-top")]
    write_csv(tmp_path / "in" / "labels.csv", rows)
    said = refusal(tmp_path / "in", tmp_path / "store", toy_model_dir, capsys)
    assert "'hung-top' (labels.csv, row 2) and 'sealed-top' (labels.csv, row 3)" in said


def test_one_picture_in_two_folders_is_taken_once_and_said(tmp_path: Path, toy_model_dir: Path, capsys):
    for label in ("hung-top", "sealed-top"):
        with_metadata(STANDINS / standins(1)[0]["file"], tmp_path / "in" / label / "a.jpg")
    assert len(add(tmp_path / "in", tmp_path / "store", toy_model_dir)) == 1
    assert "under another label" in capsys.readouterr().err


def test_a_corrupt_picture_among_good_ones_is_left_out_by_name(photos: Path, tmp_path: Path, toy_model_dir, capsys):
    folder = tmp_path / "in"
    shutil.copytree(photos, folder)
    whole = (folder / "photo 4.jpg").read_bytes()
    (folder / "photo 4.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "photo 5.jpg").write_bytes(b"no picture at all")
    assert len(add(folder, tmp_path / "store", toy_model_dir)) == 14
    said = capsys.readouterr()
    assert said.err.count("left out: labels.csv, row ") == 2 and "damaged" in said.err and "2 left out" in said.out


@pytest.mark.parametrize("missing", ["--consent", "--source"])
def test_without_consent_or_source_nothing_is_taken(missing: str, photos: Path, tmp_path: Path, toy_model_dir, capsys):
    given = {"--consent": "form 7", "--source": "pool"}
    del given[missing]
    with pytest.raises(SystemExit):
        main(["add-photos", str(photos), "--store", str(tmp_path / "s"), "--weights", str(toy_model_dir),
              *(word for pair in given.items() for word in pair)])  # fmt: skip
    assert f"no {missing[2:]} is stated" in capsys.readouterr().err and not (tmp_path / "s").exists()


def test_a_full_disk_leaves_the_store_as_it_was(photos: Path, tmp_path: Path, toy_model_dir, monkeypatch, capsys):
    store, more = tmp_path / "store", as_csv(tmp_path / "more", standins()[20:24])
    add(photos, store, toy_model_dir)
    before = (store / "manifest.jsonl").read_bytes()
    write = Path.write_bytes

    def full(path: Path, data: bytes) -> int:
        if path.name.startswith("manifest"):
            write(path, data[: len(data) // 2])
            raise OSError(28, "No space left on device")
        return write(path, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(SystemExit):
        add(more, store, toy_model_dir)
    assert "No space left on device" in capsys.readouterr().err
    assert (store / "manifest.jsonl").read_bytes() == before and not list(store.glob("*.part"))
    assert len(read_manifests([store])) == 16


def two_label_files(folder: Path) -> None:
    for name in ("a.csv", "b.json"):
        (folder / name).write_text("")


def unknown_column(folder: Path) -> None:
    (folder / "labels.csv").write_text("file,label,patient\na.jpg,hung-top,Mrs X\n")


def no_utf8(folder: Path) -> None:
    (folder / "labels.csv").write_bytes(b"file,label\na.jpg,\xff\n")


def coco_of_the_turned_picture(folder: Path) -> None:
    with_metadata(STANDINS / standins(1)[0]["file"], folder / "a.jpg", orientation=6)
    width, height = Image.open(folder / "a.jpg").size  # as stored, so turned
    image = {"id": 1, "file_name": "a.jpg", "width": width, "height": height}
    annotation = {"id": 1, "image_id": 1, "category_id": 1, "bbox": [10, 10, 50, 50]}
    content = {"images": [image], "annotations": [annotation], "categories": [{"id": 1, "name": "hung-top"}]}
    (folder / "labels.json").write_text(json.dumps(content))


def coco_without_its_image(folder: Path) -> None:
    content = {"images": [], "annotations": [{"id": 7, "image_id": 3}], "categories": []}
    (folder / "labels.json").write_text(json.dumps(content))


@pytest.mark.parametrize(
    ("prepare", "reason"),
    [
        (lambda folder: None, "no photo in it"),
        (two_label_files, "a.csv, b.json could all hold the labels"),
        (unknown_column, "columns file, label, patient came; file and label are wanted"),
        (no_utf8, "save it as CSV in UTF-8"),
        (lambda folder: (folder / "labels.json").write_text("{"), "no COCO file that can be used"),
        (coco_of_the_turned_picture, "states the size before its EXIF turn"),
        (coco_without_its_image, "annotation 7: image 3 is not listed"),
    ],
)
def test_labels_that_cannot_be_used_are_refused_with_the_reason(prepare, reason, tmp_path, toy_model_dir, capsys):
    (tmp_path / "in").mkdir()
    prepare(tmp_path / "in")
    assert reason in refusal(tmp_path / "in", tmp_path / "store", toy_model_dir, capsys)


def test_the_guide_names_every_column_label_and_command():
    guide = (ROOT / "training" / "OWNED_PHOTOS.md").read_text(encoding="utf-8")
    names = [*COLUMNS, NOTHING, *OWNER_COMMANDS, *STORE_COMMANDS, *CONCEPTS["lowering"][1:], "hand_control", "charger"]
    assert [name for name in names if name not in guide] == []
    table = re.search(r"^\| label \| means \|\n(.*?)\n\n", guide, re.MULTILINE | re.DOTALL)[1]
    labels = re.findall(r"^\| `([^`]+)`", table, re.MULTILINE)
    assert len(labels) >= 4
    for label in labels:
        meaning(label, load(DEMO_CATALOGUE))  # raises for a label that is none

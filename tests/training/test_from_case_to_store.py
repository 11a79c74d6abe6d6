"""From a case to an owner's store and out of it again: export, add, withdraw, and a search of every store."""

import csv
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from pycocotools.coco import COCO as Annotations
from sqlalchemy import text

from api.app import create_app
from api.cases.audit import audit_page
from api.cases.database import reading
from api.cases.expiry import delete_abandoned
from api.cases.learned.learned_photos import ready_photos
from api.cases.learned.photo_export import COCO, LABELS, LEFT_OUT, PICTURES, WITHDRAWN_FILE, export_photos
from api.cases.learned.photo_tables import COLUMNS
from api.cases.photos import DAY_MS
from api.cases.store import CaseStore, Said, Who
from api.commands.main import main as hoistlore
from api.identification import Resources
from api.settings import PREFIX, Settings
from classifier.errors import InputError
from tests.api.conftest import own_settings, toy_resources, toy_settings, without_cases
from tests.api.test_agent_pages import Desk
from tests.api.test_case_expiry import later
from tests.api.test_photo_labels import HUNG_TOP, TECHNICIAN, photographed, technician, tell
from tests.support.toy_networks import blob_photo, encoded
from training.command import main
from training.owned import forget, labels
from training.owned.photos import photo_id, read_entries

__all__ = ["own_settings", "toy_resources", "toy_settings", "without_cases"]

OPERATOR = Who("administrator", "command line")


@pytest.fixture
def app(own_settings: Callable[..., Settings], toy_resources: Resources):
    return create_app(own_settings(technician_token=TECHNICIAN), toy_resources)


@pytest.fixture
def tom(app, monkeypatch) -> Desk:
    return technician(app, monkeypatch)


def photo(n: int) -> bytes:
    """A photo of its own for each number."""
    place = (0.3 + 0.1 * (n % 4), 0.35 + 0.1 * (n // 4))
    return encoded(blob_photo(("control_box", place, 0.25 + 0.02 * n, {"black": "above", "white": "left"})))


TECHNICIAN_TOM = Who("technician", "Tom")


def say(app, case_id: str, event: str, /, **said: object) -> None:
    store = app.state.cases
    store.say(case_id, store.version(case_id), Said(event, {"id": event, "answer": "", **said}, {}), TECHNICIAN_TOM)


def closed(app, picture: bytes) -> str:
    """A case that a technician closed, with one labelled photo; its id."""
    case_id = photographed(app, picture).rsplit("/", 1)[1]
    say(app, case_id, "closed", proof="measured", states=HUNG_TOP | {"lowering": "twist_knob"})
    return case_id


def exported(app, folder: Path):
    return export_photos(app.state.cases, folder, OPERATOR)


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / LABELS).open(newline="") as table:
        return list(csv.DictReader(table))


def state_of_folder(folder: Path) -> dict[str, tuple[bytes, int, int]]:
    files = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return {str(p.relative_to(folder)): (p.read_bytes(), p.stat().st_ino, p.stat().st_mtime_ns) for p in files}


def add(folder: Path, store: Path, weights: Path) -> list[dict]:
    main(["add-photos", str(folder), "--store", str(store), "--weights", str(weights)])
    return read_entries(store)


def test_the_two_sides_speak_the_same_words() -> None:
    assert set(COLUMNS) < set(labels.COLUMNS) and WITHDRAWN_FILE == forget.WITHDRAWN_FILE


def test_a_closed_case_is_a_photo_in_the_owner_s_store(app, tom: Desk, tmp_path: Path, toy_model_dir: Path) -> None:
    here = photographed(app)
    tell(tom, here, "observation", "which_box", "hung-top")
    tell(tom, here, "closed", "in_service", "pack_worn", proof="measured")
    told = exported(app, tmp_path / "out")
    box, head = rows_of(tmp_path / "out")
    assert labels.meaning(box["label"], app.state.resources.catalogue) == ("control_box", HUNG_TOP)
    assert (head["label"], head["said_by"], head["surely"]) == ("lowering=twist_knob", "technician", "at_the_lift")
    assert told.whole == 1 and [told.written, told.removed] == [[box["origin"]], []]
    (entry,) = add(tmp_path / "out", tmp_path / "store", toy_model_dir)
    assert photo_id(entry) == box["origin"] and entry["owned"]["lift"] == box["lift"]
    assert [s["box_from"] for s in entry["subjects"]] == ["model", "model"]
    row = app.state.cases.by_id(here.rsplit("/", 1)[1])
    (kept,) = [event.said["id"] for event in row.events if event.kind == "photo"]
    for path in [*(tmp_path / "out").rglob("*"), *(tmp_path / "store").rglob("*")]:
        for name in (row.id, row.code, kept, "Tom"):
            assert name not in str(path.relative_to(tmp_path)), "who it is from stands in a name"
            assert path.is_dir() or name.encode() not in path.read_bytes(), f"{name} stands in {path.name}"
    picture = Image.open(tmp_path / "out" / box["file"])
    assert not picture.getexif() and not {"exif", "comment", "xmp"} & set(picture.info)
    assert (tmp_path / "out").stat().st_mode & 0o077 == 0
    assert audit_page(app.state.cases).lines[0].action == "exported 1 photos"


def test_the_same_labels_as_coco(app, tmp_path: Path, toy_model_dir: Path) -> None:
    """pycocotools, another implementation, reads every picture, box and label of the export."""
    closed(app, photo(0))
    closed(app, photo(1))
    nothing = photographed(app, photo(2)).rsplit("/", 1)[1]
    (shown,) = [event.said["id"] for event in app.state.cases.by_id(nothing).events if event.kind == "photo"]
    none = {"id": shown, "place": 0, "kind": "", "box": [0, 0, 1, 1], "values": {}, "hidden": [], "how": "at_the_lift"}
    say(app, nothing, "label", **none, seen=9)
    export_photos(app.state.cases, tmp_path / "csv", OPERATOR)
    export_photos(app.state.cases, tmp_path / "coco", OPERATOR, coco=True)
    read = Annotations(tmp_path / "coco" / COCO)
    rows = rows_of(tmp_path / "csv")
    assert len(rows) == 3 and [image["file_name"] for image in read.loadImgs(read.getImgIds())] == [
        row["file"] for row in rows
    ]
    boxes = []
    for part in read.loadAnns(read.getAnnIds()):
        (image,), (name,) = read.loadImgs(part["image_id"]), read.loadCats(part["category_id"])
        assert Image.open(tmp_path / "coco" / image["file_name"]).size == (image["width"], image["height"])
        (left, top, wide, high), (across, down) = part["bbox"], (image["width"], image["height"])
        assert part["area"] == pytest.approx(wide * high, rel=1e-4)
        boxes.append((name["name"], left / across, top / down, (left + wide) / across, (top + high) / down))
    drawn = [row for row in rows if row["label"] != "nothing"]
    assert [box[0] for box in boxes] == [row["label"] for row in drawn] and len(boxes) == 2
    for box, row in zip(boxes, drawn, strict=True):
        assert box[1:] == pytest.approx([float(row[side]) for side in ("left", "top", "right", "bottom")], abs=1e-4)
    from_csv, from_coco = (add(tmp_path / f, tmp_path / f"store-{f}", toy_model_dir) for f in ("csv", "coco"))
    for one, other in zip(from_csv, from_coco, strict=True):
        for subject, same in zip(one["subjects"], other["subjects"], strict=True):
            assert same["box"] == pytest.approx(subject["box"], abs=1e-4) and same["box_from"] == subject["box_from"]
            assert same["concepts"] == subject["concepts"]
        assert {**one["owned"], "stated": ""} == {**other["owned"], "stated": ""}
    before = state_of_folder(tmp_path / "coco")
    export_photos(app.state.cases, tmp_path / "coco", OPERATOR, coco=True)
    assert state_of_folder(tmp_path / "coco") == before
    export_photos(app.state.cases, tmp_path / "coco", OPERATOR)
    assert not (tmp_path / "coco" / COCO).exists() and rows_of(tmp_path / "coco") == rows


def test_a_second_run_changes_nothing_and_a_new_label_is_added(app, tmp_path: Path) -> None:
    out = tmp_path / "out"
    closed(app, photo(0))
    exported(app, out)
    before = state_of_folder(out)
    again = exported(app, out)
    assert state_of_folder(out) == before and (again.written, again.removed) == ([], [])
    closed(app, photo(1))
    told = exported(app, out)
    assert len(told.written) == 1 and len(rows_of(out)) == 2
    kept = {name: state for name, state in state_of_folder(out).items() if name.endswith(".jpg")}
    assert len(kept) == 2 and all(kept[name] == before[name] for name in before if name.endswith(".jpg"))


def test_photos_of_one_lift_have_one_name_and_a_corrected_number_moves_them(app, tmp_path: Path) -> None:
    out, pages = tmp_path / "out", [closed(app, photo(n)) for n in range(3)]
    for here in pages[:2]:
        say(app, here, "asset", answer="Ward 7 / lift 12")
    exported(app, out)
    lifts = {row["origin"]: row["lift"] for row in rows_of(out)}
    assert len(set(lifts.values())) == 2 and not any(lift == "12" or "ward" in lift.lower() for lift in lifts.values())
    say(app, pages[1], "undo")  # it was another lift after all
    say(app, pages[1], "asset", answer="lift 13")
    say(app, pages[2], "asset", answer=" LIFT  13 ")
    exported(app, out)
    moved = {row["origin"]: row["lift"] for row in rows_of(out)}
    groups = sorted(list(moved.values()).count(lift) for lift in set(moved.values()))
    assert groups == [1, 2] and moved.keys() == lifts.keys()


def test_what_is_no_label_yet_is_left_out_by_name_with_the_reason(app, tmp_path: Path) -> None:
    photographed(app, photo(0))
    told = exported(app, tmp_path / "out")
    assert told.whole == 0 and rows_of(tmp_path / "out") == []
    (line,) = told.left_out
    assert re.fullmatch("[0-9a-f]{24}: nobody said: stop_position, .*", line)
    assert (tmp_path / "out" / LEFT_OUT).read_text() == f"{line}\n"


@pytest.mark.parametrize("damage", ["NULL", "substr(picture, 1, 900)", "x'00'"])
def test_a_picture_that_is_missing_or_cut_off_is_listed_and_the_others_go(app, tmp_path: Path, damage: str) -> None:
    closed(app, photo(0))
    closed(app, photo(1))
    exported(app, tmp_path / "out")
    with app.state.cases.engine.begin() as connection:
        lost = connection.scalar(text("SELECT min(origin) FROM learning_photos"))
        connection.execute(text(f"UPDATE learning_photos SET picture = {damage} WHERE origin = '{lost}'"))
    told = exported(app, tmp_path / "out")
    assert [line.split(":")[0] for line in told.left_out] == [lost]
    assert [row["origin"] for row in rows_of(tmp_path / "out")] != [lost] and told.whole == 1
    assert not (tmp_path / "out" / PICTURES / f"{lost}.jpg").exists()


def test_a_full_disk_is_said_and_nothing_looks_whole(app, tmp_path: Path, monkeypatch) -> None:
    out = tmp_path / "out"
    closed(app, photo(0))
    exported(app, out)
    before = state_of_folder(out)
    closed(app, photo(1))
    sync = os.fsync

    def full(number: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk, pytest.raises(InputError, match="No space left on device.*export again"):
        disk.setattr(os, "fsync", full)
        exported(app, out)
    assert os.fsync is sync and state_of_folder(out) == before, "the table of before names whole pictures only"
    with monkeypatch.context() as disk, pytest.raises(InputError):
        disk.setattr(os, "fsync", full)
        exported(app, tmp_path / "new")
    assert not (tmp_path / "new" / LABELS).exists() and not list((tmp_path / "new").rglob("*.part"))
    assert exported(app, out).whole == 2


def test_what_a_stopped_run_left_is_cleared(app, tmp_path: Path) -> None:
    out = tmp_path / "out"
    closed(app, photo(0))
    exported(app, out)
    (out / LABELS).unlink()
    (out / PICTURES / "half.part").write_bytes(b"half a picture")
    (out / PICTURES / f"{'0' * 24}.jpg").write_bytes(b"a picture of nobody")
    told = exported(app, out)
    assert told.removed == ["0" * 24] and len(rows_of(out)) == 1
    assert [path.suffix for path in (out / PICTURES).iterdir()] == [".jpg"]


def test_a_folder_of_somebody_else_s_is_left_alone(app, tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").write_bytes(b"mine")
    with pytest.raises(InputError, match=r"holiday\.jpg is no part of an export"):
        exported(app, tmp_path)
    assert (tmp_path / "holiday.jpg").read_bytes() == b"mine"


def test_a_labelled_photo_outlives_its_case_and_another_does_not(app, tmp_path: Path) -> None:
    store: CaseStore = app.state.cases
    closed(app, photo(0))
    unsure = photographed(app, photo(1)).rsplit("/", 1)[1]
    say(app, unsure, "closed", proof="mended")
    exported(app, tmp_path / "out")
    before = rows_of(tmp_path / "out")
    assert delete_abandoned(later(store, 400), 30) == 2
    with reading(store.engine) as connection:
        assert connection.scalar(text("SELECT count(*) FROM photos")) == 0
    told = exported(app, tmp_path / "out")
    assert rows_of(tmp_path / "out") == before and (told.written, told.left_out) == ([], [])


def test_what_changes_while_it_is_deleted_keeps_its_photos(app, monkeypatch) -> None:
    store: CaseStore = app.state.cases
    closed(app, photo(0))
    monkeypatch.setattr(CaseStore, "erase", lambda *_: False)
    assert delete_abandoned(later(store, 400), 30) == 0
    with reading(store.engine) as connection:
        assert connection.execute(text("SELECT photo_id IS NULL, label IS NULL FROM learning_photos")).all() == [(0, 1)]
    assert later(store, 1).now_ms() - store.now_ms() > DAY_MS / 2 and len(ready_photos(store)[0]) == 1


def test_the_commands_name_what_is_open_and_refuse_what_nobody_has(app, monkeypatch, capsys) -> None:
    monkeypatch.setenv(f"{PREFIX}DATABASE", app.state.settings.database)
    closed(app, photo(0))
    photographed(app, photo(1)).rsplit("/", 1)[1]
    assert hoistlore(["photos", "list"]) == 0
    said = capsys.readouterr().out
    assert ": control_box (technician, at_the_lift)" in said and "nobody said: stop_position" in said
    assert hoistlore(["photos", "withdraw", "ACD EFH"]) == 2
    assert "No photo of 'ACD EFH' may be learned from" in capsys.readouterr().err

"""Which photos are of one lift, what speaks against it, and which are read together when there are many."""

from pathlib import Path

import pytest
from PIL import Image

from api.audit import grouping
from api.audit.plan import Plan, list_photos
from api.audit.source import Listed
from api.audit.taken import Taken, metres_apart, taken
from api.audit.views import Seen, chosen
from classifier.identify import PhotoReading, Quality, SubjectReading
from tests.support.heaps import BOX, HEAD, photo, rows

HOUR = 3600.0


@pytest.fixture
def plan(tmp_path: Path):
    made = Plan(tmp_path / "plan.db")
    yield made
    made.close()


def grouped(plan: Plan, ways: str, *photos: dict) -> dict[str, str]:
    """The lift of each photo; a photo is its name with what is known of it."""
    list_photos(plan, [Listed(p["name"], p.get("folder", ""), 1, p.get("lift")) for p in photos])
    for p in photos:
        told = [p.get(name) for name in ("label", "taken_s", "latitude", "longitude")]
        plan.run(
            "UPDATE photos SET label = ?, taken_s = ?, latitude = ?, longitude = ? WHERE name = ?", [*told, p["name"]]
        )
    grouping.group(plan, grouping.ways_of(ways))
    return dict(plan.run("SELECT name, lift FROM photos"))


def doubts(plan: Plan) -> dict[str, set[str]]:
    return {lift: set(told.split()) for lift, told in plan.run("SELECT lift, doubts FROM lifts")}


def test_a_table_goes_before_a_folder_and_what_nothing_places_stands_alone(plan: Plan) -> None:
    lifts = grouped(
        plan, "folder", {"name": "a/1.jpg", "folder": "a"}, {"name": "a/2.jpg", "folder": "a", "lift": "L"},
        {"name": "3.jpg"},
    )  # fmt: skip
    assert lifts == {"a/1.jpg": "a", "a/2.jpg": "L", "3.jpg": "3.jpg"}
    assert doubts(plan) == {"a": set(), "L": set(), "3.jpg": {"alone"}}


def test_labels_that_do_not_fit_the_folders_are_said_and_merge_nothing(plan: Plan) -> None:
    lifts = grouped(
        plan, "folder,label",
        {"name": "a/1", "folder": "a", "label": "X"}, {"name": "a/2", "folder": "a", "label": "Y"},
        {"name": "b/1", "folder": "b", "label": "Y"}, {"name": "c/1", "folder": "c", "label": "Z"},
    )  # fmt: skip
    assert set(lifts.values()) == {"a", "b", "c"}
    assert doubts(plan) == {"a": {"two_labels", "label_elsewhere"}, "b": {"label_elsewhere"}, "c": set()}


def test_photos_of_one_label_are_one_lift_and_a_code_on_all_of_them_is_none(plan: Plan, monkeypatch) -> None:
    monkeypatch.setattr(grouping, "COMMON_LABEL", 3)
    photos = [{"name": f"{i}.jpg", "label": "https://maker.example"} for i in range(4)]
    lifts = grouped(plan, "label", {"name": "x1", "label": "X"}, {"name": "x2", "label": "X"}, *photos)
    assert lifts["x1"] == lifts["x2"] == "X" and doubts(plan)["X"] == set()
    assert lifts["0.jpg"] == "0.jpg" and "alone" in doubts(plan)["0.jpg"]


def test_time_and_place_part_lifts_and_a_label_names_what_follows_it(plan: Plan) -> None:
    lifts = grouped(
        plan, "label,time",
        {"name": "1", "taken_s": 0.0, "label": "X"}, {"name": "2", "taken_s": 60.0},
        {"name": "3", "taken_s": 90.0, "label": "Y"},
        {"name": "4", "taken_s": 100.0}, {"name": "5", "taken_s": HOUR}, {"name": "6", "taken_s": HOUR + 60.0},
        {"name": "7", "taken_s": 2 * HOUR, "latitude": 48.0, "longitude": 11.0},
        {"name": "8", "taken_s": 2 * HOUR + 9, "latitude": 48.01, "longitude": 11.0}, {"name": "9"},
    )  # fmt: skip
    assert lifts["1"] == lifts["2"] == "X" and lifts["3"] == lifts["4"] == "Y"
    assert lifts["5"] == lifts["6"] != lifts["7"] != lifts["8"]
    assert lifts["9"] == "9" and doubts(plan)["9"] == {"alone"}
    assert doubts(plan)["X"] == doubts(plan)[lifts["5"]] == {"by_time"}


def test_what_a_camera_writes_is_read_and_rubbish_says_nothing() -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:11:30 14:05:10"
    exif.get_ifd(0x8825).update({1: "S", 2: (33.0, 30.0, 36.0), 3: "W", 4: (70.0, 0.0, 0.0)})
    assert taken(photo(BOX, exif=exif), "a") == Taken(1796047510.0, -33.51, -70.0)
    assert taken(photo(BOX), "a") == taken(photo(BOX)[:99], "a") == taken(b"text", "a") == Taken()
    exif.get_ifd(0x8769)[0x9003] = "yesterday"
    assert taken(photo(BOX, exif=exif), "a") == Taken()


def test_a_minute_of_latitude_is_a_nautical_mile() -> None:
    assert metres_apart((48.0, 11.0), (48.0 + 1 / 60, 11.0)) == pytest.approx(1852, rel=0.002)  # the mile's definition
    assert metres_apart((60.0, 11.0), (60.0, 11.0 + 1 / 60)) == pytest.approx(1852 / 2, rel=0.01)  # cos 60° is a half


def seen(name: str, *kinds: str, usable: bool = True, content: str = "", readable: bool = True) -> Seen:
    subjects = tuple(SubjectReading(kind, (0.1, 0.1, 0.5, 0.5), 0.9, {}) for kind in kinds)
    reading = PhotoReading(name, 640, 480, Quality(usable, ()), subjects) if readable else None
    return Seen(name, content or name, reading)


def test_up_to_six_photos_are_all_read_together() -> None:
    photos = [*(seen(str(i)) for i in range(6)), seen("torn", readable=False)]
    assert chosen(photos) == (photos[:6], "")


def test_of_many_photos_both_parts_are_shown_and_nothing_but_what_is_shown_counts() -> None:
    photos = [seen(f"box {i:02d}", "control_box") for i in range(55)]
    photos += [
        seen("head", "actuator_head"),
        seen("hand", "hand_control"),
        seen("copy", "actuator_head", content="head"),
    ]
    photos += [seen("blurred", "actuator_head", usable=False), seen("torn", readable=False)]
    views, told = chosen(photos)
    assert [view.name for view in views] == ["box 00", "box 01", "box 27", "box 53", "box 54", "head"]
    assert told.startswith("6 of 60 photos were read together")


def test_sixty_photos_are_one_answer_that_says_which_were_used(audit, tmp_path: Path) -> None:
    for number in range(20):
        path = tmp_path / "heap" / "lift" / f"{number:02d}.jpg"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(photo(BOX if number % 2 else HEAD, shade=number))
    out = audit(tmp_path / "heap")
    [lift] = rows(out / "lifts.parquet")
    assert (lift["photos"], lift["views"], lift["grouping_doubts"]) == (20, 6, ["many_photos"])
    assert "spread evenly" in lift["chosen"]
    used = [(row["view"], row["unused"]) for row in rows(out / "photos.parquet")]
    assert sorted(view for view, _ in used if view) == [1, 2, 3, 4, 5, 6]
    assert {why for view, why in used if not view} == {"enough_others"}


def test_labels_in_the_pictures_make_lifts_and_nothing_of_time_or_place_goes_on(audit, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:11:30 14:05:10"
    (tmp_path / "heap").mkdir()
    for number, (part, label) in enumerate([(BOX, "INV-7"), (HEAD, "INV-7"), (BOX, "INV-8")]):
        path = tmp_path / "heap" / f"{number}.jpg"
        path.write_bytes(photo(part, shade=number, label=label, exif=exif))
    out = audit(tmp_path / "heap", "--group-by", "label,time")
    lifts = {row["lift"]: (row["grouped_by"], row["photos"]) for row in rows(out / "lifts.parquet")}
    assert lifts == {"INV-7": (["label"], 2), "INV-8": (["label"], 1)}
    assert {row["label"] for row in rows(out / "photos.parquet")} == {"INV-7", "INV-8"}
    assert not {"taken_s", "latitude"} & set(rows(out / "photos.parquet")[0])
    assert "2026:11:30" not in (out / "audit.html").read_text("utf-8")

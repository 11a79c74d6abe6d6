"""An audit: what it says of each lift and photo, and that nothing that goes wrong on the way changes it."""

import csv
import errno
import io
import json
import os
import signal
import threading
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import parquet

import api.audit.run
import workers.places
from api.audit import tables
from api.audit.plan import Plan, gaps
from api.audit.progress import Progress
from api.audit.worker import Photos
from api.commands.main import main
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.pool.lifts import load_lifts
from tests.support.heaps import BOX, heap, photo, rows
from workers.processes import Processes

pytestmark = pytest.mark.walk

FILES = {"lifts.parquet", "photos.parquet", "lifts.csv", "bad_photos.csv", "audit.html"}


def told(out: Path) -> tuple[list, list]:
    """Both tables of a finished audit."""
    return rows(out / "lifts.parquet"), rows(out / "photos.parquet")


def test_a_lift_is_answered_as_for_a_user(audit, tmp_path: Path, capsys) -> None:
    lift = heap(tmp_path / "heap") / "ward 0/lift 00"
    (lift / "copy.jpg").write_bytes((lift / "head.jpg").read_bytes())
    (lift / "dark.png").write_bytes(photo(shade=9, form="PNG"))
    (lift / "torn.jpg").write_bytes(photo(BOX, shade=8)[:2000])
    lifts, photos = told(audit(tmp_path / "heap"))
    capsys.readouterr()
    views = [str(lift / name) for name in ("box.jpg", "copy.jpg", "dark.png", "head.jpg")]
    assert main(["identify", "--json", "--role", "technician", *views]) == 0
    answer, found = json.loads(capsys.readouterr().out), lifts[0]
    for name in ("control_box", "actuator"):
        for part in ("decision", "favourite", "probabilities", "set"):
            assert found[name][part] == answer[name][part]
    assert found["next"]["ask"] == answer["next"]["ask"]
    assert (found["photos"], found["views"], found["missing"]) == (5, 4, [])
    of_lift = {row["photo"].rpartition("/")[2]: row for row in photos if row["lift"] == "ward 0/lift 00"}
    assert {name: row["view"] for name, row in of_lift.items()} == {
        "box.jpg": 1, "copy.jpg": 2, "dark.png": 3, "head.jpg": 4, "torn.jpg": None,
    }  # fmt: skip
    assert [of_lift[name]["unused"] for name in ("box.jpg", "head.jpg", "torn.jpg")] == [None, "duplicate", "failed"]


def test_every_file_is_in_the_result_with_what_became_of_it(audit, tmp_path: Path, capsys) -> None:
    out = audit(heap(tmp_path / "heap", 2))
    assert {path.name for path in out.iterdir()} == FILES
    lifts, photos = told(out)
    assert len(lifts) == 2 and len(photos) == 5
    [notes] = [row for row in photos if row["photo"] == "notes.txt"]
    assert (notes["failure"], notes["lift"]) == ("not_a_photo", None) and "no picture" in notes["reason"]
    bad = list(csv.DictReader(io.StringIO((out / "bad_photos.csv").read_text("utf-8-sig"))))
    assert [row["photo"] for row in bad] == ["notes.txt"]
    assert [row["lift"] for row in csv.DictReader(io.StringIO((out / "lifts.csv").read_text("utf-8-sig")))] == [
        "ward 0/lift 00", "ward 1/lift 01",
    ]  # fmt: skip
    assert "1 not_a_photo" in capsys.readouterr().err


def test_the_page_is_whole_in_itself_and_takes_no_name_for_markup(audit, tmp_path: Path) -> None:
    (tmp_path / "heap" / "<b>lift").mkdir(parents=True)
    (tmp_path / "heap" / "<b>lift" / "box.jpg").write_bytes(photo(BOX))
    page = (audit(tmp_path / "heap", "--language", "es") / "audit.html").read_text("utf-8")
    assert "&lt;b&gt;lift" in page and "<b>lift" not in page
    assert 'src="data:image/jpeg;base64,' in page and "http://" not in page and "https://" not in page
    assert '<html lang="es"' in page


def test_pool_reads_what_an_audit_wrote(audit, tmp_path: Path, capsys) -> None:
    out = audit(heap(tmp_path / "heap"))
    lines = [json.dumps({name: row[name] for name in ("lift", "catalogue", "control_box", "actuator")})
             for row in rows(out / "lifts.parquet")]  # fmt: skip
    (tmp_path / "pool.jsonl").write_text("\n".join(lines), encoding="utf-8")
    catalogue = load(DEMO_CATALOGUE)
    found = [load_lifts(file, catalogue) for file in (out / "lifts.parquet", tmp_path / "pool.jsonl")]
    assert len(found[0]) == 3 and found[0] == found[1]
    assert main(["pool", "count", str(out / "photos.parquet")]) == 2
    assert "neither control_box nor actuator" in capsys.readouterr().err


def test_duckdb_reads_both_tables(audit, tmp_path: Path) -> None:
    duckdb = pytest.importorskip("duckdb")
    out = audit(heap(tmp_path / "heap"))
    asked = (
        f"SELECT lift, actuator.probabilities['twist_knob'], len(control_box.set) FROM '{out}/lifts.parquet' ORDER BY 1"
    )
    found = duckdb.sql(asked).fetchall()
    wanted = sorted(rows(out / "lifts.parquet"), key=lambda row: row["lift"])
    assert found == [
        (row["lift"], row["actuator"]["probabilities"]["twist_knob"], len(row["control_box"]["set"])) for row in wanted
    ]
    counted = duckdb.sql(f"SELECT count(*), count(failure) FROM '{out}/photos.parquet'").fetchall()[0]
    assert counted == (7, 1)


def test_an_interrupted_audit_goes_on_and_does_nothing_twice(audit, here, tmp_path: Path, monkeypatch, capsys) -> None:
    monkeypatch.setattr(api.audit.run, "PIECE_PHOTOS", 2)
    monkeypatch.setattr(api.audit.run, "PIECE_LIFTS", 1)
    heap(tmp_path / "heap", 4)
    undisturbed = told(audit(tmp_path / "heap"))
    pieces: list = []

    def stops(piece) -> None:
        pieces.append((type(piece), getattr(piece, "start", piece)))
        if len(pieces) in (3, 9):
            raise KeyboardInterrupt

    here.before = staticmethod(stops)
    command = ["audit", str(tmp_path / "heap"), "--out", str(tmp_path / "again")]
    assert [main(command) for _ in range(3)] == [130, 130, 0]
    assert "The same command goes on" in capsys.readouterr().err
    assert told(tmp_path / "again") == undisturbed
    assert all(number == 1 for piece, number in Counter(pieces).items() if piece not in (pieces[2], pieces[8]))
    assert {path.name for path in (tmp_path / "again").iterdir()} == FILES


def test_a_killed_worker_loses_no_photo_and_counts_none_twice(
    toy_model_dir, tmp_path: Path, monkeypatch, audit
) -> None:
    heap(tmp_path / "heap", 6)
    undisturbed = told(audit(tmp_path / "heap"))
    killed: list[int] = []

    class Hunted(Processes):
        def submit(self, ticket: int, piece: object) -> None:
            super().submit(ticket, piece)
            if isinstance(piece, Photos) and len(killed) < 2:
                worker = self._workers[0].process
                killed.append(worker.pid)
                threading.Timer(0.05, os.kill, (killed[-1], signal.SIGKILL)).start()

    monkeypatch.setattr(workers.places, "Processes", Hunted)
    monkeypatch.setattr(api.audit.run, "PIECE_PHOTOS", 4)
    assert told(audit(tmp_path / "heap", "--workers", "1", out="again")) == undisturbed
    assert len(killed) == 2


def test_a_photo_that_ends_every_worker_is_listed(audit, here, tmp_path: Path) -> None:
    heap(tmp_path / "heap")
    here.before = staticmethod(lambda piece: isinstance(piece, Photos) and any("01/box" in p[0] for p in piece.photos))
    lifts, photos = told(audit(tmp_path / "heap"))
    assert [row["photo"] for row in photos if row["failure"] == "ended_worker"] == ["ward 1/lift 01/box.jpg"]
    assert [lift["missing"] for lift in lifts] == [[], [], ["control_box"]]
    assert sum(row["failure"] is None for row in photos) == 5


def test_a_full_disk_is_said_and_the_audit_goes_on_later(audit, tmp_path: Path, monkeypatch, capsys) -> None:
    heap(tmp_path / "heap")
    undisturbed = told(audit(tmp_path / "heap"))
    written, really = [], Path.write_bytes

    def fills(path: Path, data: bytes) -> int:
        written.append(path)
        if len(written) == 3:
            really(path, data[: len(data) // 2])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return really(path, data)

    monkeypatch.setattr(tables.Path, "write_bytes", fills)
    monkeypatch.setattr(api.audit.run, "PIECE_PHOTOS", 1)
    again = tmp_path / "again"
    assert main(["audit", str(tmp_path / "heap"), "--out", str(again)]) == 2
    assert "No space left on device" in capsys.readouterr().err
    assert len(list((again / "audit.work/photos").iterdir())) == 2 and not FILES & {
        path.name for path in again.iterdir()
    }
    assert main(["audit", str(tmp_path / "heap"), "--out", str(again)]) == 0
    assert told(again) == undisturbed


def test_an_interrupted_audit_goes_on_only_as_it_was_begun(audit, here, tmp_path: Path, monkeypatch, capsys) -> None:
    def stops(piece) -> None:
        raise KeyboardInterrupt

    here.before = staticmethod(stops)
    command = ["audit", str(heap(tmp_path / "heap")), "--out", str(tmp_path / "out")]
    assert main(command) == 130
    assert main([*command, "--group-by", "time"]) == 2
    assert "was interrupted, with group by 'folder', and 'time' came" in capsys.readouterr().err
    monkeypatch.setattr("api.audit.worker._code", lambda: "another")
    assert main(command) == 2
    assert "another version" in capsys.readouterr().err
    plan = Plan(tmp_path / "out/audit.work/plan.db")
    assert main(command) == 2
    assert "written by another audit" in capsys.readouterr().err
    plan.close()


@settings(deadline=None)
@given(st.lists(st.booleans(), max_size=60), st.integers(1, 9))
def test_gaps_are_what_is_not_done(done: list[bool], most: int) -> None:
    ranges = [(i, i + 1) for i, there in enumerate(done) if there]
    left = [n for gap in gaps(ranges, len(done), most) for n in range(gap.start, gap.stop)]
    assert left == [i for i, there in enumerate(done) if not there]
    assert all(0 < gap.stop - gap.start <= most for gap in gaps(ranges, len(done), most))


def test_progress_says_speed_time_left_and_failures(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([0.0, 10.0, 10.0])
    monkeypatch.setattr("api.audit.progress.time.monotonic", lambda: next(clock))
    out = io.StringIO()
    progress = Progress("photos", 7380, 100, out)
    progress.add(20, Counter({"too_large": 2}))
    assert out.getvalue().splitlines() == [
        "100 of 7380 photos are there already.",
        "120 of 7380 photos, 2.0 a second, 1 h 0 min left; cannot be read: 2 too_large",
    ]


def test_pieces_are_files_that_are_whole(tmp_path: Path) -> None:
    path = tmp_path / "piece.parquet"
    with pytest.raises(KeyboardInterrupt), tables.whole(path) as part:
        part.write_bytes(b"half")
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []
    tables.write_whole(path, tables.encoded([{"number": 1}], tables.READ))
    assert parquet.read_table(path).num_rows == 1 and [p.name for p in tmp_path.iterdir()] == ["piece.parquet"]

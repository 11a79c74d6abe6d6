"""Where photos come from: folders, tables, an S3 server; and what is refused before anything is written."""

import threading
from pathlib import Path

import pyarrow as pa
import pytest
from pyarrow import parquet

from api.audit.source import Store, StoreUnreachable
from api.commands.main import main
from tests.support.heaps import BOX, heap, photo, rows

pytestmark = pytest.mark.walk


def test_a_table_names_photos_and_lifts_wherever_they_lie(audit, tmp_path: Path) -> None:
    heap(tmp_path / "heap", 1)
    (tmp_path / "far.jpg").write_bytes(photo(BOX, shade=7))
    lines = ["photo,lift,remark", "heap/ward 0/lift 00/box.jpg,A,x", f"{tmp_path}/far.jpg,,", "heap/gone.jpg,A,"]
    (tmp_path / "list.csv").write_text("\n".join(lines), encoding="utf-8-sig")
    columns = [line.split(",") for line in lines[1:]]
    table = pa.table({"photo": [c[0] for c in columns], "lift": [c[1] for c in columns]})
    parquet.write_table(table, tmp_path / "list.parquet")
    outs = [audit(tmp_path / name, out=f"of {name}") for name in ("list.csv", "list.parquet")]
    assert rows(outs[0] / "photos.parquet") == rows(outs[1] / "photos.parquet")
    photos = {row["photo"]: row for row in rows(outs[0] / "photos.parquet")}
    assert photos["heap/gone.jpg"]["failure"] == "unreadable" and "not there" in photos["heap/gone.jpg"]["reason"]
    lifts = {row["lift"]: row["grouped_by"] for row in rows(outs[0] / "lifts.parquet")}
    assert lifts == {"A": ["table"], f"{tmp_path}/far.jpg": ["alone"]}


@pytest.fixture(scope="module")
def s3(request: pytest.FixtureRequest):
    """An S3 server of our own with a bucket `photos`, and how to make it go away and come back."""
    pytest.importorskip("s3fs")
    server_of = pytest.importorskip("moto.server").ThreadedMotoServer
    patch = pytest.MonkeyPatch()
    server = server_of(port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    patch.setenv("AWS_ENDPOINT_URL", f"http://{host}:{port}")
    for name, value in (("ACCESS_KEY_ID", "key"), ("SECRET_ACCESS_KEY", "secret"), ("DEFAULT_REGION", "us-east-1")):
        patch.setenv(f"AWS_{name}", value)
    servers = [server]

    def away() -> None:
        servers[-1].stop()

    def back() -> None:
        servers.append(server_of(port=port, verbose=False))
        servers[-1].start()

    yield away, back
    away()
    patch.undo()


def fill(folder: Path) -> None:
    """Copy a folder into the bucket."""
    import s3fs

    store = s3fs.S3FileSystem(skip_instance_cache=True)
    store.mkdir("photos")
    for path in folder.rglob("*.*"):
        store.put_file(str(path), f"photos/{path.relative_to(folder)}")


def test_an_object_store_is_read_as_a_folder_also_when_it_goes_away_for_a_while(
    s3, audit, here, tmp_path: Path
) -> None:
    away, back = s3
    fill(heap(tmp_path / "heap"))
    undisturbed = audit(tmp_path / "heap")
    comes_back = threading.Timer(2.0, back)

    def unplugs(piece) -> None:
        if not comes_back.ident:
            away()
            comes_back.start()

    here.before = staticmethod(unplugs)
    out = audit("s3://photos", out="s3")
    comes_back.join()
    for name in ("lifts.parquet", "photos.parquet"):
        assert rows(out / name) == rows(undisturbed / name)


def test_a_store_that_stays_away_is_no_fault_of_its_photos(s3) -> None:
    away, back = s3
    away()
    try:
        with pytest.raises(StoreUnreachable, match="it goes on from here"):
            Store("s3://photos", patience_s=0.1).load("a.jpg", 10, 100)
    finally:
        back()


def test_a_bucket_without_rights_or_that_is_not_there_is_said_at_once(
    s3, here, tmp_path: Path, capsys, monkeypatch
) -> None:
    for source, wanted in (("s3://nobodys", "is not there"), ("nothing://photos/a", "fsspec knows")):
        assert main(["audit", source, "--out", str(tmp_path / "out")]) == 2
        assert wanted in capsys.readouterr().err
    from moto.core import set_initial_no_auth_action_count

    with_rights = set_initial_no_auth_action_count(0)
    assert with_rights(lambda: main(["audit", "s3://photos", "--out", str(tmp_path / "out")]))() == 2
    assert "nobody is let in" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_photos_that_nobody_may_read_stop_an_audit_that_can_list_them(audit, here, tmp_path: Path, monkeypatch, capsys):
    source = heap(tmp_path / "heap")

    def refuses(*_: object) -> bytes:
        raise PermissionError("Access Denied")

    monkeypatch.setattr(Store, "_loaded", refuses)
    assert main(["audit", str(source), "--out", str(tmp_path / "out")]) == 2
    assert "Ask for the right to read" in capsys.readouterr().err
    monkeypatch.undo()


@pytest.mark.parametrize(
    ("name", "content", "wanted"),
    [
        ("a.csv", "picture\na.jpg\n", "no column 'photo' stands there; there are: picture"),
        ("a.csv", "photo\na.jpg\na.jpg\n", "comes twice"),
        ("a.csv", "photo,lift\n,A\n", "line 2: no address"),
        ("a.csv", "photo\n", "holds no file"),
        ("a.csv", b"photo\n\xff\xfe\n", "no table in UTF-8"),
        ("a.parquet", b"PAR1 torn", "no whole Parquet file"),
        ("a.parquet", pa.table({"url": ["a.jpg"]}), "no column 'photo' stands there; there are: url"),
        ("a.parquet", pa.table({"photo": [1, 2]}), "column 'photo' holds int64, and text is wanted"),
        ("a.jpg", b"one photo", "A folder of photos"),
        ("gone", None, "is not there"),
        ("gone.csv", None, "is not there"),
    ],
)
def test_a_source_that_cannot_be_used_leaves_nothing_behind(
    name, content, wanted, here, tmp_path: Path, capsys
) -> None:
    source = tmp_path / name
    if isinstance(content, pa.Table):
        parquet.write_table(content, source)
    elif content is not None:
        source.write_bytes(content if isinstance(content, bytes) else content.encode())
    assert main(["audit", str(source), "--out", str(tmp_path / "out")]) == 2
    assert wanted in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("options", "wanted"),
    [
        (["--group-by", "colour"], "Some of folder, label, time"),
        (["--group-by", "folder,folder"], "each once"),
        (["--workers", "0"], "from 1 on"),
        (["--language", "xx"], "One of en, es"),
        (["--ray", "127.0.0.1:9"], "--ray 127.0.0.1:9"),
    ],
)
def test_options_that_cannot_be_used_are_refused(options, wanted, here, tmp_path: Path, capsys) -> None:
    source = heap(tmp_path / "heap", 1)
    assert main(["audit", str(source), "--out", str(tmp_path / "out"), *options]) == 2
    assert wanted in capsys.readouterr().err


def test_the_result_does_not_lie_among_the_photos(here, tmp_path: Path, capsys) -> None:
    source = heap(tmp_path / "heap", 1)
    assert main(["audit", str(source), "--out", str(source / "result")]) == 2
    assert "Name a folder beside it" in capsys.readouterr().err and not (source / "result").exists()


def test_no_folder_is_written_over_and_a_heap_is_no_lift(audit, tmp_path: Path, capsys, monkeypatch) -> None:
    source = heap(tmp_path / "heap", 1)
    out = audit(source)
    assert main(["audit", str(source), "--out", str(out)]) == 2
    assert "is in use" in capsys.readouterr().err
    monkeypatch.setattr("api.audit.plan.MOST_OF_ONE_LIFT", 1)
    assert main(["audit", str(source), "--out", str(tmp_path / "new")]) == 2
    assert "2 photos; at most 1 can be of one lift" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()

"""What was taken back is gone from every store, and no restored backup brings it back: by bytes and by looks."""

import json
from pathlib import Path

from PIL import Image
from sqlalchemy import text

from api.cases.audit import audit_page
from api.cases.database import overwrite_deleted, reading
from api.cases.learned import photo_export
from api.cases.learned.consent import named, withdraw
from api.cases.learned.photo_export import PICTURES, WITHDRAWN_FILE
from api.cases.store import Who
from api.commands.main import main as hoistlore
from api.settings import PREFIX
from classifier.lineage import marked
from classifier.recipe import METADATA_FILE
from tests.api.conftest import own_settings, toy_resources, toy_settings, without_cases
from tests.api.test_learning_consent import pieces_found
from tests.training.test_from_case_to_store import add, app, closed, exported, photo, rows_of
from training.command import main
from training.owned.hash import SAME_PICTURE_BITS, differing_bits, perceptual_hash
from training.owned.photos import photo_id, read_entries

__all__ = ["app", "own_settings", "toy_resources", "toy_settings", "without_cases"]


def pictures_like(folder: Path, picture: Path) -> list[str]:
    """Every picture under a folder that is this one, however it was stored."""
    print_ = perceptual_hash(pixels(picture))
    files = [path for path in sorted(folder.rglob("*.jpg")) if path != picture]
    return [p.name for p in files if differing_bits(perceptual_hash(pixels(p)), print_) <= SAME_PICTURE_BITS]


def pixels(path: Path):
    import numpy as np

    return np.asarray(Image.open(path).convert("RGB"))


def test_withdrawn_is_gone_from_every_store_and_the_models_are_named(
    app, tmp_path: Path, tmp_path_factory, toy_model_dir: Path, monkeypatch, capsys
) -> None:
    """Database with its log, data, export and owner's folders, by bytes and by what the picture looks like."""
    out, store, weights = tmp_path / "out", tmp_path / "store", tmp_path / "weights"
    page = closed(app, photo(0))
    closed(app, photo(5))
    exported(app, out)
    entries = add(out, store, toy_model_dir)
    code = app.state.cases.by_id(page).code
    with reading(app.state.cases.engine) as connection:
        wanted = text("SELECT origin FROM learning_photos WHERE code = :code")
        origin = connection.scalar(wanted, {"code": code})
    aside = tmp_path_factory.mktemp("aside") / "picture.jpg"
    aside.write_bytes((out / PICTURES / f"{origin}.jpg").read_bytes())
    weights.mkdir()
    (weights / METADATA_FILE).write_text(json.dumps({"version": "taught", "learned_from": [origin]}))
    assert {"cases.db-wal", f"{origin}.jpg"} <= set(pieces_found(tmp_path, aside.read_bytes()))
    assert len(pictures_like(tmp_path, aside)) == 2, "the search finds the exported and the stored one"
    monkeypatch.setenv(f"{PREFIX}DATABASE", app.state.settings.database)
    monkeypatch.setenv(f"{PREFIX}WEIGHTS", str(weights))
    assert hoistlore(["photos", "withdraw", f"{code[:3]} {code[3:]}".lower()]) == 0
    assert "the model taught learned from 1 of them" in capsys.readouterr().out
    assert hoistlore(["photos", "export", str(out)]) == 0
    main(["forget", str(out), "--store", str(store), "--weights", str(weights)])
    assert "the model taught learned from 1 withdrawn photos" in capsys.readouterr().out
    assert pieces_found(tmp_path, aside.read_bytes()) == [] and pictures_like(tmp_path, aside) == []
    assert [photo_id(entry) for entry in read_entries(store)] == [photo_id(e) for e in entries if photo_id(e) != origin]
    assert (out / WITHDRAWN_FILE).read_text() == f"{origin}\n" and marked(weights) == {"taught": [origin]}
    assert [row["origin"] for row in rows_of(out)] != [origin]
    actions = [line.action for line in audit_page(app.state.cases).lines]
    assert actions[:3] == ["exported 1 photos", "withdrawn", "exported 2 photos"]


def test_a_photo_withdrawn_while_it_is_exported_is_not_in_the_folder(app, tmp_path: Path, monkeypatch) -> None:
    for n in (0, 5):
        closed(app, photo(n))
    written: list[str] = []
    bring = photo_export._bring

    def withdrawn_behind_it(store, pictures: Path, origin: str, told):
        size = bring(store, pictures, origin, told)
        assert size and (pictures / f"{origin}.jpg").is_file()
        if not written:
            withdraw(store, app.state.shelf, named(origin), Who("caregiver"), tmp_path)
        written.append(origin)
        return size

    monkeypatch.setattr(photo_export, "_bring", withdrawn_behind_it)
    told = exported(app, tmp_path / "out")
    assert (told.withdrawn, told.written, told.whole) == (written[:1], written[1:], 1)
    assert [row["origin"] for row in rows_of(tmp_path / "out")] == written[1:]
    assert [path.stem for path in (tmp_path / "out" / PICTURES).iterdir()] == written[1:]


def test_a_restored_backup_brings_back_no_photo_that_was_taken_back_since(app, tmp_path: Path, monkeypatch, capsys):
    """Of three photos one is withdrawn after the backup, one before, and one never."""
    store, out = app.state.cases, tmp_path / "out"
    monkeypatch.setenv(f"{PREFIX}DATABASE", app.state.settings.database)
    monkeypatch.setenv(f"{PREFIX}WEIGHTS", str(tmp_path))
    codes = [store.by_id(closed(app, photo(n))).code for n in (0, 5, 7)]
    assert hoistlore(["photos", "withdraw", codes[2]]) == 0
    assert hoistlore(["backup", str(tmp_path / "backup.db")]) == 0
    exported(app, out)
    with reading(store.engine) as connection:
        wanted = text("SELECT origin, picture FROM learning_photos WHERE code = :code")
        origin, picture = connection.execute(wanted, {"code": codes[0]}).one()
    assert hoistlore(["photos", "withdraw", codes[0]]) == 0
    assert hoistlore(["restore", str(tmp_path / "backup.db"), "--replace"]) == 0
    assert "without 1 photos" in capsys.readouterr().err
    told = exported(app, out)
    assert told.withdrawn == [origin] and told.whole == 1 and told.removed == [origin]
    overwrite_deleted(store.engine)
    assert set(pieces_found(tmp_path, picture)) == {"backup.db"}, "what a backup holds goes with it"
    assert list(tmp_path.glob("*.part")) == []
    assert hoistlore(["restore", str(tmp_path / "backup.db"), "--replace"]) == 0
    assert exported(app, out).whole == 1, "it is known after a restore as well"
    actions = [line.action for line in audit_page(store).lines]
    assert actions.count("withdrawn") == 2

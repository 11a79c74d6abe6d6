"""Promotion and return: the directory holds one whole model, whatever stops them."""

import hashlib
import io
import json
import os
import resource
import shutil
from pathlib import Path

import numpy as np
import onnx
import pytest
from onnx import numpy_helper

from classifier.errors import ModelError
from classifier.lineage import mark_withdrawn
from classifier.model import Model
from classifier.recipe import Recipe
from training.owned.promote import PromotionError, leave_shadow, promote, roll_back
from training.owned.versions import history, signed, versions


@pytest.fixture
def served(toy_model_dir: Path, tmp_path: Path) -> Path:
    return shutil.copytree(toy_model_dir, tmp_path / "served")


def candidate_of(toy_model_dir: Path, folder: Path, version: str) -> Path:
    """The toy model with networks that differ a little, so with other hashes."""
    shutil.copytree(toy_model_dir, folder)
    metadata = json.loads((folder / "model.json").read_text())
    metadata["version"] = version
    for part in ("finder", "reader"):
        model = onnx.load(folder / f"{part}.onnx")
        model.doc_string = version
        model.graph.initializer.append(numpy_helper.from_array(np.zeros(300_000, np.float32), "ballast"))
        (folder / f"{part}.onnx").write_bytes(model.SerializeToString())
        metadata[part]["sha256"] = hashlib.sha256((folder / f"{part}.onnx").read_bytes()).hexdigest()
    (folder / "model.json").write_text(json.dumps(metadata))
    return folder


@pytest.fixture
def candidate(toy_model_dir: Path, tmp_path: Path) -> Path:
    return candidate_of(toy_model_dir, tmp_path / "candidate", "new")


def content(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_promoted_model_is_served_and_the_one_before_comes_back(served: Path, candidate: Path):
    before = content(served)
    promote(candidate, served, "N. Example")
    promoted = Model.load(served).recipe
    assert promoted.version == "new" and promoted.provenance.promoted_by == "N. Example"
    assert roll_back(served) == "toy" and Model.load(served).info.version == "toy"
    assert all(content(served)[name] == data for name, data in before.items())
    with pytest.raises(PromotionError, match="none to go back to"):
        roll_back(served)


def test_several_promotions_are_taken_back_one_by_one(served: Path, candidate: Path, toy_model_dir, tmp_path):
    promote(candidate, served, "N. Example")
    promote(candidate_of(toy_model_dir, tmp_path / "newer", "newer"), served, "N. Example")
    assert Model.load(served).info.version == "newer"
    assert roll_back(served) == "new" and Model.load(served).info.version == "new"
    promote(candidate_of(toy_model_dir, tmp_path / "newest", "newest"), served, "N. Example")
    names = {path.name for path in served.glob("*.onnx")}
    assert len(names) == 6, "the networks of `newer` are named by no recipe any more"
    assert roll_back(served, "A. Other") == "new" and roll_back(served) == "toy"
    said = [line.split(" ", 1)[1] for line in history(served)]
    assert said == [
        "went back to toy, by nobody named", "went back to new, by A. Other", "promoted newest, by N. Example",
        "went back to new, by nobody named", "promoted newer, by N. Example", "promoted new, by N. Example",
    ]  # fmt: skip


class DiskFull:
    """Lets `allowed` calls that touch the disk pass and fails every later one."""

    def __init__(self, allowed: int) -> None:
        self.left = allowed

    def guard(self, work):
        def guarded(*arguments, **options):
            self.left -= 1
            if self.left < 0:
                raise OSError(28, "No space left on device")
            return work(*arguments, **options)

        return guarded


@pytest.mark.parametrize("allowed", range(0, 16))
def test_a_disk_that_fills_at_any_step_leaves_the_old_model_whole(allowed: int, served, candidate, monkeypatch):
    before, disk = content(served), DiskFull(allowed)
    for owner, name in ((os, "replace"), (os, "fsync"), (shutil, "copyfileobj"), (Path, "mkdir")):
        monkeypatch.setattr(owner, name, disk.guard(getattr(owner, name)))
    try:
        promote(candidate, served, "N. Example")
    except PromotionError as problem:
        assert "No space left" in str(problem) and content(served) == before
    else:
        assert disk.left >= 0, "a full disk was not noticed"
    monkeypatch.undo()
    assert Model.load(served).info.version == ("toy" if disk.left < 0 else "new")


def test_a_file_that_the_system_really_cuts_short_leaves_the_old_model_whole(served: Path, candidate: Path):
    """The operating system's own limit on file size makes the write fail half way, as a full disk does."""
    before, limits = content(served), resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, limits[1]))
    try:
        with pytest.raises(PromotionError, match="the model in use is whole"):
            promote(candidate, served, "N. Example")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert content(served) == before


@pytest.mark.parametrize("step", range(5))
def test_a_promotion_killed_at_any_replacement_leaves_one_whole_model(step: int, served, candidate, monkeypatch):
    """A kill runs no handler, so nothing is cleaned up: an exception that nothing catches stands for it."""
    calls, replace = iter(range(100)), os.replace

    def killed(*arguments):
        if next(calls) == step:
            raise KeyboardInterrupt
        replace(*arguments)

    monkeypatch.setattr(os, "replace", killed)
    try:
        promote(candidate, served, "N. Example")
    except KeyboardInterrupt:
        assert Model.load(served).info.version == "toy"
    monkeypatch.undo()
    if Model.load(served).info.version == "toy":
        promote(candidate, served, "N. Example")
    assert Model.load(served).info.version == "new"
    roll_back(served)
    assert Model.load(served).info.version == "toy"


def test_what_was_made_of_a_model_whose_photo_was_withdrawn_is_not_served(served: Path, toy_model_dir, tmp_path):
    """A photo taught `first`; `second` began with it and learned from another one, so it holds the photo as well."""
    taught = {}
    for name, photo, began in (("first", "a" * 24, served), ("second", "b" * 24, None)):
        recipe = Model.load(candidate_of(toy_model_dir, tmp_path / name, name)).recipe
        before = Model.load(began or tmp_path / "first").recipe
        taught[name] = signed(recipe, before, "heads", [photo]).with_(version=name)
        taught[name].write(tmp_path / name)
    promote(tmp_path / "first", served, "N. Example")
    assert mark_withdrawn(["a" * 24], served) == {"first": ["a" * 24]}
    assert taught["second"].provenance.learned_from == ("a" * 24, "b" * 24)
    leave_shadow(tmp_path / "second", served / "shadow")
    before = content(served)
    with pytest.raises(PromotionError, match="second learned from 1 photos that were withdrawn since.*roll-back"):
        promote(served / "shadow", served, "N. Example")
    assert content(served) == before
    lines = [version.as_text() for version in versions(served)]
    assert ["1 of them withdrawn since" in line for line in lines] == [True, True, False]
    roll_back(served)
    promote(candidate_of(toy_model_dir, tmp_path / "third", "third"), served, "N. Example")
    assert Model.load(served).info.version == "third"


def test_an_altered_candidate_is_not_promoted(served: Path, candidate: Path):
    before = content(served)
    data = io.BytesIO((candidate / "reader.onnx").read_bytes()).getvalue()
    (candidate / "reader.onnx").write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    with pytest.raises(ModelError):
        promote(candidate, served, "N. Example")
    assert content(served) == before


def test_a_model_with_the_same_networks_and_another_recipe_is_another_model(served: Path, toy_model_dir, tmp_path):
    """Recalibration leaves the networks as they are."""
    shutil.copytree(toy_model_dir, tmp_path / "recalibrated")
    recipe, _ = Recipe.read(tmp_path / "recalibrated")
    concepts = dict(recipe.reader.concepts)
    concepts["battery"] = concepts["battery"].with_(temperature=2.5)
    signed(recipe.with_(reader=recipe.reader.with_(concepts=concepts)), recipe, "recalibrate", ["a", "b"]).write(
        tmp_path / "recalibrated"
    )
    promote(tmp_path / "recalibrated", served, "N. Example")
    assert Model.load(served).reader.recipe.concepts["battery"].temperature == 2.5
    told = [version.as_text() for version in versions(served)]
    assert len(told) == 2 and "recalibrate of toy, learned from 2 own photos, promoted by N. Example" in told[0]
    assert told[1].startswith("1 before") and "learned from no own photo" in told[1]
    assert roll_back(served) == "toy" and [version.place for version in versions(served)] == ["in use"]


def test_a_model_waits_whole_or_not_at_all(served: Path, candidate: Path, monkeypatch):
    leave_shadow(candidate, served / "shadow")
    assert [version.place for version in versions(served)] == ["waits as shadow", "in use"]
    before = content(served)
    monkeypatch.setattr(shutil, "copytree", DiskFull(0).guard(shutil.copytree))
    with pytest.raises(PromotionError, match="No space left on device; the model in use is whole"):
        leave_shadow(candidate, served / "shadow")
    assert content(served) == before
    with pytest.raises(PromotionError, match="no model waits there"):
        promote(served / "nothing", served, "N. Example")


def test_promoting_what_is_in_use_is_refused(served: Path, toy_model_dir: Path):
    with pytest.raises(PromotionError, match="in use already"):
        promote(toy_model_dir, served, "N. Example")

"""The rules of this house, checked: who imports whom, what serving loads, file lengths, pages that tell the truth."""

import argparse
import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest

from api.app import create_app
from api.commands.main import _parser
from api.identification import Resources
from api.settings import PREFIX, Settings

ROOT = Path(__file__).parents[1]
PACKAGES = ("classifier", "guidance", "api", "synthetic_samples", "training")
MAY_IMPORT = {
    "classifier": ("classifier",),
    "guidance": ("classifier", "guidance"),
    "api": ("classifier", "guidance", "api"),
    "synthetic_samples": ("classifier.taxonomy", "synthetic_samples"),
    "training": ("classifier", "guidance", "synthetic_samples", "training"),
}
ONLY_HOME_OF = {
    "torch": "training/", "torchvision": "training/", "timm": "training/", "onnx": "training/",
    "mitsuba": "synthetic_samples/render/render.py", "fastapi": "api/", "starlette": "api/", "uvicorn": "api/",
}  # fmt: skip
NEVER_SERVED = ("torch", "torchvision", "timm", "onnx", "mitsuba", "trimesh", "manifold3d", "cv2", "scipy", "skimage")
LONGEST_FILE = 350
VAGUE_NAMES = {"utils.py", "helpers.py", "manager.py", "common.py", "misc.py"}


def tracked(*patterns: str) -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z", *patterns], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]


def modules() -> list[Path]:
    return [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]


def imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written from the root, not relative"
            for alias in node.names:
                yield f"{node.module}.{alias.name}"


def within(name: str, module: str) -> bool:
    return name == module or name.startswith(module + ".")


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_follow_the_rule(path: Path) -> None:
    package = path.relative_to(ROOT).parts[0]
    for name in imported(path):
        if name.split(".")[0] in (*PACKAGES, "tests"):
            assert any(within(name, allowed) for allowed in MAY_IMPORT[package]), f"{package} may not import {name}"
        for library, home in ONLY_HOME_OF.items():
            if within(name, library):
                assert str(path.relative_to(ROOT)).startswith(home), f"{library} is at home in {home} only"


def test_importing_the_serving_part_loads_nothing_that_only_training_needs() -> None:
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in modules()
        if path.relative_to(ROOT).parts[0] in ("classifier", "guidance", "api") and path.name != "__init__.py"
    ]
    assert loaded_after(f"import {', '.join(names)}").isdisjoint(NEVER_SERVED)


def test_identifying_a_photo_loads_neither_torch_nor_the_web(toy_model_dir: Path, tmp_path: Path) -> None:
    from tests.toy_networks import blob_photo, encoded

    photo = tmp_path / "photo.jpg"
    photo.write_bytes(encoded(blob_photo(("control_box", (0.3, 0.4), 0.3, {}))))
    run = (
        f"import os; os.environ['{PREFIX}WEIGHTS'] = {str(toy_model_dir)!r}\n"
        "from api.commands.main import main\n"
        f"assert main(['identify', {str(photo)!r}, '--overlay', {str(tmp_path)!r}]) == 0"
    )
    loaded = loaded_after(run)
    assert "onnxruntime" in loaded
    assert loaded.isdisjoint((*NEVER_SERVED, "fastapi", "starlette", "uvicorn"))


def loaded_after(code: str) -> set[str]:
    """Top-level names of the modules that a fresh process has loaded after running this."""
    tail = "\nimport sys; print('LOADED', *sorted({m.split('.')[0] for m in sys.modules}))"
    done = subprocess.run([sys.executable, "-c", code + tail], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.splitlines()[-1].split()[1:])


@pytest.mark.parametrize("module", ["classifier.identify", "guidance.identify.answer", "api.app", "api.commands.main"])
def test_importing_does_nothing(module: str) -> None:
    """No file is opened for writing, no socket, no thread, no network session at import."""
    watch = (
        "import sys, threading\n"
        "def audit(event, args):\n"
        "    if event == 'socket.bind' or event == 'socket.connect': raise SystemExit(event)\n"
        "    if event == 'open' and isinstance(args[1], str) and set(args[1]) & set('wax+'): raise SystemExit(args)\n"
        "sys.addaudithook(audit)\n"
    )
    after = "\nassert threading.active_count() == 1, threading.enumerate()\nassert 'onnxruntime' not in sys.modules"
    done = subprocess.run(
        [sys.executable, "-B", "-c", f"{watch}import {module}{after}"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr


def test_files_are_short_and_named_for_what_they_do() -> None:
    long = {
        str(p.relative_to(ROOT)): n
        for p in tracked("*.py")
        if (n := len(p.read_text("utf-8").splitlines())) > LONGEST_FILE
    }
    assert long == {}
    assert [p for p in tracked("*.py") if p.name in VAGUE_NAMES] == []


def test_no_file_names_the_machine_that_it_was_written_on() -> None:
    """Neither the folder of this checkout nor somebody's home stands in a tracked text file."""
    here = [str(ROOT) + "/", str(Path.home()) + "/"] if str(ROOT) != "/" else []
    for path in tracked("*.py", "*.md", "*.toml", "*.json", "Makefile", ".ci/run"):
        text = path.read_text("utf-8")
        assert not [name for name in here if name in text], path


DEVELOPERS, README = ((ROOT / name).read_text("utf-8") for name in ("DEVELOPERS.md", "README.md"))


@pytest.mark.parametrize("setting", fields(Settings), ids=lambda f: f.name)
def test_every_setting_is_documented_with_its_default(setting) -> None:
    row = re.search(rf"^\| `{PREFIX}{setting.name.upper()}` \| (.+?) \|", DEVELOPERS, re.MULTILINE)
    assert row, f"{setting.name} is missing in the table of settings"
    if setting.default != "" and setting.name != "weights":
        assert f"`{setting.default}`" in row[1]


def test_every_documented_setting_exists() -> None:
    known = {PREFIX + f.name.upper() for f in fields(Settings)}
    assert set(re.findall(rf"{PREFIX}[A-Z_]+", DEVELOPERS + README)) <= known


def test_every_command_and_option_is_documented() -> None:
    commands = next(a for a in _parser()._actions if isinstance(a, argparse._SubParsersAction)).choices
    for name, parser in commands.items():
        assert f"`hoistlore {name}`" in DEVELOPERS
        for option in parser._option_string_actions:
            if option.startswith("--") and option != "--help":
                assert f"`{option}`" in DEVELOPERS, f"hoistlore {name} {option}"


def test_every_documented_option_exists() -> None:
    commands = next(a for a in _parser()._actions if isinstance(a, argparse._SubParsersAction)).choices
    options = {option for parser in commands.values() for option in parser._option_string_actions}
    used = re.findall(r"hoistlore (?:identify|serve)[^`\n#]*", README)
    assert used
    assert {o for line in used for o in re.findall(r"--[a-z]+", line)} <= options


def test_every_route_is_documented(toy_model_dir: Path, tmp_path: Path) -> None:
    settings = Settings(weights=str(toy_model_dir), database=f"sqlite:///{tmp_path / 'cases.db'}")
    paths = create_app(settings, Resources.load(settings)).openapi()["paths"]
    for path, methods in paths.items():
        for method in methods:
            assert f"`{method.upper()} {path}`" in DEVELOPERS


def test_every_make_target_is_documented() -> None:
    targets = re.search(r"^\.PHONY: (.+)$", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE)
    assert all(f"`make {target}`" in DEVELOPERS for target in targets[1].split())


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_relative_links_lead_somewhere(name: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", (ROOT / name).read_text("utf-8")):
        if "://" not in target:
            assert (ROOT / target).exists(), f"{name} links to {target}"

"""The rules of this house, checked: who imports whom, what serving loads, file lengths, pages that tell the truth."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from api.app import create_app
from api.commands.main import _parser
from api.identification import Resources
from api.settings import PREFIX, Settings
from tests.support.documented import OPTION, REFERENCE, documented_options, options_of, subcommands

ROOT = Path(__file__).parents[1]
PACKAGES = ("classifier", "guidance", "workers", "api", "synthetic_samples", "experiments", "training")
MAY_IMPORT = {
    "classifier": ("classifier",),
    "guidance": ("classifier", "guidance"),
    "workers": ("workers",),
    "api": ("classifier", "guidance", "workers", "api"),
    "synthetic_samples": ("classifier.taxonomy", "workers", "synthetic_samples"),
    "experiments": ("experiments",),
    "training": ("classifier", "guidance", "workers", "synthetic_samples", "experiments", "training"),
}
ROOMS = {
    "network": (), "electricity": (),
    "catalogue": ("network", "electricity"),
    "documents": ("catalogue", "electricity"),
    "safety": ("catalogue", "documents"),
    "identify": ("catalogue", "documents"),
    "parts": ("catalogue", "documents", "safety", "identify"),
    "learning": ("catalogue", "network"),
    "diagnose": ("network", "electricity", "catalogue", "documents", "safety", "identify", "parts"),
    "monitor": (),
    "advise": ("catalogue", "documents", "safety", "identify", "parts"),
    "pool": ("catalogue", "documents", "identify"),
    "stock": ("catalogue", "learning", "parts"),
}  # fmt: skip
"""Of each room of `guidance` the rooms that it may import, all of them further up in this table."""
LONGEST_FUNCTION = 40
ONLY_HOME_OF = {
    "torch": "training/", "torchvision": "training/", "timm": "training/", "onnx": "training/",
    "mitsuba": "synthetic_samples/render/", "fastapi": "api/", "starlette": "api/", "uvicorn": "api/",
    "ray": "workers/", "fsspec": "api/audit/",
}  # fmt: skip
NEVER_SERVED = ("torch", "torchvision", "timm", "onnx", "mitsuba", "trimesh", "manifold3d", "cv2", "scipy", "skimage",
                "pyarrow", "fsspec", "ray")  # fmt: skip
LONGEST_FILE = 350
VAGUE_NAMES = {"utils.py", "helpers.py", "manager.py", "common.py", "misc.py"}


def tracked(*patterns: str) -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z", *patterns], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]


def modules() -> list[Path]:
    return [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]


@cache
def imported(path: Path) -> tuple[str, ...]:
    return tuple(_imported(path))


def _imported(path: Path) -> Iterator[str]:
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


def test_the_rooms_of_guidance_import_downwards_only() -> None:
    below: list[str] = []
    for room, may in ROOMS.items():
        assert set(may) <= set(below), f"{room} may import what stands further down"
        below.append(room)
        for path in (ROOT / "guidance" / room).glob("*.py"):
            named = {name.split(".")[1] for name in imported(path) if within(name, "guidance")}
            assert named <= {*may, room}, f"{path.relative_to(ROOT)} imports {sorted(named - {*may, room})}"
    there = {path.parent.name for path in (ROOT / "guidance").rglob("*.py")} - {"guidance"}
    assert there == set(ROOMS), "every folder is a room of this table"


@pytest.mark.parametrize("package", ["classifier", "guidance"])
def test_no_module_imports_itself_by_way_of_others(package: str) -> None:
    """Imports for types alone count as well."""
    paths = {".".join(p.relative_to(ROOT).with_suffix("").parts): p for p in (ROOT / package).rglob("*.py")}
    needs = {
        name: {other for other in paths if other != name and any(within(i, other) for i in imported(path))}
        for name, path in paths.items()
    }
    TopologicalSorter(needs).prepare()  # raises CycleError, which names the circle


@pytest.mark.parametrize("room", ["", *ROOMS])
def test_every_room_of_guidance_says_what_may_happen_in_it(room: str) -> None:
    said = ast.get_docstring(ast.parse((ROOT / "guidance" / room / "__init__.py").read_text("utf-8"))) or ""
    assert not room or ("May:" in said and "May not:" in " ".join(said.split())), room
    assert said


def test_functions_of_guidance_are_short() -> None:
    long = {
        f"{path.relative_to(ROOT)}:{node.name}": length
        for path in (ROOT / "guidance").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef) and (length := node.end_lineno - node.lineno + 1) > LONGEST_FUNCTION
    }
    assert long == {}


@pytest.mark.walk
def test_importing_the_serving_part_loads_nothing_that_only_training_needs() -> None:
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in modules()
        if path.relative_to(ROOT).parts[0] in ("classifier", "guidance", "workers", "api")
        and path.name != "__init__.py"
        and path.parent.name != "audit"  # an extra of its own, which its command alone loads
    ]
    assert loaded_after(f"import {', '.join(names)}").isdisjoint(NEVER_SERVED)


@pytest.mark.walk
def test_a_server_without_a_provider_loads_nothing_for_one(toy_model_dir: Path, tmp_path: Path) -> None:
    given = f"weights={str(toy_model_dir)!r}, database={f'sqlite:///{tmp_path}/cases.db'!r}"
    run = f"from api.app import create_app\nfrom api.settings import Settings\ncreate_app(Settings({given}))"
    loaded = loaded_after(run)
    assert "fastapi" in loaded and loaded.isdisjoint(("joserfc", "httpx"))


@pytest.mark.walk
def test_identifying_a_photo_loads_neither_torch_nor_the_web(toy_model_dir: Path, tmp_path: Path) -> None:
    from tests.support.toy_networks import blob_photo, encoded

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


@pytest.mark.walk
def test_traces_are_loaded_only_when_they_are_asked_for() -> None:
    code = "import api.app, sys\nassert not [m for m in sys.modules if m.startswith('opentelemetry.sdk')]"
    assert "fastapi" in loaded_after(code)


def loaded_after(code: str) -> set[str]:
    """Top-level names of the modules that a fresh process has loaded after running this."""
    tail = "\nimport sys; print('LOADED', *sorted({m.split('.')[0] for m in sys.modules}))"
    done = subprocess.run([sys.executable, "-c", code + tail], cwd=ROOT, capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.splitlines()[-1].split()[1:])


@pytest.mark.walk
@pytest.mark.parametrize("module", ["classifier.identify", "guidance.advise.answer", "api.app", "api.commands.main"])
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
        timeout=600,
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


README = (ROOT / "README.md").read_text("utf-8")


@pytest.mark.parametrize("setting", fields(Settings), ids=lambda f: f.name)
def test_every_setting_is_documented_with_its_default(setting) -> None:
    row = re.search(rf"^\| `{PREFIX}{setting.name.upper()}` \| (.+?) \|", REFERENCE, re.MULTILINE)
    assert row, f"{setting.name} is missing in the table of settings"
    if setting.default != "" and setting.name != "weights":
        assert f"`{setting.default}`" in row[1]


def test_every_documented_setting_exists() -> None:
    known = {PREFIX + f.name.upper() for f in fields(Settings)}
    assert set(re.findall(rf"{PREFIX}[A-Z_]+", REFERENCE + README)) <= known


HOISTLORE = subcommands(_parser())


@pytest.mark.parametrize("name", HOISTLORE)
def test_a_command_s_row_names_its_options_and_no_others(name: str) -> None:
    assert documented_options(f"hoistlore {name}") == options_of(HOISTLORE[name])


@pytest.mark.parametrize("page", tracked("*.md"), ids=lambda path: str(path.relative_to(ROOT)))
def test_every_option_in_an_example_is_one_of_that_command(page: Path) -> None:
    for name, rest in re.findall(r"hoistlore ([a-z]+)([^`\n#;|]*)", page.read_text("utf-8")):
        if name in HOISTLORE:
            assert set(OPTION.findall(rest)) <= options_of(HOISTLORE[name]) | {"--help"}, f"hoistlore {name}{rest}"


def test_every_route_is_documented(toy_model_dir: Path, tmp_path: Path) -> None:
    settings = Settings(weights=str(toy_model_dir), database=f"sqlite:///{tmp_path / 'cases.db'}")
    paths = create_app(settings, Resources.load(settings)).openapi()["paths"]
    for path, methods in paths.items():
        for method in methods:
            assert f"`{method.upper()} {path}`" in REFERENCE


def test_every_make_target_is_documented() -> None:
    targets = re.search(r"^\.PHONY: (.+)$", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE)
    assert all(f"`make {target}`" in REFERENCE for target in targets[1].split())


@pytest.mark.parametrize("page", tracked("*.md"), ids=lambda path: str(path.relative_to(ROOT)))
def test_relative_links_lead_to_a_file_and_to_a_heading_in_it(page: Path) -> None:
    for target, heading in re.findall(r"\]\(([^)#\s]*)(?:#([^)\s]+))?\)", page.read_text("utf-8")):
        if "://" in target:
            continue
        goal = page.parent / target if target else page
        assert goal.exists(), f"{page.name} links to {target}"
        assert not heading or heading in anchors(goal), f"{page.name} links to {target}#{heading}"


def anchors(page: Path) -> set[str]:
    """What a link into a page may name: its headings as GitHub spells them, and ids of its own."""
    text = page.read_text("utf-8")
    headings = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    spelt = {
        re.sub(r"[^\w\- ]", "", re.sub(r"<[^>]+>", "", heading)).strip().lower().replace(" ", "-")
        for heading in headings
    }
    return spelt | set(re.findall(r'id="([^"]+)"', text))


def test_prose_is_wrapped() -> None:
    """Lines of Markdown have 120 characters at most, but for tables, code and pictures."""
    long = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in tracked("*.md")
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
        if len(line) > 120 and not line.startswith(("|", "    ", "!["))
    ]
    assert long == [], "wrap them: python -m experiments.prose FILE …"

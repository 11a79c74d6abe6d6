"""The rooms: each says what may happen in it; few files, arrows down only, no circles, short functions."""

import ast
import re
from collections import defaultdict
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("classifier", "guidance", "workers", "api", "synthetic_samples", "experiments", "training")
MOST_FILES = 12
MORE_FILES = {
    "classifier": "the way of a photo, one step a file",
    "synthetic_samples/shapes": "a family of shapes a file; the grammar replaces them one by one",
    "synthetic_samples/grammar": "one kind of operation a file",
    "api/pages/staff": "a screen of the staff, or a form on one, a file",
    "api/commands": "a command a file",
    "api/audit": "the way of an audit, one step a file",
    "api/cases": "one kind of event or document a file, all on one store",
    "guidance/diagnose": "network, plan and explanation are one chain that is read in one sitting",
    "guidance/catalogue": "one section of the catalogue or one family of checks a file",
}
"""Folders with more files than that, and why."""

ROOMS_OF_TRAINING = (
    "",
    "data",
    "nets",
    "loop",
    "measure",
    "ood",
    "calibrate",
    "evaluate",
    "owned",
    "steps",
    "report",
    "card",
    "rounds",
)
"""From the bottom to the top; settings lie at the bottom and commands at the top of the package."""

COMMANDS_OF_TRAINING = {
    "training.command", "training.owner_command", "training.step_command", "training.store_command",
    "training.options", "training.__main__",
}  # fmt: skip
LONGEST_FUNCTION = 40


def files_of(package: str) -> dict[str, Path]:
    """Every module of a package by its name."""
    found = {}
    for path in sorted((ROOT / package).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports_of(package: str) -> dict[str, set[str]]:
    """For each module of a package the modules of the same package that it imports."""
    files, arrows = files_of(package), defaultdict(set)
    for name, path in files.items():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                for alias in node.names:
                    whole = f"{node.module}.{alias.name}"
                    arrows[name] |= {whole if whole in files else node.module} & set(files)
    return {name: goals - {name} for name, goals in arrows.items()}


def circles_of(arrows: dict[str, set[str]]) -> set[frozenset[str]]:
    """Every set of modules that can reach each other."""
    reach = {name: _reached(name, arrows) for name in arrows}
    return {
        frozenset(other for other in goals if name in reach.get(other, ()))
        for name, goals in reach.items()
        if name in goals
    }


def _reached(start: str, arrows: dict[str, set[str]]) -> set[str]:
    found, open_ = set(), list(arrows.get(start, ()))
    while open_:
        name = open_.pop()
        if name not in found:
            found.add(name)
            open_ += arrows.get(name, ())
    return found


def folders() -> list[Path]:
    """Every folder of Python files, migrations aside: alembic names those."""
    found = {path.parent for package in PACKAGES for path in (ROOT / package).rglob("*.py")}
    return sorted(folder for folder in found if "migrations" not in folder.parts)


@pytest.mark.parametrize("folder", folders(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_room_says_what_may_and_what_may_not_happen_in_it(folder: Path) -> None:
    told = ast.get_docstring(ast.parse((folder / "__init__.py").read_text("utf-8"))) or ""
    assert re.search(r"May\s+not\b|May not\b|No room knows", told), (
        f"{folder}/__init__.py says nothing of what may not happen there"
    )


def test_no_folder_holds_more_than_a_dozen_files_without_a_reason() -> None:
    many = {
        str(folder.relative_to(ROOT))
        for folder in folders()
        if sum(path.name not in ("__init__.py", "__main__.py") for path in folder.glob("*.py")) > MOST_FILES
    }
    assert many <= set(MORE_FILES)
    assert all((ROOT / folder).is_dir() for folder in MORE_FILES)


@pytest.mark.parametrize("package", PACKAGES)
def test_no_modules_import_each_other_in_a_circle(package: str) -> None:
    assert [sorted(circle) for circle in circles_of(imports_of(package))] == []


def test_a_circle_would_be_found() -> None:
    assert circles_of({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == {frozenset("abc")}
    assert circles_of({"a": {"b"}, "b": {"c"}, "c": set()}) == set()


def test_the_rooms_of_training_import_downwards_only() -> None:
    files, upward = files_of("training"), []
    for name, goals in imports_of("training").items():
        for goal in goals:
            if _height(goal, files) > _height(name, files):
                upward.append(f"{name} -> {goal}")
    assert upward == []


def _height(module: str, files: dict[str, Path]) -> int:
    if module in COMMANDS_OF_TRAINING:
        return len(ROOMS_OF_TRAINING)
    room = files[module].parent.name
    return ROOMS_OF_TRAINING.index("" if room == "training" else room)


def test_functions_are_short() -> None:
    long = {
        f"{name}.{node.name}"
        for package in PACKAGES
        for name, path in files_of(package).items()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno - node.lineno + 1 > LONGEST_FUNCTION
    }
    assert sorted(long) == []

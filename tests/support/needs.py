"""What a test needs beyond Python and the serving packages: told by its folder, its imports and its fixtures."""

import re
from pathlib import Path

NEEDS = {
    "torch": "PyTorch, to train or to measure",
    "browser": "Chromium, driven by Playwright",
    "renderer": "the renderer or its geometry library",
    "postgres": "PostgreSQL's server",
    "thorough": "seconds on end: many states, many simulated lifts, somebody else's fuzzer",
    "walk": "seconds on end: a case led through many pages or pieces, a Python started anew, a large picture decoded",
}
"""Markers, and what each stands for."""

_FOLDERS = {"training": "torch", "browser": "browser", "synthetic_samples": "renderer", "bench": "torch"}
_IMPORTS = {
    "torch": re.compile(r"^\s*(?:from|import) (?:torch|training|tests\.training)\b", re.MULTILINE),
    "browser": re.compile(r"^\s*(?:from|import) playwright\b", re.MULTILINE),
    "renderer": re.compile(r"^\s*(?:from|import) (?:mitsuba|trimesh|manifold3d|synthetic_samples)\b", re.MULTILINE),
}


def needs_of_folder(path: Path, tests: Path) -> str | None:
    """The need of everything in a folder of tests, its builders included."""
    return _FOLDERS.get(path.relative_to(tests).parts[0]) if path != tests else None


def needs_of_file(path: Path, tests: Path) -> set[str]:
    """The needs of a whole test file."""
    text = path.read_text("utf-8")
    found = {need for need, imports in _IMPORTS.items() if imports.search(text)}
    of_folder = needs_of_folder(path, tests)
    return found | ({of_folder} if of_folder else set())

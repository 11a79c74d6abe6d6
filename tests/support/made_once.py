"""What takes long to make is made by the first of the workers that asks for it, and read by all."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """The folder `name` that `make` fills; nobody may change what lies there."""
    own = factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / name
    made = folder / ".made"
    with FileLock(f"{folder}.lock"):
        if not made.exists():
            folder.mkdir(exist_ok=True)
            make(folder)
            made.touch()
    return folder

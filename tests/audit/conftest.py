"""An audit with the toy networks, in this process."""

from collections.abc import Callable
from pathlib import Path

import pytest

import workers.places
from api.commands.main import main
from tests.support.heaps import Here


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, toy_model_dir: Path) -> type[Here]:
    """Audits of this test work in this process; what stands in `before` sees each piece first."""
    kind = type("Here", (Here,), {})
    monkeypatch.setattr(workers.places, "Processes", kind)
    monkeypatch.setenv("HOISTLORE_WEIGHTS", str(toy_model_dir))
    return kind


@pytest.fixture
def audit(here: type[Here], tmp_path: Path) -> Callable[..., Path]:
    """Run an audit that has to succeed; its folder."""

    def run(source: object, *options: str, out: str = "out") -> Path:
        assert main(["audit", str(source), "--out", str(tmp_path / out), *options]) == 0
        return tmp_path / out

    return run

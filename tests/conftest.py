"""What all tests share: the rule-following toy model, and markers for what each needs (`--quick` leaves those out)."""

from functools import cache
from pathlib import Path

import pytest

from classifier.model import Model
from tests.support.needs import NEEDS, needs_of_file, needs_of_folder
from tests.support.toy_networks import write_model

TESTS = Path(__file__).parent
needs_of = cache(needs_of_file)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--quick`."""
    parser.addoption("--quick", action="store_true", help=f"leave out what needs {', '.join(NEEDS)}")


def pytest_configure(config: pytest.Config) -> None:
    """Register the markers."""
    for need, told in NEEDS.items():
        config.addinivalue_line("markers", f"{need}: needs {told}")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """With `--quick` a file that needs more is not even imported."""
    if not config.getoption("--quick") or not collection_path.is_relative_to(TESTS):
        return None
    if collection_path.is_dir():
        return True if needs_of_folder(collection_path, TESTS) else None
    return True if collection_path.suffix == ".py" and needs_of(collection_path, TESTS) else None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark every test with its needs; with `--quick` those that need a database server or seconds on end go, too."""
    for item in items:
        for need in needs_of(item.path, TESTS):
            item.add_marker(need)
        chosen = getattr(item, "callspec", None)
        if "postgres" in item.fixturenames or (chosen and "postgresql" in chosen.params.values()):
            item.add_marker("postgres")
    if config.getoption("--quick"):
        left_out = [
            item for item in items if any(item.get_closest_marker(need) for need in ("postgres", "thorough", "walk"))
        ]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]
    thorough = {item.path for item in items if item.get_closest_marker("thorough")}
    items.sort(key=lambda item: item.path not in thorough)  # the longest files first, so that no worker ends alone


@pytest.fixture(scope="session")
def toy_model_dir(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_model(tmp_path_factory.mktemp("toy_model"))


@pytest.fixture(scope="session")
def toy_model(toy_model_dir: Path) -> Model:
    return Model.load(toy_model_dir)

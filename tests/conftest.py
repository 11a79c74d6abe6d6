"""What several folders of tests share: the rule-following toy model."""

from pathlib import Path

import pytest

from classifier.model import Model
from tests.toy_networks import write_model


@pytest.fixture(scope="session")
def toy_model_dir(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_model(tmp_path_factory.mktemp("toy_model"))


@pytest.fixture(scope="session")
def toy_model(toy_model_dir: Path) -> Model:
    return Model.load(toy_model_dir)

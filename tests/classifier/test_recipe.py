"""The metadata as one schema: what is written comes back, a change is checked, other versions are refused."""

import json
from pathlib import Path

import pytest
from pydantic import ValidationError

from classifier.errors import WeightsMalformed
from classifier.identify import WEIGHTS_DIR
from classifier.recipe import CLASSES, METADATA_FILE, Recipe
from classifier.taxonomy import CONCEPTS


@pytest.fixture(scope="module")
def shipped() -> Recipe:
    return Recipe.read(WEIGHTS_DIR)[0]


def test_what_is_written_comes_back(shipped: Recipe, tmp_path: Path) -> None:
    shipped.write(tmp_path)
    again, _ = Recipe.read(tmp_path)
    assert again == shipped
    assert json.loads((tmp_path / METADATA_FILE).read_text())["schema_version"] == "6"


def test_what_nobody_wrote_down_is_said_to_be_unknown(shipped: Recipe) -> None:
    known = shipped.model_dump(mode="json")
    assert "commands" in known["provenance"] and "command lines" not in shipped.provenance.unknown
    known["provenance"] |= {"commands": None, "constituents": None, "pictures": {}}
    recipe = Recipe.parse(json.dumps(known).encode(), Path("model.json"))
    pictures = tuple(f"{which} pictures" for which in ("training", "calibration", "evaluation"))
    assert recipe.provenance.unknown == ("constituents", "command lines", *pictures)


@pytest.mark.parametrize("form", ["5", "7", None])
def test_metadata_of_another_version_are_refused(shipped: Recipe, form: str | None) -> None:
    other = shipped.model_dump(mode="json") | {"schema_version": form}
    with pytest.raises(WeightsMalformed, match=f"schema_version is {form}, 6 is wanted"):
        Recipe.parse(json.dumps(other).encode(), Path("model.json"))


def test_a_change_is_checked(shipped: Recipe) -> None:
    assert shipped.reader.with_(doubt=0.5).doubt == 0.5 and shipped.reader.doubt != 0.5
    with pytest.raises(ValidationError, match="thresholds is"):
        shipped.finder.with_(thresholds={"charger": 0.5})
    with pytest.raises(ValidationError, match="greater than 0"):
        shipped.finder.with_(temperature=0.0)


def test_the_classes_of_the_heads_are_the_taxonomy_s(shipped: Recipe) -> None:
    assert {concept: values[:-1] for concept, values in CLASSES.items()} == CONCEPTS
    assert {concept: recipe.values for concept, recipe in shipped.reader.concepts.items()} == CLASSES

"""The metadata as one schema: what is written comes back, a change is checked, and version 5 is brought up to date."""

import json
from pathlib import Path

import pytest
from pydantic import ValidationError

from classifier.errors import WeightsMalformed
from classifier.identify import WEIGHTS_DIR
from classifier.recipe import CLASSES, METADATA_FILE, Recipe
from classifier.taxonomy import CONCEPTS, LEFT_OPEN

BEFORE = json.loads((WEIGHTS_DIR / METADATA_FILE).read_text("utf-8"))


@pytest.fixture(scope="module")
def shipped() -> Recipe:
    return Recipe.read(WEIGHTS_DIR)[0]


def test_what_is_written_comes_back(shipped: Recipe, tmp_path: Path) -> None:
    shipped.write(tmp_path)
    again, _ = Recipe.read(tmp_path)
    assert again == shipped
    assert json.loads((tmp_path / METADATA_FILE).read_text())["schema_version"] == "6"


@pytest.mark.skipif(BEFORE["schema_version"] != "5", reason="the shipped metadata are of today's version")
def test_every_number_of_version_5_is_where_it_belongs(shipped: Recipe) -> None:
    reader = BEFORE["reader"]
    for concept, recipe in shipped.reader.concepts.items():
        assert recipe.temperature == reader["temperatures"][concept]
        assert recipe.offsets == reader["offsets"][concept]
        assert recipe.set_thresholds == reader["set_thresholds"][concept]
        assert recipe.priors == reader["concept_priors"][concept]
        assert recipe.hidden_shares == reader["hidden_shares"][concept]
        assert recipe.pairwise == (reader["apart"][concept] if concept in LEFT_OPEN else 0)
        assert list(recipe.values) == reader["concepts"][concept]
    assert [view.model_dump(exclude={"to_read"}) for view in shipped.reader.views] == reader["looks"]
    assert shipped.reader.kind_temperature == reader["temperatures"]["kind"]
    assert list(shipped.in_distribution.weights) == BEFORE["ours"]["weights"]["relative_distance"]
    assert shipped.in_distribution.thresholds == BEFORE["ours"]["thresholds"]
    assert shipped.metrics == BEFORE["metrics"]


def test_what_nobody_wrote_down_is_said_to_be_unknown(shipped: Recipe) -> None:
    known = json.loads(json.dumps(BEFORE))
    known["provenance"]["manifest_sha256"] = "not kept"
    recipe = Recipe.parse(json.dumps(known).encode(), Path("model.json"))
    for name in ("constituents", "command lines", "calibration pictures", "evaluation pictures"):
        assert name in shipped.provenance.unknown
    assert "training pictures" in recipe.provenance.unknown and "training pictures" not in shipped.provenance.unknown


def test_metadata_of_version_5_with_another_score_has_to_be_calibrated_again() -> None:
    other = json.loads(json.dumps(BEFORE))
    other["ours"]["score"] = "energy"
    with pytest.raises(WeightsMalformed, match="calibrate again"):
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

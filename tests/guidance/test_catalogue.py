"""The demo catalogue is the taxonomy's, and a catalogue with a mistake says file, row and reason."""

import pytest

from classifier.errors import CatalogueError
from classifier.taxonomy import CONCEPTS, CONTROL_BOX_CONCEPTS
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from tests.guidance.lifts import changed_demo


def test_demo_generations_are_those_of_the_taxonomy():
    rows = {g.id: tuple(getattr(g, c) for c in CONTROL_BOX_CONCEPTS) for g in load(DEMO_CATALOGUE).generations}
    assert rows == {
        "sealed-top": ("top", "built_in", "none", "lamp_row"),
        "stacked-front": ("front", "stacked_pack", "side", "gauge"),
        "hung-top": ("top", "hung_pack", "front", "gauge"),
        "sealed-front": ("front", "built_in", "side", "lamp_row"),
    }


def test_demo_catalogue_names_itself_and_its_mechanisms():
    catalogue = load(DEMO_CATALOGUE)
    assert (catalogue.pool.id, catalogue.pool.version) == ("demo-loan-pool", "2026.1")
    assert tuple(catalogue.mechanisms_by_id) == CONCEPTS["lowering"]


def test_every_concept_has_a_plain_question_and_a_correction():
    catalogue = load(DEMO_CATALOGUE)
    assert {o.about for o in catalogue.observations} >= set(CONCEPTS)
    assert all(catalogue.observations_by_id[concept].correction for concept in CONCEPTS)


def test_the_knob_is_asked_about_only_with_nobody_in_the_sling():
    assert load(DEMO_CATALOGUE).observations_by_id["knob_slides"].needs == {"person_in_sling": "no"}


def test_every_step_of_advice_has_a_source_and_a_role():
    catalogue = load(DEMO_CATALOGUE)
    sentences = [*catalogue.sentences, *(s for m in catalogue.mechanisms for s in m.steps)]
    assert all(s.source and s.roles for s in sentences)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        pytest.param(
            "generations.toml",
            'battery = "stacked_pack"',
            'battery = "stacked_pak"',
            ["generations.toml", "generations[3].battery", "'stacked-front'", "line", "did you mean 'stacked_pack'"],
            id="concept value",
        ),
        pytest.param(
            "generations.toml",
            "charge_display = ",
            "charge_displey = ",
            ["generations[0].charge_displey", "no such field", "did you mean 'charge_display'"],
            id="field name",
        ),
        pytest.param(
            "generations.toml",
            'charger_connection = "direct"',
            'charger_connection = "direkt"',
            ["generations[1].traits.charger_connection", "did you mean 'direct'"],
            id="trait value",
        ),
        pytest.param(
            "generations.toml",
            'id = "hung-top"',
            'id = "sealed-top"',
            ["generations[2].id", "generations[1]"],
            id="id twice",
        ),
        pytest.param(
            "generations.toml", "fleet_share = 0.25", "fleet_share = 0.35", ["fleet_share", "not 1.1"], id="sum"
        ),
        pytest.param("generations.toml", 'id = "hung-top"', 'id = "unlisted"', ["'unlisted' is kept"], id="kept id"),
        pytest.param(
            "mechanisms.toml",
            'id = "twist_knob"',
            'id = "twist_nob"',
            ["mechanisms.toml", "mechanisms[2].id", "did you mean 'twist_knob'"],
            id="mechanism",
        ),
        pytest.param(
            "observations.toml",
            "top = { top = 0.985, front = 0.015 }",
            "top = { top = 0.985, front = 0.15 }",
            ["observations[1].reliability.top", "'where_is_stop'", "sum to 1"],
            id="reliability",
        ),
        pytest.param(
            "observations.toml",
            'needs = { person_in_sling = "no" }',
            'needs = { person_in_slin = "no" }',
            ["'knob_slides'", "did you mean 'person_in_sling'"],
            id="needed question",
        ),
        pytest.param(
            "observations.toml", "visible = { lowering", "visible = { lowerin", ["views[2]", "'lowering'"], id="view"
        ),
        pytest.param(
            "observations.toml",
            'about = "stop_position"',
            'about = "stop_positon"',
            ["observations[1].about", "did you mean 'stop_position'"],
            id="concept of a question",
        ),
        pytest.param(
            "observations.toml",
            'id = "person_in_sling"',
            'id = "person_in_slings"',
            ["no row 'person_in_sling'", "safety"],
            id="the question about the sling",
        ),
        pytest.param(
            "pool.toml",
            "ordering_threshold = 0.99",
            "ordering_threshold = 1.5",
            ["ordering_threshold", "1.5"],
            id="threshold",
        ),
        pytest.param("pool.toml", "unlisted_share = 0.3\n", "", ["pool.unlisted_share", "is missing"], id="missing"),
        pytest.param("pool.toml", "[pool]", "[pool", ["pool.toml", "TOML", "line"], id="not TOML"),
        pytest.param("pool.toml", "[next_step]", "[next_stap]", ["did you mean 'next_step'"], id="section"),
        pytest.param("wording.toml", ', front = "on the front"', "", ["concepts.stop_position.values"], id="words"),
    ],
)
def test_a_mistake_is_named_by_file_row_and_reason(tmp_path, file, old, new, said):
    with pytest.raises(CatalogueError) as caught:
        load(changed_demo(tmp_path, file, old, new))
    missing = [words for words in said if words not in str(caught.value)]
    assert not missing, str(caught.value)


def test_a_section_in_two_files_is_refused(tmp_path):
    copied = changed_demo(tmp_path, "wording.toml", "[concepts.", '[pool]\nid = "other"\n\n[concepts.')
    with pytest.raises(CatalogueError, match=r"wording.toml: pool: also in pool.toml"):
        load(copied)


def test_two_rows_that_nothing_tells_apart_are_refused(tmp_path):
    rows = (DEMO_CATALOGUE / "generations.toml").read_text()
    twins = "[[generations]]" + rows.split("[[generations]]", 1)[1].replace('id = "', 'id = "twin-')
    copied = changed_demo(tmp_path, "generations.toml", rows, f"{rows}\n{twins}".replace("0.25", "0.125"))
    with pytest.raises(CatalogueError, match="nothing tells 'twin-sealed-top' from 'sealed-top'"):
        load(copied)


def test_an_empty_folder_is_no_catalogue(tmp_path):
    with pytest.raises(CatalogueError, match="no catalogue here"):
        load(tmp_path)


def test_one_file_may_hold_the_whole_catalogue(tmp_path):
    whole = tmp_path / "pool.toml"
    whole.write_text("\n".join(f.read_text() for f in sorted(DEMO_CATALOGUE.glob("*.toml"))))
    assert load(whole) == load(DEMO_CATALOGUE)

"""The small drawings beside answers: every shape of the taxonomy has its own, and words say the same."""

import re
from itertools import product

import pytest
from fastapi.testclient import TestClient

from api.cases.view import Question
from api.pages.drawings import Drawing, drawings_of
from classifier.taxonomy import ACTUATOR_CONCEPTS, CONTROL_BOX_CONCEPTS
from tests.api.test_caregiver_pages import press, to_photo


@pytest.fixture
def pages(client: TestClient):
    client.headers["accept"] = "text/html"
    return client.app.state.pages


def svg(pages, **values: str) -> str:
    return str(pages.environment.get_template("drawings.html").module.drawing(Drawing(values, "")))


def question(client: TestClient, id_: str, kind: str = "observation") -> Question:
    asked = client.app.state.resources.catalogue.observations_by_id[id_]
    return Question(kind, id_, asked.ask, "", dict(asked.options))


def test_no_two_shapes_have_the_same_drawing(pages) -> None:
    boxes = [dict(zip(CONTROL_BOX_CONCEPTS, values, strict=True)) for values in product(*CONTROL_BOX_CONCEPTS.values())]
    heads = [{"lowering": value} for value in ACTUATOR_CONCEPTS["lowering"]]
    drawn = [re.sub(r"\s+", " ", svg(pages, **values)) for values in (*boxes, *heads)]
    assert len(drawn) == 2 * 3 * 3 * 3 + 4
    assert len(set(drawn)) == len(drawn)


@pytest.mark.parametrize(
    ("id_", "drawn"),
    [
        ("where_is_stop", {"top", "front"}),
        ("how_battery_sits", {"built_in", "stacked_pack", "hung_pack"}),
        ("buttons_on_box", {"side", "front", "none"}),
        ("how_charge_shows", {"lamp_row", "gauge", "none"}),
        ("motor_end_shape", {"none", "squeeze_tabs", "twist_knob", "pull_twist_knob"}),
        ("which_box", {"sealed-top", "stacked-front", "hung-top", "sealed-front"}),
        ("battery_comes_off", set()),
        ("charger_lead", set()),
    ],
)
def test_answers_that_have_a_shape_have_a_drawing(client: TestClient, pages, id_: str, drawn: set[str]) -> None:
    catalogue = client.app.state.resources.catalogue
    assert set(drawings_of(question(client, id_), catalogue, pages.languages["en"])) == drawn
    assert drawings_of(question(client, id_, "step"), catalogue, pages.languages["en"]) == {}
    assert drawings_of(None, catalogue, pages.languages["en"]) == {}


@pytest.mark.parametrize(("tag", "told"), [("en", "the stop: on top"), ("es", "la parada: arriba")])
def test_a_whole_box_is_told_in_words_as_well(client: TestClient, pages, tag: str, told: str) -> None:
    here = to_photo(client, tag)
    press(client, here, "", kind="no_photo")
    page = press(client, here, "dead")
    for _ in range(8):
        if 'value="which_box"' in page.text:
            break
        page = press(client, here, "unsure")
    labels = re.findall(r'<svg class="drawing"[^>]*role="img" aria-label="([^"]+)"', page.text)
    assert len(labels) == len(set(labels)) == 4
    assert all(label.count(": ") == 4 for label in labels)
    assert sum(told in label for label in labels) == 2
    assert page.text.count('aria-hidden="true" focusable') == 0

"""The operator's name and colours: on every page, and refused where text could not be read in them."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.identification import Resources
from api.pages.environment import SHEET
from api.pages.look import LEAST_CONTRAST, Look, contrast, look_of, themes
from api.settings import Settings
from classifier.errors import SettingsError
from tests.api.test_look import contrast as measured

CSS = SHEET.read_text("utf-8")


@pytest.mark.parametrize("pair", [("#777777", "#ffffff"), ("#0a4a45", "#f7f5f0"), ("#000000", "#ffffff")])
def test_contrast_is_that_of_the_test_of_the_sheet(pair: tuple[str, str]) -> None:
    assert contrast(*pair) == pytest.approx(measured(*pair))


def test_a_name_and_colours_are_on_every_page(own_settings: Callable[..., Settings], toy_resources: Resources) -> None:
    look = {"operator_name": "Aids & Lifts", "operator_colour": "#7A1F5C", "operator_colour_dark": "#f0b8dc"}
    ours = TestClient(create_app(own_settings(), toy_resources), headers={"accept": "text/html"})
    client = TestClient(create_app(own_settings(**look), toy_resources), headers={"accept": "text/html"})
    for path in ("/en/", "/es/down", "/en/staff/sign-in", "/en/staff/nothing", "/en/nothing"):
        assert "Aids &amp; Lifts" in client.get(path).text and "Aids" not in ours.get(path).text
    sheet = client.get("/static/hoistlore.css").text
    assert "--accent: #7a1f5c; --accent-press: #7a1f5c; --link: #7a1f5c;" in sheet and "#f0b8dc" in sheet
    assert ours.get("/static/hoistlore.css").text == CSS
    assert 'content="#7a1f5c"' in client.get("/en/").text
    manifest = client.get("/en/manifest.webmanifest").json()
    assert manifest["theme_color"] == "#7a1f5c" and manifest["name"].endswith("Aids & Lifts")
    assert client.app.state.pages.version != ours.app.state.pages.version  # what browsers keep is fetched anew


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"operator_colour": "#ffcc00"}, "OPERATOR_COLOUR is #ffcc00: as text on the page .* Choose a darker one"),
        ({"operator_colour": "#777777"}, "its contrast is 4.1. to 1, and 4.5 to 1 is wanted"),
        ({"operator_colour_dark": "#0a4a45"}, "OPERATOR_COLOUR_DARK is #0a4a45: .* Choose a lighter one"),
    ],
)
def test_a_colour_that_cannot_be_read_is_refused_with_the_reason(
    own_settings: Callable[..., Settings], toy_resources: Resources, given: dict[str, str], told: str
) -> None:
    with pytest.raises(SettingsError, match=told):
        create_app(own_settings(**given), toy_resources)


@pytest.mark.parametrize("grey", range(0, 256, 15))
def test_a_colour_is_taken_exactly_when_its_contrast_is_enough(grey: int) -> None:
    colour, light = f"#{grey:02x}{grey:02x}{grey:02x}", themes(CSS)[0]
    enough = all(measured(colour, light[name]) >= LEAST_CONTRAST for name in ("paper", "sheet", "on-accent"))
    try:
        assert look_of(Settings(operator_colour=colour), CSS).colour == colour and enough
    except SettingsError:
        assert not enough


@pytest.mark.parametrize(
    "given",
    [
        {"HOISTLORE_OPERATOR_COLOUR": "red"},
        {"HOISTLORE_OPERATOR_COLOUR": "#fff"},
        {"HOISTLORE_OPERATOR_COLOUR_DARK": "#00ff00;} body{display:none"},
        {"HOISTLORE_OPERATOR_NAME": "x" * 61},
        {"HOISTLORE_OPERATOR_NAME": "<script>"},
        {"HOISTLORE_OPERATOR_NAME": "two\nlines"},
    ],
)
def test_what_is_no_name_or_no_colour_is_refused(given: dict[str, str]) -> None:
    with pytest.raises(SettingsError, match="is wanted, or nothing"):
        Settings.from_environment(given)


def test_without_a_look_the_sheet_is_ours() -> None:
    assert Look().css() == ""

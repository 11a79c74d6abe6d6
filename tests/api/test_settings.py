"""The one table of settings."""

from dataclasses import fields

import pytest

from api.settings import Settings
from classifier.errors import SettingsError


def test_defaults_hold_when_nothing_is_set() -> None:
    assert Settings.from_environment({"PATH": "/bin"}) == Settings()
    assert Settings().host == "127.0.0.1"


def test_variables_are_read_and_arguments_win() -> None:
    environ = {"HOISTLORE_PORT": "9000", "HOISTLORE_HOST": "::1", "HOISTLORE_CATALOGUE": ""}
    settings = Settings.from_environment(environ, port=9001, host=None)
    assert (settings.port, settings.host, settings.catalogue) == (9001, "::1", "")


@pytest.mark.parametrize("came", ["many", "-1", "1.5", "0"])
def test_a_value_that_cannot_be_used_is_named_with_what_is_wanted(came: str) -> None:
    with pytest.raises(SettingsError, match=rf"HOISTLORE_SLOTS is '{came}'; a whole number of at least 1"):
        Settings.from_environment({"HOISTLORE_SLOTS": came})


def test_a_mistyped_setting_is_refused_instead_of_ignored() -> None:
    with pytest.raises(SettingsError, match="HOISTLORE_SLOT is no setting; did you mean HOISTLORE_SLOTS"):
        Settings.from_environment({"HOISTLORE_SLOT": "4"})


def test_every_setting_has_a_help_text() -> None:
    assert all(len(f.metadata["help"]) > 10 for f in fields(Settings))

"""Every option that a page or a page's example gives to `python -m training` is one of that command."""

import re
from pathlib import Path

import pytest

from tests.support.documented import OPTION, REFERENCE, options_of, subcommands
from training.command import COMMANDS, parser
from training.loop.tasks import TASKS
from training.options import COMMAND_OPTIONS, TASK_NAMES
from training.owner_command import OWNER_COMMANDS
from training.owner_command import parser as owner_parser
from training.step_command import STEP_COMMANDS
from training.step_command import parser as step_parser
from training.store_command import STORE_COMMANDS
from training.store_command import parser as store_parser

ROOT = Path(__file__).parents[2]
PAGES = [
    *sorted((ROOT / "docs").glob("*.md")),
    ROOT / "README.md",
    ROOT / "training/OWNED_PHOTOS.md",
    ROOT / "Makefile",
]
KNOWN = subcommands(parser()) | subcommands(owner_parser()) | subcommands(step_parser()) | subcommands(store_parser())


def test_every_command_has_options_and_a_function() -> None:
    assert set(COMMAND_OPTIONS) == set(COMMANDS) and tuple(TASKS) == TASK_NAMES
    assert set(KNOWN) == {*COMMANDS, *OWNER_COMMANDS, *STEP_COMMANDS, *STORE_COMMANDS}


def test_every_command_is_documented() -> None:
    (row,) = re.findall(r"^\| `python -m training` \| (.*) \|$", REFERENCE, re.MULTILINE)
    assert set(re.findall(r"`([a-z]+)`", row)) == set(COMMANDS)
    assert all(
        f"`python -m training {name}`" in REFERENCE for name in (*OWNER_COMMANDS, *STEP_COMMANDS, *STORE_COMMANDS)
    )


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_every_example_uses_options_of_its_own_command(page: Path) -> None:
    text = page.read_text("utf-8").replace("\\\n", " ")
    for name, rest in re.findall(r"python -m training ([a-z-]+)([^`\n#]*)", text):
        assert name in KNOWN, f"{page.name}: python -m training {name}"
        assert set(OPTION.findall(rest)) <= options_of(KNOWN[name]), f"{page.name}: python -m training {name}{rest}"


def test_an_option_of_another_command_is_refused(capsys: pytest.CaptureFixture) -> None:
    with pytest.raises(SystemExit):
        parser().parse_args(["card", "--minutes-reader", "3"])
    assert "unrecognized arguments: --minutes-reader" in capsys.readouterr().err

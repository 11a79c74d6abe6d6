"""The table of commands in docs/reference.md, and the options that a command line really has."""

import argparse
import re
from pathlib import Path

REFERENCE = (Path(__file__).parents[2] / "docs/reference.md").read_text("utf-8")
OPTION = re.compile(r"--[a-z][a-z-]*")


def documented_options(command: str) -> set[str]:
    """Every option that the row of this command names. Fails where the command has no row."""
    row = re.search(rf"^\| `{re.escape(command)}` \| (.*) \|$", REFERENCE, re.MULTILINE)
    assert row, f"docs/reference.md has no row for `{command}`"
    return set(OPTION.findall(row[1]))


def options_of(parser: argparse.ArgumentParser) -> set[str]:
    """Every long option of a command and of the commands under it."""
    own = {option for option in parser._option_string_actions if option.startswith("--")} - {"--help"}
    for below in subcommands(parser).values():
        own |= options_of(below)
    return own


def subcommands(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    """The commands under this one, by name."""
    return {
        name: below
        for action in parser._actions
        if isinstance(action, argparse._SubParsersAction)
        for name, below in action.choices.items()
    }

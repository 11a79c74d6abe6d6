"""How a command of `python -m training` says what it cannot do."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager


def run_command(
    parser: argparse.ArgumentParser, arguments: list[str], problems: tuple[type[Exception], ...]
) -> argparse.Namespace:
    """Run the command that `run` of the parsed arguments is; returns these."""
    options = parser.parse_args(arguments)
    with refusing(options.command, problems):
        options.run(options)
    return options


@contextmanager
def refusing(command: str, problems: tuple[type[Exception], ...]) -> Iterator[None]:
    """Exit status 2 with every problem on a line of its own, where one of these is raised."""
    try:
        yield
    except problems as problem:
        for line in str(problem).splitlines():
            print(f"python -m training {command}: {line}", file=sys.stderr)
        raise SystemExit(2) from None

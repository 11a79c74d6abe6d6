"""Markdown prose wrapped at 120 characters, tables and code kept: `python -m experiments.prose FILE …`."""

import re
import sys
import textwrap
from pathlib import Path
from typing import Final

WIDTH: Final = 120
_KEPT = re.compile(r" *\||#|!\[|    |<")
_HELD: Final = "\x00"  # a space in code, at which no line breaks
_ITEM = re.compile(r"(- |\d+\. )")


def wrapped(text: str) -> str:
    """The same page with every paragraph and list item wrapped."""
    lines: list[str] = []
    block: list[str] = []
    fenced = False
    for line in [*text.split("\n"), ""]:
        fence = line.startswith("```")
        kept = fenced or fence or not line.strip() or _KEPT.match(line)
        fenced ^= fence
        if block and (kept or _ITEM.match(line)):
            lines += _filled(block)
            block = []
        if not kept:
            block.append(line)
        else:
            lines.append(line)
    return "\n".join(lines[:-1])


def _filled(block: list[str]) -> list[str]:
    item = _ITEM.match(block[0])
    indent = " " * len(item[0]) if item else ""
    joined = " ".join(line.strip() for line in block)
    held = re.sub(
        r"`[^`]+`", lambda code: code[0].replace(" ", _HELD) if len(code[0]) < WIDTH // 2 else code[0], joined
    )
    lines = textwrap.wrap(held, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return [line.replace(_HELD, " ") for line in lines]


if __name__ == "__main__":
    for page in map(Path, sys.argv[1:]):
        page.write_text(wrapped(page.read_text(encoding="utf-8")), encoding="utf-8")

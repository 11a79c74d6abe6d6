"""Where in a TOML file a value stands: a path such as ("generations", 1, "battery") to the number of its line."""

import re
from collections.abc import Iterator

Path = tuple[str | int, ...]

HEADER = re.compile(r"^\s*(\[\[?)([^\[\]]+)\]")
KEY = re.compile(r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")
PART = re.compile(r"""[\w-]+|"[^"]*"|'[^']*'""")
TEXT = re.compile(r'''"""|\'\'\'|"(?:\\.|[^"\\])*"|'[^']*'|#.*''')


def lines_of(text: str) -> dict[Path, int]:
    """The line of every header and of every key that begins a line; a value inside brackets has its key's line."""
    found: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    inside: Path = ()
    for number, line in _statements(text):
        if header := HEADER.match(line):
            inside = _resolved(_parts(header[2]), counts, is_row=header[1] == "[[")
            found.setdefault(inside, number)
        elif key := KEY.match(line):
            found.setdefault((*inside, *_parts(key[1])), number)
    return found


def line_at(found: dict[Path, int], path: Path) -> int | None:
    """The line of the nearest thing on the way to a path that has one."""
    return next((found[path[:n]] for n in range(len(path), 0, -1) if path[:n] in found), None)


def as_written(path: Path) -> str:
    """A path as people read it: generations[1].battery."""
    return "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path).lstrip(".")


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in PART.findall(dotted)]


def _resolved(parts: list[str], counts: dict[Path, int], is_row: bool) -> Path:
    """The path of a header; `[[a.b]]` and `[a.b]` belong to the last row of `a`."""
    path: Path = ()
    for part in parts:
        path = (*path, part)
        last = part is parts[-1]
        if last and is_row:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Lines that begin a statement: not those inside brackets or inside text of several lines."""
    depth, open_text = 0, ""
    for number, line in enumerate(text.splitlines(), 1):
        if not depth and not open_text:
            yield number, line
        for quote in TEXT.findall(line):
            if quote in ('"""', "'''"):
                open_text = "" if quote == open_text else open_text or quote
        if not open_text:
            bare = TEXT.sub("", line)
            depth = max(0, depth + sum(map(bare.count, "[{")) - sum(map(bare.count, "]}")))

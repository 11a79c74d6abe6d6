"""Learning curves on a foreign pool, drawn anew from `curves.jsonl`: a table and a figure."""

import json
from collections import defaultdict
from collections.abc import Sequence
from html import escape
from pathlib import Path
from statistics import mean
from typing import Final

from experiments.prose import wrapped

CURVES_FILE: Final = Path(__file__).parent / "curves.jsonl"
SHIPPED: Final = "shipped"
SHOWN: Final = {
    "lowering_wrong": "wrong lowering",
    "confirmed": "parts confirmed",
    "confirmed_wrong": "confirmed and wrong",
    "right": "readings right",
}
COLOURS: Final = ("#1f5f99", "#b4491f", "#3d7a3a", "#7a4f9e", "#8a6d1a", "#a8326e", "#2a8f8f", "#555555")
WIDTH, HEIGHT, LEFT, TOP, GAP = 960, 300, 46, 46, 24
PANEL: Final = (WIDTH - 20) / len(SHOWN)

Points = dict[tuple[str, float], dict[int, list[dict]]]
"""By step and share of wrong labels, by the number of photos: the rows of every draw."""


def points(rows: Sequence[dict]) -> Points:
    """Rows gathered to lines; the shipped model begins each."""
    found: Points = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if row["step"] != SHIPPED:
            found[row["step"], row["wrong_labels"]][row["photos"]].append(row)
    return {line: dict(sorted(by.items())) for line, by in sorted(found.items())}


def read_curves(path: Path = CURVES_FILE) -> list[dict]:
    """Every row; none where nothing was measured yet."""
    return [json.loads(line) for line in path.read_text("utf-8").splitlines() if line] if path.is_file() else []


def table(rows: Sequence[dict]) -> list[str]:
    """Lines of Markdown: the mean over draws, the span of the draws, and how many a promotion was refused."""
    names = [name for name in SHOWN if any(name in row for row in rows)]
    lines = [
        f"| step | photos | wrong labels | draws, refused | {' | '.join(SHOWN[name] for name in names)} |",
        f"| --- | --- | --- | --- |{' --- |' * len(names)}",
    ]
    for row in rows:
        if row["step"] == SHIPPED:
            cells = [_with_interval(row[name]) for name in names]
            lines.append(f"| as delivered | 0 | – | – | {' | '.join(cells)} |")
    for (step, wrong), by_count in points(rows).items():
        for count, draws in by_count.items():
            refused = sum(row.get("promoted") is False for row in draws)
            cells = [_span([_share(row[name]) for row in draws]) if name in draws[0] else "–" for name in names]
            lines.append(f"| {step} | {count} | {100 * wrong:.0f} % | {len(draws)}, {refused} | {' | '.join(cells)} |")
    return lines


def curves_page(rows: Sequence[dict]) -> str:
    """The page about the curves: the figure and the table."""
    return wrapped("\n".join([_HEAD, *table(rows)]) + "\n")


_HEAD = """# What own photos teach, on a foreign pool

Written by `python -m experiments` from `curves.jsonl`, which `python -m training curves` fills. The pool is drawn by
another renderer than the one that taught the networks (`tests/standins/pool.py`); these are pictures, not photographs.
Every figure is of lifts that no draw contains, of families of bodies and shells of which it contains none. A row of the
shipped model has its 95 % interval, bootstrapped over lifts; the others the mean over draws, and the least and the most
of them. What is refused is not served: there the shipped model stays. The draws of 100 photos come from 111, so that
they share most of them; 300 and 1,000 photos were not drawn yet.

![By the number of own photos: wrong lowering, parts confirmed, confirmed and wrong, readings right](curves.svg)
"""


def curves_figure(rows: Sequence[dict]) -> str:
    """One SVG, a panel a figure: the mean over draws by the number of photos, a stroke from the least to the most."""
    lines = points(rows)
    counts = sorted({0, *(count for by_count in lines.values() for count in by_count)})
    marks = []
    for panel, (name, title) in enumerate(SHOWN.items()):
        marks += _panel(panel, name, title, lines, counts, [row for row in rows if row["step"] == SHIPPED])
    for place, (step, wrong) in enumerate(lines):
        label = f"{step}, {100 * wrong:.0f} % wrong labels"
        x, y = LEFT + 230 * (place % 4), 14 + 13 * (place // 4)
        marks.append(f'<text x="{x}" y="{y}" fill="{_colour(place)}">● {escape(label)}</text>')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" '
        f'font-size="11"><title>What own photos teach, on lifts of a foreign pool that no draw contains</title>'
        f'<rect width="100%" height="100%" fill="white"/>{"".join(marks)}</svg>\n'
    )


def _panel(panel: int, name: str, title: str, lines: Points, counts: list[int], shipped: Sequence[dict]) -> list[str]:
    shares = [_share(row[name]) for by in lines.values() for draws in by.values() for row in draws if name in row]
    shares += [_share(row[name]) for row in shipped if name in row]
    most = max([*shares, 0.02]) * 1.1
    left, bottom, high = LEFT + panel * PANEL, HEIGHT - GAP, HEIGHT - GAP - TOP - 20

    def x(count: int) -> float:
        return left + (PANEL - LEFT - 20) * counts.index(count) / max(len(counts) - 1, 1)

    def y(share: float) -> float:
        return bottom - high * share / most

    marks = [f'<text x="{left}" y="{TOP + 10}">{escape(title)}</text>']
    for share in (0.0, most / 1.1):
        marks.append(
            f'<line x1="{left}" x2="{left + PANEL - LEFT - 20}" y1="{y(share):.1f}" y2="{y(share):.1f}" stroke="#ddd"/>'
            f'<text x="{left - 6}" y="{y(share) + 4:.1f}" text-anchor="end">{100 * share:.0f} %</text>'
        )
    marks += [f'<text x="{x(count):.1f}" y="{HEIGHT - 6}" text-anchor="middle">{count}</text>' for count in counts]
    for place, by_count in enumerate(lines.values()):
        told = {0: shipped} | by_count
        told = {count: [_share(row[name]) for row in draws if name in row] for count, draws in told.items()}
        told = {count: drawn for count, drawn in told.items() if drawn}
        path = " ".join(f"{x(count):.1f},{y(mean(drawn)):.1f}" for count, drawn in told.items())
        marks.append(f'<polyline points="{path}" fill="none" stroke="{_colour(place)}"/>')
        for count, drawn in told.items():
            spot = x(count) + 2 * place
            marks.append(
                f'<line x1="{spot:.1f}" x2="{spot:.1f}" y1="{y(min(drawn)):.1f}" y2="{y(max(drawn)):.1f}" '
                f'stroke="{_colour(place)}"/><circle cx="{x(count):.1f}" cy="{y(mean(drawn)):.1f}" r="2.5" '
                f'fill="{_colour(place)}"/>'
            )
    return marks


def _colour(place: int) -> str:
    return COLOURS[place % len(COLOURS)]


def _share(found: dict) -> float:
    return found["hits"] / found["n"] if found["n"] else 0.0


def _with_interval(found: dict) -> str:
    """Of nothing at all a bootstrap knows nothing: there the exact one-sided bound is told."""
    if found["n"] and not found["hits"]:
        return f"0 of {found['n']} (at most {100 * (1 - 0.05 ** (1 / found['n'])):.1f} %)"
    low, high = found["interval_95"]
    return f"{100 * _share(found):.1f} % ({100 * low:.1f}–{100 * high:.1f}, n={found['n']})"


def _span(shares: Sequence[float]) -> str:
    return f"{100 * mean(shares):.1f} % ({100 * min(shares):.1f} to {100 * max(shares):.1f})"

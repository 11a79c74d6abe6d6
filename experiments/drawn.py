"""The table and the figure of the runs, drawn anew from `runs.jsonl`."""

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final

from experiments.prose import wrapped
from experiments.runs import Metric, Run

FAIR: Final = "heldout, fair close photos"
DRAWN: Final = {"generation": "#1f5f99", "lowering mechanism": "#b4491f"}
"""What the figure shows of each evaluation, by the name of the metric, and its colour."""

WIDTH, HEIGHT, LEFT, BOTTOM, TOP = 960, 380, 60, 90, 40


def page(runs: Sequence[Run]) -> str:
    """The page about all runs: the table, the figure, and what each of them taught."""
    parts = [
        _HEAD,
        *_table(run for run in runs if run.kind == "training"),
        "",
        _FIGURE,
        *_served(runs),
        "",
        "## What was learned",
        "",
    ]
    for run in runs:
        if run.kind != "evaluation":
            parts += _section(run)
    return wrapped("\n".join(parts).rstrip() + "\n")


_HEAD = """# Experiments

Written by `python -m experiments` from `runs.jsonl`; change that, not this page. A row there holds the run's parents
and their shares, its pictures, its figures with split, interval and n, what was decided, and what had been seen before.
What is absent in a row was not written down at the time.

## Trainings

| run | date | pictures learned | began from | decision |
| --- | --- | --- | --- | --- |"""

_FIGURE = """## Weights as served

![Share of fair close held-out photos read rightly, by the weights that were served](served.svg)

Held-out renders changed between the rows, mostly to harder ones, so that neighbours compare only roughly.

| served weights | generation, fair | lowering, fair | confirmed answers that are wrong, all photos |
| --- | --- | --- | --- |"""


def _table(runs: Iterable[Run]) -> list[str]:
    rows = []
    for run in runs:
        learned = sum(each.pictures for each in run.data if each.role == "training")
        began = ", ".join(
            f"{parent.run}" + (f" (share {parent.share:g})" if 0 < parent.share < 1 else "") for parent in run.parents
        )
        rows.append(f"| [{run.id}](#{run.id}) | {run.date} | {learned:,} | {began} | {run.decision} |")
    return rows


def _served(runs: Iterable[Run]) -> list[str]:
    rows = []
    for run in runs:
        if run.kind == "evaluation":
            cells = [
                _of(run, name, split)
                for name, split in (
                    ("generation", FAIR),
                    ("lowering mechanism", FAIR),
                    ("confirmed answers that are wrong", "heldout, all photos"),
                )
            ]
            rows.append(f"| {run.parents[0].run}, `{run.commit}` | {' | '.join(map(_cell, cells))} |")
    return rows


def _section(run: Run) -> list[str]:
    lines = [f'### <a id="{run.id}"></a>{run.title}', "", f"*{run.kind.capitalize()}, {run.date}*: {run.decision}."]
    lines += [text for text in (run.how, run.learned) if text]
    if run.seen_before_deciding:
        lines.append(f"Seen before deciding: {run.seen_before_deciding}")
    return [*lines, ""]


def _of(run: Run, name: str, split: str) -> Metric | None:
    return next((metric for metric in run.metrics if (metric.name, metric.split) == (name, split)), None)


def _cell(metric: Metric | None) -> str:
    return str(metric) if metric else "–"


def figure(runs: Sequence[Run]) -> str:
    """One SVG: for each evaluation the shares of fair held-out photos read rightly, with their 95 % intervals."""
    shown = [run for run in runs if run.kind == "evaluation"]
    step = (WIDTH - LEFT - 20) / max(len(shown), 1)
    marks = [_grid(share) for share in (50, 60, 70, 80, 90, 100)]
    for place, run in enumerate(shown):
        middle = LEFT + step * (place + 0.5)
        for offset, (name, colour) in zip((-5, 5), DRAWN.items(), strict=True):
            metric = _of(run, name, FAIR)
            if metric and metric.interval_95:
                marks.append(_interval(middle + offset, metric, colour))
        label = escape(f"{run.parents[0].run.removeprefix('weights-')} {run.commit}")
        low = HEIGHT - BOTTOM + 14
        marks.append(f'<text x="{middle:.1f}" y="{low}" transform="rotate(40 {middle:.1f} {low})">{label}</text>')
    for place, (name, colour) in enumerate(DRAWN.items()):
        marks.append(
            f'<text x="{LEFT + 180 * place}" y="20" fill="{colour}">● {escape(name)}, right, 95 % interval</text>'
        )
    title = "Fair close held-out photos read rightly, by the weights that were served"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        'font-family="sans-serif" font-size="11">'
        f'<title>{title}</title><rect width="100%" height="100%" fill="white"/>{"".join(marks)}</svg>\n'
    )


def _height_of(share: float) -> float:
    """Where a share in per cent stands: from 30 % at the bottom to 100 % at the top."""
    return TOP + (HEIGHT - BOTTOM - TOP) * (100 - share) / 70


def _grid(share: float) -> str:
    y = _height_of(share)
    return (
        f'<line x1="{LEFT}" x2="{WIDTH - 20}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ddd"/>'
        f'<text x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{share} %</text>'
    )


def _interval(x: float, metric: Metric, colour: str) -> str:
    low, high = (_height_of(max(share, 30)) for share in metric.interval_95 or ())
    return (
        f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{low:.1f}" y2="{high:.1f}" stroke="{colour}" stroke-width="2"/>'
        f'<circle cx="{x:.1f}" cy="{_height_of(metric.value):.1f}" r="3.5" fill="{colour}"/>'
    )

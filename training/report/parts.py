"""Pieces of the report's page: shares in words, tables, grids of figures, confusion tables, mistakes with pictures."""

import math
from collections.abc import Sequence
from html import escape

from guidance.monitor.shares import Z_95, Share

GLUE, JOIN = "\u00a0", "\u2060"  # no line ends here: a figure stays with its interval's ends and its n
RANKS = {3: "confirmed and wrong", 2: "wrong", 1: "missed", 0: "seen where none is"}


def share_words(row: dict) -> str:
    """A share with its interval and its n."""
    if not row["n"]:
        return f"– (n{GLUE}={GLUE}0)"
    low, high = Share(row["hits"], row["n"]).interval
    value = 100 * row["hits"] / row["n"]
    return f"{value:.1f}{GLUE}% ({100 * low:.1f}{JOIN}–{JOIN}{100 * high:.1f}), n{GLUE}={GLUE}{row['n']}"


def interval_words(value: float | None, interval: Sequence[float] | None, unit: str) -> str:
    """A figure with its interval; `unit` is `%` for a share, else nothing."""
    if value is None or value != value:
        return "–"
    factor, digits = (100, 1) if unit else (1, 2)
    words = f"{factor * value:.{digits}f}{' ' + unit if unit else ''}"
    if interval is None:
        return words
    low, high = (f"{factor * end:.{digits}f}" for end in interval)
    return f"{words} ({low}{JOIN}–{JOIN}{high})"


def area_interval(area: float, positive: int, negative: int) -> tuple[float, float]:
    """95 % interval of an area under ROC over so many cases: Hanley & McNeil 1982, from memory."""
    first, second = area / (2 - area), 2 * area**2 / (1 + area)
    spread = area * (1 - area) + (positive - 1) * (first - area**2) + (negative - 1) * (second - area**2)
    half = Z_95 * math.sqrt(max(spread, 0.0) / (positive * negative))
    return max(0.0, area - half), min(1.0, area + half)


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table that scrolls sideways by itself where the screen is narrow; the first column names the row."""
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>' + "".join(f"<td>{escape(cell)}</td>" for cell in row[1:]) + "</tr>"
        for row in rows
    )
    header = f"<thead><tr>{top}</tr></thead>" if any(heads) else ""
    return f'<div class="scroll" tabindex="0"><table>{header}<tbody>{body}</tbody></table></div>'


def figure_grid(blocks: Sequence[tuple[str, str, str]]) -> str:
    """Blocks (title, words, content) side by side as far as there is room."""
    figures = "".join(
        f"<figure><figcaption><b>{escape(title.replace('_', ' '))}</b><br>{escape(words)}</figcaption>"
        f"{content}</figure>"
        for title, words, content in blocks
    )
    return f'<div class="grid">{figures}</div>'


def confusion_table(classes: Sequence[str], counts: Sequence[Sequence[int]]) -> str:
    """Counts, shaded by their share of the true class; the right answers lie on the diagonal."""
    heads = "".join(f'<th scope="col">{escape(_short(name))}</th>' for name in classes)
    lines = []
    for number, (name, row) in enumerate(zip(classes, counts, strict=True)):
        total = max(sum(row), 1)
        cells = "".join(
            f'<td class="{_mark(column == number)}" style="--share:{count / total:.2f}">{count or ""}</td>'
            for column, count in enumerate(row)
        )
        lines.append(f'<tr><th scope="row">{escape(_short(name))}</th>{cells}<td class="sum">{sum(row)}</td></tr>')
    head = f'<thead><tr><th scope="col">true</th>{heads}<th scope="col">n</th></tr></thead>'
    body = f"{head}<tbody>{''.join(lines)}</tbody>"
    return f'<div class="scroll" tabindex="0"><table class="confusion">{body}</table></div>'


def mistakes_page(mistakes: Sequence[dict], mistaken: int, photos: int) -> str:
    """Pictures of the worst mistakes; true boxes are dashed green, read ones whole red."""
    cards = "".join(
        f'<figure class="mistake"><img loading="lazy" alt="{escape(m["what"])}" src="{m["picture"]}"><figcaption>'
        f"<b>{RANKS[m['rank']]}</b>{_sureness(m)}<br>{escape(m['what'])}<br>"
        f"<small>{escape(m['name'])} · {escape(', '.join(m['conditions']))}</small></figcaption></figure>"
        for m in mistakes
    )
    words = share_words(Share(mistaken, photos).as_dict())
    return (
        f"<p>Photos with any mistake at all: {words}. Shown are the worst {len(mistakes)}: confirmed and wrong first, "
        "then the surest wrong ones. True boxes are dashed green, read ones whole red.</p>"
        f'<div class="grid pictures">{cards}</div>'
    )


def _sureness(mistake: dict) -> str:
    return "" if mistake["rank"] == 1 else f", {100 * mistake['sure']:.0f} % sure"


def _mark(right: bool) -> str:
    return "hit" if right else "miss"


def _short(name: str) -> str:
    return name.replace("not_visible", "hidden").replace("_", " ")

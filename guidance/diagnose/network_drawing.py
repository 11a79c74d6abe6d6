"""The fault network of a catalogue as a drawing: circumstances left, faults in the middle, findings right."""

from collections.abc import Mapping, Sequence
from html import escape

from guidance.catalogue.catalogue import Catalogue
from guidance.catalogue.fault_rows import Fault

Places = Mapping[tuple[str, str], tuple[int, int]]
"""Where each row stands, in pixels, by its kind and id."""

ROW_PX, TOP_PX, TEXT_PX = 26, 70, 13
COLUMNS_PX = {"context": 20, "fault": 560, "finding": 1080}
LABEL_PX = {"context": 390, "fault": 290}
WIDTH_PX = 1500

LEAST_EFFECT = 0.25
"""Links weaker than this are left out: the drawing is to be read, not to be complete."""

NOTE = f"Darker means stronger; what changes a normal outcome by less than {LEAST_EFFECT:.0%} is left out."


def network_svg(catalogue: Catalogue, generation: str | None = None) -> str:
    """A standalone SVG; with a generation, only the faults that it can have."""
    faults = [row for row in catalogue.faults if not row.generations or generation in (None, *row.generations)]
    rows = {
        "context": [(row.id, row.ask) for row in catalogue.contexts],
        "fault": [(row.id, row.name) for row in faults],
        "finding": [(row.id, row.name) for row in catalogue.findings],
    }
    height = TOP_PX + ROW_PX * max(len(column) for column in rows.values()) + 20
    places = {
        (kind, name): (COLUMNS_PX[kind], TOP_PX + ROW_PX * number)
        for kind, column in rows.items()
        for number, (name, _) in enumerate(column)
    }
    title = f"Fault network of {catalogue.pool.title}" + (f", {generation}" if generation else "")
    links = [*_shifts(faults, places), *_effects(catalogue, faults, places)]
    heads = {"context": "Circumstances", "fault": "Faults", "finding": "Findings"}
    labels = [_text(COLUMNS_PX[kind], 44, head, bold=True) for kind, head in heads.items()]
    labels += [
        _text(*places[kind, name], words if len(words) < 56 else words[:54] + "…")
        for kind, column in rows.items()
        for name, words in column
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH_PX} {height}" width="{WIDTH_PX}" '
        f'height="{height}" role="img" aria-labelledby="title" font-family="sans-serif" font-size="{TEXT_PX}">'
        f'<title id="title">{escape(title)}</title><rect width="100%" height="100%" fill="#ffffff"/>'
        f"{_text(20, 20, title, bold=True)}{_text(620, 20, NOTE)}{''.join(links)}{''.join(labels)}</svg>\n"
    )


def _shifts(faults: Sequence[Fault], places: Places) -> list[str]:
    """From circumstances to the faults that they make likelier or rarer."""
    return [
        _line(places["context", context], places["fault", row.id], max(by_answer.values()) / 4, "#8a5a00", "context")
        for row in faults
        for context, by_answer in row.factors.items()
    ]


def _effects(catalogue: Catalogue, faults: Sequence[Fault], places: Places) -> list[str]:
    """From faults to findings, darker the more they change the normal outcome."""
    known = {row.id for row in faults}
    return [
        _line(places["fault", fault], places["finding", row.id], row.background[0] - effect[0], "#1d4f91", "fault")
        for row in catalogue.findings
        for fault, effect in row.effects.items()
        if fault in known and row.background[0] - effect[0] >= LEAST_EFFECT
    ]


def _line(start: tuple[int, int], end: tuple[int, int], strength: float, colour: str, kind: str) -> str:
    """A line from behind the words of its start, a node of `kind`, to its end."""
    opacity = min(0.85, max(0.12, strength * 0.8))
    from_to = f'x1="{start[0] + LABEL_PX[kind]}" y1="{start[1] - 4}" x2="{end[0] - 6}" y2="{end[1] - 4}"'
    return f'<line {from_to} stroke="{colour}" stroke-opacity="{opacity:.2f}"/>'


def _text(x: int, y: int, words: str, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x}" y="{y}" fill="#14181f"{weight}>{escape(words)}</text>'

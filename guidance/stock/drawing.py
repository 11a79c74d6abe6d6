"""The plan of a stock as a picture: for each part what it is asked for, how many to keep, and how many are served."""

from html import escape

from guidance.stock.plan import Plan, Row

ROW_PX, TOP_PX, TEXT_PX, WIDTH_PX = 26, 96, 13, 1180
NAME_PX, BAR_PX, BARS_WIDE_PX, SERVED_PX, MORE_PX = 20, 420, 360, 810, 930
ASKED, KEPT, INK = "#8a5a00", "#1d4f91", "#14181f"


def stock_svg(plan: Plan, title: str) -> str:
    """A standalone SVG. A bar is the level; the narrow bar in it is what is asked for in a lead time."""
    height = TOP_PX + ROW_PX * len(plan.rows) + 20
    most = max(1.0, *(float(row.level) for row in plan.rows), *(row.asked_in_lead_time for row in plan.rows))
    heads = [
        _text(NAME_PX, 28, title, bold=True),
        _text(NAME_PX, 52, f"Every job is served at once {plan.service:.1%} of the time or more. {_year(plan)}"),
        _text(NAME_PX, 80, "Part", bold=True),
        _text(BAR_PX, 80, "Keep (wide bar), asked for in a lead time (narrow)", bold=True),
        _text(SERVED_PX, 80, "At once", bold=True),
        _text(MORE_PX, 80, "One more spare saves", bold=True),
    ]
    rows = [line for n, row in enumerate(plan.rows) for line in _row(row, TOP_PX + ROW_PX * n, BARS_WIDE_PX / most)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH_PX} {height}" width="{WIDTH_PX}" '
        f'height="{height}" role="img" aria-labelledby="title" font-family="sans-serif" font-size="{TEXT_PX}">'
        f'<title id="title">{escape(title)}</title><rect width="100%" height="100%" fill="#ffffff"/>'
        f"{''.join(heads)}{''.join(rows)}</svg>\n"
    )


def _year(plan: Plan) -> str:
    return f"A year costs {plan.cost:.0f}; lifts wait {plan.days_waited:.1f} days in all."


def _row(row: Row, top: int, px_a_piece: float) -> list[str]:
    name = f"{row.number} {row.name}"
    return [
        _text(NAME_PX, top + 14, name if len(name) < 58 else name[:56] + "…"),
        _bar(top + 1, 17, row.level * px_a_piece, KEPT),
        _bar(top + 7, 5, row.asked_in_lead_time * px_a_piece, ASKED),
        _text(BAR_PX + int(row.level * px_a_piece) + 6, top + 14, str(row.level)),
        _text(SERVED_PX, top + 14, f"{row.served:.1%}"),
        _text(MORE_PX, top + 14, f"{row.one_more.days_saved:.2f} days a year, costs {row.one_more.cost_more:+.2f}"),
    ]


def _bar(top: int, high: int, wide: float, colour: str) -> str:
    return f'<rect x="{BAR_PX}" y="{top}" width="{wide:.1f}" height="{high}" fill="{colour}"/>'


def _text(x: int, y: int, words: str, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x}" y="{y}" fill="{INK}"{weight}>{escape(words)}</text>'

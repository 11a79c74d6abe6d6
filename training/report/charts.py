"""The report's pictures of numbers, as SVG text: no script, no font, nothing fetched from anywhere.

Colours come from the page's variables, so that they follow its light or dark ground; nothing is told by colour alone.
"""

from collections.abc import Callable, Sequence
from html import escape

WIDTH, HEIGHT = 340, 240
LEFT, RIGHT, TOP, BOTTOM = 58, 22, 12, 40


def reliability_chart(bins: Sequence[dict]) -> str:
    """Share right against confidence, with each bin's interval; the size of a dot grows with its cases."""
    x, y = _linear(0, 1, LEFT, WIDTH - RIGHT), _linear(0, 1, HEIGHT - BOTTOM, TOP)
    most = max((row["n"] for row in bins), default=1)
    marks = [f'<line class="ideal" x1="{x(0)}" y1="{y(0)}" x2="{x(1)}" y2="{y(1)}"/>']
    for row in bins:
        at, (low, high) = x(row["confidence"]), row["interval_95"]
        marks.append(f'<line class="whisker" x1="{at}" y1="{y(low)}" x2="{at}" y2="{y(high)}"/>')
        title = f"{_percent(row['confidence'])} sure: {_percent(row['share'])} right, n = {row['n']}"
        radius = 2 + 4 * (row["n"] / most) ** 0.5
        marks.append(f'<circle class="dot" cx="{at}" cy="{y(row["share"])}" r="{radius:.1f}">{_title(title)}</circle>')
    axes = _axes(_shares(x), _shares(y), "how sure", "how often right")
    return _svg(axes + marks, "Reliability: how often right against how sure")


def risk_chart(curve: Sequence[Sequence[float]]) -> str:
    """Share of wrong answers against the share answered, with its interval as a band."""
    if not curve:
        return ""
    shown = curve[:: max(1, len(curve) // 120)] + [curve[-1]]
    highest = max(0.1, min(1.0, 1.15 * max(risk for _, risk, _, _ in shown[len(shown) // 10 :])))
    x, y = _linear(0, 1, LEFT, WIDTH - RIGHT), _linear(0, highest, HEIGHT - BOTTOM, TOP)
    band = [(x(c), y(min(high, highest))) for c, _, _, high in shown]
    band += [(x(c), y(min(low, highest))) for c, _, low, _ in reversed(shown)]
    line = [(x(c), y(min(risk, highest))) for c, risk, _, _ in shown]
    marks = [f'<polygon class="band" points="{_points(band)}"/>', f'<polyline class="line" points="{_points(line)}"/>']
    ticks = [(y(highest * part), _percent(highest * part)) for part in (0, 0.25, 0.5, 0.75, 1)]
    axes = _axes(_shares(x), ticks, "share of cases answered, surest first", "wrong")
    return _svg(axes + marks, "Risk against coverage")


def bins_chart(bins: Sequence[dict], unit: str, target: float) -> str:
    """Share right in each bin of a quantity, with intervals and numbers of cases; `target` is drawn as a line."""
    count = max(len(bins), 1)
    step = (WIDTH - LEFT - RIGHT) / count
    y = _linear(0, 1, HEIGHT - BOTTOM, TOP)
    marks = [f'<line class="ideal" x1="{LEFT}" y1="{y(target)}" x2="{WIDTH - RIGHT}" y2="{y(target)}"/>']
    ticks = []
    for place, row in enumerate(bins):
        at = LEFT + step * (place + 0.5)
        ticks.append((at, f"{row['from']:g}" + ("+" if row["to"] is None else "")))
        if not row["n"]:
            continue
        low, high = row["interval_95"]
        top = y(row["share"])
        inside = "count" if y(0) - top > 14 else "count over"  # white on the bar, ink where there is none
        title = f"{row['from']:g} to {row['to'] or '…'} {unit}: {_percent(row['share'])} right, n = {row['n']}"
        marks.append(
            f'<rect class="bar" x="{at - step * 0.36:.1f}" y="{top}" width="{step * 0.72:.1f}" '
            f'height="{max(y(0) - top, 0.5):.1f}">{_title(title)}</rect>'
            f'<line class="whisker" x1="{at:.1f}" y1="{y(low)}" x2="{at:.1f}" y2="{y(high)}"/>'
            f'<text class="{inside}" x="{at:.1f}" y="{y(0) - 4}">{row["n"]}</text>'
        )
    return _svg(_axes(ticks, _shares(y), f"from … {unit}", "right") + marks, f"Share right by {unit}")


def sizes_chart(sizes: Sequence[int]) -> str:
    """How many prediction sets hold one, two, … values."""
    total = max(sum(sizes), 1)
    bins = [{"from": n, "to": n, "n": count, "share": count / total} for n, count in enumerate(sizes, start=1)]
    step = (WIDTH - LEFT - RIGHT) / len(bins)
    y = _linear(0, 1, HEIGHT - BOTTOM, TOP)
    marks, ticks = [], []
    for place, row in enumerate(bins):
        at, top = LEFT + step * (place + 0.5), y(row["share"])
        title = f"{row['n']} sets of {row['from']}"
        ticks.append((at, str(row["from"])))
        marks.append(
            f'<rect class="bar" x="{at - step * 0.3:.1f}" y="{top}" width="{step * 0.6:.1f}" '
            f'height="{max(y(0) - top, 0.5):.1f}">{_title(title)}</rect>'
            f'<text class="count over" x="{at:.1f}" y="{max(top - 4, TOP + 8):.1f}">{row["n"]}</text>'
        )
    return _svg(_axes(ticks, _shares(y), "values in the set", "share of cases") + marks, "Sizes of prediction sets")


def _svg(marks: Sequence[str], title: str) -> str:
    body = "".join(marks)
    return f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(title)}">{body}</svg>'


def _axes(
    across: Sequence[tuple[float, str]], up: Sequence[tuple[float, str]], across_label: str, up_label: str
) -> list[str]:
    floor, middle = HEIGHT - BOTTOM, (TOP + HEIGHT - BOTTOM) / 2
    marks = [f'<line class="axis" x1="{LEFT}" y1="{floor}" x2="{WIDTH - RIGHT}" y2="{floor}"/>']
    for at, text in across:
        marks.append(f'<text class="tick" x="{at:.1f}" y="{floor + 14}" text-anchor="middle">{text}</text>')
    for at, text in up:
        marks.append(f'<line class="grid" x1="{LEFT}" y1="{at}" x2="{WIDTH - RIGHT}" y2="{at}"/>')
        marks.append(f'<text class="tick" x="{LEFT - 5}" y="{at + 3.5:.1f}" text-anchor="end">{text}</text>')
    below = f'x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 6}"'
    marks.append(f'<text class="label" {below} text-anchor="middle">{escape(across_label)}</text>')
    turned = f'transform="translate(11 {middle}) rotate(-90)"'
    marks.append(f'<text class="label" {turned} text-anchor="middle">{escape(up_label)}</text>')
    return marks


def _linear(low: float, high: float, from_px: float, to_px: float) -> Callable[[float], float]:
    return lambda value: round(from_px + (value - low) / (high - low) * (to_px - from_px), 1)


def _shares(axis: Callable[[float], float]) -> list[tuple[float, str]]:
    return [(axis(part), _percent(part)) for part in (0, 0.25, 0.5, 0.75, 1)]


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"


def _points(pairs: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x},{y}" for x, y in pairs)


def _title(text: str) -> str:
    return f"<title>{escape(text)}</title>"

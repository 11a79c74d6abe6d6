"""The curves' table and figure say what the rows say."""

from pathlib import Path
from xml.etree import ElementTree

from experiments.curves import curves_figure, curves_page, points, read_curves, table

ROOM = Path(__file__).parents[2] / "experiments"


def row(step: str, photos: int, wrong: float, draw: int, hits: int, **more) -> dict:
    found = {"hits": hits, "n": 20, "interval_95": [0.1, 0.4]}
    names = ("lowering_wrong", "confirmed", "confirmed_wrong", "right")
    return {"step": step, "photos": photos, "wrong_labels": wrong, "draw": draw} | dict.fromkeys(names, found) | more


ROWS = [
    row("shipped", 0, 0.0, 0, 5),
    row("heads", 30, 0.0, 0, 4, promoted=True),
    row("heads", 30, 0.0, 1, 2, promoted=False),
    row("heads", 30, 0.15, 0, 6, promoted=False),
]


def test_draws_are_gathered_by_step_wrong_labels_and_photos():
    assert {line: {n: len(draws) for n, draws in by.items()} for line, by in points(ROWS).items()} == {
        ("heads", 0.0): {30: 2},
        ("heads", 0.15): {30: 1},
    }
    lines = table(ROWS)
    assert lines[2].startswith("| as delivered | 0 | – | – | 25.0 % (10.0–40.0, n=20) |")
    assert lines[3].startswith("| heads | 30 | 0 % | 2, 1 | 15.0 % (10.0 to 20.0) |")


def test_the_figure_is_a_picture_that_can_be_read():
    drawing = ElementTree.fromstring(curves_figure(ROWS))
    assert sum(part.tag.endswith("polyline") for part in drawing.iter()) == 2 * 4


def test_the_committed_page_and_figure_are_those_of_the_rows():
    rows = read_curves()
    if rows:
        assert (ROOM / "CURVES.md").read_text("utf-8") == curves_page(rows)
        assert (ROOM / "curves.svg").read_text("utf-8") == curves_figure(rows)

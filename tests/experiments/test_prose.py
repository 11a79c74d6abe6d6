"""Prose is wrapped, and nothing else is touched."""

from hypothesis import given
from hypothesis import strategies as st

from experiments.prose import WIDTH, wrapped

CODE = "```\n" + "x = 1  " * 40 + "\n\n- no item\n```"
TABLE = "| a | b |\n| --- | --- |\n| " + "long " * 40 + "| b |"


def test_code_tables_and_headings_stay_as_they_are():
    indented = TABLE.replace("| ", "  | ", 1)
    page = f"# Heading\n\n{indented}\n\n{TABLE}\n\n{CODE}\n\n    indented {'code ' * 40}\n"
    assert wrapped(page) == page


def test_an_item_is_indented_under_its_mark():
    lines = wrapped("- " + "word " * 40).splitlines()
    assert len(lines) == 2 and lines[0].startswith("- word") and lines[1].startswith("  word")


@given(st.lists(st.lists(st.from_regex(r"[a-z]{1,12}", fullmatch=True), min_size=1, max_size=60), max_size=5))
def test_words_stay_in_their_order_and_lines_short(paragraphs: list[list[str]]):
    page = "\n\n".join(" ".join(words) for words in paragraphs)
    assert wrapped(page).split() == page.split()
    assert all(len(line) <= WIDTH for line in wrapped(page).splitlines())
    assert wrapped(wrapped(page)) == wrapped(page)

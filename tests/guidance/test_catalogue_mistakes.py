"""Whoever mistypes something in a catalogue reads where it stands, what came, what is wanted and what to do."""

import copy
import re
import shutil
import tomllib
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from pydantic import ValidationError

from classifier.errors import CatalogueError
from guidance.catalogue.catalogue import Catalogue, load
from guidance.catalogue.mistakes import Problem, reason
from guidance.catalogue.new_pool import new_pool
from guidance.catalogue.places import line_at, lines_of

TABLE = tomllib.loads((Path(__file__).parent / "catalogue_mistakes.toml").read_text(encoding="utf-8"))["mistakes"]
OTHERS_WORDS = re.compile(r"\b(Input|String|Tuple|Dictionary|List|Value|Field|Extra|Assertion) ")
"""How the library that reads rows begins its own messages, in words for programmers."""


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    new_pool(folder := tmp_path_factory.mktemp("written") / "pool")
    return folder


@pytest.fixture
def pool(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "pool"))


def problems(pool: Path) -> tuple[Problem, ...]:
    with pytest.raises(CatalogueError) as caught:
        load(pool)
    return caught.value.problems


@pytest.mark.parametrize("mistake", TABLE, ids=lambda mistake: mistake["what"])
def test_a_mistake_is_told(mistake: dict, pool: Path):
    file = pool / mistake["file"]
    text = file.read_text(encoding="utf-8")
    old = mistake.get("old", text)
    assert old in text, "the pool has changed; change the table"
    file.write_text(text.replace(old, mistake["new"], 1), encoding="utf-8")
    found = problems(pool)
    told = [problem for problem in found if all(words in str(problem) for words in mistake["says"])]
    assert told, "\n".join(map(str, found))
    assert told[0].file == mistake.get("at", mistake["file"])
    for problem in found:
        assert not OTHERS_WORDS.search(problem.reason)
        assert_the_line_holds_it(problem, pool)


def assert_the_line_holds_it(problem: Problem, pool: Path) -> None:
    """The line that is named begins with the field, or with what the field stands in."""
    if number := re.search(r"line (\d+)", problem.where):
        line = (pool / problem.file).read_text(encoding="utf-8").splitlines()[int(number[1]) - 1]
        path = re.findall(r"[\w-]+", problem.where.split(" (")[0])
        assert "TOML" in problem.reason or any(re.search(rf"(^|[\[.]){re.escape(step)}\b", line) for step in path), line


def test_the_table_is_long_and_says_something_of_each():
    assert len({mistake["what"] for mistake in TABLE}) == len(TABLE) >= 100
    assert all(len(mistake["says"]) >= 2 for mistake in TABLE)


def leaves(value: object, path: tuple = ()) -> Iterator[tuple]:
    """Paths to every value of the first row of each section, tables and lists included."""
    if path:
        yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list) and value:
        yield from leaves(value[0], (*path, 0))


@pytest.mark.thorough
def test_a_value_of_any_wrong_kind_is_told_in_plain_words_wherever_it_stands(pool: Path):
    sections: dict = {}
    for file in pool.glob("*.toml"):
        sections |= tomllib.loads(file.read_text(encoding="utf-8"))
    refused = 0
    for path in leaves(sections):
        for wrong in ("", "Two words", -1, 7.5, True, date(2026, 1, 31), [], [[]], {}, {"no": {}}, float("nan")):
            changed = copy.deepcopy(sections)
            at = changed
            for step in path[:-1]:
                at = at[step]
            at[path[-1]] = wrong
            try:
                Catalogue.model_validate(changed)
            except ValidationError as error:
                for detail in error.errors():
                    told = reason(detail, Catalogue)
                    assert re.match(r"came .+, wanted .+|is missing; (add|wanted) .+|no such .+", told), (path, told)
                    assert not OTHERS_WORDS.search(told), (path, told)
                    refused += 1
    assert refused > 1000


def test_a_line_is_found_in_every_way_to_write_it():
    text = """
# [comment]
[pool]
id = "a" # x = [
list = [
  "one", # ]
  "two",
]
after = 1
'quoted' = 2
sub.key = 3
[[rows]]
id = "first"
[[rows.steps]]
id = "s"
[rows.table]
a-b = 1
[[rows]]
text = '''
id = "no field"
'''
[[rows.steps]]
id = "t"
"""
    wanted = {
        ("pool",): 3, ("pool", "id"): 4, ("pool", "list"): 5, ("pool", "list", 1): 5, ("pool", "after"): 9,
        ("pool", "quoted"): 10, ("pool", "sub", "key"): 11, ("rows", 0, "id"): 13, ("rows", 0, "steps", 0, "id"): 15,
        ("rows", 0, "table", "a-b"): 17, ("rows", 1): 18, ("rows", 1, "text"): 19, ("rows", 1, "id"): 18,
        ("rows", 1, "steps", 0, "id"): 23, ("nowhere",): None,
    }  # fmt: skip
    assert {path: line_at(lines_of(text), path) for path in wanted} == wanted


@pytest.mark.parametrize(
    ("bytes_", "says"),
    [
        (b'\xef\xbb\xbf[pool]\nid = "x"\n', "pool.version"),
        ("[pool]\nid = 'é'\n".encode("latin-1"), "is not text in UTF-8"),
        (b"[pool]\r\nid = 7\r\n", "came 7, wanted text in quotes"),
        (b"", "pool: is missing; add the section"),
    ],
)
def test_what_editors_do_to_a_file_is_read_or_told(pool: Path, bytes_: bytes, says: str):
    (pool / "pool.toml").write_bytes(bytes_)
    assert any(says in str(problem) for problem in problems(pool))


def test_every_file_that_cannot_be_read_is_named_at_once(pool: Path):
    (pool / "pool.toml").write_text("[pool\n", encoding="utf-8")
    (pool / "parts.toml").write_text("[[parts]\n", encoding="utf-8")
    (pool / "more.toml").write_text("[corrections]\nreliability = 0.9\n", encoding="utf-8")
    assert {(found.file, found.where[:6]) for found in problems(pool)} == {
        ("pool.toml", "line 1"), ("parts.toml", "line 1"), ("observations.toml", "correc"),
    }  # fmt: skip

"""The index of outside checks is whole: every file that it names exists, and every file that has one is named."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = ROOT / "tests"
INDEX = TESTS / "outside" / "README.md"
MODULE_OF = {"scikit-image": "skimage", "scikit-learn": "sklearn"}
"""Import names that are not those of the package, dashes aside."""

FIRST_OUTSIDER = "biip"
"""The extra `test` lists the tools first, then other people's implementations; this is the first of those."""

SOURCE_MARK = re.compile(
    r"from memory|\((?:[a-z]+ )?read(?:\)| where )|\bSources?(?: of [a-z ]+)?: "
    r"|\b(?:RFC|ISO|IEC|WCAG|arXiv|CIPA DC-|ANSI Z) ?\d"
)
"""How a check names what it checks against: a word for where a value is from, or the number of a standard."""

HOW = {"read", "computed", "from memory", "library"}


def rows() -> list[list[str]]:
    lines = [line for line in INDEX.read_text("utf-8").splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def named() -> set[str]:
    return {name for row in rows() for name in re.findall(r"`([^`]+)`", row[3])}


def outside_modules() -> list[str]:
    extra = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]["test"]
    packages = [re.match(r"[\w-]+", entry)[0] for entry in extra]
    return [MODULE_OF.get(p, p.replace("-", "_")) for p in packages[packages.index(FIRST_OUTSIDER) :]]


def has_outside_check(path: Path, imports: re.Pattern) -> bool:
    text = path.read_text("utf-8")
    return bool(SOURCE_MARK.search(text) or imports.search(text))


def test_every_file_in_the_index_exists() -> None:
    assert rows()
    assert sorted(name for name in named() if not (TESTS / name).is_file()) == []


def test_every_file_that_names_a_source_or_imports_an_outside_implementation_is_in_the_index() -> None:
    modules = "|".join(outside_modules())
    imports = re.compile(rf"^\s*(?:from|import) (?:{modules})\b|importorskip\(\"(?:{modules})\"", re.MULTILINE)
    files = [p for p in (*TESTS.rglob("*.py"), *TESTS.rglob("networks/*.toml")) if p != Path(__file__)]
    marked = {str(p.relative_to(TESTS)) for p in files if has_outside_check(p, imports)}
    assert len(marked) > 20
    assert sorted(marked - named()) == []


def test_every_row_says_what_against_which_source_and_how_its_value_was_had() -> None:
    assert [row for row in rows() if len(row) != 4 or not all(row)] == []
    assert {part.strip() for row in rows() for part in row[2].split(",")} <= HOW


def test_a_file_with_a_mark_is_told_from_one_without(tmp_path: Path) -> None:
    imports = re.compile(r"^import sklearn\b", re.MULTILINE)
    texts = {
        '"""ISO 13850 (from memory)."""': True, "import sklearn\n": True, "# Source: GS1": True, "# RFC 9457": True,
        'source = "x"\n': False, "in memory\n": False, "import sklearnish\n": False,
    }  # fmt: skip
    for text, wanted in texts.items():
        (tmp_path / "one.py").write_text(text)
        assert has_outside_check(tmp_path / "one.py", imports) is wanted, text

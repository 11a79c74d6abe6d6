"""A catalogue whose advice is unsafe is refused, and what is said names file, row and what to do."""

import re
import shutil

import pytest

from classifier.errors import CatalogueError
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from guidance.catalogue.safety_checks import safety_problems


@pytest.fixture
def told(tmp_path):
    """Copy the demo catalogue with a pattern replaced in one file, load it, and give what is said."""

    def change(file: str, pattern: str, new: str, count: int = 0) -> str:
        target = tmp_path / "pool"
        shutil.copytree(DEMO_CATALOGUE, target)
        text = (target / file).read_text(encoding="utf-8")
        changed, times = re.subn(pattern, new, text, count=count, flags=re.MULTILINE)
        assert times, f"{pattern!r} is not in {file}"
        (target / file).write_text(changed, encoding="utf-8")
        with pytest.raises(CatalogueError) as caught:
            load(target)
        return str(caught.value)

    return change


SAFETY, WORDING, MECHANISMS = "safety.toml", "wording.toml", "mechanisms.toml"
AS_A_CAREGIVER = "minutes = { caregiver = 2.0, "


@pytest.mark.parametrize(
    ("file", "pattern", "new", "says"),
    [
        (SAFETY, r"\[\[cautions\]\]\n(?:.+\n)*", "", "cautions: is missing or empty; want sentences for the moments"),
        (SAFETY, r"\[\[stop_signs(\.occupied)?\]\]\n(?:.+\n)*", "", "stop_signs: is missing or empty; want the signs"),
        (SAFETY, r"\[\[stop_signs\.occupied\]\]\nid = \"heat-(?:.+\n)*", "", "occupied ('heat'"),
        (SAFETY, r'moment = "emergency"', 'moment = "duties"', "nothing is said to the role caregiver at the moment"),
        (SAFETY, r'^beside = \["bypass:adapter"\]\n', "", "the moment 'beside' names the acts with which it is said"),
        (SAFETY, r'press:stop"\]', 'press:stopp"]', "did you mean 'press:stop'?"),
        (
            SAFETY,
            r'(id = "moves-unasked-up-2"\ntext = ")Hold the person steady',
            r"\1Twist the knob",
            "“Twist” belongs to one mechanism",
        ),
        (
            SAFETY,
            r'(id = "heat-up-3"\n(?:.+\n)*)',
            r'\1acts = ["release:stop"]\n',
            "orders release:stop, though 'heat-up-1' before it orders press:stop; one of them must go",
        ),
        (
            SAFETY,
            r'(id = "heat-up-3"\n(?:.+\n)*)',
            r'\1acts = ["press:raise"]\n',
            "orders press:raise, which 'heat-up-1' before it forbids",
        ),
        (
            SAFETY,
            r'(id = "heat-up-3"\n(?:.+\n)*)',
            r'\1requires = ["stop:released"]\n',
            "requires stop:released, which 'heat-up-1' before it ends by press:stop",
        ),
        (
            SAFETY,
            r'(id = "heat-up-3"\n(?:.+\n)*)',
            r'\1forbids = ["unplug:charger"]\n',
            "forbids unplug:charger, which 'heat-up-2' before it orders",
        ),
        (SAFETY, r"^once_down = true\n", "", "keeps people away while somebody hangs in the lift"),
        (
            SAFETY,
            r'(\[\[stop_signs\]\]\nid = "heat"\n)',
            r'\1roles = ["technician"]\n',
            "is not told to caregiver, agent; everybody must know what to do",
        ),
        (WORDING, r'place = "lowering_open"', 'place = "lowering_before"', "no sentence at 'lowering_open'"),
        (WORDING, r'^acts = \["call:help"\]\n', "", "nothing in the way down tells the role caregiver to call"),
        (WORDING, r'^acts = \["prepare:landing"\]\n', "", "to have a chair or bed under the person"),
        (WORDING, r"(id = \"open-5\"\n.*\ntext = \")Look", r"\1Pinch both tabs. Look", "“Pinch” belongs to one mechan"),
        (
            WORDING,
            r'^acts = \["read:instructions"\]\n',
            'acts = ["lower:by_hand"]\n',
            "works a mechanism that is not known here",
        ),
        (
            WORDING,
            r"(\[\[sentences\]\]\nid = \"before-2\"\n(?:.+\n)*)\n((?:.+\n)*)\n((?:.+\n)*)",
            r"\3\n\2\n\1",
            "comes before a chair or bed is under the person",
        ),
        (MECHANISMS, r'^acts = \["lower:by_hand"\]\n', "", "no step works the mechanism; mark the one that does"),
        (
            MECHANISMS,
            r'(id = "lower-none-2"\n(?:.+\n)*?)acts = \["call:help"\]',
            r'\1acts = ["lower:by_hand"]',
            "'lower-none-2' works a mechanism where there is none",
        ),
        (
            MECHANISMS,
            r'(id = "lower-tabs-3"\n)',
            r'\1roles = ["technician"]\n',
            "a step that somebody misses makes the rest dangerous",
        ),
        ("checks.toml", r"minutes = \{ agent = 4.0, ", AS_A_CAREGIVER + "agent = 4.0, ", "a swap is no caregiver's"),
        ("repairs.toml", r"minutes = \{ agent = 18.0, ", AS_A_CAREGIVER, "a replace is no caregiver's"),
        ("findings.toml", r'signs = \{ damaged = "cut_or_burnt" \}', 'signs = { cut = "heat" }', "'cut' is none of"),
        ("faults.toml", r'signs = \{ yes = "wet_parts" \}', 'signs = { yes = "wet" }', "'wet' is no stop sign"),
    ],
)
def test_unsafe_advice_is_refused(told, file, pattern, new, says):
    found = told(file, pattern, new)
    assert says in found, found
    assert file in found or says.startswith(("cautions", "stop_signs"))


def test_a_generation_that_nothing_fits_is_named():
    """Every part and fault is made to fit other generations than `hung-top`; one that does is enough."""
    catalogue = load(DEMO_CATALOGUE)
    assert not list(safety_problems(catalogue))
    fields = {name: getattr(catalogue, name) for name in type(catalogue).model_fields}
    for section in ("parts", "faults"):
        rows = (row.model_copy(update={"generations": ("sealed-top",)}) for row in fields[section])
        assert not [path for path, _ in safety_problems(type(catalogue).model_construct(**fields)) if path[1:]]
        fields[section] = tuple(rows)
    found = list(safety_problems(type(catalogue).model_construct(**fields)))
    assert (("generations", 2), "no part and no fault fits 'hung-top'; add it to the generations of some") in found

"""A catalogue: whose lifts these are, read from TOML files, checked whole, then never changed.

A catalogue is one `.toml` file or a directory of them. The files are merged: a section (a top-level key) stands in one
file only, so that every row has one place.
"""

import tomllib
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from classifier.errors import CatalogueError
from classifier.taxonomy import CONCEPTS
from guidance.catalogue.checks import problems_of
from guidance.catalogue.derived_questions import correction, which_box
from guidance.catalogue.fault_network import compile_faults
from guidance.catalogue.hypotheses import Hypotheses, hypotheses_of
from guidance.catalogue.mistakes import Problem, problem, reason, syntax_problem
from guidance.catalogue.rows import Observation
from guidance.catalogue.sections import Sections
from guidance.network.inference import Space

DEMO_CATALOGUE = Path(__file__).parent / "demo"
"""The invented equipment loan pool that comes with the project."""


class Catalogue(Sections):
    """A whole catalogue; `load` makes one."""

    @cached_property
    def questions(self) -> tuple[Observation, ...]:
        """Every question: which of the listed boxes it is most like, and the rows of `observations`."""
        return (which_box(self), *self.observations)

    @cached_property
    def observations_by_id(self) -> dict[str, Observation]:
        """Every observation that may be given: the questions, and one correction for each concept."""
        return {o.id: o for o in (*self.questions, *(correction(concept, self) for concept in CONCEPTS))}

    @cached_property
    def hypotheses(self) -> Hypotheses:
        """Every lift that there could be; listed when first asked for."""
        return hypotheses_of(self)

    @cached_property
    def fault_space(self) -> Space:
        """The compiled network of the faults; built when first asked for."""
        return compile_faults(self)

    @cached_property
    def component_masks(self) -> np.ndarray:
        """For each component, in its row's order, the hypotheses with a fault of it: (components, H) flags."""
        causes = [self.faults_by_id[node.id].component for node in self.fault_space.cause_nodes]
        fault_of = np.array([[component == row.id for component in causes] for row in self.components], dtype=float)
        return (fault_of @ self.fault_space.hypotheses.T > 0).astype(float)


def load(path: Path) -> Catalogue:
    """Read and check a catalogue. Raises `CatalogueError` with every problem found: file, line, row and reason."""
    sections, texts = _read(_files(path))
    try:
        catalogue = Catalogue.model_validate(sections)
    except ValidationError as error:
        raise CatalogueError(
            tuple(problem(d["loc"], reason(dict(d), Catalogue), sections, texts, path.name) for d in error.errors())
        ) from None
    found = tuple(problem(loc, why, sections, texts, path.name) for loc, why in problems_of(catalogue))
    if found:
        raise CatalogueError(found)
    return catalogue


def _read(files: list[Path]) -> tuple[dict[str, Any], dict[str, tuple[str, str]]]:
    """The sections of all files, and of each section the name and the text of its file."""
    sections: dict[str, Any] = {}
    texts: dict[str, tuple[str, str]] = {}
    wrong: list[object] = []
    for file in files:
        try:
            text, content = _parse(file)
        except CatalogueError as error:
            wrong += error.problems
            continue
        wrong += [
            Problem(file.name, section, f"also in {texts[section][0]}; keep one")
            for section in content
            if section in texts
        ]
        sections |= content
        texts |= dict.fromkeys(content, (file.name, text))
    if wrong:
        raise CatalogueError(wrong)
    return sections, texts


def _files(path: Path) -> list[Path]:
    files = sorted(path.glob("*.toml")) if path.is_dir() else [path] if path.is_file() else []
    if not files:
        raise CatalogueError((Problem(str(path), "", "no catalogue here; give a .toml file or a directory of them"),))
    return files


def _parse(file: Path) -> tuple[str, dict[str, Any]]:
    try:
        text = file.read_text(encoding="utf-8-sig")  # some editors begin a file with a mark of its encoding
        return text, tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CatalogueError((syntax_problem(file.name, text, error),)) from None
    except UnicodeDecodeError as error:
        wrong = f"is not text in UTF-8 (byte {error.start}); have your editor save it in that encoding"
        raise CatalogueError((Problem(file.name, "", wrong),)) from None
    except OSError as error:
        wrong = f"cannot be opened: {error.strerror}; check its rights"
        raise CatalogueError((Problem(file.name, "", wrong),)) from None

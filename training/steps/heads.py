"""The reader's heads apart from its body: read out of the served file, and put into it anew. No torch.

Body: everything up to the features. Head: the last linear layer, logits = features W' + b, one a concept and one for
the kinds. Being linear, a head gives the same of the mean features of several views as the mean of their logits.
"""

import hashlib
from collections.abc import Mapping

import numpy as np
import onnx
from onnx import numpy_helper

from classifier.errors import WeightsMalformed
from classifier.reader import FEATURES
from classifier.recipe import CLASSES

HEADS = ("kind", *CLASSES)

Head = tuple[np.ndarray, np.ndarray]
"""Weights (k, F) and bias (k,)."""


def heads_of(reader: bytes) -> dict[str, Head]:
    """Every head of a served reader, in double precision. Raises `WeightsMalformed` where one is no linear layer."""
    model = onnx.load_from_string(reader)
    stored = {tensor.name: tensor for tensor in model.graph.initializer}
    return {
        name: tuple(numpy_helper.to_array(stored[part]).astype(np.float64) for part in parts)
        for name, parts in _names(model).items()
    }


def with_heads(reader: bytes, heads: Mapping[str, Head]) -> bytes:
    """The same reader with these heads in place of its own, in the precision that it stores them in."""
    model = onnx.load_from_string(reader)
    stored = {tensor.name: tensor for tensor in model.graph.initializer}
    for name, head in heads.items():
        for part, values in zip(_names(model)[name], head, strict=True):
            kind = numpy_helper.to_array(stored[part]).dtype
            stored[part].CopyFrom(numpy_helper.from_array(values.astype(kind), part))
    return model.SerializeToString()


def as_stored(reader: bytes, heads: Mapping[str, Head]) -> dict[str, Head]:
    """These heads rounded as the file will hold them, so that what is judged is what is served."""
    return heads_of(with_heads(reader, heads))


def body_sha256(reader: bytes, finder: bytes) -> str:
    """A hash of all that decides the features: the reader without its heads, and the finder whose boxes it is shown."""
    model = onnx.load_from_string(reader)
    own = {part for parts in _names(model).values() for part in parts}
    digest = hashlib.sha256(finder)
    for tensor in model.graph.initializer:
        if tensor.name not in own:
            digest.update(tensor.name.encode() + numpy_helper.to_array(tensor).tobytes())
    for node in model.graph.node:
        digest.update(node.op_type.encode() + "\0".join([*node.input, *node.output]).encode())
    return digest.hexdigest()


def read_by(heads: Mapping[str, Head], features: np.ndarray) -> dict[str, np.ndarray]:
    """What the reader says of features (F,): logits of `kind` and of every concept, and the features."""
    told = features.astype(np.float64)
    return {name: weights @ told + bias for name, (weights, bias) in heads.items()} | {FEATURES: features}


def _names(model: onnx.ModelProto) -> dict[str, tuple[str, str]]:
    """For each head the names of its stored weights and bias; weights may be stored in half and cast."""
    makers = {output: node for node in model.graph.node for output in node.output}
    stored = {tensor.name for tensor in model.graph.initializer}
    found = {}
    for name in HEADS:
        layer = makers.get(name)
        if layer is None or layer.op_type != "Gemm" or layer.input[0] != FEATURES:
            raise WeightsMalformed(
                f"the reader's {name} is no linear layer on its features, so it cannot be taught alone"
            )
        parts = tuple(part if part in stored else makers[part].input[0] for part in layer.input[1:])
        found[name] = parts
    return found

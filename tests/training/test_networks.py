"""The published backbone in our hands, the fold of batch norms, and an export that refuses to differ."""

from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import pytest
import skimage.data
import torch
from onnx import numpy_helper
from PIL import Image

from classifier.finder import normalise
from classifier.photo import cut_window
from classifier.recipe import CLASSES, KINDS
from synthetic_samples.render.part_maps import PARTS
from training.nets import export
from training.nets.export import (
    ExportError,
    ServedFinder,
    ServedReader,
    export_network,
    fuse_batch_norms,
    round_to_half,
)
from training.nets.model import backbone_parameters, backbone_weights_file, imagenet_classifier, new_network

CATS, ESPRESSO = range(281, 286), 967  # classes of ImageNet's 1000: tabby to Egyptian cat; espresso


def test_the_published_weights_name_a_cat_and_an_espresso_through_our_preprocessing_and_export(tmp_path: Path):
    class Named(torch.nn.Module):
        def __init__(self):
            super().__init__()
            self.net = round_to_half(fuse_batch_norms(imagenet_classifier().eval()))

        def forward(self, pictures):
            return (self.net(pictures),)

    export_network(Named().eval(), tmp_path / "imagenet.onnx", 224, ("classes",))
    session = onnxruntime.InferenceSession(tmp_path / "imagenet.onnx", providers=["CPUExecutionProvider"])
    answers = []
    for picture in (skimage.data.cat(), skimage.data.coffee()):
        image = Image.fromarray(picture)
        side = 0.875 * min(image.size)  # the usual central part, common practice, no source
        across, down = side / image.width / 2, side / image.height / 2
        window = cut_window(image, (0.5 - across, 0.5 - down, 0.5 + across, 0.5 + down), 224)
        logits = session.run(None, {"pictures": normalise(window, 0.5, 0.5)[None]})[0]
        answers.append(int(logits.argmax()))
    assert answers[0] in CATS and answers[1] == ESPRESSO


@pytest.mark.parametrize("task", ["finder", "reader"])
def test_folding_batch_norms_changes_nothing(task: str):
    torch.manual_seed(0)
    net = new_network(task, pretrained=True).train()
    pictures = torch.rand((4, 3, 96, 96)) * 2 - 1
    net(pictures)  # moves the batch statistics away from those of the published weights
    net.eval()
    with torch.no_grad():
        before = net(pictures)
        after = fuse_batch_norms(net)(pictures)
    before, after = (tuple(out.values()) if task == "reader" else out for out in (before, after))
    assert len(before) == len(after)
    assert all(torch.allclose(a, b, atol=2e-4) for a, b in zip(before, after, strict=True))
    assert not any(isinstance(module, torch.nn.BatchNorm2d) for module in net.modules())


def test_an_exported_network_that_differs_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    honest = export.halve_weights

    def spoil(model: onnx.ModelProto) -> None:
        honest(model)
        bias = next(tensor for tensor in model.graph.initializer if len(tensor.dims) == 1)
        bias.CopyFrom(numpy_helper.from_array(numpy_helper.to_array(bias) + np.float32(0.05), bias.name))

    monkeypatch.setattr(export, "halve_weights", spoil)
    net = ServedFinder(round_to_half(fuse_batch_norms(new_network("finder", True).eval()))).eval()
    with pytest.raises(ExportError, match="differs from torch"):
        export_network(net, tmp_path / "finder.onnx", 96, ("heat", "ltrb"))


def test_filters_are_stored_in_half_precision(tmp_path: Path):
    net = ServedReader(round_to_half(fuse_batch_norms(new_network("reader", True).eval()))).eval()
    export_network(net, tmp_path / "reader.onnx", 96, export.READER_OUTPUTS)
    stored = onnx.load(tmp_path / "reader.onnx").graph.initializer
    kinds = {tensor.data_type for tensor in stored if len(tensor.dims) >= 2}
    assert kinds == {onnx.TensorProto.FLOAT16}


def test_weights_too_large_for_half_precision_are_refused():
    layer = torch.nn.Linear(2, 2)
    layer.weight.data.fill_(1e6)
    with pytest.raises(ExportError, match="too large for half precision"):
        round_to_half(layer)


def test_heads_have_the_vocabulary_s_sizes():
    read = new_network("reader", pretrained=False).eval()(torch.zeros((2, 3, 96, 96)))
    assert read["kind"].shape == (2, len(KINDS)) and read["features"].shape == (2, 256)
    assert all(read[concept].shape == (2, len(values)) for concept, values in CLASSES.items())
    assert read["parts"].shape == (2, len(PARTS), 12, 12)
    heat, sides, parts = new_network("finder", pretrained=False).eval()(torch.zeros((1, 3, 160, 160)))
    assert heat.shape == (1, 4, 20, 20) and sides.shape == (1, 4, 20, 20) and parts.shape == (1, len(PARTS), 20, 20)


@pytest.mark.parametrize("task", ["finder", "reader"])
def test_only_what_came_with_imagenet_weights_is_frozen_at_first(task: str):
    """By name, not by share of the parameters: what is new may grow."""
    net = new_network(task, pretrained=False)
    frozen = {id(parameter) for parameter in backbone_parameters(net)}
    pretrained = {
        name for name, _ in net.named_parameters() if name.partition(".")[0] in ("backbone", "conv_head", "bn2")
    }
    assert pretrained == {name for name, parameter in net.named_parameters() if id(parameter) in frozen}
    assert {name.partition(".")[0] for name, _ in net.named_parameters() if name not in pretrained} >= {"neck", "parts"}


def test_a_wrong_place_for_the_weights_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setenv("HOISTLORE_BACKBONE_WEIGHTS", str(tmp_path / "none.pth"))
    with pytest.raises(FileNotFoundError, match=r"none\.pth"):
        backbone_weights_file()


@pytest.mark.parametrize("backbone", ["lite1", "lite2"])
def test_a_larger_teacher_fills_the_same_outputs(backbone: str) -> None:
    """Of its own widths and depth; its published weights are installed by nobody here, so it begins without."""
    wide, own = (new_network("reader", False, name).eval() for name in (backbone, "lite0"))
    assert sum(p.numel() for p in wide.parameters()) > 1.1 * sum(p.numel() for p in own.parameters())
    with torch.no_grad():
        said = [net(torch.zeros(1, 3, 64, 64)) for net in (wide, own)]
    assert {name: value.shape for name, value in said[0].items()} == {n: v.shape for n, v in said[1].items()}


def test_a_folder_of_published_weights_holds_each_backbone_s_own(tmp_path, monkeypatch) -> None:
    (tmp_path / "efficientnet-lite2-9656183e.pth").write_bytes(b"")
    monkeypatch.setenv("HOISTLORE_BACKBONE_WEIGHTS", str(tmp_path))
    assert backbone_weights_file("lite2") == tmp_path / "efficientnet-lite2-9656183e.pth"
    with pytest.raises(FileNotFoundError, match="lite0"):
        backbone_weights_file("lite0")

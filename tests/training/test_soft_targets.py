"""What a smaller reader learns from a larger one's answers."""

import numpy as np
import pytest
import torch

from classifier.recipe import CLASSES
from synthetic_samples.render.part_maps import PARTS
from training.config import STRIDE
from training.loop import streaming
from training.loop.reading import reader_loss
from training.nets.model import new_network

SIDE = 96


def _drawn(rng: np.random.Generator, count: int) -> streaming.Drawn:
    """Windows of which half show a thing with concepts."""
    targets = {"kind": torch.zeros(count, dtype=int), "part_weights": torch.ones(len(PARTS))}
    targets["parts"] = torch.zeros(count, len(PARTS), SIDE // STRIDE, SIDE // STRIDE)
    for concept, values in CLASSES.items():
        targets[concept] = torch.zeros(count, len(values))
        targets[concept][: count // 2, 0] = 1
    return torch.from_numpy(rng.normal(size=(count, 3, SIDE, SIDE)).astype(np.float32)), targets


def test_a_pupil_is_told_how_far_it_is_from_its_teacher() -> None:
    torch.manual_seed(5)
    teacher, pupil = (new_network("reader", False).eval() for _ in range(2))
    windows, targets = streaming._soft_targets(_drawn, teacher)(np.random.default_rng(3), 4)
    with torch.no_grad():
        assert reader_loss(teacher(windows), targets)["soft"] == pytest.approx(0, abs=1e-5)
        said, wanted = pupil(windows), 0.0
        for head, logits in targets["soft"].items():
            applies = torch.ones(4) if head == "kind" else torch.tensor([1.0, 1, 0, 0])
            student, told = ((each.double() / 2).softmax(1) for each in (said[head], logits))
            each = (told * (told / student).log()).sum(1)  # the divergence as its definition has it
            wanted += 4 * float((each * applies).sum() / applies.sum())
        assert float(reader_loss(said, targets)["soft"]) == pytest.approx(wanted, rel=1e-4)
        assert "soft" not in reader_loss(said, {name: each for name, each in targets.items() if name != "soft"})

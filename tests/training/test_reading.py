"""Which windows the reader learns from, how often, and with which targets."""

import numpy as np
import pytest
import torch

from classifier.recipe import CLASSES, KINDS, OTHER
from classifier.taxonomy import SUBJECTS
from synthetic_samples.render.part_maps import PARTS
from training.data.dataset import PictureBank
from training.data.manifest import Reading, Record, Subject, read_manifests
from training.data.targets import target_of
from training.loop.reading import SHARE_OF_KIND, ReaderBatches, WindowTable, reader_loss

BOX = (0.1, 0.1, 0.5, 0.5)


def record(*subjects: Subject, look_alikes: tuple = ()) -> Record:
    return Record(None, None, 100, 100, "train", "close", (), True, None, subjects, look_alikes)  # type: ignore[arg-type]


def actuator(value: str, visible: bool = True, possible: tuple[str, ...] = ()) -> Subject:
    reading = Reading(value, visible, possible or (value,), 100.0)
    return Subject("actuator_head", BOX, False, {"lowering": reading})


def test_targets_are_one_class_and_what_is_open_is_taught_by_what_is_true():
    both = ("twist_knob", "pull_twist_knob")
    assert target_of("lowering", Reading("twist_knob", True, both, 80)).tolist() == [0, 0, 1, 0, 0]
    assert target_of("lowering", Reading("twist_knob", False, both, 0)).tolist() == [0, 0, 0, 0, 1]
    assert target_of("lowering", Reading("none", True, ("none",), 80)).tolist() == [1, 0, 0, 0, 0]
    assert target_of("lowering", None).sum() == 0


def test_faint_evidence_is_shared_with_not_visible_and_another_reason_to_hide_is_not():
    faint = target_of("lowering", Reading("squeeze_tabs", True, ("squeeze_tabs",), 45))
    assert faint[1] == pytest.approx(20 / 39) and faint[-1] == pytest.approx(19 / 39)
    nearly = target_of("lowering", Reading("squeeze_tabs", False, ("squeeze_tabs",), 38))
    assert 0.3 < nearly[1] < faint[1] and nearly.sum() == pytest.approx(1)
    one_face_only = target_of("service_buttons", Reading("none", False, ("none",), 3000))
    assert one_face_only.tolist() == [0, 0, 0, 1]


def test_small_boxes_are_drawn_less_often():
    tiny = Subject("actuator_head", (0.1, 0.1, 0.2, 0.2), False, {"lowering": Reading("none", True, ("none",), 100.0)})
    table = WindowTable([record(tiny), record(actuator("none"))], np.full((2, 2), 300.0))
    small, large = table.weights()
    assert small == pytest.approx(large * 30 / 64)


def test_rare_values_are_seen_as_often_as_common_ones_and_hidden_ones_at_their_own_rate():
    records = [record(actuator("none"))] * 70 + [record(actuator("squeeze_tabs"))] * 10
    records += [record(actuator("none", visible=False))] * 20
    table = WindowTable(records, np.full((100, 2), 100.0))
    mass = (table.weights()[:, None] * table.targets["lowering"]).sum(axis=0)
    assert mass == pytest.approx([0.4, 0.4, 0, 0, 0.2], abs=0.21)
    assert mass[0] == pytest.approx(mass[1]) and table.weights().sum() == pytest.approx(1)


def test_look_alikes_are_windows_of_another_kind():
    records = [record(actuator("none"), look_alikes=(BOX, BOX))]
    sizes = np.full((1, 2), 100.0)
    assert (WindowTable(records, sizes).kinds == KINDS.index(OTHER)).sum() == 2


def test_kinds_come_in_their_shares(drawn):
    records = read_manifests([drawn["train"]], "train")
    bank = PictureBank([r.path for r in records], 320, torch.device("cpu"), workers=2)
    batches = ReaderBatches(records, bank, 32)
    windows, targets = batches.draw(np.random.default_rng(0), 300)
    assert windows.shape == (300, 3, 32, 32) and windows.abs().max() <= 1
    counts = np.bincount(targets["kind"].numpy(), minlength=len(KINDS)) / 300
    foreign = counts[KINDS.index(OTHER)]
    assert counts[SUBJECTS.index("control_box")] == pytest.approx(SHARE_OF_KIND["control_box"], abs=0.1)
    assert foreign == pytest.approx(SHARE_OF_KIND[OTHER], abs=0.1)
    other = targets["kind"] == KINDS.index(OTHER)
    assert all(targets[concept][other].sum() == 0 for concept in CLASSES)


def test_concepts_of_other_kinds_do_not_count():
    logits = {concept: torch.zeros((2, len(values)), requires_grad=True) for concept, values in CLASSES.items()}
    logits["kind"] = torch.zeros((2, len(KINDS)), requires_grad=True)
    targets = {concept: torch.zeros((2, len(values))) for concept, values in CLASSES.items()}
    targets["lowering"][0, 1] = 1
    targets["kind"] = torch.tensor([1, 4])
    logits["parts"] = targets["parts"] = torch.zeros((2, len(PARTS), 4, 4))
    targets["part_weights"] = torch.ones(len(PARTS))
    reader_loss(logits, targets)["total"].backward()
    assert logits["lowering"].grad[0].abs().sum() > 0 and logits["lowering"].grad[1].abs().sum() == 0
    assert logits["battery"].grad is None or logits["battery"].grad.abs().sum() == 0

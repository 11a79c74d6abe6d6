"""Checkpoint averaging: runs of a network, their mean, and each interpolated with the initial checkpoint.

A candidate is judged on calibration renders. A reader as it is served, test-time augmentation at each true box, by the
mean log loss of the concepts: the recipe is fitted on one half of the lifts and judged on the other, both ways. A
finder by its own loss on whole pictures.
"""

import hashlib
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import torch
from torch import nn

from classifier.calibration import concept_probabilities
from classifier.recipe import CLASSES
from training.calibrate.calibrate import fit_concept
from training.calibrate.conformal import cross_entropy
from training.config import STRIDE, VIEWS
from training.data.dataset import PictureBank, load_bank
from training.data.geometry import letterbox_maps, move_boxes, normed, sample_windows
from training.data.manifest import Record
from training.loop import finding
from training.loop.reading import windows_round
from training.nets.checkpoint import read_whole, save_network
from training.nets.model import new_network

INITIAL_SHARES = (0.0, 0.3, 0.5)
BATCH = 64
_SERVED_PX = {"reader": "reader_served_px", "finder": "finder_px"}

Weights = dict[str, torch.Tensor]


def average_checkpoints(
    initial: Path, runs: Sequence[Path], renders: Sequence[Record], out: Path, device: torch.device, workers: int
) -> dict[str, dict[str, float]]:
    """Write the best average of the networks in `runs`, which all began in `initial`, to `out`.

    Of a run that holds no finder the reader is averaged; a network that no run holds stays as it began. Returns the
    loss of every candidate by network and name. Raises `CheckpointError` where a checkpoint is missing.
    """
    bank = load_bank(renders, read_whole(initial / "reader.pt")["about"]["preset"]["canvas_px"], device, workers)
    losses = {}
    finders = any((run / "finder.pt").is_file() for run in runs)
    readers = any((run / "reader.pt").is_file() for run in runs) or not finders
    for task, held, loss in (("reader", readers, loss_as_served), ("finder", finders, loss_of_finder)):
        if held:
            losses[task] = _averaged(task, loss, (initial, *runs), bank, renders, out)
        else:
            shutil.copy(initial / f"{task}.pt", out / f"{task}.pt")
    return losses


def _averaged(
    task: str, loss: Callable, folders: Sequence[Path], bank: PictureBank, renders: Sequence[Record], out: Path
) -> dict[str, float]:
    """Write the best average of one network; the first of `folders` is what the others began from."""
    kept = {folder: read_whole(folder / f"{task}.pt") for folder in folders}
    preset = kept[folders[0]]["about"]["preset"]
    net = new_network(task, pretrained=False).to(bank.device).eval()
    candidates = _candidates(folders[0], folders[1:])

    def take(shares: dict[Path, float]) -> None:
        net.load_state_dict(mixed([(kept[folder]["weights"], share) for folder, share in shares.items()]))

    losses = {}
    for name, shares in candidates.items():
        take(shares)
        losses[name] = loss(net, bank, renders, preset[_SERVED_PX[task]])
        print(f"{task}, {name}: {losses[name]:.4f}", flush=True)
    shares = candidates[min(losses, key=losses.__getitem__)]
    take(shares)
    about = kept[next(iter(shares))]["about"] | {"constituents": _constituents(task, shares)}
    save_network(out / f"{task}.pt", net, about)
    return losses


def _constituents(task: str, shares: dict[Path, float]) -> list[dict]:
    """What went into an average, for the metadata: each checkpoint by its folder and hash, and its share."""
    return [
        {
            "checkpoint": f"{folder.name}/{task}.pt",
            "sha256": hashlib.sha256((folder / f"{task}.pt").read_bytes()).hexdigest(),
            "share": share,
        }
        for folder, share in shares.items()
    ]


def mixed(parts: Sequence[tuple[Weights, float]]) -> Weights:
    """The sum of networks, each by its share; what is counted, not weighed, is that of the first."""
    return {
        name: sum(share * weights[name].float() for weights, share in parts) if first.is_floating_point() else first
        for name, first in parts[0][0].items()
    }


@torch.no_grad()
def loss_as_served(net: nn.Module, bank: PictureBank, records: Sequence[Record], served_px: int) -> float:
    """Mean over the concepts of the two-fold log loss over all subjects; `bank` holds the pictures of the records."""
    subjects = [(picture, s) for picture, record in enumerate(records) for s in record.subjects if s.concepts]
    pictures = np.array([picture for picture, _ in subjects])
    boxes_px = np.array([s.box for _, s in subjects]) * np.tile(bank.sizes_wh[pictures], 2)
    read = _read(net, bank, pictures, boxes_px, served_px)
    number = {lift: n for n, lift in enumerate(dict.fromkeys(record.lift or record.path for record in records))}
    folds = np.array([number[records[picture].lift or records[picture].path] % 2 for picture in pictures])
    losses = []
    for concept, classes in CLASSES.items():
        told = np.array([concept in s.concepts for _, s in subjects])
        truths = np.array([classes.index(s.concepts[concept].truth) for _, s in subjects if concept in s.concepts])
        losses.append(two_fold_loss(concept, read[concept][told], truths, folds[told]))
    return float(np.mean(losses))


@torch.no_grad()
def loss_of_finder(net: nn.Module, bank: PictureBank, records: Sequence[Record], px: int) -> float:
    """Mean loss of heat and sides a batch over whole pictures as they are; `bank` holds those of the records."""
    boxes_px, kinds = finding.boxes_of(records, bank.sizes_wh)
    maps, losses = letterbox_maps(bank.sizes_wh), []
    for start in range(0, len(records), BATCH):
        some = slice(start, start + BATCH)
        pictures, inside = sample_windows(bank.pixels[some], bank.sizes_wh[some], maps[some], px)
        boxes, own = finding.clipped(move_boxes(boxes_px[some], maps[some], px), kinds[some], px)
        cells, numbers = (torch.from_numpy(each).to(bank.device) for each in ((boxes / STRIDE).astype(np.float32), own))
        targets = finding.cell_targets(cells, numbers, px // STRIDE)
        found = net(normed(pictures, inside))
        no_parts = {"parts": torch.zeros_like(found[2]), "part_weights": torch.ones(found[2].shape[1]).to(found[2])}
        told = finding.finder_loss(found, targets | no_parts)
        losses.append(float(told["heat"] + told["sides"]))
    return float(np.mean(losses))


def two_fold_loss(concept: str, logits: np.ndarray, truths: np.ndarray, folds: np.ndarray) -> float:
    """Mean log loss of logits (n, k) against columns (n,), each fold (n,), 0 or 1, by the recipe of the other."""
    probabilities = np.empty(logits.shape)
    for fold in (0, 1):
        scaling = fit_concept(concept, logits[folds != fold], truths[folds != fold])
        probabilities[folds == fold] = concept_probabilities(logits[folds == fold], concept, scaling)
    return cross_entropy(probabilities, truths)


def _candidates(initial: Path, runs: Sequence[Path]) -> dict[str, dict[Path, float]]:
    """By name the share of each folder: the initial checkpoint, and each run and their mean interpolated with it."""
    taught = {str(run): {run: 1.0} for run in runs}
    if len(runs) > 1:
        taught["the mean"] = dict.fromkeys(runs, 1 / len(runs))
    found = {"the initial checkpoint": {initial: 1.0}}
    for name, shares in taught.items():
        for of_initial in INITIAL_SHARES:
            found[f"{name}, {of_initial} initial"] = {
                folder: (1 - of_initial) * share for folder, share in shares.items()
            } | ({initial: of_initial} if of_initial else {})
    return found


def _read(
    net: nn.Module, bank: PictureBank, pictures: np.ndarray, boxes_px: np.ndarray, served_px: int
) -> dict[str, np.ndarray]:
    """Logits (n, k) of every concept, the mean over the views that are served."""
    read = {concept: np.zeros((len(pictures), len(classes))) for concept, classes in CLASSES.items()}
    for start in range(0, len(pictures), BATCH):
        some = slice(start, start + BATCH)
        pixels = bank.pixels[torch.from_numpy(pictures[some]).to(bank.device)]
        for view in VIEWS:
            maps = windows_round(boxes_px[some], view.margin)
            windows, inside = sample_windows(pixels, bank.sizes_wh[pictures[some]], maps, served_px)
            windows = normed(windows, inside)
            found = net(windows.flip(-1) if view.mirrored else windows)
            for concept in CLASSES:
                read[concept][some] += found[concept].float().cpu().numpy() / len(VIEWS)
    return read

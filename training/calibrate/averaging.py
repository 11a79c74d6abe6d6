"""Checkpoint averaging: runs of the reader, their mean, and each interpolated with the initial checkpoint.

A candidate is judged on calibration renders as the reader is served, test-time augmentation at each true box, by the
mean log loss of the concepts. The recipe is fitted on one half of the lifts and judged on the other, both ways.
"""

import hashlib
import shutil
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from torch import nn

from classifier.calibration import concept_probabilities
from classifier.recipe import CLASSES
from training.calibrate.calibrate import fit_concept
from training.calibrate.conformal import cross_entropy
from training.config import VIEWS
from training.data.dataset import PictureBank, load_bank
from training.data.geometry import normed, sample_windows
from training.data.manifest import Record
from training.loop.reading import windows_round
from training.nets.checkpoint import read_whole, save_network
from training.nets.model import new_network

INITIAL_SHARES = (0.0, 0.3, 0.5)
BATCH = 64

Weights = dict[str, torch.Tensor]


def average_checkpoints(
    initial: Path, runs: Sequence[Path], renders: Sequence[Record], out: Path, device: torch.device, workers: int
) -> dict[str, float]:
    """Write the best average of the readers in `runs`, which all began in `initial`, to `out`; the finder stays.

    Returns the loss of every candidate, by its name. Raises `CheckpointError` where a checkpoint is missing.
    """
    kept = {folder: read_whole(folder / "reader.pt") for folder in (initial, *runs)}
    preset = kept[initial]["about"]["preset"]
    bank = load_bank(renders, preset["canvas_px"], device, workers)
    net = new_network("reader", pretrained=False).to(device).eval()
    candidates = _candidates(initial, runs)

    def take(shares: dict[Path, float]) -> None:
        net.load_state_dict(mixed([(kept[folder]["weights"], share) for folder, share in shares.items()]))

    losses = {}
    for name, shares in candidates.items():
        take(shares)
        losses[name] = loss_as_served(net, bank, renders, preset["reader_served_px"])
        print(f"{name}: {losses[name]:.4f}", flush=True)
    shares = candidates[min(losses, key=losses.__getitem__)]
    take(shares)
    about = kept[next(iter(shares))]["about"] | {"constituents": _constituents(shares)}
    save_network(out / "reader.pt", net, about)
    shutil.copy(initial / "finder.pt", out / "finder.pt")
    return losses


def _constituents(shares: dict[Path, float]) -> list[dict]:
    """What went into an average, for the metadata: each checkpoint by its folder and hash, and its share."""
    return [
        {
            "checkpoint": f"{folder.name}/reader.pt",
            "sha256": hashlib.sha256((folder / "reader.pt").read_bytes()).hexdigest(),
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

"""Networks that can go on learning, made of those that are served: nobody needs the checkpoints they came from."""

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn

from classifier.recipe import Recipe
from training.config import PRESETS, Preset
from training.data.dataset import PictureBank, load_bank
from training.data.manifest import Record
from training.loop.tasks import TASKS, Task
from training.nets.checkpoint import CheckpointError, save_network
from training.nets.export import norms_of
from training.nets.model import new_network

MEASURED_PICTURES = 400
MEASURED_BATCHES, BATCH = 16, 32
SMALLEST_VARIANCE = 1e-8


def begun_from(weights: Path, renders: Sequence[Record], run: Path, device: torch.device, workers: int) -> Path:
    """The folder of a run with the checkpoints to go on from, made by `unfuse` unless they are there."""
    begun = run / "begun_from"
    if not (begun / "reader.pt").is_file():
        unfuse(weights, renders, begun, device, workers)
    return begun


def unfuse(weights: Path, renders: Sequence[Record], out: Path, device: torch.device, workers: int) -> None:
    """Write finder.pt and reader.pt to `out`: networks to train that compute what those served in `weights` do.

    A served convolution holds the batch norm that followed it. The norm is un-fused again: its statistics are measured
    on what training draws from `renders`, and its scale and shift follow from them, so that training, which norms by
    each batch, begins close to what is served. What is not served, the finder's map of parts, begins at nought, so
    that it bends nothing before it has learned. Raises `CheckpointError` for networks of no known preset.
    """
    recipe, _ = Recipe.read(weights)
    preset = _preset_of(recipe, weights)
    some = renders[:: -(-len(renders) // MEASURED_PICTURES)]
    bank = load_bank(some, preset.canvas_px, device, workers)
    for name, task in TASKS.items():
        net = _unfused(name, weights / getattr(recipe, name).file).to(device)
        about = {"task": name, "preset": preset.as_dict(), "seed": recipe.provenance.seed}
        about["pictures"] = recipe.trained_on.synthetic
        set_statistics(net, _pictures(task, some, bank, preset))
        save_network(out / f"{name}.pt", net, about)


def served_network(task: str, weights: Path, pictures: Iterable[torch.Tensor], device: torch.device) -> nn.Module:
    """The served finder or reader as `unfuse` makes it, its norms measured on these batches (N, 3, S, S)."""
    recipe, _ = Recipe.read(weights)
    net = _unfused(task, weights / getattr(recipe, task).file).to(device)
    set_statistics(net, pictures)
    return net


@torch.no_grad()
def set_statistics(net: nn.Module, pictures: Iterable[torch.Tensor]) -> None:
    """Give every batch norm of `net` the mean and variance that it meets on `pictures`; the function stays the same."""
    sums: dict[str, torch.Tensor] = {}
    norms = norms_of(net.eval())

    def noted(name: str):
        def note(_module: nn.Module, _inputs: tuple, x: torch.Tensor) -> None:
            x = x.double()
            mean, square = x.mean((0, 2, 3)), x.square().mean((0, 2, 3))
            sums[name] = sums.get(name, 0) + torch.stack([mean, square, torch.ones_like(mean)])

        return note

    hooks = [each.convolution.register_forward_hook(noted(each.convolution_name)) for each in norms]
    for batch in pictures:
        net(batch)
    for hook in hooks:
        hook.remove()
    for each in norms:
        mean, square, count = sums[each.convolution_name]
        mean, square = (mean / count).float(), (square / count).float()
        variance = (square - mean.square()).clamp(min=SMALLEST_VARIANCE)
        norm = each.norm
        slope = norm.weight / (norm.running_var + norm.eps).sqrt()
        norm.bias += slope * (mean - norm.running_mean)
        norm.weight.copy_(slope * (variance + norm.eps).sqrt())
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(variance)


@torch.no_grad()
def _unfused(task: str, served: Path) -> nn.Module:
    """The network of a served file, each norm with statistics of 0 and 1, filters as large as those of a new network.

    They grow by powers of two, so that half precision holds them as exactly as before.
    """
    tensors = {
        tensor.name.removeprefix("net.").removesuffix(".half"): torch.from_numpy(
            numpy_helper.to_array(tensor).astype(np.float32)
        )
        for tensor in onnx.load(str(served)).graph.initializer
    }
    net = new_network(task, pretrained=False)
    norms = {each.convolution_name: each for each in norms_of(net)}
    for name, each in norms.items():
        fused, new = tensors[f"{name}.weight"], each.convolution.weight
        size, wanted = (filters.flatten(1).norm(dim=1).clamp(min=1e-4) for filters in (fused, new))
        growth = 2 ** (wanted / size).log2().round().clamp(-12, 12)
        new.copy_(fused * growth[:, None, None, None])
        each.norm.running_var.fill_(1 - each.norm.eps)
        each.norm.weight.copy_(1 / growth)
        each.norm.bias.copy_(tensors[f"{name}.bias"])
    belong_to_norms = {id(p) for each in norms.values() for p in (each.convolution.weight, *each.norm.parameters())}
    for name, parameter in net.named_parameters():
        if id(parameter) not in belong_to_norms:
            parameter.copy_(tensors.get(name, torch.zeros_like(parameter)))
    return net


def _pictures(task: Task, records: Sequence[Record], bank: PictureBank, preset: Preset) -> Iterable[torch.Tensor]:
    """Batches as training draws them."""
    rng, batches = np.random.default_rng(0), task.batches(records, bank, preset)
    return (batches.draw(rng, BATCH)[0] for _ in range(MEASURED_BATCHES))


def _preset_of(recipe: Recipe, weights: Path) -> Preset:
    sizes = recipe.finder.input_px, recipe.reader.input_px
    for preset in PRESETS.values():
        if (preset.finder_px, preset.reader_served_px) == sizes:
            return preset
    known = ", ".join(f"{p.finder_px} and {p.reader_served_px}" for p in PRESETS.values())
    raise CheckpointError(
        f"{weights}: networks that look at {sizes[0]} and {sizes[1]} pixels, wanted {known}; go on from checkpoints"
    )

"""The commands of an owner without a GPU: learn by steps, let a person decide, see which model learned from what."""

import argparse
import json
import sys
import time
from pathlib import Path
from shutil import rmtree

import numpy as np

from classifier.errors import CatalogueError, ModelError
from classifier.identify import WEIGHTS_DIR
from classifier.model import Model
from guidance.catalogue.catalogue import DEMO_CATALOGUE, load
from training.data.manifest import DatasetError, read_manifests
from training.owned.labels import PICTURE_ENDINGS, OwnedPhotoError
from training.owned.photos import STORE, check_still_there, read_entries
from training.owned.promote import SHADOW, PromotionError, leave_shadow, promote
from training.owned.versions import history, versions
from training.refusals import run_command
from training.steps.ask import candidates, next_photos
from training.steps.curves import LEARN, curves, pool_of
from training.steps.doubt import doubtful
from training.steps.own import boxed_by_owner, check_pictures, read_own
from training.steps.replay import REPLAY_FILE, drawn_replay
from training.steps.step import STEPS, Sources, compare, known, learn, reader_of, write
from workers.dispatch import WorkersError

REFUSALS = (OwnedPhotoError, DatasetError, ModelError, CatalogueError, PromotionError, WorkersError, OSError)
STEP_COMMANDS = ("replay", *STEPS, "next-photos", "doubtful-labels", "promote", "models", "curves")


HELP = {
    "recalibrate": "fit temperatures, offsets and mix to own photos; from 30, in seconds",
    "heads": "teach the reader's last layers by own photos; from 100, in minutes",
}


def main(arguments: list[str]) -> None:
    """Run one of `STEP_COMMANDS`; exit status 2 with every problem on a line of its own."""
    started = time.monotonic()
    options = run_command(parser(), arguments, REFUSALS)
    print(f"{options.command}: done in {time.monotonic() - started:.0f} s", flush=True)


def parser() -> argparse.ArgumentParser:
    """The commands that need no torch, each with its own options."""
    whole = argparse.ArgumentParser(prog="python -m training", description=__doc__)
    commands = whole.add_subparsers(dest="command", required=True)
    keep = commands.add_parser("replay", help="what the networks see in renders, kept for the steps that need none")
    keep.set_defaults(run=_replay)
    keep.add_argument("--data", type=Path, action="append", required=True, help="renders; repeatable")
    keep.add_argument("--out", type=Path, required=True, help="the file; installed as replay.npz beside the weights")
    steps = [commands.add_parser(step, help=HELP[step]) for step in STEPS]
    for one in steps:
        one.set_defaults(run=_step)
        one.add_argument("--catalogue", type=Path, default=DEMO_CATALOGUE, help="whose generations are confirmed")
    ask = commands.add_parser("next-photos", help="which of these photos to label next: least sure, most different")
    ask.set_defaults(run=_next_photos)
    ask.add_argument("folder", type=Path, metavar="DIR", help="photos without labels")
    ask.add_argument("--count", type=int, default=20, help="how many to name (default: %(default)s)")
    doubt = commands.add_parser("doubtful-labels", help="which labels of the kept photos look wrong")
    doubt.set_defaults(run=_doubtful)
    decide = commands.add_parser("promote", help="serve the model that waits as a shadow, decided by a named person")
    decide.set_defaults(run=_promote)
    decide.add_argument("--by", required=True, help="who decides; stands in the model's metadata")
    listed = commands.add_parser("models", help="every model here: what it learned from, who promoted it")
    listed.set_defaults(run=_models)
    listed.add_argument(
        "--differences", action="store_true", help="each live photo that it would have answered otherwise"
    )
    proof = commands.add_parser("curves", help="how much each step gains from how many photos of a foreign world")
    proof.set_defaults(run=_curves)
    _ask_of_curves(proof)
    for one in (*steps, ask, doubt):
        one.add_argument("--store", type=Path, default=STORE, help="the kept photos (default: %(default)s)")
    for one in (*steps, proof):
        one.add_argument("--replay", type=Path, help="the replay set (default: replay.npz beside the weights)")
    for one in (keep, *steps, doubt, proof):
        one.add_argument("--workers", type=int, default=2, help="processes that read (default: %(default)s)")
    for one in commands.choices.values():
        one.add_argument("--weights", type=Path, default=WEIGHTS_DIR, help="the model in use (default: installed)")
    return whole


def _ask_of_curves(proof: argparse.ArgumentParser) -> None:
    proof.add_argument("--data", type=Path, action="append", required=True, help="a drawn pool; repeatable")
    proof.add_argument("--photos", type=int, nargs="+", default=[30, 100, 300, 1000], help="lengths of the curve")
    proof.add_argument("--wrong", type=float, nargs="+", default=[0.0, 0.05, 0.15], help="shares of wrong labels")
    proof.add_argument("--draws", type=int, default=5, help="of the photos, at each length (default: %(default)s)")
    proof.add_argument("--from-imagenet", action="store_true", help="the same from ImageNet's features alone (torch)")
    proof.add_argument("--out", type=Path, required=True, help="one line of JSON a draw; is added to")


def _replay(options: argparse.Namespace) -> None:
    kept = drawn_replay(options.weights, read_manifests(options.data), options.workers)
    kept.save(options.out)
    size = options.out.stat().st_size
    print(f"{options.out}: {kept.subjects} boxes of {len(kept.records)} renders, {size / 1e6:.1f} MB")


def _step(options: argparse.Namespace) -> None:
    shadow = options.weights / SHADOW
    sources = Sources(options.store, options.replay or options.weights / REPLAY_FILE, options.weights, shadow)
    at = known(sources, options.command, options.workers)
    new = learn(options.command, at, reader_of(at.model, options.weights))
    comparison = compare(at, new, boxed_by_owner(options.store), load(options.catalogue))
    print(comparison.as_text())
    if comparison.reasons_against:
        print(f"the model {comparison.old_version} stays, and none waits as a shadow, because:")
        print("\n".join(f"  {reason}" for reason in comparison.reasons_against))
        return
    made = options.weights / f"{SHADOW}.made"
    try:
        write(new, comparison, options.weights, made)
        check_still_there(options.store, at.own.ids)
        leave_shadow(made, shadow)
    finally:
        rmtree(made, ignore_errors=True)
    print(
        f"{new.model.recipe.version} waits in {shadow}; to let the server try it beside the one in use, start it with"
    )
    print(f"HOISTLORE_SHADOW={shadow}. To use it: python -m training promote --by NAME --weights {options.weights}")


def _next_photos(options: argparse.Namespace) -> None:
    paths = sorted(path for path in options.folder.rglob("*") if path.suffix.lower() in PICTURE_ENDINGS)
    if not paths:
        raise DatasetError(f"{options.folder}: no photo in it; name a folder with photos that have no label yet")
    model = Model.load(options.weights)
    pool, remarks = candidates(paths, model)
    kept = [options.store / entry["file"] for entry in read_entries(options.store)]
    known = [each.features for each in candidates([path for path in kept if path.is_file()], model)[0]]
    for line in remarks:
        print(f"left out: {line}", file=sys.stderr)
    for each in next_photos(pool, options.count, np.array(known), model):
        print(f"{each.path.relative_to(options.folder)}: {each.why} ({each.doubt_bits:.1f} bits)")


def _doubtful(options: argparse.Namespace) -> None:
    entries = check_pictures(options.store)
    own = read_own(options.store, options.weights, options.workers)
    doubts = doubtful(entries, own.records, own.raw, Model.load(options.weights))
    for doubt in doubts:
        print(doubt.as_text())
    print(f"{len(doubts)} labels of {len(entries)} photos look wrong; the photos are in {options.store}")


def _promote(options: argparse.Namespace) -> None:
    version = promote(options.weights / SHADOW, options.weights, options.by)
    rmtree(options.weights / SHADOW, ignore_errors=True)
    print(f"{version} is in use in {options.weights}, promoted by {options.by}; servers take it within seconds")
    print(f"to go back: python -m training roll-back --weights {options.weights}")


def _curves(options: argparse.Namespace) -> None:
    replay = options.replay or options.weights / REPLAY_FILE
    reader, at = pool_of(options.weights, replay, options.data, options.workers)
    there = sum(record.style == LEARN for record in at.own.records)
    counts = [count for count in options.photos if count <= there]
    if counts != options.photos:
        print(f"{there} photos to learn from, so that no curve goes beyond; draw more with tests.standins.pool")
    if options.from_imagenet:
        from training.report.imagenet_curve import imagenet_curves  # the only part that needs torch

        rows = imagenet_curves(at, counts, options.draws)
    else:
        rows = curves(at, reader, load(DEMO_CATALOGUE), counts, options.draws, options.wrong)
    with options.out.open("a", encoding="utf-8") as out:
        for row in rows:
            out.write(json.dumps(row) + "\n")
            out.flush()
            print(row["step"], row["photos"], row["wrong_labels"], row["draw"], row.get("promoted"), flush=True)


def _models(options: argparse.Namespace) -> None:
    for version in versions(options.weights):
        print(version.as_text())
        for line in version.differences() if options.differences else ():
            print(f"  {line}")
    for line in history(options.weights):
        print(line)

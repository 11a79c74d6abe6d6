"""Draw many labelled pictures: `python -m synthetic_samples --count N --seed S --style train --out DIR`.

The same seed and style give the same pictures whoever draws them and in whatever order; an interrupted run resumes.
"""

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from synthetic_samples.drawing import Drawing, Pipes, made_by
from synthetic_samples.picture import Drawn
from synthetic_samples.render.queue import RendererLost, RenderQueue
from synthetic_samples.scene.camera import MOST_VIEWS
from synthetic_samples.scene.combinations import read_combinations
from synthetic_samples.scene.scene import STYLES
from workers.dispatch import Workers, WorkersError, results
from workers.places import opened

VARIANTS = ("scalar_rgb", "llvm_ad_rgb", "cuda_ad_rgb")
_MANIFEST = "manifest.jsonl"
_PROCESS_SETTINGS = {  # for the workers: without these, page faults and threads cost a third of the time
    "MALLOC_MMAP_THRESHOLD_": "100000000",
    "MALLOC_TRIM_THRESHOLD_": "1000000000",
    "OMP_NUM_THREADS": "1",
}
UNUSABLE = 2
"""Exit status where the workers that were asked for cannot be had."""


def main(arguments: list[str] | None = None) -> int:
    """Command line entry; returns the exit status: 1 when a picture fails or none may be added, 2 if nobody draws."""
    parser = options_parser()
    options = parser.parse_args(arguments)
    if options.ray and options.variant.startswith("cuda"):
        parser.error(f"--ray came with --variant {options.variant}; on a cluster processors draw: --variant scalar_rgb")
    for name, value in _PROCESS_SETTINGS.items():
        os.environ.setdefault(name, value)
    out = Path(options.out)
    out.mkdir(parents=True, exist_ok=True)
    done = _records_so_far(out)
    if any(lift != index // options.views for index, lift in done.items()):
        print(
            f"{out} holds pictures drawn with another --views than {options.views}; give another --out", file=sys.stderr
        )
        return 1
    todo = [index for index in range(options.start, options.start + options.count) if index not in done]
    if done:
        print(f"{len(done)} pictures are there already, {len(todo)} to go", flush=True)
    try:
        failed = _drawn_by_workers(options, out, todo)
    except WorkersError as problem:
        print(f"{problem} The pictures so far are kept; the same command goes on from there.", file=sys.stderr)
        return UNUSABLE
    except RendererLost as problem:
        print(f"{problem}; the pictures so far are kept, and the same command goes on from there", file=sys.stderr)
        return 1
    finally:
        _sort_manifest(out)
    if failed:
        print(f"{len(failed)} pictures failed; the first: number {failed[0][0]}: {failed[0][1]}", file=sys.stderr)
    return 1 if failed else 0


def options_parser() -> argparse.ArgumentParser:
    """What the command line takes."""
    parser = argparse.ArgumentParser(prog="python -m synthetic_samples", description=__doc__.splitlines()[0])
    _ask_what_to_draw(parser)
    _ask_how_to_run(parser)
    return parser


def _ask_what_to_draw(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--count", type=int, required=True, help="how many pictures")
    parser.add_argument("--seed", type=int, required=True, help="seed of the whole set")
    parser.add_argument("--out", required=True, help="folder for images/ and manifest.jsonl")
    parser.add_argument(
        "--style", choices=STYLES, default="train", help="geometry families, environment maps and phones to draw from"
    )
    parser.add_argument(
        "--combinations",
        type=read_combinations,
        default=(),
        metavar="FILE",
        help="JSON list of control box values (concept to value) that half of the boxes are to have",
    )
    parser.add_argument("--start", type=int, default=0, help="number of the first picture")
    parser.add_argument(
        "--views",
        type=int,
        choices=range(1, MOST_VIEWS + 1),
        default=1,
        help="pictures in a row that are of one lift, from different sides; they share `lift` in the manifest",
    )
    parser.add_argument(
        "--dense",
        action="store_true",
        help="as many readable lift parts a picture as can be: for the reader to learn from, when the finder does not",
    )
    shares = {
        "--grammar": "of the boxes, actuators and look-alikes: built by the grammar of shapes instead of a family",
        "--people": "of the close pictures: framed as people do it, cut off, at arm's length, tilted",
    }
    for name, told in shares.items():
        parser.add_argument(name, type=float, default=0.0, metavar="SHARE", help=told)


def _ask_how_to_run(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--minutes", type=float, help="stop after this time; the same command goes on from there")
    parser.add_argument("--workers", type=int, help="processes (default: half as many as cores; with --ray one a core)")
    parser.add_argument("--ray", metavar="ADDRESS", help="draw on a Ray cluster: its address, auto, or local")
    parser.add_argument("--gpus", type=int, default=1, help="GPUs that the workers take turns on (cuda_ad_rgb)")
    parser.add_argument("--variant", choices=VARIANTS, default="scalar_rgb", help="renderer back end")
    parser.add_argument("--samples", type=int, help="light paths a pixel (default: the scene's own number)")
    parser.add_argument(
        "--keep-clean", action="store_true", help="keep each picture also without the phone's processing"
    )


# Workers -------------------------------------------------------------------------------------------------------------


def draw_all(workers: Workers, todo: Iterable[int], out: Path, total: int) -> list[tuple[int, str]]:
    """Have these pictures drawn and keep them, whoever draws; which failed, and why. Only this process writes."""
    started, failed = time.monotonic(), []
    with (out / _MANIFEST).open("a", encoding="utf-8", buffering=1) as manifest:
        for count, result in enumerate(results(workers, todo, lambda _: ()), 1):
            if isinstance(result.value, Drawn):
                manifest.write(json.dumps(result.value.keep(out), separators=(",", ":")) + "\n")
            else:
                why = "drawing it ended the process, three times" if result.given_up else result.value
                failed.append((result.piece, why))
            if count % max(1, min(500, total // 20)) == 0 or count == total:
                _progress(count, total, time.monotonic() - started)
    return failed


def _drawn_by_workers(options: argparse.Namespace, out: Path, todo: list[int]) -> list[tuple[int, str]]:
    """Open the workers that were asked for, and have them draw."""
    if not todo:
        return []
    asked = options.workers if options.ray else options.workers or max(1, (os.cpu_count() or 2) // 2)
    number = asked and min(asked, len(todo))
    with _renderers(options, number) as pipes:
        drawing = Drawing(options, made_by(), pipes)
        with opened(drawing, number, options.ray, _PROCESS_SETTINGS) as workers:
            return draw_all(workers, _in_time(todo, options.minutes), out, len(todo))


@contextmanager
def _renderers(options: argparse.Namespace, workers: int | None) -> Iterator[Pipes | None]:
    """Pipes to processes that render on the GPUs; none where each worker renders by itself."""
    if not options.variant.startswith("cuda"):
        yield None
        return
    context = multiprocessing.get_context("spawn")
    queue = RenderQueue(context, options.variant, options.gpus, workers)
    try:
        yield Pipes(queue.ends, context.Value("i", 0))
    finally:
        queue.close()


def _in_time(todo: Iterable[int], minutes: float | None) -> Iterator[int]:
    """What is to be begun, for so many minutes."""
    started = time.monotonic()
    for index in todo:
        if minutes and time.monotonic() - started > 60 * minutes:
            return
        yield index


def _progress(count: int, total: int, elapsed_s: float) -> None:
    rate = count / elapsed_s
    print(f"{count}/{total} pictures, {rate:.1f} images/s, {(total - count) / rate:.0f} s left", flush=True)


# Manifest -------------------------------------------------------------------------------------------------------------


def _records_so_far(out: Path) -> dict[int, int]:
    """Number and lift of the pictures that the manifest lists; a torn last line is dropped."""
    path = out / _MANIFEST
    if not path.exists():
        return {}
    good = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            record = json.loads(line)
            good.append((record["index"], record.get("lift", record["index"]), line))
        except (json.JSONDecodeError, KeyError):
            continue
    path.write_text("".join(line + "\n" for _, _, line in good), encoding="utf-8")
    return {index: lift for index, lift, _ in good}


def _sort_manifest(out: Path) -> None:
    path = out / _MANIFEST
    if not path.exists():  # nobody could draw
        return
    lines = path.read_text(encoding="utf-8").splitlines()
    lines.sort(key=lambda line: json.loads(line)["index"])
    path.write_text("".join(line + "\n" for line in lines), encoding="utf-8")

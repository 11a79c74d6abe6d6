"""Draw many labelled pictures: `python -m synthetic_samples --count N --seed S --style train --out DIR`.

The same seed and style give the same pictures whatever the number of workers; an interrupted run resumes.
"""

import argparse
import hashlib
import io
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from synthetic_samples.annotate.annotate import annotate, is_fair
from synthetic_samples.phone.phone import develop, encode_jpeg
from synthetic_samples.render.denoise import denoise
from synthetic_samples.render.flatten import FlatScene, flatten
from synthetic_samples.render.part_maps import encode as encode_parts
from synthetic_samples.render.part_maps import part_map
from synthetic_samples.render.queue import RenderQueue, keep_to_few_cores, render_remotely, start_geometry_on_one_core
from synthetic_samples.render.render import Rendered, render, use_variant
from synthetic_samples.scene.camera import MOST_VIEWS
from synthetic_samples.scene.combinations import read_combinations
from synthetic_samples.scene.scene import STYLES, Scene, draw_scene
from synthetic_samples.scene.truths import values_by_number

VARIANTS = ("scalar_rgb", "cuda_ad_rgb")
_MANIFEST = "manifest.jsonl"
_PROCESS_SETTINGS = {  # for the workers: without these, page faults and threads cost a third of the time
    "MALLOC_MMAP_THRESHOLD_": "100000000",
    "MALLOC_TRIM_THRESHOLD_": "1000000000",
    "OMP_NUM_THREADS": "1",
}
_LOOK_EVERY_S = 5  # whether the rendering processes live, and whether the time is up
_PATIENCE_S = 600
_DENOISE_SHARES = (0, 0, 0, 0.05, 0.2, 0.75)  # passes 0 to 5: after fewer, grain hides what is small


def main(arguments: list[str] | None = None) -> int:
    """Command line entry; returns the exit status (1 when a picture could not be drawn, or none may be added)."""
    options = options_parser().parse_args(arguments)
    for name, value in _PROCESS_SETTINGS.items():
        os.environ.setdefault(name, value)
    out = Path(options.out)
    for folder in ("images", "parts", *(["clean"] if options.keep_clean else [])):
        (out / folder).mkdir(parents=True, exist_ok=True)
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
        failed = _draw_all(options, out, todo)
    except RuntimeError as problem:
        print(problem, file=sys.stderr)
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
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) // 2), help="processes")
    parser.add_argument("--gpus", type=int, default=1, help="GPUs that the workers take turns on (cuda_ad_rgb)")
    parser.add_argument("--variant", choices=VARIANTS, default="scalar_rgb", help="renderer back end")
    parser.add_argument("--samples", type=int, help="light paths a pixel (default: the scene's own number)")
    parser.add_argument(
        "--keep-clean", action="store_true", help="keep each picture also without the phone's processing"
    )


def draw_picture(scene: Scene, out: Path, keep_clean: bool, render: Callable[[FlatScene], Rendered]) -> dict:
    """Render, photograph, label and store one scene; returns its manifest record."""
    rendered = render(flatten(scene))
    subjects, look_alikes = annotate(scene, rendered)
    rng = np.random.default_rng(scene.seed)
    passes = int(rng.choice(len(_DENOISE_SHARES), p=_DENOISE_SHARES))
    radiance = denoise(rendered.radiance, rendered.albedo, rendered.normal, rendered.depth, passes)
    photo = develop(radiance, scene.phone, rng)
    name = f"{scene.index:06d}.jpg"
    _write(out / "images" / name, encode_jpeg(photo, scene.phone, rng))
    record = _record(scene, f"images/{name}", subjects, look_alikes)
    parts = part_map(rendered.label_ids, rendered.labels, values_by_number(scene.truths))
    record["parts_file"] = f"parts/{scene.index:06d}.png"
    _write(out / record["parts_file"], encode_parts(parts))
    if keep_clean:
        _write(out / "clean" / name, _clean_jpeg(radiance))
        record["clean_file"] = f"clean/{name}"
    return record


def _record(scene: Scene, file: str, subjects: list[dict], look_alikes: list[dict]) -> dict:
    camera = scene.camera
    return {
        "schema": "1",
        "index": scene.index,
        "lift": scene.lift,
        "seed": scene.seed,
        "file": file,
        "width": scene.width,
        "height": scene.height,
        "style": scene.style,
        "families": scene.families,
        "framing": scene.framing,
        "conditions": list(scene.conditions),
        "fair": is_fair(scene, subjects),
        "camera": {
            "focal_mm": round(camera.focal_mm, 1),
            "distance_m": round(camera.distance_m, 3),
            "roll_deg": round(camera.roll_deg, 1),
            "azimuth_deg": round(camera.azimuth_deg, 1),
            "exposure_ev": round(scene.phone.exposure_ev, 2),
        },
        "look_alikes": look_alikes,
        "subjects": subjects,
        "code_version": code_version(),
    }


@cache
def code_version() -> str:
    """Hash of this package's source: two records with the same version and seed show the same picture."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def _clean_jpeg(radiance: np.ndarray) -> bytes:
    """The bare render: exposed by its mean, gamma 2.2, nothing else."""
    level = 0.18 / max(float(np.exp(np.log(radiance.mean(axis=2) + 1e-4).mean())), 1e-6)
    pixels = np.clip(radiance * level, 0, 1) ** (1 / 2.2)
    buffer = io.BytesIO()
    Image.fromarray((pixels * 255 + 0.5).astype(np.uint8)).save(buffer, "JPEG", quality=95)
    return buffer.getvalue()


def _write(path: Path, data: bytes) -> None:
    """Write whole or not at all, so that an interrupted run leaves no half picture."""
    partial = path.with_suffix(".part")
    partial.write_bytes(data)
    partial.replace(path)


# Workers -------------------------------------------------------------------------------------------------------------


def _draw_all(options: argparse.Namespace, out: Path, todo: list[int]) -> list[tuple[int, str]]:
    started, failed = time.monotonic(), []
    context = multiprocessing.get_context("spawn")
    counter = context.Value("i", 0)
    workers = min(options.workers, max(1, len(todo)))
    queue = RenderQueue(context, options.variant, options.gpus, workers) if options.variant.startswith("cuda") else None
    try:
        with (
            context.Pool(workers, _start_worker, (options, counter, queue.ends if queue else None)) as pool,
            (out / _MANIFEST).open("a", encoding="utf-8", buffering=1) as manifest,
        ):
            for count, (index, record, error) in enumerate(_results(pool, todo, queue, options.minutes), 1):
                if error is None:
                    manifest.write(json.dumps(record, separators=(",", ":")) + "\n")
                else:
                    failed.append((index, error))
                if count % max(1, min(500, len(todo) // 20)) == 0 or count == len(todo):
                    _progress(count, len(todo), time.monotonic() - started)
    finally:
        if queue:
            queue.close()
    return failed


def _results(pool, todo: list[int], queue: RenderQueue | None, minutes: float | None) -> Iterator[tuple]:
    """What the workers answer, as it comes, for so many minutes; raises RuntimeError when nothing comes any more."""
    drawn, started = pool.imap_unordered(_work, todo), time.monotonic()
    for _ in todo:
        waited = 0
        while True:
            if minutes and time.monotonic() - started > 60 * minutes:
                return
            try:
                yield drawn.next(timeout=_LOOK_EVERY_S)
                break
            except multiprocessing.TimeoutError:
                waited += _LOOK_EVERY_S
            if queue:
                queue.check()
            if waited >= _PATIENCE_S:
                raise RuntimeError(f"no picture was finished for {waited} s; those so far are kept")


def _progress(count: int, total: int, elapsed_s: float) -> None:
    rate = count / elapsed_s
    print(f"{count}/{total} pictures, {rate:.1f} images/s, {(total - count) / rate:.0f} s left", flush=True)


_worker: "_Worker | None" = None


@dataclass(frozen=True)
class _Worker:
    options: argparse.Namespace
    render: Callable[[FlatScene], Rendered]


def _start_worker(options: argparse.Namespace, counter, ends: list | None) -> None:
    """Each worker renders by itself, or over its own pipe when there is a queue."""
    global _worker
    cv2.setNumThreads(1)
    with counter.get_lock():
        number = counter.value
        counter.value += 1
    if ends is None:
        use_variant(options.variant)
        _worker = _Worker(options, render)
    else:
        start_geometry_on_one_core()
        keep_to_few_cores()
        _worker = _Worker(options, partial(render_remotely, ends[number]))


def _work(index: int) -> tuple[int, dict | None, str | None]:
    options = _worker.options
    try:
        asked = options.combinations, options.views, options.dense, options.grammar, options.people
        scene = draw_scene(options.seed, index, options.style, *asked)
        if options.samples:
            scene = replace(scene, samples=options.samples)
        return index, draw_picture(scene, Path(options.out), options.keep_clean, _worker.render), None
    except (
        Exception
    ) as error:  # one picture that cannot be drawn must not end a run of thousands; it is reported at the end
        return index, None, f"{type(error).__name__}: {error}"


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
    lines = path.read_text(encoding="utf-8").splitlines()
    lines.sort(key=lambda line: json.loads(line)["index"])
    path.write_text("".join(line + "\n" for line in lines), encoding="utf-8")

"""Drawn on a Ray cluster, by the queue's renderers or by one core: the same bytes as drawn here, whoever is lost."""

import multiprocessing
import os
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from synthetic_samples.drawing import Drawing, Pipes, made_by
from synthetic_samples.generate import draw_all, main, options_parser
from synthetic_samples.picture import Drawn
from synthetic_samples.render.queue import RenderQueue
from tests.support.local_ray import local_ray
from workers.dispatch import WorkersError
from workers.places import opened

ROOT = Path(__file__).parents[2]
COUNT = 4


@dataclass(frozen=True)
class LosesTheFirst:
    """Draws, but the first worker ends over its first picture: `once` is the file by which others know."""

    drawing: Drawing
    once: Path

    def __call__(self) -> Callable[[int], Drawn | str]:
        draw = self.drawing()

        def drawn(index: int) -> Drawn | str:
            if not self.once.exists():
                self.once.touch()
                os._exit(9)
            return draw(index)

        return drawn


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("plain")
    assert main(arguments(out, "--workers", "2")) == 0
    return out


def arguments(out: Path, *more: str) -> list[str]:
    words = ["--count", str(COUNT), "--seed", "6", "--style", "heldout", "--samples", "1", "--keep-clean"]
    return [*words, "--out", str(out), *more]


def drawing_of(*more: str) -> Drawing:
    return Drawing(options_parser().parse_args(arguments(Path("unused"), *more)), made_by())


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.thorough
def test_a_cluster_draws_the_same_pictures_and_goes_on_where_it_was_stopped(plain: Path, tmp_path: Path) -> None:
    with local_ray():
        out = tmp_path / "out"
        out.mkdir()
        with opened(LosesTheFirst(drawing_of(), tmp_path / "lost"), 2, "local") as workers:
            assert draw_all(workers, [2, 0], out, 2) == []
        assert (tmp_path / "lost").exists()
        assert len((out / "manifest.jsonl").read_text("utf-8").splitlines()) == 2
        with (out / "manifest.jsonl").open("a", encoding="utf-8") as manifest:
            manifest.write('{"schema":"1","index":1,')  # stopped in the middle of a line
        assert main(arguments(out, "--ray", "local")) == 0
        assert files_of(out) == files_of(plain)


@pytest.mark.thorough
def test_a_worker_of_this_machine_that_is_lost_loses_no_picture(plain: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    with opened(LosesTheFirst(drawing_of(), tmp_path / "lost"), 2, None) as workers:
        assert draw_all(workers, [0, 1], out, 2) == []
    drawn, wanted = files_of(out), files_of(plain)
    rows = drawn.pop("manifest.jsonl").splitlines()
    assert sorted(rows) == wanted["manifest.jsonl"].splitlines()[:2]
    assert {name: wanted[name] for name in drawn} == drawn and len(drawn) == 6


@pytest.mark.thorough
def test_renderers_of_their_own_draw_the_same(plain: Path, tmp_path: Path) -> None:
    """As on GPUs, but by the processor's renderer."""
    context = multiprocessing.get_context("spawn")
    queue = RenderQueue(context, "scalar_rgb", gpus=1, workers=1)
    try:
        drawing = replace(drawing_of(), pipes=Pipes(queue.ends, context.Value("i", 0)))
        with opened(drawing, 1, None) as workers:
            assert draw_all(workers, [0], tmp_path, 1) == []
    finally:
        queue.close()
    assert (tmp_path / "images/000000.jpg").read_bytes() == (plain / "images/000000.jpg").read_bytes()


@pytest.mark.thorough
@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="a process cannot be kept to one core here")
def test_a_machine_with_one_core_draws_the_same(plain: Path, tmp_path: Path) -> None:
    code = (
        "import os, sys\nos.sched_setaffinity(0, {min(os.sched_getaffinity(0))})\n"
        "from synthetic_samples.generate import main\nsys.exit(main(sys.argv[1:]))"
    )
    words = [*arguments(tmp_path, "--workers", "1"), "--count", "1"]
    subprocess.run([sys.executable, "-c", code, *words], cwd=ROOT, check=True, timeout=300)
    assert (tmp_path / "images/000000.jpg").read_bytes() == (plain / "images/000000.jpg").read_bytes()


def test_another_version_is_refused_by_the_worker() -> None:
    drawing = drawing_of()
    other = replace(drawing, expects={**drawing.expects, "mitsuba": "1.0"})
    with pytest.raises(WorkersError, match=r"another version .*\(mitsuba .* instead of 1\.0\)\. Install the same"):
        other()


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--ray", "127.0.0.1:9"), "--ray 127.0.0.1:9: .* Give the address of a running cluster"),
        (("--ray", "local", "--variant", "cuda_ad_rgb"), "--variant cuda_ad_rgb; on a cluster .* --variant scalar_rgb"),
    ],
)
def test_a_cluster_that_cannot_draw_is_said(
    more: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("ray")
    try:
        status = main(arguments(tmp_path, *more))
    except SystemExit as refused:
        status = refused.code
    assert status == 2
    assert re.search(told, " ".join(capsys.readouterr().err.split()))

"""The one run from ImageNet weights: every command that it types is one that this version understands."""

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from synthetic_samples.generate import options_parser
from training.command import parser

SCRIPT = Path(__file__).parents[2] / "training" / "from_nothing.sh"
STAND_IN = """#!/usr/bin/env bash
# Notes what it is told and leaves what the next step asks for.
[ "$1" = - ] && exec {python} -
printf '%s\\n' "$*" >> {notes}
case "$*" in *"{fails}"*) exit 3;; esac
out=; for word in "$@"; do [ "$last" = --out ] && out=$word; last=$word; done
mkdir -p "$out"
case "$3" in
  stream) for name in imagenet served; do mkdir -p "$out/$name"; touch "$out/$name/$5.pt"; done ;;
  evaluate) mkdir "$out/evaluation" ;;
esac
"""


def _run(folder: Path, fails: str = "nothing of it") -> tuple[int, list[list[str]]]:
    """Its exit status, and what it typed, with a Python that only takes notes."""
    notes, python = folder / "notes", folder / "python"
    python.write_text(STAND_IN.format(python=shlex.quote(sys.executable), notes=notes, fails=fails))
    python.chmod(0o755)
    settings = os.environ | {"PYTHON": str(python), "REVISION": "0123abc"}
    ended = subprocess.run(
        [SCRIPT, folder / "run"], env=settings, cwd=SCRIPT.parents[1], capture_output=True, text=True
    )
    return ended.returncode, [shlex.split(line) for line in notes.read_text().splitlines()]


def test_every_command_of_the_run_is_understood_and_measures_each_candidate(tmp_path: Path) -> None:
    status, typed = _run(tmp_path)
    assert status == 0
    done = []
    for _, module, *words in typed:
        given = parser().parse_args(words) if module == "training" else options_parser().parse_args(words)
        done.append((getattr(given, "command", module), Path(given.out).name))
    for candidate in ("imagenet", "served"):
        assert [command for command, out in done if out == candidate] == [
            "export", "calibrate", "evaluate", "evaluate",
        ]  # fmt: skip
        assert (tmp_path / "run" / candidate / "evaluation-composed").is_dir()
    assert {out for command, out in done if command == "synthetic_samples"} == {
        "train", "calibration", "heldout", "composed",
    }  # fmt: skip
    boxes = json.loads((tmp_path / "run" / "rows.json").read_text())
    assert boxes and all(len(box) == 4 for box in boxes)


@pytest.mark.parametrize("fails", ["training stream --task reader", "training calibrate", "--style calibration"])
def test_a_step_that_fails_ends_the_run_as_failed(tmp_path: Path, fails: str) -> None:
    status, _ = _run(tmp_path, fails)
    assert status != 0

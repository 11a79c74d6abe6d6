"""A small run from drawings to served files, made once for all tests here, whichever worker runs them."""

import json
from pathlib import Path

import pytest
import torch

from tests.support.drawn_pictures import draw_folder
from tests.support.made_once import made_once
from training.command import main

LISTED = {"stop_position": "top", "battery": "hung_pack", "service_buttons": "front", "charge_display": "gauge"}
"""Half of the boxes that the small run is calibrated for."""


@pytest.fixture(scope="session", autouse=True)
def one_thread():
    torch.set_num_threads(1)


@pytest.fixture(scope="session")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    counts = {"train": 60, "calibration": 40, "heldout": 40}

    def draw(root: Path) -> None:
        for seed, (style, count) in enumerate(counts.items()):
            draw_folder(root / style, count, style, seed)

    root = made_once(tmp_path_factory, "drawn", draw)
    return {style: root / style for style in counts}


@pytest.fixture(scope="session")
def small_run(drawn: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `python -m training all --preset small` leaves."""

    def run(out: Path) -> None:
        rows = out / "rows.json"
        rows.write_text(json.dumps([LISTED]))
        main(["all", "--data", str(drawn["train"]), "--calibration", str(drawn["calibration"]),
              "--heldout", str(drawn["heldout"]), "--combinations", str(rows), "--out", str(out), "--preset", "small",
              "--workers", "1", "--devices", "cpu"])  # fmt: skip

    return made_once(tmp_path_factory, "small_run", run)

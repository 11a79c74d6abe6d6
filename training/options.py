"""Which command takes which options; an option given to another command is refused."""

import argparse
from pathlib import Path
from typing import Final

from synthetic_samples.scene.combinations import read_combinations
from training.config import PRESETS

TASK_NAMES: Final = ("finder", "reader")

OPTIONS: Final[dict[str, dict]] = {
    "--data": {"type": Path, "action": "append", "help": "folder that `python -m synthetic_samples` wrote; repeatedly"},
    "--calibration": {"type": Path, "action": "append", "help": "pictures of style calibration (default: --data)"},
    "--heldout": {"type": Path, "action": "append", "help": "pictures of style heldout (default: --data)"},
    "--combinations": {
        "type": read_combinations,
        "default": (),
        "metavar": "FILE",
        "help": "JSON list of control box values: calibrate as if half of the boxes were of these",
    },
    "--out": {"type": Path, "required": True, "help": "folder of the run; a stopped one resumes from here"},
    "--weights": {"type": Path, "help": "where the served files lie (default: OUT/weights)"},
    "--preset": {"choices": tuple(PRESETS), "default": "full"},
    "--seed": {"type": int, "default": 1},
    "--start": {"type": Path, "help": "folder of checkpoints or of served weights to go on from"},
    "--only": {"choices": TASK_NAMES, "help": "train this network alone (default: both)"},
    "--run": {"type": Path, "action": "append", "required": True, "help": "folder of a run that began in --start"},
    "--minutes-finder": {"type": float, "help": "train the finder this long instead of the preset's steps"},
    "--minutes-reader": {"type": float, "help": "the same for the reader"},
    "--devices": {
        "help": "such as cuda:0,cuda:1 (default: all, else cpu); the first is the finder's; of a stream it trains"
    },
    "--compile": {"action": "store_true", "help": "fuse the networks' operations first: faster steps after minutes"},
    "--workers": {"type": int, "help": "processes that decode and measure (default: the preset's)"},
    "--ray": {"metavar": "ADDRESS", "help": "measure on a Ray cluster, one worker a core: its address, auto, or local"},
    "--style": {"default": "heldout", "help": "style of the pictures in --heldout (default: heldout)"},
    "--revision": {"help": "commit to note where this is no checkout (default: what git says)"},
    "--begin": {
        "action": "append",
        "help": "imagenet (the default), imagenet-lite1, -lite2 or a folder of served weights; repeatable",
    },
    "--task": {"choices": TASK_NAMES, "default": "reader", "help": "what is taught (default: reader)"},
    "--minutes": {"type": float, "help": "how long it is taught"},
    "--batch": {"type": int, "help": "windows a step (default: the preset's)"},
    "--grammar": {"type": float, "default": 0.65, "metavar": "SHARE", "help": "of things that the grammar builds"},
    "--stored": {
        "type": float,
        "default": 0.5,
        "metavar": "SHARE",
        "help": "of each batch that is drawn from --data, where given (default: %(default)s)",
    },
    "--nothing": {
        "type": float,
        "default": 0.05,
        "metavar": "SHARE",
        "help": "of each of a reader's batches that shows no lift part at all (default: %(default)s)",
    },
    "--cut-outs": {
        "type": Path,
        "metavar": "DIR",
        "help": "things cut out of photographs, .png or .webp, that lie on what shows no lift part",
    },
    "--smaller": {
        "type": int,
        "metavar": "PX",
        "help": "side of a finder's photos, or of the windows of a second reader, taught by the first one's answers",
    },
    "--views": {"type": int, "default": 16, "help": "of a world"},
    "--samples": {"type": int, "default": 4, "help": "light paths a pixel"},
    "--depth": {"type": int, "default": 3, "help": "of a light path"},
    "--builders": {"type": int, "default": 9, "help": "processes that build worlds, for each GPU"},
    "--renderers": {"type": int, "default": 6, "help": "processes that render them, on each GPU"},
    "--held": {"type": int, "default": 12000, "help": "views that are held at a time"},
    "--unseen": {"type": int, "default": 512, "help": "views that measure the loss at the end, and teach nothing"},
    "--variant": {"default": "cuda_ad_rgb", "help": "renderer back end: cuda_ad_rgb or llvm_ad_rgb"},
    "--entry": {"type": Path, "required": True, "help": "JSON file with what only a person knows of a run"},
}

RUN = ("--data", "--out", "--preset", "--workers")
TRAINING = ("--seed", "--start", "--only", "--minutes-finder", "--minutes-reader", "--devices", "--compile")
COMMAND_OPTIONS: Final[dict[str, tuple[str, ...]]] = {
    "all": (*RUN, *TRAINING, "--calibration", "--heldout", "--combinations", "--weights", "--style", "--revision"),
    "train": (*RUN, *TRAINING),
    "stream": (
        "--data",
        "--stored",
        "--nothing",
        "--cut-outs",
        "--out",
        "--preset",
        "--seed",
        "--task",
        "--minutes",
        "--begin",
        "--batch",
        "--grammar",
        "--smaller",
        "--views",
        "--samples",
        "--depth",
        "--builders",
        "--renderers",
        "--held",
        "--unseen",
        "--variant",
        "--devices",
    ),
    "average": (*RUN, "--calibration", "--start", "--run", "--devices"),
    "export": ("--data", "--out", "--weights", "--revision"),
    "calibrate": (*RUN, "--calibration", "--combinations", "--weights"),
    "evaluate": (*RUN, "--heldout", "--style", "--weights", "--ray"),
    "record": ("--data", "--out", "--heldout", "--style", "--entry"),
    "card": ("--weights",),
}
NEEDED: Final = (("average", "--start"), ("stream", "--minutes"))
HELP: Final = {
    "all": "train, export, calibrate and evaluate",
    "train": "teach the networks",
    "stream": "teach one network by views that are rendered meanwhile, each used twice at most, and by stored renders",
    "average": "average runs and the initial checkpoint; of each network the average of least loss is kept",
    "export": "write what is served, checked against torch",
    "calibrate": "fit the recipe on calibration pictures",
    "evaluate": "measure on held-out pictures",
    "record": "add an evaluation to the experiments",
    "card": "write the model card anew",
}


def add_commands(commands: argparse._SubParsersAction) -> None:
    """Add each command with its options."""
    for name, options in COMMAND_OPTIONS.items():
        parser = commands.add_parser(name, help=HELP[name], description=f"{HELP[name][0].upper()}{HELP[name][1:]}.")
        for option in options:
            parser.add_argument(option, **_told(name, option))


def _told(command: str, option: str) -> dict:
    needed = (command, option) in NEEDED or (option == "--data" and command != "stream")
    return OPTIONS[option] | ({"required": True} if needed else {})

"""The settings of a training run: two presets, one for a GPU and one that a laptop or a test finishes in seconds."""

from dataclasses import asdict, dataclass, replace
from typing import Final

from classifier.recipe import View

STRIDE: Final = 8
"""Input pixels to one cell of the finder's output and of the reader's map of parts."""

VIEWS: Final = (View(margin=0.2, mirrored=False), View(margin=0.0, mirrored=True, to_read=True))
"""The reader's test-time augmentation: the mean of a wide and a tight, mirrored window is read better than either.
On 570 stand-ins a third of the windows were of boxes of which nothing is read."""

MEAN: Final = 0.5
STD: Final = 0.5
"""What pixels of 0 to 1 are normed by, in training as served: mid grey is 0, as what lies beyond a picture."""

TAUGHT_MARGIN: Final = 0.15
"""The margin of a window in training, on average."""

LEAST_DOUBT: Final = 0.002
"""Share of every reading that is taken to say nothing at least, for photos that are unlike the renders."""

CHOSEN_CORRELATION: Final = 0.5
"""How alike the errors on two photos of one lift are taken to be where nobody measured it."""

COVERAGE: Final = 0.95
"""Share of photos whose prediction set shall hold the true value."""


@dataclass(frozen=True)
class Schedule:
    """How one network is trained: for `steps`, or, with `minutes` given, until they are over."""

    steps: int
    batch: int
    minutes: float | None = None
    learning_rate: float = 1.2e-3
    going_on_rate: float = 0.25  # of learning_rate, for a network that goes on from another
    backbone_rate: float = 0.5  # of learning_rate: pretrained features move more slowly than new heads
    head_only_share: float = 0.05  # of the steps, with the backbone frozen
    warmup_share: float = 0.04
    weight_decay: float = 0.05
    average_decay: float = 0.998  # exponential moving average of the weights
    clip_norm: float = 5.0
    save_every_s: float = 45.0


@dataclass(frozen=True)
class Preset:
    """Everything that decides a run beside the data, the seed and the device."""

    name: str
    canvas_px: int  # pictures are held in memory on squares of this side; larger ones are reduced to it
    finder_px: int
    reader_px: int
    reader_served_px: int  # a little more than it is taught with shows small parts larger
    finder: Schedule
    reader: Schedule
    workers: int
    clean: float = 0.0  # share of the pictures that are read as they were before the phone's camera pipeline

    def with_minutes(self, finder: float | None, reader: float | None) -> "Preset":
        """The same preset, its networks held to these minutes where they are given."""
        return replace(
            self,
            finder=replace(self.finder, minutes=finder) if finder else self.finder,
            reader=replace(self.reader, minutes=reader) if reader else self.reader,
        )

    def as_dict(self) -> dict:
        """Plain values for a checkpoint's or a model's metadata."""
        return asdict(self)


PRESETS: Final[dict[str, Preset]] = {
    "full": Preset(
        name="full",
        canvas_px=704,
        finder_px=384,
        reader_px=320,
        reader_served_px=352,
        finder=Schedule(steps=4000, batch=192),
        reader=Schedule(steps=4000, batch=320),
        workers=16,
        clean=0.5,
    ),
    "small": Preset(
        name="small",
        canvas_px=320,
        finder_px=160,
        reader_px=96,
        reader_served_px=96,
        finder=Schedule(steps=16, batch=8, average_decay=0.9),
        reader=Schedule(steps=16, batch=16, average_decay=0.9),
        workers=2,
    ),
}

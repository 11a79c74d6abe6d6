"""Models while a server runs: the one in use, taken anew when another is promoted, and one that is tried unseen."""

import hashlib
import json
import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from classifier.errors import ModelError, PhotoError
from classifier.identify import PhotoReading, read_photo
from classifier.lineage import DIFFERENCES_FILE
from classifier.model import Model
from classifier.photo import PhotoLimits
from classifier.recipe import METADATA_FILE

LOG = logging.getLogger("hoistlore")

LOOK_EVERY_S = 5
"""How often it is looked whether another model lies there."""

REST = 9.0
"""Times as long as the unseen model worked, it rests: it takes a tenth of one processor core at most."""

MOST_LINES = 10_000
Told = dict[str, dict]
"""For box and actuator what would be answered from one photo alone."""


@dataclass
class Watched:
    """A folder of weights, and the hash of the metadata that was last looked at there."""

    folder: Path
    threads: int
    seen: str = ""

    def __post_init__(self) -> None:
        self.seen = self.seen or self._now()

    def taken_anew(self) -> Model | None:
        """The model that lies there, where it is another than the last time; None where it cannot be used.

        The metadata are replaced last and in one step, so that they always name files that are there.
        """
        now = self._now()
        if now == self.seen:
            return None
        self.seen = now
        if not now:
            return None
        try:
            model = Model.load(self.folder, self.threads)
        except ModelError as problem:
            LOG.error("another model lies in %s but cannot be used, the one before stays: %s", self.folder, problem)
            return None
        LOG.warning("the model %s from %s is in use now", model.info.version, self.folder)
        return model

    @property
    def is_empty(self) -> bool:
        """Whether no model lay there when it was last looked."""
        return not self.seen

    def _now(self) -> str:
        try:
            return hashlib.sha256((self.folder / METADATA_FILE).read_bytes()).hexdigest()
        except OSError:
            return ""


@dataclass
class Shadow:
    """A model that reads live photos beside the one in use, one at a time, and is shown to nobody.

    `told` gives what a model would answer from one reading.
    """

    folder: Path
    model: Model
    limits: PhotoLimits
    told: Callable[[PhotoReading, Model], Told]
    _free: threading.Lock = field(default_factory=threading.Lock)
    _rests_until: float = 0.0
    _thread: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, thread_name_prefix="shadow"))

    def offer(self, data: bytes, shown: PhotoReading, in_use: Model) -> bool:
        """Try this photo too, later and elsewhere; False where the shadow is busy or rests."""
        if time.monotonic() < self._rests_until or not self._free.acquire(blocking=False):
            return False
        self._thread.submit(self._try, data, shown, in_use)
        return True

    def close(self) -> None:
        """Let what runs end, and take no more."""
        self._thread.shutdown(wait=True)

    def _try(self, data: bytes, shown: PhotoReading, in_use: Model) -> None:
        started = time.monotonic()
        try:
            reading = read_photo(data, shown.name, self.model, self.limits)
            self._note(self.told(shown, in_use), self.told(reading, self.model), in_use)
        except (PhotoError, OSError) as problem:
            LOG.error("the shadow %s could not try a photo: %s", self.folder, type(problem).__name__)
        finally:
            self._rests_until = time.monotonic() + REST * (time.monotonic() - started)
            self._free.release()

    def _note(self, shown: Told, tried: Told, in_use: Model) -> None:
        path = self.folder / DIFFERENCES_FILE
        if path.is_file() and sum(1 for _ in path.open("rb")) >= MOST_LINES:
            return
        line = {
            "at": datetime.now(UTC).isoformat(timespec="seconds"),
            "in_use": in_use.info.version, "shadow": self.model.info.version,
            "differs": [part for part in shown if _said(shown[part]) != _said(tried[part])],
            "shown": shown, "tried": tried,
        }  # fmt: skip
        with path.open("a", encoding="utf-8") as out:
            out.write(json.dumps(line) + "\n")


def _said(part: dict) -> tuple:
    return part["decision"], part["value"]

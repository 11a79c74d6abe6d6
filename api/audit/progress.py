"""How an audit is coming on, on standard error: photos a second, time left, failures by reason."""

from __future__ import annotations

import time
from collections import Counter
from typing import TextIO

EVERY_S = 5.0
"""Between two lines where nobody sits before a terminal; there one line is written over, twice a second."""


class Progress:
    """Counts up to `total`; `done` were there already and count for nothing in the speed."""

    def __init__(self, what: str, total: int, done: int, out: TextIO) -> None:
        self._what, self._total, self._done, self._before = what, total, done, done
        self._out, self._failures, self._started = out, Counter[str](), time.monotonic()
        self._live = out.isatty()
        self._told = 0.0
        if done:
            print(f"{done} of {total} {what} are there already.", file=out, flush=True)

    def add(self, number: int, failures: Counter[str]) -> None:
        """So many more, of which some failed."""
        self._done += number
        self._failures += failures
        now = time.monotonic()
        if now - self._told >= (0.5 if self._live else EVERY_S):
            self._told = now
            self._say(self.line())

    def end(self) -> None:
        """Say how it came out."""
        self._say(self.line())
        if self._live:
            print(file=self._out, flush=True)

    def line(self) -> str:
        """The state in one line."""
        elapsed = max(time.monotonic() - self._started, 1e-3)
        rate = (self._done - self._before) / elapsed
        left = (self._total - self._done) / rate if rate else float("inf")
        told = f"{self._done} of {self._total} {self._what}, {rate:.1f} a second"
        if self._done < self._total:
            told += f", {_length(left)} left"
        if self._failures:
            told += "; cannot be read: " + ", ".join(f"{n} {why}" for why, n in self._failures.most_common())
        return told

    def _say(self, line: str) -> None:
        if self._live:
            print(f"\r\x1b[K{line}", end="", file=self._out, flush=True)
        else:
            print(line, file=self._out, flush=True)


def _length(seconds: float) -> str:
    if seconds == float("inf"):
        return "nobody knows how long"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s" if minutes else f"{rest} s"

"""Pieces that count, wait, end their worker or fail; at the top of a module, so that workers can import them."""

import os
import time
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Numbers:
    """A piece: some whole numbers."""

    values: tuple[int, ...]

    def halves(self) -> "list[Numbers]":
        middle = len(self.values) // 2
        return [Numbers(self.values[:middle]), Numbers(self.values[middle:])] if middle else []


@dataclass(frozen=True)
class Squares:
    """Squares; a number in `deadly` ends the worker always, the first one of `once` a single time."""

    deadly: tuple[int, ...] = ()
    once: Path | None = None
    wrong: int | None = None

    def __call__(self) -> "Squares":
        return self

    def squares(self, piece: Numbers) -> list[tuple[int, int]]:
        if self.once and not self.once.exists():
            self.once.touch()
            os._exit(9)
        for number in piece.values:
            if number in self.deadly:
                os._exit(9)
            if number == self.wrong:
                raise ValueError(f"{number} has no square here")
        return [(number, number * number) for number in piece.values]


@dataclass(frozen=True)
class Begun:
    """What a worker calls once; gives the squares."""

    squares: Squares

    def __call__(self):
        return self.squares.squares


def cannot_begin():
    raise ValueError("no weights here")


def waits():
    """A piece is so many seconds of waiting."""
    return time.sleep


def computes():
    """A piece is so many additions."""
    return lambda number: sum(range(number))

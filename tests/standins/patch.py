"""Flat parts of a housing's surface, on which fittings find room without touching each other."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .kit import frame


class Crowded(Exception):
    """A face has no room left for a fitting; the builder draws another body."""


@dataclass
class Patch:
    """A flat part of a housing's surface on which fittings find room; sizes in mm."""

    origin: np.ndarray
    right: np.ndarray
    up: np.ndarray
    width: float
    height: float
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def room(
        self,
        rng: np.random.Generator,
        width: float,
        height: float,
        band: tuple[float, float] = (0.0, 1.0),
        margin: float = 2.5,
    ) -> np.ndarray:
        """Matrix of a free place for a fitting, its centre within a band of the patch's height; else `Crowded`."""
        spare_x, spare_y = self.width - width, self.height - height
        if spare_x < 0 or spare_y < 0:
            raise Crowded(
                f"a fitting of {width:.0f} x {height:.0f} mm on a face of {self.width:.0f} x {self.height:.0f} mm"
            )
        for _ in range(60):
            middle = rng.random() < 0.35
            x = -spare_x / 2 + spare_x * (0.5 if middle else rng.random())
            y = -spare_y / 2 + spare_y * rng.uniform(*band)
            box = (x - width / 2 - margin, y - height / 2 - margin, x + width / 2 + margin, y + height / 2 + margin)
            if not any(_overlap(box, other) for other in self.taken):
                self.taken.append(box)
                return self.at(x, y)
        raise Crowded("no free place left on the face")

    def at(self, x: float, y: float) -> np.ndarray:
        right = self.right / np.linalg.norm(self.right)
        up = self.up / np.linalg.norm(self.up)
        return frame(self.origin + x * right + y * up, right, up)


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]

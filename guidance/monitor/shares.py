"""A share with its interval: what so many of so many prove, and no more."""

import math
from dataclasses import asdict, dataclass

Z_95 = 1.959963984540054  # the normal distribution's 97.5 % point


@dataclass(frozen=True)
class Share:
    """`hits` of `n`, with the 95 % interval of Wilson (1927)."""

    hits: int
    n: int

    @property
    def value(self) -> float:
        return self.hits / self.n if self.n else math.nan

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper end; the whole range without any case."""
        if not self.n:
            return 0.0, 1.0
        square = Z_95**2 / self.n
        middle = (self.value + square / 2) / (1 + square)
        half = Z_95 / (1 + square) * math.sqrt(self.value * (1 - self.value) / self.n + square / (4 * self.n))
        return max(0.0, middle - half), min(1.0, middle + half)

    def as_dict(self) -> dict[str, object]:
        return asdict(self) | {"share": self.value if self.n else None, "interval_95": list(self.interval)}

    def __str__(self) -> str:
        low, high = self.interval
        return f"{100 * self.value:5.1f} % ({100 * low:.1f}–{100 * high:.1f}, n={self.n})" if self.n else "   – (n=0)"

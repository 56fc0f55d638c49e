"""Random numbers that are the same on every machine.

In: a seed. Out: `Draws`. Next: `seallife.demo.simulate`.

Only the raw bit stream of PCG64 is fixed for ever; numpy may change how it makes a normal or a
Weibull number from it. So everything here starts from plain uniform numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["Draws"]

T = TypeVar("T")
Floats = NDArray[np.float64]


class Draws:
    """Random numbers of one purpose: ``Draws(seed, purpose)`` is a stream of its own.

    Parameters
    ----------
    *key : int
        Seed, then the number of the purpose. Streams of different keys are independent, so that
        another sentence in a work order never changes a seal life.

    Examples
    --------
    >>> Draws(1, 2).pick(["A", "B", "C"]) == Draws(1, 2).pick(["A", "B", "C"])
    True
    """

    def __init__(self, *key: int) -> None:
        self._generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence(key)))

    def uniform(self, *size: int) -> Floats:
        """Numbers above 0 and up to 1."""
        return np.asarray(1.0 - self._generator.random(size), dtype=float)

    def exponential(self, *size: int) -> Floats:
        """Exponential numbers with mean 1."""
        return np.asarray(-np.log(self.uniform(*size)), dtype=float)

    def normal(self, *size: int) -> Floats:
        """Normal numbers with mean 0 and standard deviation 1 (Box and Muller 1958)."""
        radius = np.sqrt(2.0 * self.exponential(*size))
        return np.asarray(radius * np.cos(2.0 * np.pi * self.uniform(*size)), dtype=float)

    def one(self) -> float:
        """One number above 0 and up to 1."""
        return float(1.0 - self._generator.random())

    def chance(self, probability: float) -> bool:
        """True with the given probability."""
        return self.one() <= probability

    def between(self, low: int, high: int) -> int:
        """A whole number from low to high, both included."""
        return min(low + int((1.0 - self.one()) * (high - low + 1)), high)

    def pick(self, items: Sequence[T]) -> T:
        """One of the items."""
        return items[self.between(0, len(items) - 1)]

    def weighted(self, weights: dict[str, float]) -> str:
        """One of the keys, with the given weights."""
        mark = self.one() * sum(weights.values())
        for key, weight in weights.items():
            mark -= weight
            if mark <= 0:
                return key
        return next(reversed(weights))

    def sample(self, items: Sequence[T], count: int) -> list[T]:
        """Different items, in the order in which they stood."""
        if count > len(items):
            raise ValueError(f"asked for {count} of {len(items)} items")
        order: Any = np.argsort(self.uniform(len(items)), kind="stable")[:count]
        return [items[i] for i in sorted(order.tolist())]

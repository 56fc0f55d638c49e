"""Parts of one piece of work on all processors of the machine.

In: a function and its arguments. Out: its results in order. Next: `seallife.life.choose`,
`seallife.life.calibration`.

Threads are enough: numpy works without the interpreter's lock on all but the smallest arrays. The
parts do not know of each other, so that results are the same on any machine.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np

from seallife.life.groups import Floats

__all__ = ["product", "side_by_side"]

Part = TypeVar("Part")
Result = TypeVar("Result")

_MOST = 4  # beyond, threads wait for each other's small steps
_SMALL = 200_000  # multiplications that a library of matrices leaves to one thread


def side_by_side(work: Callable[[Part], Result], parts: Sequence[Part]) -> list[Result]:
    """Do the work on each part, some of them at the same time.

    Parameters
    ----------
    work : callable
        From a part to its result; it must change nothing that another part reads.
    parts : sequence
    """
    threads = min(len(parts), _processors(), _MOST)
    if threads < 2:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(work, parts))


def product(left: Floats, right: Floats) -> Floats:
    """Matrix product in pieces so small that its library starts no threads of its own.

    They would take processors from those that work side by side already.
    """
    rows = max(1, _SMALL // max(right.size, 1))
    if len(left) <= rows:
        return np.asarray(left @ right)
    out = np.empty((len(left), right.shape[1]))
    for first in range(0, len(left), rows):
        np.matmul(left[first : first + rows], right, out=out[first : first + rows])
    return out


def _processors() -> int:
    """Processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1

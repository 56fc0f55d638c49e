"""Serial numbers of seals: new ones, and rebuilt ones that come back with ``-R1``.

In: `TrueFleet`, register. Out: `life_serials`. Next: `seallife.demo.orders`.
"""

from __future__ import annotations

import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.simulate import TrueFleet
from seallife.demo.tools import each

__all__ = ["life_serials"]

_SHOP_DAYS = 45


def _next_rebuild(serial: str) -> str:
    """A12 -> A12-R1 -> A12-R2."""
    stem, mark, number = serial.partition("-R")
    return f"{stem}-R{int(number) + 1 if mark else 1}"


def life_serials(fleet: TrueFleet, register: pd.DataFrame) -> dict[int, str]:
    """Which serial number did each seal carry?

    A rebuilt seal is the one that has waited longest in its pool since it came out of a pump; where
    none waits, one from before the records is taken.

    Returns
    -------
    dict
        Row of ``fleet.lives`` -> serial, for positions whose serials are kept.
    """
    pools = register["pool"].to_numpy()
    letters = {sc.SKARROW: "S", sc.MERROWFEN: "M"}
    sites = register["site"].to_numpy()
    kept = fleet.positions["serial_known"].to_numpy()[fleet.lives["position"]]
    waiting: dict[str, list[tuple[float, str]]] = {}
    serials: dict[int, str] = {}
    number = 1_000
    for life in each(fleet.lives[kept].sort_values(["start_d", "position"])):
        pool = pools[life.position]
        shelf = waiting.setdefault(pool, [])
        ready = [s for s in sorted(shelf) if s[0] <= life.start_d]
        if life.rebuilt and ready:
            shelf.remove(ready[0])
            serial = _next_rebuild(ready[0][1])
        else:
            number += 1
            serial = f"{letters[sites[life.position]]}{number:05d}" + (
                "-R1" if life.rebuilt else ""
            )
        serials[int(life.Index)] = serial
        shelf.append((life.end_d + _SHOP_DAYS, serial))
    return serials

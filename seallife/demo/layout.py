"""The pumps and seal positions, before anything random is drawn.

In: `scenario.AREAS`. Out: `positions_table`. Next: `seallife.demo.simulate`.
"""

from __future__ import annotations

from functools import cache

import pandas as pd

from seallife.demo import scenario as sc

__all__ = ["positions_table"]

_PREFIX = {"Ash": "31-PU-1", "FGD": "32-PU-2", "Cooling": "41-PU-3", "Feed": "21-PU-4"}
_PREFIX |= {"Turbine": "22-PU-5"}


def _pumps(area: sc.Area) -> list[tuple[str, str, int]]:
    """Pumps of an area as (letter, how it shares its duty, seals); letter A opens a number."""
    pumps: list[tuple[str, str, int]] = []
    pumps += [("A", "alternating", 1), ("B", "alternating", 1)] * area.alternating
    pumps += [("A", "main", 1), ("B", "spare", 1)] * area.main_spare
    pumps += [("AB"[i % 2], "own", 2) for i in range(area.two_ended)]
    pumps += [("AB"[i % 2], "own", 1) for i in range(area.single)]
    return pumps


@cache
def positions_table() -> pd.DataFrame:
    """Which seal positions does the invented fleet have?

    Returns
    -------
    DataFrame
        One row a position, in a fixed order: position_id, tag, seal_end, site, unit, pair_group,
        service_class, sharing (alternating, main, spare, own), story, pump (number), two_ended.
    """
    rows, pump, used = [], 0, dict.fromkeys({a.unit for a in sc.AREAS}, 0)
    for area in sc.AREAS:
        for letter, sharing, seals in _pumps(area):
            prefix = _PREFIX.get(area.unit, f"P-{area.unit[:1]}1")
            if area.story == "bad actor":
                stem = sc.BAD_ACTOR_PUMP
            else:
                used[area.unit] += letter == "A"
                # The bad actor's number is taken.
                used[area.unit] += f"{prefix}{used[area.unit]:02d}" == sc.BAD_ACTOR_PUMP
                stem = f"{prefix}{used[area.unit]:02d}"
            rows += [
                {
                    "position_id": f"{stem}{letter}-{end}",
                    "tag": f"{stem}{letter}",
                    "seal_end": end,
                    "site": area.site,
                    "unit": area.unit,
                    "pair_group": stem,
                    "service_class": area.service_class,
                    "sharing": sharing,
                    "story": area.story,
                    "pump": pump,
                    "two_ended": seals == 2,
                }
                for end in ("DE", "NDE")[:seals]
            ]
            pump += 1
    return pd.DataFrame(rows)

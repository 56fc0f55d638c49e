"""The planted stories: what was expected of each, and what this fleet holds.

In: `TrueFleet`. Out: `evidence`, `decoy_positions`. Next: `seallife.demo.write`, tests.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.simulate import TrueFleet

__all__ = ["decoy_positions", "evidence"]


def _days(first: date, last: date) -> tuple[int, int]:
    """Half-open range of day numbers, the last day included."""
    return sc.day_number(first), sc.day_number(last + timedelta(days=1))


def _count(lives: pd.DataFrame, low: float, high: float) -> int:
    """Failures with their end in the range."""
    return int((lives["failed"] & (lives["end_d"] >= low) & (lives["end_d"] < high)).sum())


def decoy_positions(fleet: TrueFleet) -> list[int]:
    """Which ten positions did the site choose for its upgrade that changes nothing?

    Those with the most failures in 2018-2019 among `scenario.DECOY_CLASSES`, the bad actor and
    retired pumps apart; ties by their order in the register.
    """
    low, high = _days(date(2018, 1, 1), date(2019, 12, 31))
    lives = fleet.lives
    hit = lives[lives["failed"] & (lives["end_d"] >= low) & (lives["end_d"] < high)]
    count = np.bincount(hit["position"], minlength=len(fleet.positions))
    place = fleet.positions
    open_to = place["service_class"].isin(sc.DECOY_CLASSES) & (place["story"] != "bad actor")
    open_to &= np.isinf(place["retired_d"])
    count = np.where(open_to, count, -1)
    return sorted(np.argsort(-count, kind="stable")[: sc.DECOY_POSITIONS].tolist())


def evidence(fleet: TrueFleet) -> pd.DataFrame:
    """How strong did each story come out in this fleet?

    Returns
    -------
    DataFrame
        story, figure, expected (mean over many fleets), obtained.
    """
    lives = fleet.lives.assign(
        story=fleet.positions["story"].to_numpy()[fleet.lives["position"]],
        site=fleet.positions["site"].to_numpy()[fleet.lives["position"]],
        sharing=fleet.positions["sharing"].to_numpy()[fleet.lives["position"]],
        service_class=fleet.positions["service_class"].to_numpy()[fleet.lives["position"]],
    )
    start, end = _days(sc.WINDOWS[sc.SKARROW][0], sc.DATA_END)
    rows: list[tuple[str, str, float, float]] = []

    plan = lives[lives["story"] == "plan 53B"]
    changed = fleet.positions["converted_d"].to_numpy()[plan["position"]]
    inside = plan["failed"] & (plan["end_d"] >= start)
    rows.append(
        ("S1", "failures before plan 53B", 57, int((inside & (plan["end_d"] < changed)).sum()))
    )
    rows.append(
        ("S1", "failures after plan 53B", 15, int((inside & (plan["end_d"] > changed)).sum()))
    )

    decoy = lives[lives["position"].isin(decoy_positions(fleet))]
    change = sc.day_number(sc.DECOY_DATE)
    low = sc.day_number(date(2018, 1, 1))
    rows.append(
        ("S2", "failures in 2018-2019, by which they were chosen", 20, _count(decoy, low, change))
    )
    rows.append(("S2", "failures in the two years after", 2.3, _count(decoy, change, change + 731)))

    bad = lives[lives["story"] == "bad actor"]
    rows.append(("S3", "failures of P-3107A and B in ten years", 17, _count(bad, start, end)))

    early = lives["failed"] & (lives["end_d"] - lives["start_d"] <= 90)
    installed = (lives["site"] == sc.SKARROW) & (lives["number"] > 1)
    low, high = _days(*sc.BAD_FITTING)
    crew = installed & (lives["start_d"] >= low) & (lives["start_d"] < high)
    rows.append(("S4", "installations Jan-Nov 2021", 77, int(crew.sum())))
    rows.append(("S4", "of these failed within 90 days", 12.7, int((crew & early).sum())))

    low, high = _days(*sc.LOT_INSTALLS)
    rows.append(("S5", "seals of the wrong lot", 28, int(lives["lot"].sum())))
    rows.append(("S5", "failed by it", 21, int((lives["ending"] == "lot").sum())))

    low, high = _days(date(2019, 1, 1), date(2019, 12, 31))
    gone = (lives["site"] == sc.SKARROW) & ~lives["ending"].isin(["in service", "pump retired"])
    gone &= (lives["end_d"] >= low) & (lives["end_d"] < high)
    rows.append(("S7", "removals at Skarrow Point in 2019", 184, int(gone.sum())))

    main = _count(lives[lives["sharing"] == "main"], start, end)
    spare = _count(lives[lives["sharing"] == "spare"], start, end)
    rows.append(("S8", "calendar MTBF of spares over main pumps", 7.5, main / max(spare, 1)))

    rebuilt = lives["rebuilt"] & (lives["end_d"] >= start)
    rows.append(("S9", "rebuilt seals seen", 300, int(rebuilt.sum())))
    rows.append(
        (
            "OIL",
            "failures of the class without failures",
            0.5,
            _count(lives[lives["service_class"] == "OIL"], start, end),
        )
    )
    return pd.DataFrame(rows, columns=["story", "figure", "expected", "obtained"])

"""The truth beside the exports: what each row really is.

In: `DemoTables`. Out: files of ``truth/``. Next: tests.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.export import table_bytes
from seallife.demo.serials import life_serials
from seallife.demo.simulate import CAUSES, to_date
from seallife.demo.stories import decoy_positions, evidence
from seallife.demo.tools import each
from seallife.demo.truth import law_figures

if TYPE_CHECKING:
    from seallife.demo.write import DemoTables

__all__ = ["order_ledger", "peers", "truth_files"]


def order_ledger(demo: DemoTables) -> pd.DataFrame:
    """What is each row of the work-order files, in truth?

    Returns
    -------
    DataFrame
        record (``work_orders:file:row``, the header is row 1), wo_no, what (removal, other, second
        order, rework, duplicate, inspection, support, seal word, returned, cancelled, stray),
        lives (the lives this job ended, ``;`` between), positions, reason (of the removal), end
        (failed, withdrawn or nothing), cause, end_date, back_in_service, language, defects.
    """
    rows = [
        {
            "record": f"work_orders:{name}:{row}",
            "wo_no": order.wo_no,
            "what": order.what,
            "lives": ";".join(order.lives),
            "positions": ";".join(order.positions),
            "reason": order.reason,
            "end": ("failed" if order.cause else "withdrawn") if order.lives else "",
            "cause": order.cause,
            "end_date": order.end_date,
            "back_in_service": order.back_date,
            "language": order.language,
            "defects": ";".join(order.defects),
        }
        for name, orders in sorted(demo.orders.items())
        for row, order in enumerate(orders, start=2)
    ]
    return pd.DataFrame(rows)


def _lives(demo: DemoTables) -> pd.DataFrame:
    """All lives since 2005."""
    lives, places = demo.fleet.lives, demo.register
    serials = life_serials(demo.fleet, places)
    at = lives["position"].to_numpy()
    position = places["position_id"].to_numpy()[at]
    return pd.DataFrame(
        {
            "life_id": [f"{p}#{n}" for p, n in zip(position, lives["number"], strict=True)],
            "position_id": position,
            "service_class": places["service_class"].to_numpy()[at],
            "start": to_date(lives["start_d"]),
            "end_date": to_date(lives["end_d"]),
            "hours": lives["hours"].round(1),
            "ending": lives["ending"],
            "end": np.where(
                lives["failed"],
                "failed",
                np.where(lives["ending"] == "in service", "in service", "withdrawn"),
            ),
            "defective": lives["defective"],
            "lot": np.where(lives["lot"], sc.LOT, ""),
            "rebuilt": lives["rebuilt"],
            "serial": [serials.get(i, "") for i in range(len(lives))],
        }
    )


def _day_or_never(days: pd.Series) -> pd.Series:
    """Calendar days; empty where the thing never happened."""
    return pd.Series(to_date(days.clip(upper=1e5)), index=days.index).where(days < 1e5)


def _positions(demo: DemoTables) -> pd.DataFrame:
    """True values of what the register may have wrong, and the faults planted there."""
    places = demo.register
    faults = dict.fromkeys(places["position_id"], "")
    for fault in ("temperature in degF", "pressure in psi", "gauge or absolute open"):
        for position in demo.faults[fault]:
            faults[position] += f"{';' if faults[position] else ''}{fault}"
    columns = [
        "position_id",
        "tag",
        "seal_end",
        "site",
        "unit",
        "service_class",
        "sharing",
        "story",
    ]
    measured = ["temp_c", "suction_kpa", "discharge_kpa", "chamber_kpa", "vapour_kpa"]
    decoy = np.isin(np.arange(len(places)), decoy_positions(demo.fleet))
    return places[columns].assign(
        story=np.where(decoy, "upgrade 2020", places["story"]),
        duty=places["duty"].round(4),
        first_start=to_date(places["first_start_d"]),
        converted=_day_or_never(places["converted_d"]),
        retired=_day_or_never(places["retired_d"]),
        **{m: places[m] for m in measured},
        defects=list(faults.values()),
    )


def peers() -> pd.DataFrame:
    """What do other sites report, in totals only?

    Returns
    -------
    DataFrame
        site, service_class, position_years, expected (failures at this fleet's true rates),
        failures, true_ratio. About 60 failures are expected at each site; the counts carry no
        chance, so that each ratio is what it says.
    """
    years = {
        r.service_class: r.mean_h / (8_766 * sc.CLASSES[r.service_class].duty)
        for r in each(law_figures())
    }
    rows: list[dict[str, Any]] = []
    names = [c for c in sc.CLASSES if c != "OIL"]
    for i, (site, ratio) in enumerate(sc.PEERS):
        mix = [names[(i + k) % len(names)] for k in range(5)]
        for k, name in enumerate(mix):
            expected = (8, 10, 12, 14, 16)[(i + 2 * k) % 5]
            rows.append(
                {
                    "site": site,
                    "service_class": name,
                    "position_years": round(expected * years[name]),
                }
                | {"expected": expected, "failures": round(expected * ratio), "true_ratio": ratio}
            )
    return pd.DataFrame(rows)


def _truth_toml(demo: DemoTables) -> str:
    """Seed, laws, stories and faults as a settings file."""
    lines = [
        "# What is true of the invented fleet.",
        f"seed = {demo.fleet.seed}",
        f"simulated_from = {sc.SIMULATION_START.isoformat()}",
        f"infant_shape = {sc.INFANT_SHAPE}",
        f"infant_scale_h = {sc.INFANT_SCALE_H}",
        f"other_work_years = {sc.OTHER_WORK_YEARS}",
        f"rebuilt_hazard = {sc.REBUILT_HAZARD}",
        f"ramp_share = {sc.RAMP_SHARE}",
    ]
    for row in each(law_figures()):
        law = sc.CLASSES[row.service_class]
        lines += [
            f'\n[classes."{row.service_class}"]',
            f"defective = {law.defective}",
            f"random_h = {law.random_h}",
            f"shape = {law.shape}",
            f"scale_h = {law.scale_h}",
            f"duty = {law.duty}",
            f"mean_h = {round(row.mean_h)}",
            f"b10_h = {round(row.b10_h)}",
            f"survival_8760 = {round(row.survival_8760, 3)}",
            f"survival_25000 = {round(row.survival_25000, 3)}",
        ]
    for story in each(evidence(demo.fleet)):
        lines += [
            "\n[[stories]]",
            f'story = "{story.story}"',
            f'figure = "{story.figure}"',
            f"expected = {round(story.expected, 2)}",
            f"obtained = {round(story.obtained, 2)}",
        ]
    lines.append("\n[faults]")
    for fault, value in demo.faults.items():
        shown = value if isinstance(value, int) else "[" + ", ".join(f'"{v}"' for v in value) + "]"
        lines.append(f'"{fault}" = {shown}')
    return "\n".join(lines) + "\n"


def truth_files(demo: DemoTables) -> Iterable[tuple[str, bytes]]:
    """Name and bytes of each file of ``truth/``."""
    readings = demo.tables["leak_readings.csv"]
    readings = readings.assign(
        record=[f"leak_readings:leak_readings.csv:{row}" for row in range(2, len(readings) + 2)]
    )
    noted = readings[readings["ramp"] | (readings["defect"] != "")]
    tables = {
        "lives.csv": _lives(demo),
        "orders.csv": order_ledger(demo),
        "positions.csv": _positions(demo),
        "readings.csv": noted[["record", "position_id", "true_ppm", "ramp", "defect"]],
        "peers.csv": peers(),
    }
    assert set(CAUSES) >= set(tables["orders.csv"]["cause"]) - {""}
    for name, table in tables.items():
        yield name, table_bytes(table)
    yield "truth.toml", _truth_toml(demo).encode()

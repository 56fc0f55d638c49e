"""Where it hurts: what fails more often than its class explains, and where that list ends.

In: `Study`. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from seallife.figures.standouts import funnel_figure
from seallife.report.exhibit import Block, Exhibit, Points, Text
from seallife.report.format import count, intervals, level_text, number

if TYPE_CHECKING:
    from seallife.history.standouts import StandOuts
    from seallife.study import Study

__all__ = ["build", "shown_standouts"]

_WORSE, _BETTER = "worse than its class", "better than its class"
_WORDS = {
    "position_id": ("seal position", "seal positions"),
    "pair_group": ("pair of pumps", "pairs of pumps"),
    "unit": ("unit", "units"),
    "pump_type": ("type of pump", "types of pump"),
    "seal_type": ("type of seal", "types of seal"),
    "lot": ("lot of seals", "lots of seals"),
    "crew": ("crew", "crews"),
}
_ENDS = (
    "The list ends where the evidence ends: with a few failures each, many positions look bad by "
    "chance alone, and most of them would look ordinary next year with nothing done."
)


def build(study: Study) -> tuple[Block, ...]:
    """Which positions fail more often than their class explains?"""
    by = study.trends.standouts
    positions = by["position_id"]
    worse = positions.table[positions.table["verdict"] == _WORSE]
    first = (
        f"{count(len(worse), 'seal position fails', 'seal positions fail')} more often than "
        f"{'its' if len(worse) == 1 else 'their'} class explains, beyond chance."
        if len(worse)
        else "No seal position fails more often than its class explains, beyond chance."
    )
    blocks: list[Block] = [Text(first, strong=True), Text(_ENDS)]
    if len(worse):
        known = zip(worse["position_id"], worse["message"], strict=True)
        blocks.append(Points("What is known of them", tuple(f"{p}: {m}" for p, m in known)))
    if (positions.table["expected"] > 0).any():
        blocks.append(_exhibit(positions))
    else:
        blocks.append(Text("No failure is on record that positions could be compared by."))
    others = {key: part for key, part in by.items() if key != "position_id"}
    blocks.append(Points("Larger groups of seals, each against its class", _others(others)))
    tables = [
        part.table.rename(columns={key: "label"}).assign(by=key) for key, part in others.items()
    ]
    if tables:
        listed = pd.concat(tables, ignore_index=True)
        blocks.append(
            Exhibit(
                "groups-of-seals",
                "Pairs, units, types, lots and crews that stand out",
                "The same question asked of larger groups. " + _basis(positions),
                listed,
                shown=shown_standouts(listed, "label"),
                rests_on=("lives", "removals"),
            )
        )
    return tuple(blocks)


def _exhibit(positions: StandOuts) -> Exhibit:
    """All positions in the funnel, those beyond chance in the table."""
    table = positions.table
    return Exhibit(
        "standouts",
        "Failures of each seal position against its class",
        "Ratio shrunk: what the position's own rate is likely to be, its class allowed for. With "
        "nothing done: failures to be expected in as much time again. " + _basis(positions),
        table,
        funnel_figure(positions),
        shown_standouts(table, "position_id"),
        alt=f"Failures over expected failures of {len(table):,} seal positions, with limits.",
        rests_on=("lives", "removals"),
    )


def _basis(result: StandOuts) -> str:
    return (
        f"Beyond chance: at most {result.discovery:.0%} of those listed are there by chance "
        f"(false discovery rate). Intervals: {level_text(result.level)}. Method: {result.method}."
    )


def shown_standouts(table: pd.DataFrame, key: str) -> pd.DataFrame:
    """Those beyond chance, worst first, as a reader wants them."""
    rows = table[table["verdict"].isin([_WORSE, _BETTER])]
    rows = rows.sort_values("ratio_shrunk", ascending=False, kind="stable")
    return pd.DataFrame(
        {
            "Stands out": rows[key].astype(str),
            "Class": rows["service_class"].astype(str),
            "Failed": [f"{n:,.0f}" for n in rows["observed"]],
            "Expected": [number(v) for v in rows["expected"]],
            "Ratio shrunk": intervals(rows, "ratio_shrunk", ("ratio_low", "ratio_high")),
            "Early among them": [f"{n:,.0f}" for n in rows["early"]],
            "With nothing done": [
                f"{v:.1f} ({a:.0f}\u2013{b:.0f})"
                for v, a, b in zip(
                    rows["again_expected"], rows["again_low"], rows["again_high"], strict=True
                )
            ],
            "Verdict": rows["verdict"].astype(str),
        }
    ).reset_index(drop=True)


def _others(others: dict[str, StandOuts]) -> tuple[str, ...]:
    """What larger groups say, in a sentence each."""
    out = []
    for key, part in others.items():
        one, many = _WORDS[key]
        listed = part.table[part.table["verdict"].isin([_WORSE, _BETTER])]
        told = int((part.table["verdict"] != "cannot tell yet").sum())
        if listed.empty:
            out.append(f"No {one} stands out ({told:,} of {len(part.table):,} could be told).")
        else:
            names = "; ".join(
                f"{r[key]} ({r['service_class']}) {r['verdict'].split(' ')[0]}"
                for r in listed.to_dict("records")
            )
            out.append(f"{many.capitalize()}: {names}.")
    return tuple(out)

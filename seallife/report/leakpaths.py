"""Where seals leaked when they failed, by arrangement: which of two seals of a set gives way.

In: `Study`. Out: blocks. Next: `seallife.report.pages`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from seallife.figures.causes import incidence_figure
from seallife.history.rates import share_limits
from seallife.life.tablefits import NOT_TOLD, told_causes
from seallife.report.basis import UNIT, fit_basis, record_span, unknown_words
from seallife.report.exhibit import Block, Exhibit, Text
from seallife.report.format import count, level_text, share_interval
from seallife.schema import LEAK_PATHS

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["leak_path_table", "leak_paths"]


def leak_path_table(study: Study) -> pd.DataFrame:
    """Where did the seals leak that failed?

    Returns
    -------
    pandas.DataFrame
        arrangement, leak_path ('not told' last), failures, told (failures of the arrangement whose
        leak path is told), share (of those), share_low, share_high: exact limits, each by itself.
    """
    lives = study.lives.table
    words = pd.DataFrame(
        {
            "arrangement": study.life.arrangement.astype(str),
            "leak_path": told_causes(lives["leak_path"]),
        }
    )[lives["end"] == "failed"]
    table = words.groupby(["arrangement", "leak_path"]).size().rename("failures").reset_index()
    order = {p: i for i, p in enumerate((*LEAK_PATHS.values(), NOT_TOLD))}
    table = table.sort_values(
        ["arrangement", "leak_path"], key=lambda c: c.map(order) if c.name == "leak_path" else c
    ).reset_index(drop=True)
    told = table["leak_path"] != NOT_TOLD
    size = table["failures"].where(told, 0).groupby(table["arrangement"]).transform("sum")
    table["told"] = size.astype(int)
    table["share"] = (table["failures"] / table["told"]).where(told)
    # an exact share needs something to be a share of
    low, high = share_limits(
        table["failures"].where(told, 0), table["told"].clip(lower=1), study.settings.rules.level
    )
    table["share_low"], table["share_high"] = (
        pd.Series(low).where(told),
        pd.Series(high).where(told),
    )
    return table


def leak_paths(study: Study) -> tuple[Block, ...]:
    """Which seals of a set give way, and where does it leak to?"""
    table = leak_path_table(study)
    if table.empty:
        return ()  # no failure: the page has said so
    told = table[table["leak_path"] != NOT_TOLD]
    if told.empty:
        return (
            Text(
                "No order says where a failed seal leaked to. With failure codes for leakage to "
                "the outside and inside, it could be told which seal of a dual set gives way."
            ),
        )
    level = study.settings.rules.level
    shown = pd.DataFrame(
        {
            "Arrangement": table["arrangement"],
            "Leaked": table["leak_path"].astype(str),
            "Failures": [f"{n:,}" for n in table["failures"]],
            "Share of those that tell": [
                share_interval(v, a, b) if t else "–"
                for v, a, b, t in zip(
                    table["share"],
                    table["share_low"],
                    table["share_high"],
                    table["leak_path"] != NOT_TOLD,
                    strict=True,
                )
            ],
        }
    )
    untold = int(table["failures"].sum() - told["failures"].sum())
    incidence = study.life.leak_paths
    return (
        Exhibit(
            "leak-path",
            "Where the seals leaked that failed, by arrangement",
            "From the failure codes of the orders: process liquid to the outside, barrier or "
            "utility to the outside, or through the inner seal of a dual set. Arrangement as it "
            f"was when the seal ran. {count(told['failures'].sum(), 'failure')} tell it, "
            f"{untold:,} do not. Exact limits, {level_text(level)}, each by itself. "
            f"{record_span(study)}. {unknown_words(study)} {UNIT}",
            table,
            shown=shown,
            rests_on=("removals", "lives"),
        ),
        Exhibit(
            "leak-path-by-age",
            "Share of seals failed by each leak path, by age",
            "Cumulative incidence with all leak paths at work (Aalen-Johansen), one panel an "
            "arrangement; failures that tell no path are a line of their own. " + fit_basis(study),
            incidence.curves.rename(columns={"age": f"age_{study.fits.unit}"}),
            incidence_figure(incidence, unit=study.fits.unit, columns=2),
            alt="Share of seals failed by each leak path, by age and arrangement.",
            rests_on=("lives",),
        ),
    )

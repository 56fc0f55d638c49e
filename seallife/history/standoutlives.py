"""Which positions, pairs, units, types or lots of a fleet stand out from their class?

In: the life table, the register, removals. Out: `StandOuts`. Next: figures, report.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError, need_columns
from seallife.history.fleetcells import Basis, FleetCells
from seallife.history.reference import Cells, by_size, summed, two_sided
from seallife.history.standoutresult import StandOuts
from seallife.history.standoutwords import BETTER, EARLY, WORSE, Asked, told_together
from seallife.history.weighing import weigh
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level
from seallife.life.usable import Clock, usable_lives
from seallife.schema import DAYS_PER_YEAR

__all__ = ["standouts_of"]

_HELD = 0.02
"""p without early failures up to which they are not the reason. At this limit nine in ten rows that
clumps put on a list are told apart, and one in twenty of bad positions whose lives are random."""

_BASES = {
    "counts": "failures against those of the rest of the class in the same time, as regular as the "
    "law of the class makes them",
    "ages": "failures against the rates of the rest of the class at the ages reached",
    "exposure": "failures against those of the rest of the class in the same time, taken to come "
    "at random",
}


def standouts_of(
    lives: pd.DataFrame,
    positions: pd.DataFrame | None = None,
    removals: pd.DataFrame | None = None,
    *,
    by: str = "position_id",
    classes: str = "service_class",
    clock: Clock = "run_h",
    basis: Basis | None = None,
    early_days: int = 90,
    level: float = 0.90,
    ratio: float = 1.5,
    tells: float = 3.0,
    discovery: float = 0.10,
) -> StandOuts:
    """Which positions, or other groups of seals, fail more or less often than their class explains?

    Parameters
    ----------
    lives : DataFrame
        Columns of the life table.
    positions : DataFrame, optional
        Columns of the register: needed where ``by`` is one of them, and for ``removals``.
    removals : DataFrame, optional
        Columns of the removals, for those that name no end of the pump: no life ends with them as
        failed, so they are only counted, in ``unplaced``.
    by : str
        Column of ``lives`` or ``positions``: ``position_id``, ``pair_group``, ``unit``, ``site``,
        ``seal_type``, ``pump_type``, a lot, ... Lives without a value are part of the rest of
        their class and stand in no row of their own.
    classes : str
        Column of ``lives`` with the class.
    clock : {'run_h', 'calendar_d'}
        Clock on which rates are compared; exposure is shown in calendar years.
    basis : {'counts', 'ages', 'exposure'}, optional
        'counts': by the number of failures, where seal follows seal in each position; 'ages': by
        the failures at each age, where seals of one position differ in label; 'exposure': by time
        alone. None takes 'counts' where each position has one label, else 'ages'. Ratios are of
        failures in equal time, and of failure rates at equal age with 'ages'.
    early_days : int
        Failures within so many days of fitting are counted in ``early``.
    level, ratio, tells, discovery
        As for `stand_out`.

    Returns
    -------
    StandOuts
        With ``early``, ``p_without_early`` (``p`` with early failures left out everywhere) and
        ``unplaced`` in ``table``. A unit that is worse by its early failures alone has the status
        'early failures': where one bad repair leads to the next, no position need be to blame.

    Raises
    ------
    InputError
        If a column is missing or a setting cannot be used.

    Notes
    -----
    A seal in place when the records begin is taken at the ages usual for its class, not at its own:
    an old one tells of a good position, and allowing for its age would take that for an effect of
    age. Where whole positions are grouped, the spread between positions counts as chance: a unit
    stands out only by more than the few bad positions that any unit may have. Measured on invented
    fleets in ``tests/standouts_study.csv``.
    """
    asked = Asked(check_level(level), ratio, tells, discovery, "years")
    if basis not in (None, *_BASES):
        raise InputError(f"is {basis!r}", where="basis", hint=f"use one of {', '.join(_BASES)}")
    use = usable_lives(lives, classes, clock)
    need = ["position_id", "entry", "exit", "days", "hours", "entry_age_d", "exit_age_d"]
    need_columns(lives, need, "lives")
    label = _labels(lives, positions, by)
    made = FleetCells.of(lives, use, label)
    if basis is None:
        basis = "counts" if made.whole_positions else "ages"
    if basis == "counts" and not made.whole_positions:
        hint = "use basis 'ages', or None"
        raise InputError(f"{by} changes within a position", where="basis", hint=hint)
    cells, reference = made.against(basis)
    years = made.per_cell(lives["days"].to_numpy(dtype=np.float64) / DAYS_PER_YEAR)
    ahead = made.per_cell(_last_year(lives))
    got = weigh(cells, reference, made.labels, made.groups, years, ahead, asked)
    early = _early(lives, early_days)
    table = _with_early(got, cells, made.per_cell(early.astype(np.float64)), early_days)
    table["unplaced"] = _unplaced(table["label"], removals, positions, lives, label)
    without = int(label.isna().sum())
    note = f"{without:,} lives have no {by}: they count in the rest of their class."
    return replace(
        got,
        together=told_together(table, asked),
        table=table.rename(columns={"label": by, "group": classes}),
        method=f"{_BASES[basis]}; {got.method}",
        by=by,
        note=note if without else "",
    )


def _labels(lives: pd.DataFrame, positions: pd.DataFrame | None, by: str) -> pd.Series:
    """Label of each life, missing where there is none."""
    if by in lives:
        label = lives[by]
    elif positions is not None and by in positions:
        label = lives["position_id"].map(positions.set_index("position_id")[by])
    else:
        raise InputError(
            f"is {by!r}, a column of neither lives nor positions", where="by", hint="give a column"
        )
    label = label.astype(object)
    return label.mask(label.isna() | (label == ""))


def _early(lives: pd.DataFrame, early_days: int) -> NDArray[np.bool_]:
    """Failures soon after fitting."""
    fitted = lives["age_known"] & (lives["entry_age_d"] <= 0)
    soon = lives["exit_age_d"] <= early_days
    return ((lives["end"] == "failed") & fitted & soon).to_numpy(dtype=bool)


def _last_year(lives: pd.DataFrame) -> Floats:
    """Years at risk in the last year of the records: as many are taken to come."""
    last = lives["exit"].max()
    since = lives["entry"].clip(lower=last - pd.Timedelta(days=DAYS_PER_YEAR))
    days = (lives["exit"] - since).dt.total_seconds().to_numpy(dtype=np.float64) / 86_400
    return np.maximum(np.nan_to_num(days), 0.0) / DAYS_PER_YEAR


def _with_early(got: StandOuts, cells: Cells, early: Floats, early_days: int) -> pd.DataFrame:
    """Would those listed stand out without failures soon after fitting?"""
    table = got.table
    ratio = np.ones(cells.units)
    ratio[table["place"]] = table["ratio_shrunk"].fillna(1.0)
    # a life that cannot be used for want of hours may have failed early by the calendar
    late = by_size(replace(cells, failures=np.maximum(cells.failures - early, 0.0)))(ratio)
    p = two_sided(late)
    count = summed(cells.unit, early, cells.units)
    place = table["place"].to_numpy()
    some = table["observed"].to_numpy() - late.observed[place]
    soon = np.where(late.usable[place], some, count[place]).astype(np.int64)
    table = table.assign(early=soon, p_without_early=p[place])
    listed = table["verdict"].isin([WORSE, BETTER])
    held = table["p_without_early"] <= _HELD
    only = listed & (table["verdict"] == WORSE) & (table["early"] > 0) & ~held
    words = (
        table["message"].astype(str)
        + f" But without those within {early_days} days of fitting ("
        + table["early"].astype(str)
        + ") it would not: one bad repair may have led to the next. Look at how seals are fitted "
        "there."
    )
    return table.assign(
        status=table["status"].mask(only, EARLY), message=table["message"].mask(only, words)
    ).drop(columns="place")


def _unplaced(
    shown: pd.Series,
    removals: pd.DataFrame | None,
    positions: pd.DataFrame | None,
    lives: pd.DataFrame,
    label: pd.Series,
) -> pd.Series:
    """Removals, not of healthy seals, of the pumps of each label that name no end of the pump."""
    if removals is None or positions is None:
        return pd.Series(0, index=shown.index)
    blind = removals[(removals["position_id"] == "") & (removals["ended"] != "withdrawn")]
    seen = pd.DataFrame({"position_id": lives["position_id"], "label": label}).dropna()
    pumps = seen.merge(positions[["position_id", "pump_key"]], on="position_id")
    pumps = pumps[["pump_key", "label"]].drop_duplicates()
    count = blind[["pump_key"]].merge(pumps, on="pump_key").groupby("label").size()
    return shown.map(count).fillna(0).astype(int)

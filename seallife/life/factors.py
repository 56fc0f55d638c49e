"""What may drive the life of a seal: what it seals, how fast it turns, how it is flushed.

In: the tables of lives and of positions, the list of changes. Out: `LifeFactors`. Next:
`seallife.life.regression`.

The register says what a position is today. A life that ran before a change is given what the list
of changes says of the time before, or nothing. A value that is not known stays unknown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.life.design import MOST_MISSING, Steps
from seallife.life.factorlist import ATMOSPHERE_KPA, FACTORS, FAR_FROM_BOILING, Factor
from seallife.life.groups import Floats
from seallife.life.result import TableResult
from seallife.schema import TABLES

__all__ = ["LifeFactors", "life_factors"]

_NUMBERS = (
    "chamber_kpa",
    "vapour_kpa",
    "temp_c",
    "shaft_mm",
    "speed_rpm",
    "viscosity_cst",
    "solids_pct",
)
_WORDS = ("flush_plan", "arrangement", "duty")
_CHANGED = {
    "process": ("chamber_kpa", "vapour_kpa", "temp_c", "viscosity_cst", "solids_pct"),
    "operation": ("speed_rpm", "duty"),
}
"""What a change of each kind leaves unknown for the time before it."""
_LOT_LIVES = 10
"""A lot of fewer lives counts among the others: its ratio would tell nothing."""
_OTHER_LOTS = "other or not told"
_NAMED = {"flush_plan": r"(?i)\bplan\s*(\d\w*)", "arrangement": r"(?i)\barrangement\s*([123])"}


@dataclass(frozen=True, eq=False)
class LifeFactors(TableResult):
    """What may drive each life.

    Attributes
    ----------
    table : DataFrame
        Per factor: ``factor``, ``words``, ``unit``, ``known``, ``missing``, ``distinct`` (values or
        groups), ``status`` ('ok', 'constant', 'many missing', 'no column'), ``message``.
    values : DataFrame
        One row a life, in the order and with the index of the lives; one column a factor.
    """

    values: pd.DataFrame

    @property
    def steps(self) -> Steps:
        """Steps for which ratios are stated, for `seallife.life.fit_weibull_factors`."""
        return {n: (f.step, f.step_words) for n, f in FACTORS.items() if f.unit}

    def usable(self) -> pd.DataFrame:
        """Only the factors that vary and are known for enough lives."""
        good = self.table.loc[self.table["status"] == "ok", "factor"].tolist()
        return self.values[good]


def life_factors(
    lives: pd.DataFrame, positions: pd.DataFrame, changes: pd.DataFrame | None = None
) -> LifeFactors:
    """What was each seal up against?

    Parameters
    ----------
    lives : DataFrame, shape (n, ...)
        ``position_id``, and where known ``service_class``, ``rebuild_no``, ``epoch``, ``lot``,
        ``crew``. A lot of fewer than 10 lives, or none, is "other or not told".
    positions : DataFrame
        The register as it is today: ``position_id`` and any of chamber_kpa and vapour_kpa [kPa
        absolute], temp_c [°C], shaft_mm [mm], speed_rpm, viscosity_cst, solids_pct [%],
        flush_plan, arrangement, duty. A value outside the range of the schema counts as unknown.
    changes : DataFrame, optional
        ``position_id``, ``epoch`` (that the change began), ``what``, and where known
        ``from_state``, ``to_state``.

    Returns
    -------
    LifeFactors

    Raises
    ------
    InputError
        If a table lacks its key, or the register holds a position twice.

    Examples
    --------
    >>> lives = pd.DataFrame({"position_id": ["P-1", "P-2"]})
    >>> register = pd.DataFrame(
    ...     {"position_id": ["P-1", "P-2"], "shaft_mm": [50.0, 60.0], "speed_rpm": [2950.0, None]}
    ... )
    >>> life_factors(lives, register).values["face_speed_m_s"].round(2).tolist()
    [7.72, nan]

    Source
    ------
    Face speed: pi d n / 60. Vapour margin and pressure difference in the sense of ISO 21049,
    which names them as what the film between the faces lives from.
    """
    for name, table in (("lives", lives), ("positions", positions)):
        if "position_id" not in table:
            raise InputError("has no column position_id", where=name)
    twice = positions["position_id"].duplicated()
    if twice.any():
        what = positions.loc[twice, "position_id"].iloc[0]
        raise InputError(f"holds {what!r} twice", where="positions", hint="give one row a position")
    have = {*positions.columns, *lives.columns}
    today = positions.set_index("position_id").reindex(lives["position_id"])
    at = pd.DataFrame(index=range(len(lives)))
    strange: dict[str, int] = {}
    for name in _NUMBERS:
        number = pd.to_numeric(today[name]) if name in today else pd.Series(np.nan, today.index)
        column = number.to_numpy(dtype=np.float64, na_value=np.nan)
        low, high = _range(name)
        outside = (column < low) | (column > high)
        strange[name] = int(outside.sum())
        at[name] = np.where(outside, np.nan, column)
    for name in _WORDS:
        at[name] = _text(today[name].to_numpy() if name in today else np.full(len(lives), ""))
    for name in ("service_class", "rebuild_no", "epoch", "lot", "crew"):
        at[name] = lives[name].to_numpy() if name in lives else np.nan
    before = _as_before(at, lives, changes)
    values = _derived(at).set_axis(lives.index, axis=0)
    rows = [_row(n, f, values[n], have, strange, before) for n, f in FACTORS.items()]
    table = pd.DataFrame(rows, columns=_COLUMNS)
    method = "derived from the register, as it was when each seal ran where that is known"
    return LifeFactors(table, np.nan, method, "ISO 21049 (terms)", values)


_COLUMNS = ["factor", "words", "unit", "known", "missing", "distinct", "status", "message"]


def _row(
    name: str,
    factor: Factor,
    values: pd.Series,
    have: set[str],
    strange: dict[str, int],
    before: dict[str, int],
) -> tuple[str, str, str, int, int, int, str, str]:
    """Say of one factor how well it is known."""
    known, n = int(values.notna().sum()), len(values)
    distinct = int(values.nunique())
    told = []
    absent = [c for c in factor.needs if c not in have]
    status = "ok"
    if absent:
        status = "no column"
        told.append(f"No column {', '.join(absent)}.")
    elif n - known > MOST_MISSING * n:
        status = "many missing"
        told.append(f"Not known for {n - known:,} of {n:,} lives: not used.")
    elif distinct < 2:
        status = "constant"
        told.append("The same for all lives: nothing to compare.")
    elif known < n:
        told.append(f"Not known for {n - known:,} of {n:,} lives.")
    for column in factor.needs:
        if strange.get(column):
            told.append(f"{column} outside its range for {strange[column]:,} lives: unknown.")
        if before.get(column):
            told.append(f"{column} before a change not known for {before[column]:,} lives.")
    words = (name, factor.words, factor.unit)
    return (*words, known, n - known, distinct, status, " ".join(told))


def _derived(at: pd.DataFrame) -> pd.DataFrame:
    """Factors from the columns they are made from."""
    chamber, vapour = _floats(at["chamber_kpa"]), _floats(at["vapour_kpa"])
    viscosity = _floats(at["viscosity_cst"])
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log2(np.minimum(chamber / vapour, FAR_FROM_BOILING))
        thick = np.log2(viscosity)
    # a fluid without vapour pressure is as far from boiling as can be counted
    ratio = np.where((vapour == 0) & (chamber > 0), np.log2(FAR_FROM_BOILING), ratio)
    rebuilt = _floats(at["rebuild_no"])
    epoch = _floats(at["epoch"])
    out = {
        "vapour_margin_bar": (chamber - vapour) / 100,
        "vapour_ratio_doublings": np.where(np.isfinite(ratio), ratio, np.nan),
        "pressure_bar": (chamber - ATMOSPHERE_KPA) / 100,
        "temp_c": at["temp_c"].to_numpy(),
        "face_speed_m_s": np.pi * at["shaft_mm"].to_numpy() / 1000 * at["speed_rpm"] / 60,
        "viscosity_doublings": np.where(np.isfinite(thick), thick, np.nan),
        "solids_pct": at["solids_pct"].to_numpy(),
        "fluid_class": _text(at["service_class"].to_numpy()),
        "flush_plan": at["flush_plan"].str.extract(r"^\s*(\w+)")[0],
        "arrangement": at["arrangement"],
        "duty": at["duty"],
        "rebuilt": _choice(rebuilt, np.where(rebuilt > 0, "rebuilt", "new")),
        "lot": _large_lots(_text(at["lot"].to_numpy())),
        "crew": _text(at["crew"].to_numpy()),
        "epoch": _choice(epoch, np.where(epoch > 1, "changed", "original")),
    }
    return pd.DataFrame(out)


def _as_before(
    at: pd.DataFrame, lives: pd.DataFrame, changes: pd.DataFrame | None
) -> dict[str, int]:
    """Put back what was otherwise when a life ran before a change; count what is not known."""
    lost: dict[str, int] = {}
    if changes is None or not len(changes):
        return lost
    lacking = [c for c in ("position_id", "epoch", "what") if c not in changes]
    if lacking or "epoch" not in lives:
        where = "changes" if lacking else "lives"
        raise InputError(f"has no column {', '.join(lacking) or 'epoch'}", where=where)
    # the last change first: the state before an earlier one is then put over it
    own = lives["position_id"].to_numpy()
    epoch = _floats(at["epoch"])
    for row in changes.sort_values("epoch", ascending=False).to_dict("records"):
        rows = (own == row["position_id"]) & (epoch < row["epoch"])
        if not rows.any():
            continue
        for column in _CHANGED.get(str(row["what"]), ()):
            at.loc[rows, column] = np.nan
            lost[column] = lost.get(column, 0) + int(rows.sum())
        for column, pattern in _NAMED.items():
            was, became = (
                pd.Series([str(row.get(f"{s}_state") or "")]).str.extract(pattern)[0].iloc[0]
                for s in ("from", "to")
            )
            if isinstance(was, str):
                at.loc[rows, column] = was.upper()
            elif isinstance(became, str):
                at.loc[rows, column] = np.nan
                lost[column] = lost.get(column, 0) + int(rows.sum())
    return lost


def _range(name: str) -> tuple[float, float]:
    """Range of a number in the schema."""
    column = TABLES["positions"][name]
    low, high = column.low, column.high
    return (-np.inf if low is None else low, np.inf if high is None else high)


def _floats(values: pd.Series) -> Floats:
    return np.asarray(pd.to_numeric(values).to_numpy(dtype=np.float64, na_value=np.nan))


def _text(values: NDArray[np.generic]) -> pd.Series:
    """Text with blanks as missing."""
    words = pd.Series(values, dtype=object)
    return words.mask(words.isna() | (words.astype(str).str.strip() == ""))


def _large_lots(lot: pd.Series) -> pd.Series:
    """Lots of many lives by name, all others as one."""
    many = lot.groupby(lot).transform("size") >= _LOT_LIVES
    return lot.where(many.fillna(False).astype(bool), _OTHER_LOTS)


def _choice(known: Floats, words: NDArray[np.str_]) -> pd.Series:
    """Words where a number is known."""
    return pd.Series(words, dtype=object).mask(np.isnan(known))

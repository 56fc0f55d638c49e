"""Leak limits: the site's own table. What is shipped is a labelled example, never in force.

In: a table of limits, readings. Out: the limits each reading is held against. Next:
`seallife.leakage.exceedances`.

Three kinds stand beside each other and none replaces another: *legal* (a rule or permit), *house*
(what the site acts on), *statistical* (what would be unusual for these seals).
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.leakage.conversions import WATER_DROP_ML
from seallife.leakage.records import dates
from seallife.leakage.units import conversion

__all__ = [
    "KINDS",
    "LIMIT_COLUMNS",
    "READING_COLUMNS",
    "LimitsInForce",
    "example_limits",
    "limits_in_force",
]

KINDS = ("legal", "house", "statistical")
"""Kinds of limit, in the order in which they are looked at."""

_SCOPE = {"site": 1, "unit": 2, "service_class": 4, "position_id": 8}
LIMIT_COLUMNS = (
    *_SCOPE,
    "method",
    "limit",
    "limit_unit",
    "kind",
    "valid_from",
    "valid_to",
    "citation",
)
READING_COLUMNS = (*_SCOPE, "method", "reading_unit", "date", "low", "high")
_MATCHED = [*_SCOPE, "method"]


@dataclass(frozen=True, eq=False)
class LimitsInForce:
    """What each reading is held against.

    Attributes
    ----------
    table : DataFrame
        A row per reading and kind of limit in force on its day: ``reading`` and ``limit_row``
        (index labels of the two tables), ``kind``, ``limit`` [unit of the reading], ``as_written``,
        ``scope`` (what the limit was set for), ``citation``, ``conversion`` (what it rests on).
    messages : DataFrame
        ``limit_row``, ``readings`` (how many are concerned), ``message``: limits that could not be
        held against readings meant by them, that meet none, or that lack something.
    """

    table: pd.DataFrame
    messages: pd.DataFrame


def example_limits() -> pd.DataFrame:
    """What does a table of leak limits look like?

    Returns
    -------
    pandas.DataFrame
        service, leak_ppm (reading that is a leak) [ppmv], repair_from_ppm (reading from which
        repair is due) [ppmv], monitored (by instrument), looked_at (by eye, for drips), rule,
        citation, edition_read.

    Notes
    -----
    An example only. Rules change; which one holds for a position, in which edition, is for the
    site to confirm. Nothing here says that a site complies.
    """
    with (files("seallife.leakage") / "limits.csv").open(encoding="utf-8") as file:
        return pd.read_csv(file)


def limits_in_force(
    limits: pd.DataFrame, readings: pd.DataFrame, *, drop_ml: float = WATER_DROP_ML
) -> LimitsInForce:
    """Which limits held for each reading on its day?

    Parameters
    ----------
    limits : DataFrame
        ``site``, ``unit`` (of the plant), ``service_class``, ``position_id``, ``method`` (blank:
        any), ``limit``, ``limit_unit``, ``kind`` ('legal', 'house' or 'statistical'),
        ``valid_from``, ``valid_to`` (both days included; blank: open), ``citation``.
    readings : DataFrame
        ``site``, ``unit``, ``service_class``, ``position_id``, ``method``, ``reading_unit``,
        ``date``, ``low``, ``high``; ``density`` [g/mL at the leak] where known. Index labels
        unique.
    drop_ml : float
        Volume of a drop [mL].

    Returns
    -------
    LimitsInForce

    Raises
    ------
    InputError
        If a column is missing, a kind is none of the three, a limit is negative or no number, a
        date is none, a limit ends before it begins, or labels of readings are not unique.

    Notes
    -----
    Of each kind the most specific limit holds: one for the position before one for its service
    class, its plant unit, its site, any. Of equally specific ones the lowest holds. The method
    only says to which readings a limit applies. Case and blanks at the ends make no difference.

    A limit in a unit that cannot be had in that of a reading is in ``messages``, and the next
    specific one that can be is taken. Which limits hold for a position is for the site to
    confirm: nothing here says that a site complies.
    """
    rules = _limits(limits)
    _need(readings, READING_COLUMNS, "readings")
    if not readings.index.is_unique:
        raise InputError("has labels that stand twice", where="readings.index")
    read = readings[[*_MATCHED, "reading_unit"]].apply(_text)
    read["density"] = readings["density"].astype(float) if "density" in readings else np.nan
    read["combo"] = read.groupby([*_MATCHED, "reading_unit", "density"], dropna=False).ngroup()
    combos = read.drop_duplicates("combo").set_index("combo")
    held = _pairs(rules, combos, drop_ml)
    day = dates(readings["date"], "readings.date").to_numpy()
    # numbers only while there are as many rows as readings times limits; words at the end
    met = pd.DataFrame(
        {"combo": read["combo"].to_numpy(np.int32), "place": np.arange(len(read), dtype=np.int32)}
    ).merge(held[["combo", "pair"]].astype(np.int32), on="combo")
    place, pair = met["place"].to_numpy(), met["pair"].to_numpy()
    since, until = (held[c].to_numpy()[pair] for c in ("valid_from", "valid_to"))
    inside = np.isnat(since) | (day[place] >= since)
    inside &= np.isnat(until) | (day[place] < until + np.timedelta64(1, "D"))
    place, pair = place[inside], pair[inside]
    times = np.bincount(pair, minlength=len(held))
    factor = held["factor"].to_numpy()
    usable = ~np.isnan(factor[pair])
    place, pair = place[usable], pair[usable]
    value = (held["limit"].to_numpy(dtype=np.float64) * factor)[pair]
    weight, row = (held[c].to_numpy(np.int32)[pair] for c in ("weight", "row"))
    rank = held["kind"].map(KINDS.index).to_numpy(np.int8)[pair]
    order = np.lexsort((row, value, -weight, rank, place))
    place, rank = place[order], rank[order]
    first = np.append(True, (np.diff(place) != 0) | (np.diff(rank) != 0))[: len(place)]
    chosen, place = order[first], place[first]
    columns = ["reading", "kind", "limit", "as_written", "scope", "citation", "conversion"]
    wanted = ["kind", "as_written", "scope", "citation", "conversion", "limit_row"]
    best = held[wanted].iloc[pair[chosen]].reset_index(drop=True)
    best = best.assign(reading=readings.index.to_numpy()[place], limit=value[chosen])
    return LimitsInForce(
        best[[*columns, "limit_row"]], _messages(rules, held.assign(readings=times))
    )


def _limits(limits: pd.DataFrame) -> pd.DataFrame:
    """Check limits and say how specific each is."""
    _need(limits, LIMIT_COLUMNS, "limits")
    out = limits[[*_MATCHED, "kind"]].apply(_text)
    out["limit_row"] = limits.index
    out["row"] = np.arange(len(limits))
    value = pd.to_numeric(limits["limit"], errors="coerce")
    given = limits["limit"].notna() & (limits["limit"].astype(str).str.strip() != "")
    for bad, column, what in (
        (~out["kind"].isin(KINDS), "kind", f"is none of {', '.join(KINDS)}"),
        (given & ~(value >= 0), "limit", "is not a number from 0"),
    ):
        if bad.any():
            at = limits.index[bad][0]
            raise InputError(
                f"{limits.loc[at, column]!r} {what}", where=f"limits.{column}, row {at}"
            )
    out["limit"] = value
    out["limit_unit"] = limits["limit_unit"].fillna("").astype(str).str.strip()
    for column in ("valid_from", "valid_to"):
        out[column] = dates(limits[column], f"limits.{column}")
    late = out["valid_from"] > out["valid_to"]
    if late.any():
        raise InputError("is before valid_from", where=f"limits.valid_to, row {out.index[late][0]}")
    out["citation"] = limits["citation"].fillna("").astype(str).str.strip()
    out["as_written"] = limits["limit"].astype(str).str.strip() + " " + out["limit_unit"]
    said = [(out[c] != "") * weight for c, weight in _SCOPE.items()]
    out["weight"] = np.sum(said, axis=0) if len(out) else 0
    names = list(_SCOPE)
    scope = out[names].apply(lambda r: ", ".join(c for c in names if r[c]) or "any", axis=1)
    out["scope"] = scope if len(out) else ""
    return out.reset_index(drop=True)


def _pairs(rules: pd.DataFrame, combos: pd.DataFrame, drop_ml: float) -> pd.DataFrame:
    """Each limit with each sort of reading it is meant for, and the factor between units."""
    parts = []
    keys = {c: combos[c].to_numpy(dtype=object) for c in _MATCHED}
    for rule in rules[rules["limit"].notna()].itertuples():
        meant = np.ones(len(combos), dtype=bool)
        for column in _MATCHED:
            wanted = getattr(rule, column)
            if wanted:
                meant &= keys[column] == wanted
        for combo, unit, density in combos.loc[meant, ["reading_unit", "density"]].itertuples():
            grams = None if np.isnan(density) else float(density)
            found = conversion(str(rule.limit_unit), unit, density=grams, drop_ml=drop_ml)
            parts.append((rule.row, combo, unit, found.factor, found.message))
    columns = ["row", "combo", "unit_read", "factor", "conversion"]
    pairs = pd.DataFrame(parts, columns=columns).astype({"row": np.int64, "combo": np.int64})
    held = pairs.merge(rules.drop(columns=_MATCHED), on="row")
    return held.assign(pair=np.arange(len(held)), factor=held["factor"].astype(np.float64))


def _messages(rules: pd.DataFrame, held: pd.DataFrame) -> pd.DataFrame:
    """What a person has to know of the limits themselves."""
    rows: list[tuple[Any, int, str]] = []
    met = held[held["readings"] > 0]
    lost = met[met["factor"].isna()]
    by = ["limit_row", "as_written", "unit_read", "conversion"]
    summed = lost.groupby(by, sort=False)["readings"].sum().reset_index()
    for label, written, unit, why, n in summed.itertuples(index=False):
        told = unit or "without a unit"
        rows.append((label, int(n), f"{written} cannot be held against readings in {told}: {why}"))
    seen = set(met["row"])
    for rule in rules.itertuples():
        empty = bool(np.isnan(float(str(rule.limit))))
        if empty:
            rows.append((rule.limit_row, 0, "has no limit: it is not used"))
        elif rule.row not in seen:
            rows.append(
                (rule.limit_row, 0, f"{rule.as_written} meets no reading: look at names and dates")
            )
        if rule.kind == "legal" and not rule.citation:
            rows.append((rule.limit_row, 0, "is a legal limit without a citation: say which rule"))
    return pd.DataFrame(rows, columns=["limit_row", "readings", "message"])


def _need(table: pd.DataFrame, columns: tuple[str, ...], name: str) -> None:
    missing = [c for c in columns if c not in table]
    if missing:
        raise InputError(
            f"has no column {missing[0]}", where=name, hint=f"columns needed: {', '.join(columns)}"
        )


def _text(column: pd.Series[Any]) -> pd.Series[Any]:
    """Without case and blanks at the ends; blank where missing."""
    codes, words = pd.factorize(column.astype(object))
    plain = np.array([str(w).strip().casefold() for w in words] + [""], dtype=object)
    return pd.Series(plain[codes], index=column.index, dtype=object)  # -1: missing

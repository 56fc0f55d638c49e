"""Serial numbers: the seal that sits in a life, how often it was rebuilt, and where it came from.

In: removals, rows of lives. Out: the same rows with serial, rebuild number and ages that follow the
seal. Next: `seallife.lives`.

A seal that was taken out in good order and put in again, here or elsewhere, lives on: it enters
late at the age it had. One whose number says that it was rebuilt begins a new life.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.changes import removals_named
from seallife.events import Removals
from seallife.findings import join_findings, make_findings

__all__ = ["carry_ages", "name_exchanges", "rebuild_number"]

_SHELF_DAYS = 30  # a seal out for longer may have been through the shop without a mark
_AGES = [f"{a}_age_{u}" for u in "dh" for a in ("entry", "exit")] + ["exit_low_d", "exit_low_h"]


def rebuild_number(serial: pd.Series) -> pd.Series:
    """How often was a seal rebuilt before it went in, by the mark on its serial number?

    Returns
    -------
    pandas.Series of float
        0 without mark, 1 for ``-R1``, ...; NaN where there is no serial number.

    Examples
    --------
    >>> rebuild_number(pd.Series(["S0071", "S0071-R2", "S0071/R", ""])).tolist()
    [0.0, 2.0, 1.0, nan]
    """
    mark = serial.str.extract(r"(?i)\d[-/_ ]R(\d*)$")[0]
    number = pd.to_numeric(mark.replace("", "1")).astype(float)
    return number.fillna(0.0).mask(serial == "")


def name_exchanges(removals: Removals) -> Removals:
    """Which removals of unknown reason were two seals that changed places on one day?

    Both seals were good, or nobody would have put them in again.
    """
    table = removals.table
    return removals_named(
        removals,
        (table["reason"] == "unknown") & _exchanged(table),
        "other pump part",
        "two seals changed places on one day",
    )


def _exchanged(events: pd.DataFrame) -> pd.Series:
    """Removals whose two serial numbers are those of another on that day, the other way round."""
    given = (events["serial_out"] != "") & (events["serial_in"] != "")
    given &= events["serial_out"] != events["serial_in"]
    there = pd.MultiIndex.from_frame(events.loc[given, ["end", "serial_in", "serial_out"]])
    here = pd.MultiIndex.from_frame(events[["end", "serial_out", "serial_in"]])
    return given & here.isin(there)


def carry_ages(rows: pd.DataFrame) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """Which lives go on with a seal that had run before, and at what age did they begin?

    Parameters
    ----------
    rows : pandas.DataFrame
        Lives by position and entry, with ages counted from installation, and ``serial_in`` and
        ``serial_out`` as written at their begin and end.

    Returns
    -------
    rows : pandas.DataFrame
        The same with ``serial``, ``rebuild_no`` and ``moved_from`` (the life before, '' for most)
        in place of the two numbers, and ages that go on from there.
    findings : list of pandas.DataFrame
    """
    written_in, written_out = rows["serial_in"], rows["serial_out"]
    differ = (written_in != "") & (written_out != "") & (written_in != written_out)
    serial = written_in.where(written_in != "", written_out)
    rows = rows.assign(serial=serial, rebuild_no=rebuild_number(serial))
    before = _lived_before(rows, differ)
    rows["moved_from"] = rows["life_id"].reindex(before).fillna("").to_numpy()
    moved = rows["moved_from"] != ""
    of_old = rows["lot"].reindex(before).fillna("").to_numpy()
    rows["lot"] = np.where(moved & (rows["lot"] == ""), of_old, rows["lot"])
    rows, ages = _go_on(rows, before, moved)
    findings = [
        _other_serial(rows, differ),
        _moves(rows, before, moved),
        _failed_and_back(rows, differ),
    ]
    rows[_AGES] = ages
    rows["life_id"] = rows["life_id"].mask(moved, rows["life_id"] + " moved")
    rows["age_known"] &= ~(moved & rows["entry_age_d"].isna())
    return rows.drop(columns=["serial_in", "serial_out"]), findings


def _lived_before(rows: pd.DataFrame, differ: pd.Series) -> pd.Series:
    """Give each life the row of the life its seal had before; NaN for a seal that begins."""
    out = rows["serial_out"].where(~differ, "")
    good = rows[(out != "") & (rows["end"] == "withdrawn")]
    began = rows[(rows["serial_in"] != "") & rows["start_kind"].eq("renewed")]
    left = began[["serial_in", "entry"]].rename(columns={"serial_in": "number"}).reset_index()
    right = good[["serial_out", "exit"]].rename(columns={"serial_out": "number"})
    right = right.reset_index(names="before")
    pairs = left.merge(right, on="number")
    pairs = pairs[(pairs["exit"] <= pairs["entry"]) & (pairs["before"] != pairs["index"])]
    # The last stay before counts, and each stay goes on once: at its next.
    pairs = pairs.sort_values(["entry", "exit"], kind="stable")
    pairs = pairs.drop_duplicates("index", keep="last").drop_duplicates("before")
    found = pairs.set_index("index")["before"].astype(float)
    return found.reindex(rows.index)


def _go_on(
    rows: pd.DataFrame, before: pd.Series, moved: pd.Series
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Add the age that the seal brought with it, one move after the other."""
    ages = rows[_AGES].copy()
    for i in rows.index[moved][np.argsort(rows.loc[moved, "entry"].to_numpy(), kind="stable")]:
        came = int(before[i])
        for unit in "dh":
            columns = [c for c in _AGES if c.endswith(f"_{unit}")]
            ages.loc[i, columns] += ages.loc[came, f"exit_age_{unit}"]
            after = i + 1  # the same seal on the other side of a gap in the records
            if after in rows.index and rows.loc[after, "start_kind"] == "taken across a gap":
                ages.loc[after, columns] += ages.loc[came, f"exit_age_{unit}"]
    return rows.assign(start_kind=rows["start_kind"].mask(moved, "moved")), ages


def _other_serial(rows: pd.DataFrame, differ: pd.Series) -> pd.DataFrame:
    """The seal that came out is not the one that went in: swapped unseen, or written wrongly."""
    found = rows[differ]
    where = rows[rows["serial_in"] != ""].drop_duplicates("serial_in", keep="last")
    place = found["serial_out"].map(where.set_index("serial_in")["position_id"])
    return make_findings(
        "another serial number came out",
        "doubt",
        found["end_record"],
        [
            f"{out} came out where {put} had gone in"
            + (f"; {out} had gone in at {p}" if isinstance(p, str) else "")
            + ": written wrongly, or exchanged without an order"
            for out, put, p in zip(found["serial_out"], found["serial_in"], place, strict=True)
        ],
        column="serial_out",
        value=found["serial_out"],
        action="life kept as that of the seal put in",
    )


def _moves(rows: pd.DataFrame, before: pd.Series, moved: pd.Series) -> pd.DataFrame:
    """Say which seals went on elsewhere."""
    to = rows[moved]
    came = rows.loc[before[moved].astype(int)].set_index(to.index)
    shelf = (to["entry"] - came["exit"]).dt.days
    parts = []
    for severity, which, tail in (
        ("note", shelf <= _SHELF_DAYS, "its age goes on"),
        ("doubt", shelf > _SHELF_DAYS, "its age goes on; if it was rebuilt mark its number (-R1)"),
    ):
        parts.append(
            make_findings(
                "seal moved",
                severity,  # type: ignore[arg-type]
                to.loc[which, "start_record"],
                [
                    f"{s} came out of {p} in good order and went in at {q} {d} days later; {tail}"
                    for s, p, q, d in zip(
                        to.loc[which, "serial"],
                        came.loc[which, "position_id"],
                        to.loc[which, "position_id"],
                        shelf[which],
                        strict=True,
                    )
                ],
                column="serial_in",
                value=to.loc[which, "serial"],
                threshold=f"{_SHELF_DAYS} days",
                action="late entry at the age it had",
            )
        )
    return join_findings(parts)


def _failed_and_back(rows: pd.DataFrame, differ: pd.Series) -> pd.DataFrame:
    """A seal that is said to have failed, yet went in elsewhere within the day."""
    out = rows[(rows["serial_out"] != "") & ~differ & (rows["end"] == "failed")]
    back = rows.loc[rows["serial_in"] != "", ["serial_in", "entry", "position_id"]]
    pairs = out.merge(back, left_on="serial_out", right_on="serial_in", suffixes=("", "_in"))
    days = (pairs["entry_in"] - pairs["exit"]).dt.days
    soon = pairs[days.between(0, 1) & (pairs["position_id"] != pairs["position_id_in"])]
    return make_findings(
        "failed seal put in elsewhere",
        "ask",
        soon["end_record"],
        [
            f"{s} came out as failed and went in at {p} within a day; was it good?"
            for s, p in zip(soon["serial_out"], soon["position_id_in"], strict=True)
        ],
        column="serial_out",
        value=soon["serial_out"],
        action="failure kept; a new life there",
    )

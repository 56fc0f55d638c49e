"""Between which bounds did each leak lie, given what the instrument shows and the background?

In: readings with place and unit. Out: bounds, kinds, findings. Next: `seallife.leakage.readings`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.findings import make_findings
from seallife.leakage.faults import off_by_powers, off_the_scale, zeros

__all__ = ["READ_AS_RATE", "with_bounds"]

READ_AS_RATE = ("concentration", "liquid rate", "drops", "mass rate", "gas rate")
"""Quantities whose readings stand for the leak of the moment."""


def with_bounds(
    rows: pd.DataFrame, *, subtract: bool
) -> tuple[pd.DataFrame, list[pd.DataFrame], pd.DataFrame]:
    """Between which bounds did each leak lie?

    Parameters
    ----------
    rows : pandas.DataFrame
        In order of place and date: position_id, segment, method, quantity, measured_in, unit,
        factor, offset, value, background, flag, is_word, code, doubt, record_id.
    subtract : bool
        Whether the local background is taken off.

    Returns
    -------
    rows : pandas.DataFrame
        With low, high, kind, doubt, and value in our unit.
    findings : list of pandas.DataFrame
    detection : pandas.DataFrame
        method, measured_in, limit, from.
    """
    rows = rows.assign(read=rows["value"] * rows["factor"] + rows["offset"])
    # a volume, a level or a pressure tells nothing by itself, and a zero of it is one
    rate = rows["quantity"].isin(READ_AS_RATE)
    pegged, of_scale = off_the_scale(rows[rate])
    limits = _detection(rows[rate], pegged)
    keys = pd.MultiIndex.from_frame(rows[["method", "measured_in"]])
    seen = limits.set_index(["method", "measured_in"])["limit"]
    detection = pd.Series(seen.reindex(keys).to_numpy(dtype=float), index=rows.index)
    # a flag without a figure still tells: below what the method sees, or off a scale not known
    flagged_only = rows["read"].isna() & (rows["flag"] != "") & rate
    told = np.where(rows["flag"] == "below detection", detection.fillna(np.inf), 0.0)
    rows["read"] = rows["read"].mask(flagged_only, pd.Series(told, index=rows.index))
    unseen, empty, of_zeros = zeros(rows[rate], detection[rate])
    usual, spike, of_units = off_by_powers(rows[rate])
    pegged, unseen, empty, spike = (
        part.reindex(rows.index, fill_value=False) for part in (pegged, unseen, empty, spike)
    )
    usual = usual.reindex(rows.index)
    flagged = (rows["flag"] == "below detection") & rate
    off = rows["background"].clip(lower=0).fillna(0.0).where(rate & subtract, 0.0)
    background = off * rows["factor"]
    net = rows["read"] - background
    misnamed = usual.notna()
    drowned = rate & (net <= 0) & ~(flagged | unseen | empty | pegged | misnamed)
    below = flagged | unseen | drowned
    # a reading whose unit is in doubt lies between what it is in the one and in the other
    as_usual = ((rows["value"] - off) * usual).clip(lower=0)
    floor = np.select(
        [rows["is_word"], below | empty, misnamed, pegged],
        [rows["code"], 0.0, np.minimum(net.clip(lower=0), as_usual), net.clip(lower=0)],
        net,
    )
    top = np.select(
        [rows["is_word"], pegged, flagged, unseen | empty, drowned, misnamed],
        [
            rows["code"],
            np.inf,
            rows["read"],
            detection,
            np.maximum(background, detection.fillna(0.0)),
            np.maximum(net, as_usual),
        ],
        net,
    )
    # without a reading the columns have no kind of their own
    floor, top = floor.astype(np.float64), top.astype(np.float64)
    kind = _words([rows["is_word"], pegged, below], ["word", "above", "below", "exact"])
    doubt = _words(
        [misnamed, spike, empty, (floor == 0) & np.isinf(top)],
        [
            "unit in doubt",
            "off by a power of ten",
            "zero among high readings",
            "off a scale that is not known",
            "",
        ],
    )
    doubt = np.where(rows["doubt"] != "", rows["doubt"], doubt)
    said = make_findings(
        "reading within the background",
        "note",
        rows.loc[drowned, "record_id"],
        "{value} is no more than the background",
        column="value",
        value=rows.loc[drowned, "value"],
        action="below detection",
    )
    value = rows["read"].where(~rows["is_word"])
    out = rows.assign(low=floor, high=top, kind=kind, doubt=doubt, value=value)
    return out, [of_scale, of_zeros, of_units, said], limits


def _words(cases: list[pd.Series], words: list[str]) -> NDArray[np.object_]:
    """Word of the first case that holds, else the last; each word is held once in memory."""
    number = np.select(cases, list(range(len(cases))), len(cases))
    return np.asarray(np.array(words, dtype=object)[number])


def _detection(rows: pd.DataFrame, pegged: pd.Series) -> pd.DataFrame:
    """What can each method see: the limit most often written, else the smallest reading."""
    told = rows[(rows["flag"] == "below detection") & (rows["read"] > 0)]
    by = ["method", "measured_in"]
    limits = told.groupby(by)["read"].agg(lambda v: v.mode().iloc[0]).rename("limit").reset_index()
    limits["from"] = "written beside readings below detection"
    positive = rows[(rows["read"] > 0) & (rows["flag"] == "") & ~pegged]
    least = positive.groupby(by)["read"].min().rename("limit").reset_index()
    least["from"] = "smallest reading"
    both = pd.concat([limits, least], ignore_index=True)
    return both.drop_duplicates(by).sort_values(by).reset_index(drop=True)

"""Which readings of leakage cannot be taken as they are written?

In: readings with place and unit. Out: what each is taken for, and findings. Next:
`seallife.leakage.readings`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from seallife.findings import join_findings, make_findings

__all__ = ["off_by_powers", "off_the_scale", "zeros"]

_SCALE_TIMES = 10  # so many readings of exactly the highest value: end of a scale
_DECADES = 2  # a jump there and back by so many powers of ten
_FAR_ABOVE = 10.0  # a zero between readings so many times the detection limit was not measured

_KIND = ["method", "measured_in"]


def off_the_scale(rows: pd.DataFrame) -> tuple[pd.Series, pd.DataFrame]:
    """Which readings stand at the end of the instrument's scale, so that the leak was more?

    Parameters
    ----------
    rows : pandas.DataFrame
        record_id, method, unit, value, flag.

    Returns
    -------
    pegged : pandas.Series of bool
    findings : pandas.DataFrame
    """
    flagged = rows["flag"] == "above scale"
    kind = [rows["method"], rows["unit"]]
    top = rows["value"].groupby(kind).transform("max")
    met = rows["value"].groupby([*kind, rows["value"]]).transform("size")
    others = met.mask(rows["value"] == top, 0).groupby(kind).transform("max")
    often = (met >= _SCALE_TIMES) & (met >= 3 * others)  # more often than chance and rounding do
    silent = (rows["value"] == top) & often & ~flagged & (top > 0)
    return flagged | silent, join_findings(
        [
            make_findings(
                "reading off the scale",
                "note",
                rows.loc[flagged, "record_id"],
                "the leak was more than the instrument shows ({value})",
                column="value",
                value=rows.loc[flagged, "value"],
                action="a lower bound",
            ),
            make_findings(
                "reading at the end of the scale",
                "doubt",
                rows.loc[silent, "record_id"],
                "{value} is the highest value, met many times: end of the scale? flag it so",
                column="value",
                value=rows.loc[silent, "value"],
                threshold=f"{_SCALE_TIMES} times",
                action="a lower bound",
            ),
        ]
    )


def zeros(rows: pd.DataFrame, detection: pd.Series) -> tuple[pd.Series, pd.Series, pd.DataFrame]:
    """Where does an exact zero stand for "not detected", and where for "not measured"?

    Parameters
    ----------
    rows : pandas.DataFrame
        In order of place and date: record_id, segment, method, unit, value (as written), read (in
        our unit), flag.
    detection : pandas.Series
        Detection limit of each row's method, in our unit.

    Returns
    -------
    unseen, empty : pandas.Series of bool
        Zeros taken as below detection, and as not measured.
    findings : pandas.DataFrame

    Notes
    -----
    A zero between two readings of the same seal that are both ten times the limit and more was not
    measured (common practice, no source); any other was below the limit.
    """
    zero = (rows["value"] == 0) & (rows["flag"] == "")
    far = rows["read"] > _FAR_ABOVE * detection
    same = rows["segment"]
    before = far.shift(fill_value=False) & (same == same.shift())
    after = far.shift(-1, fill_value=False) & (same == same.shift(-1))
    empty = zero & before & after
    unseen = zero & ~empty
    by = rows.assign(zero=unseen).groupby(["method", "unit"])["zero"].agg(["sum", "size"])
    by = by[by["sum"] > 0].reset_index()
    return (
        unseen,
        empty,
        join_findings(
            [
                make_findings(
                    "leakage of exactly zero",
                    "ask",
                    ["leak_readings"] * len(by),
                    [
                        f"{n} of {size} {method} readings in {unit} are exactly 0: below what the "
                        "instrument shows, or not read? flag them 'below detection' with its "
                        "limit, or leave them empty"
                        for method, unit, n, size in by.itertuples(index=False)
                    ],
                    column="value",
                    value=by["sum"],
                    action="taken as below detection",
                ),
                make_findings(
                    "zero taken as not detected",
                    "note",
                    rows.loc[unseen, "record_id"],
                    [f"0 is taken as below {d:g} {u}" for d, u in _limits(rows, detection, unseen)],
                    column="value",
                    value="0",
                    action="below detection",
                ),
                make_findings(
                    "zero among high readings",
                    "doubt",
                    rows.loc[empty, "record_id"],
                    "0 between two high readings of the same seal: not measured? leave it empty",
                    column="value",
                    value="0",
                    action="kept out of trends",
                ),
            ]
        ),
    )


def _limits(rows: pd.DataFrame, detection: pd.Series, which: pd.Series) -> list[tuple[float, str]]:
    return list(zip(detection[which], rows.loc[which, "measured_in"], strict=True))


def off_by_powers(rows: pd.DataFrame) -> tuple[pd.Series, pd.Series, pd.DataFrame]:
    """Which readings are off by powers of ten, as a wrong unit makes them?

    Parameters
    ----------
    rows : pandas.DataFrame
        In order of place and date: record_id, position_id, method, measured_in, unit, factor,
        value, flag.

    Returns
    -------
    usual : pandas.Series of float
        Factor of the unit that readings have here usually, where the reading fits only in that;
        NaN elsewhere.
    spike : pandas.Series of bool
        Readings some powers of ten from both neighbours.
    findings : pandas.DataFrame
    """
    used = (rows["value"] > 0) & (rows["flag"] == "")
    part = rows[used]
    key = [part["position_id"], part["method"], part["measured_in"]]
    most = part["unit"].groupby(key).agg(lambda u: u.mode().iloc[0])
    usual = pd.Series(
        most.reindex(pd.MultiIndex.from_arrays(key)).to_numpy(), index=part.index, dtype=object
    )
    factors = part.drop_duplicates("unit").set_index("unit")["factor"]
    written = pd.Series(np.log10(part["value"].to_numpy()), index=part.index)
    own = part["unit"] == usual
    middle = written.where(own).groupby(key).transform("median")
    off = written - middle
    converted = off + np.log10(part["factor"] / usual.map(factors).astype(float))
    misnamed = ~own & (off.abs() < converted.abs() - 1)
    level = (written + np.log10(part["factor"].astype(float))).where(~misnamed)
    same = part["position_id"] + part["method"] + part["measured_in"]
    up = (level - level.shift()).where(same == same.shift())
    down = (level - level.shift(-1)).where(same == same.shift(-1))
    power = ((up + down) / 2).round()
    spike = (power.abs() >= _DECADES) & ((up - power).abs() < 0.3) & ((down - power).abs() < 0.3)
    meant = usual.map(factors).astype(float).where(misnamed).reindex(rows.index)
    wrong = part[misnamed]
    findings = [
        make_findings(
            "unit of a reading looks wrong",
            "doubt",
            wrong["record_id"],
            [
                f"{v:g} {u} fits the other readings here only as {v:g} {w}"
                for v, u, w in zip(wrong["value"], wrong["unit"], usual[misnamed], strict=True)
            ],
            column="unit",
            value=wrong["unit"],
            action="kept out of trends; held against limits from the one to the other",
        ),
        make_findings(
            "reading off by a power of ten",
            "doubt",
            part.loc[spike, "record_id"],
            "{value} stands a power of ten from the readings before and after",
            column="value",
            value=part.loc[spike, "value"],
            threshold=f"10^{_DECADES}",
            action="kept out of trends; held against limits as written",
        ),
    ]
    return meant, spike.reindex(rows.index, fill_value=False), join_findings(findings)

"""What does each cause of failure do by itself, and together?

In: ages and causes. Out: `CauseFits`. Next: figures, report.

Each cause has its own Weibull law, fitted with failures from other causes as withdrawn. The class
is the minimum: a seal runs while no cause has struck, so the share still running is the product of
the shares that each cause alone would leave.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from seallife.life.causefits import CauseFits
from seallife.life.groups import Floats
from seallife.life.incidence import read_causes
from seallife.life.lifedata import check_level
from seallife.life.result import worded_status
from seallife.life.weibull import FEW_FAILURES, fit_weibull

__all__ = ["fit_causes"]

_SOURCE = "Meeker & Escobar (1998), Statistical Methods for Reliability Data, section 15.4"


def fit_causes(
    age: ArrayLike,
    cause: Sequence[Any] | NDArray[Any],
    *,
    group: ArrayLike | None = None,
    entry_age: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    level: float = 0.90,
) -> CauseFits:
    """Which law does each cause of failure follow, and do the causes differ in their ageing?

    Parameters
    ----------
    age, cause, group, entry_age, weight, level
        As for `seallife.life.cumulative_incidence`.

    Returns
    -------
    CauseFits

    Raises
    ------
    InputError
        If the data or ``level`` cannot be used, or a cause is missing.

    Notes
    -----
    A single Weibull of all failures, each failure's cause being drawn regardless of its age, is the
    same as laws by cause that share one shape. So the two models speak of the same data, ages and
    causes, and their likelihood ratio has one degree of freedom per cause less one. A cause whose
    failures can tell no shape (a single one, or all at the oldest age) has a constant rate and says
    so; a cause not seen in a group takes no part there.

    Examples
    --------
    >>> fits = fit_causes([2, 3, 5, 8, 9, 9], ["wear", "fit", "wear", "wear", "fit", ""])
    >>> fits.parts[["cause", "failures"]].to_numpy().tolist()
    [['fit', 2], ['wear', 3]]

    Source
    ------
    Meeker & Escobar (1998), Statistical Methods for Reliability Data, section 15.4; exact limits of
    a share: Clopper & Pearson (1934), Biometrika 26, 404-413.
    """
    check_level(level)
    data, words = read_causes(age, cause, group, entry_age, weight)
    words = data.groups.gather(words)
    causes = sorted(set(words.tolist()) - {""})
    k, g, n = len(causes), len(data.groups), len(data.age)
    # one copy of the lives per cause, and one of all failures together, in one call; a life that
    # weighs nothing keeps the place of a group that has none
    labels = np.arange(g * (k + 1))
    kind = np.repeat(np.arange(k + 1), n)
    failed = np.tile(data.failed, k + 1)
    failed[: k * n] &= np.tile(words, k) == np.repeat(np.array(causes, dtype=object), n)
    entry = np.zeros(n) if data.entry is None else data.entry
    worth = np.ones(n) if data.weight is None else data.weight
    fits = fit_weibull(
        np.r_[np.tile(data.age, k + 1), np.ones(len(labels))],
        np.r_[failed, labels < 0],
        group=np.r_[np.tile(data.groups.codes, k + 1) * (k + 1) + kind, labels],
        entry_age=np.r_[np.tile(entry, k + 1), np.zeros(len(labels))],
        weight=np.r_[np.tile(worth, k + 1), np.zeros(len(labels))],
        level=level,
        fractions=(),
    ).table
    whole = np.arange(g) * (k + 1) + k
    names = np.empty(g, dtype=object)
    names[:] = data.groups.label_list()
    parts = _parts(fits.drop(index=whole.tolist()).reset_index(drop=True), names, causes, level)
    one = fits.loc[whole].reset_index(drop=True)
    counts = data.counts()
    table = pd.DataFrame({"group": names, **counts, **_compare(parts, one, (g, k), level)})
    method = "Weibull by cause, maximum likelihood; class = minimum of causes"
    return CauseFits(table, level, method, _SOURCE, parts, tuple(causes))


def _parts(
    fits: pd.DataFrame, labels: NDArray[Any], causes: list[str], level: float
) -> pd.DataFrame:
    """Table of groups and causes: a constant rate where no shape can be told."""
    from seallife.life.fewfailures import exact_limits

    parts = fits.drop(columns=["group", "aic", "mean", "mean_low", "mean_high", "sd"])
    parts.insert(0, "group", np.repeat(labels, len(causes)))
    parts.insert(1, "cause", np.tile(np.array(causes, dtype=object), len(labels)))
    r = parts["failures"].to_numpy(dtype=np.float64)
    total = np.repeat(r.reshape(len(labels), len(causes)).sum(axis=1), len(causes))
    share = _share_limits(r, total, level)
    for place, (name, column) in enumerate(
        zip(("share", "share_low", "share_high"), share, strict=True)
    ):
        parts.insert(4 + place, name, column)
    fitted = np.isfinite(parts["shape"].to_numpy(dtype=np.float64))
    flat = ~fitted & (r > 0)
    parts["law"] = np.select([fitted, flat], ["Weibull", "constant rate"], "none")
    if flat.any():
        exposure = parts.loc[flat, "exposure"].to_numpy(dtype=np.float64)
        low, high = exact_limits(r[flat], level)
        few = r[flat]
        known = {
            "shape": 1.0,
            "scale": exposure / few,
            "scale_low": exposure * low,
            "scale_high": exposure * high,
            "se_log_shape": 0.0,
            "se_log_scale": 1 / np.sqrt(few),
            "cov_log_shape_scale": 0.0,
            "loglik": few * np.log(few / exposure) - few,
        }
        for name, column in known.items():
            parts.loc[flat, name] = column
        parts.loc[flat, "status"] = "few failures"
        parts.loc[flat, "message"] = "No shape can be told; a constant rate is taken instead."
    parts.loc[~fitted & ~flat, "message"] = "Not seen in this group: it takes no part here."
    return parts


def _share_limits(part: Floats, whole: Floats, level: float) -> tuple[Floats, Floats, Floats]:
    """Share of a count in a count, with exact limits; NaN of nothing."""
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    rest = whole - part
    low = betaincinv(np.maximum(part, 1e-9), rest + 1, tail)
    high = betaincinv(part + 1, np.maximum(rest, 1e-9), 1 - tail)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(whole > 0, part / whole, np.nan)
    known = np.isfinite(share)
    low, high = np.where(part > 0, low, 0.0), np.where(rest > 0, high, 1.0)
    return share, np.where(known, low, np.nan), np.where(known, high, np.nan)


def _compare(
    parts: pd.DataFrame, one: pd.DataFrame, size: tuple[int, int], level: float
) -> dict[str, Any]:
    """Laws by cause against one law with causes drawn regardless of age, per group."""
    from scipy.special import gammaincc

    r, share, loglik = (
        parts[name].to_numpy(dtype=np.float64).reshape(size)
        for name in ("failures", "share", "loglik")
    )
    law = parts["law"].to_numpy(dtype=object).reshape(size)
    seen, shaped = (r > 0).sum(axis=1), (law == "Weibull").sum(axis=1)
    some = seen > 0
    total = np.where(some, np.where(r > 0, loglik, 0.0).sum(axis=1), np.nan)
    mixing = np.where(r > 0, r * np.log(np.where(r > 0, share, 1.0)), 0.0).sum(axis=1)
    one_loglik = one["loglik"].to_numpy(dtype=np.float64)
    df = seen - 1
    nested = (shaped == seen) & (df > 0) & np.isfinite(one_loglik)
    chi2 = np.where(nested, np.maximum(2 * (total - one_loglik - mixing), 0.0), np.nan)
    p = gammaincc(np.maximum(df, 1) / 2, chi2 / 2)
    few = np.asarray(((r > 0) & (r < FEW_FAILURES)).any(axis=1))
    status, message = worded_status(
        size[0],
        [
            (one["n"].to_numpy() == 0, "no lives", "No life with a known age in this group."),
            (~some, "no failures", "No failure: no cause can be told."),
            (df == 0, "one cause", "All failures came from one cause."),
            (shaped < seen, "few failures", "A cause has too few failures to tell a shape."),
            (
                few,
                "few failures",
                f"A cause has fewer than {FEW_FAILURES} failures: its shape is a guess.",
            ),
        ],
    )
    better = np.select(
        [~nested, p < 1 - level],
        ["cannot tell yet", "laws by cause"],
        "cannot tell apart",
    )
    return {
        "causes": seen,
        "loglik": total,
        "aic": np.where(some, 2 * (shaped + seen) - 2 * total, np.nan),
        "one_shape": one["shape"].to_numpy(),
        "one_scale": one["scale"].to_numpy(),
        "one_loglik": one_loglik,
        "aic_one": 2 * (seen + 1) - 2 * (one_loglik + mixing),
        "chi2": chi2,
        "df": df.clip(min=0),
        "p": p,
        "better": np.where(df == 0, "one cause", better),
        "status": status,
        "message": message,
    }

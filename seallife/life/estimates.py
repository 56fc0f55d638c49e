"""Figures of all groups on their way from a fit to a table.

In: parameters and limits per group. Out: tidy tables. Next: `seallife.life.weibull`,
`seallife.life.lognormal`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.lifedata import LifeData
from seallife.life.locationscale import LocationScale, Top
from seallife.life.region import Quantity, extremes, trace

__all__ = ["Estimates", "likelihood_intervals", "share_name", "tables"]


@dataclass(frozen=True, eq=False)
class Estimates:
    """Parameters and limits of all groups; NaN where a group has none.

    Attributes
    ----------
    log_sigma, mu, loglik : ndarray, shape (g,)
    covariance : ndarray, shape (g, 3)
        Variance of log sigma, covariance, variance of mu.
    low, high : ndarray, shape (g, q)
        Limits of log sigma, mu, log mean, log quantiles, and standardised survival ages.
    found, at_edge : ndarray of bool, shape (g,)
        Whether a top was found; whether it lies outside all credible shapes.
    """

    log_sigma: Floats
    mu: Floats
    loglik: Floats
    covariance: Floats
    low: Floats
    high: Floats
    found: NDArray[np.bool_]
    at_edge: NDArray[np.bool_]

    @classmethod
    def empty(cls, groups: int, quantities: int) -> Estimates:
        """Nothing known yet."""

        def blank(*shape: int) -> Floats:
            return np.full(shape, np.nan)

        return cls(
            blank(groups),
            blank(groups),
            blank(groups),
            blank(groups, 3),
            blank(groups, quantities),
            blank(groups, quantities),
            np.zeros(groups, bool),
            np.zeros(groups, bool),
        )

    def take(self, rows: NDArray[np.intp]) -> Estimates:
        """Return a copy of some groups."""
        return Estimates(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def put(self, rows: NDArray[np.bool_], part: Estimates) -> None:
        """Write the figures of some groups into their rows; a group without a top stays NaN."""
        at = np.flatnonzero(rows)
        self.at_edge[at] = part.at_edge
        at, good = at[part.found], part.found
        for name in ("log_sigma", "mu", "loglik", "covariance", "low", "high", "found"):
            getattr(self, name)[at] = getattr(part, name)[good]


def likelihood_intervals(
    surface: LocationScale,
    top: Top,
    quantities: Sequence[Quantity],
    ages_until: int,
    drop: float | None,
) -> Estimates:
    """Likelihood-ratio intervals of groups that are climbed on their rows.

    Parameters
    ----------
    surface, top
        The likelihood and its top.
    quantities : sequence of Quantity
        Log sigma first, then log ages, then the rest.
    ages_until : int
        The quantities from 1 to before this one are log ages and take the centre back.
    drop : float or None
        Depth of the region; None for no intervals.
    """
    out = Estimates.empty(len(top.mu), len(quantities))
    failed = surface.failed
    out.log_sigma[:], out.mu[:] = top.log_sigma, top.mu + surface.centre
    exact = failed.sum(np.ones(len(failed.x)))
    out.loglik[:] = top.value - failed.sum(failed.x) - exact * surface.centre
    out.covariance[:] = np.stack(top.covariance, axis=1)
    out.found[:] = top.found
    out.at_edge[:] = ~top.found & ((top.log_sigma < -4.6) | (top.log_sigma > 4.6))
    if drop is None or not top.found.any():
        return out
    steps = (np.sqrt(top.covariance[0]), np.sqrt(top.covariance[2]))
    with np.errstate(invalid="ignore"):
        rim = trace(surface, (top.log_sigma, top.mu, top.value), steps, drop)
    height = top.value - drop
    low, high, _ = extremes(surface, rim, quantities, height, steps)
    k = np.arange(len(quantities))
    shift = surface.centre[:, None] * ((k >= 1) & (k < ages_until))
    out.low[:], out.high[:] = low + shift, high + shift
    return out


def share_name(share: float) -> str:
    """Column of the age by which a share has failed: 0.10 is ``b10``."""
    return f"b{100 * share:g}"


def tables(
    data: LifeData,
    found: Estimates,
    shares: Floats,
    ages: Floats,
    names: tuple[str, str],
    point: Callable[[Floats, Floats, Floats, Floats], dict[str, Any]],
    status: tuple[list[str], list[str]],
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Write the table of groups and the table of survivals."""
    value = point(found.log_sigma, found.mu, shares, ages)
    first, second = names
    # the first parameter may run against log sigma, as a shape does
    ends = value["to_first"](found.low[:, 0]), value["to_first"](found.high[:, 0])
    columns: dict[str, Any] = {
        "group": data.groups.label_list(),
        **data.counts(),
        first: value[first],
        f"{first}_low": np.minimum(*ends),
        f"{first}_high": np.maximum(*ends),
    }

    def add(name: str, middle: Floats, k: int) -> None:
        columns[name] = middle
        with np.errstate(over="ignore"):
            columns[f"{name}_low"] = np.exp(found.low[:, k])
            columns[f"{name}_high"] = np.exp(found.high[:, k])

    add(second, value[second], 1)
    for i, share in enumerate(shares):
        add(share_name(share), value["quantiles"][:, i], 3 + i)
    add("mean", value["mean"], 2)
    columns["sd"] = value["sd"]
    columns |= value["more"](found.covariance)
    columns["loglik"] = found.loglik
    columns["aic"] = 4 - 2 * found.loglik
    columns["status"], columns["message"] = status
    z = slice(3 + len(shares), 3 + len(shares) + len(ages))
    to_survival = value["to_survival"]
    labels = np.empty(len(found.mu), dtype=object)
    labels[:] = data.groups.label_list()
    with np.errstate(over="ignore"):
        survival = pd.DataFrame(
            {
                "group": np.repeat(labels, len(ages)),
                "age": np.tile(ages, len(found.mu)),
                "survival": value["survival"].ravel(),
                "low": to_survival(found.high[:, z]).ravel(),
                "high": to_survival(found.low[:, z]).ravel(),
            }
        )
    return pd.DataFrame(columns), survival


def hazard_table(
    labels: list[Any], ages: Floats, middle: Floats, low: Floats, high: Floats
) -> pd.DataFrame:
    """Write the table of failure rates, from logs of the rates times the ages, shape (g, ages)."""
    groups = np.empty(len(labels), dtype=object)
    groups[:] = labels
    with np.errstate(over="ignore"):
        middle, low, high = (np.exp(column - np.log(ages)) for column in (middle, low, high))
    return pd.DataFrame(
        {
            "group": np.repeat(groups, len(ages)),
            "age": np.tile(ages, len(groups)),
            "hazard": middle.ravel(),
            "low": low.ravel(),
            "high": high.ravel(),
        }
    )

"""How often do seals of each class and age fail: the ground on which ages are allowed for.

In: the life table. Out: `AgeRates`. Next: `seallife.history.mtbr`, `seallife.history.target`.

A fleet renewed last year fails less whether or not anything became better. Failures are therefore
also held against those expected of seals of these classes at these ages, at the rates of the whole
record. No law is assumed: rates are constant within bands of age.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

__all__ = ["AgeRates", "age_rates"]

_BANDS = 10
_PRIOR = 0.5  # failures' worth of the class's own rate put into each of its bands

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class AgeRates:
    """Failures and run hours by class and band of age.

    Attributes
    ----------
    classes : Index of str, length c
    edges : ndarray, shape (b,)
        Lower edges of the bands in run hours, the first 0; the last band is open.
    failures, hours : ndarray, shape (c, b)
    failures_unaged, hours_unaged : ndarray, shape (c,)
        Of seals whose age is not known: one rate, whatever their age.
    """

    classes: pd.Index
    edges: Floats
    failures: Floats
    hours: Floats
    failures_unaged: Floats
    hours_unaged: Floats

    @property
    def rates(self) -> Floats:
        """Failures an hour, shape (c, b); a band without hours has the rate of its class."""
        whole = self._whole()[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = self.failures / self.hours
        return np.where(self.hours > 0, rate, whole)

    @property
    def unaged(self) -> Floats:
        """Failures an hour of seals of unknown age, shape (c,)."""
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = self.failures_unaged / self.hours_unaged
        return np.where(self.hours_unaged > 0, rate, self._whole())

    def drawn(self, draws: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Rates that the counts allow, shapes (draws, c, b) and (draws, c).

        Gamma with the counts, and in each band half a failure's worth of the rate of the class, so
        that a band without a failure is not taken to be without risk.
        """
        whole = (self._failures() + 0.5) / np.maximum(self._hours(), 1.0)
        shape, hours = self.failures + _PRIOR, self.hours + _PRIOR / whole[:, None]
        rates = rng.gamma(shape, size=(draws, *shape.shape)) / hours
        shape, hours = self.failures_unaged + _PRIOR, self.hours_unaged + _PRIOR / whole
        return rates, rng.gamma(shape, size=(draws, *shape.shape)) / hours

    def cumulative(self, rates: Floats, at: npt.NDArray[np.int64], age: Floats) -> Floats:
        """Expected failures of a seal from new to an age, while it is not renewed.

        Parameters
        ----------
        rates : ndarray, shape (..., c, b)
            From `rates` or `drawn`.
        at : ndarray of int
            Place of the class of each seal in ``classes``.
        age : ndarray, shape of ``at``
            Run hours.
        """
        widths = np.diff(self.edges)
        below = np.zeros(rates.shape)
        below[..., 1:] = np.cumsum(rates[..., :-1] * widths, axis=-1)
        band = np.clip(np.searchsorted(self.edges, age, side="right") - 1, 0, len(self.edges) - 1)
        return np.asarray(below[..., at, band] + rates[..., at, band] * (age - self.edges[band]))

    def _failures(self) -> Floats:
        return np.asarray(self.failures.sum(axis=1) + self.failures_unaged)

    def _hours(self) -> Floats:
        return np.asarray(self.hours.sum(axis=1) + self.hours_unaged)

    def _whole(self) -> Floats:
        hours = self._hours()
        return np.where(hours > 0, self._failures() / np.maximum(hours, 1.0), 0.0)


def age_rates(lives: pd.DataFrame, bands: int = _BANDS) -> AgeRates:
    """How often do seals fail, by class and age?

    Parameters
    ----------
    lives : DataFrame
        ``service_class``, ``end``, ``age_known``, ``entry_age_h``, ``exit_age_h``, ``hours`` of the
        life table.
    bands : int
        Bands of age, the same for all classes, with about as many failures of the fleet in each.
        The youngest tenth of failures is parted once more: fitting faults act within weeks.

    Returns
    -------
    AgeRates

    Source
    ------
    Occurrence over exposure: Breslow & Day (1987), Statistical Methods in Cancer Research II,
    chapter 2.
    """
    classes = pd.Index(sorted(lives["service_class"].astype(str).unique()))
    place = classes.get_indexer(pd.Index(lives["service_class"].astype(str)))
    failed = (lives["end"] == "failed").to_numpy()
    entry, age, hours = (
        pd.to_numeric(lives[c]).to_numpy(dtype=np.float64, na_value=np.nan)
        for c in ("entry_age_h", "exit_age_h", "hours")
    )
    with np.errstate(invalid="ignore"):
        aged = lives["age_known"].to_numpy(dtype=bool) & (age > entry) & (entry >= 0)
    edges = _edges(age[aged & failed], bands)
    c, b = len(classes), len(edges)
    ends = np.append(edges[1:], np.inf)
    spent = np.zeros((c, b))
    for k in range(b):  # one pass a band keeps memory at one column of lives
        inside = np.clip(age[aged], edges[k], ends[k]) - np.clip(entry[aged], edges[k], ends[k])
        spent[:, k] = np.bincount(place[aged], inside, c)
    band = np.searchsorted(edges, age[aged & failed], side="left") - 1
    cell = place[aged & failed] * b + np.clip(band, 0, b - 1)
    died = np.bincount(cell, minlength=c * b).astype(np.float64).reshape(c, b)
    rest = ~aged & np.isfinite(hours)
    return AgeRates(
        classes,
        edges,
        died,
        spent,
        np.bincount(place[rest & failed], minlength=c).astype(np.float64),
        np.bincount(place[rest], hours[rest], c).astype(np.float64),
    )


def _edges(ages: Floats, bands: int) -> Floats:
    """Lower edges of bands that hold about as many failures each."""
    if not len(ages):
        return np.zeros(1)
    shares = np.unique(np.append(np.arange(1, bands) / bands, 0.5 / bands))
    inner = np.quantile(ages, shares)
    return np.unique(np.append(0.0, inner[inner > 0]))

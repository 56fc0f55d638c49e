"""Laws of several causes at work together: the share still running, the share each cause ends.

In: one Weibull law a cause. Out: `CauseFits`. Next: `seallife.life.causes`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from seallife.life.groups import Floats
from seallife.life.quantities import check_ages
from seallife.life.result import TableResult

__all__ = ["CauseFits"]

_NODES = 96  # of the Gauss-Legendre sums: shares right to 1e-6 for shapes from 0.3 on


@dataclass(frozen=True, eq=False)
class CauseFits(TableResult):
    """Weibull laws by cause, and the class as their minimum.

    Attributes
    ----------
    table : DataFrame
        Per group: counts; ``causes`` fitted; ``loglik`` and ``aic`` of ages and causes under one
        law a cause; ``one_shape``, ``one_scale``, ``one_loglik`` of a single Weibull of all
        failures; ``aic_one`` of that law with each failure's cause drawn regardless of age;
        ``chi2``, ``df``, ``p`` of the test between the two; ``better`` in words; ``status``,
        ``message``.
    parts : DataFrame
        Per group and cause: ``failures``, their ``share`` of all failures with exact limits,
        ``law`` ('Weibull', 'constant rate', 'none'), ``shape`` and ``scale`` with limits,
        ``loglik``, ``status``, ``message``.
    causes : tuple of str
        All causes, sorted.
    """

    parts: pd.DataFrame
    causes: tuple[str, ...]

    def survival_at(self, ages: ArrayLike) -> pd.DataFrame:
        """Share still running at given ages while all causes are at work.

        Parameters
        ----------
        ages : array_like, shape (m,)
            Ages above 0.

        Returns
        -------
        DataFrame
            ``group``, ``age``, ``survival``, ``low``, ``high``; NaN for a group without a law.

        Notes
        -----
        Limits are the delta method's on log(-log S), from the covariance of log shape and log
        scale of each cause; the causes' estimates are independent. They are rougher than the
        likelihood-ratio limits of one law, and too narrow with few failures of a cause.
        """
        from scipy.special import ndtri

        at = check_ages(np.asarray(ages, dtype=np.float64))
        shape, scale, covariance = self._laws()
        hazard, log_hazard = _cum_hazard(shape, scale, at)
        total = hazard.sum(axis=1)
        slope = np.stack([log_hazard, np.broadcast_to(-shape[..., None], hazard.shape)])
        one = (
            slope[0] ** 2 * covariance[0][..., None]
            + slope[1] ** 2 * covariance[1][..., None]
            + 2 * slope[0] * slope[1] * covariance[2][..., None]
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            variance = np.where(hazard > 0, hazard**2 * one, 0.0).sum(axis=1) / total**2
            wide = np.exp(ndtri((1 + self.level) / 2) * np.sqrt(variance))
            known = np.isfinite(scale).sum(axis=1) > 0
            total = np.where(known[:, None], total, np.nan)
            columns = {
                "survival": np.exp(-total),
                "low": np.exp(-total * wide),
                "high": np.exp(-total / wide),
            }
        labels = self.table["group"].to_numpy(dtype=object)
        return pd.DataFrame(
            {
                "group": np.repeat(labels, len(at)),
                "age": np.tile(at, len(labels)),
                **{name: column.ravel() for name, column in columns.items()},
            }
        )

    def shares_before(self, ages: ArrayLike) -> pd.DataFrame:
        """Share of lives that each cause ends before given ages, and of the failures by then.

        Parameters
        ----------
        ages : array_like, shape (m,)
            Ages above 0.

        Returns
        -------
        DataFrame
            ``group``, ``cause``, ``age``; ``share`` of all lives with ``low`` and ``high`` (delta
            method on log(-log)); ``of_failures``, the share of the failures before that age.
        """
        from scipy.special import ndtri

        at = check_ages(np.asarray(ages, dtype=np.float64))
        shape, scale, covariance = self._laws()
        share = _ended_by(shape, scale, at)
        variance = np.zeros_like(share)
        step = 1e-5
        for k in range(shape.shape[1]):
            slopes = []
            for log_shape, log_scale in ((step, 0.0), (0.0, step)):
                ends = []
                for side in (1.0, -1.0):
                    a, b = shape.copy(), scale.copy()
                    a[:, k] *= np.exp(side * log_shape)
                    b[:, k] *= np.exp(side * log_scale)
                    ends.append(_ended_by(a, b, at))
                slopes.append((ends[0] - ends[1]) / (2 * step))
            v = [np.nan_to_num(c[:, k])[:, None, None] for c in covariance]
            variance += slopes[0] ** 2 * v[0] + slopes[1] ** 2 * v[1]
            variance += 2 * slopes[0] * slopes[1] * v[2]
        with np.errstate(invalid="ignore", divide="ignore"):
            log_share = np.log(share)
            spread = ndtri((1 + self.level) / 2) * np.sqrt(variance) / (share * -log_share)
            low, high = np.exp(log_share * np.exp(spread)), np.exp(log_share * np.exp(-spread))
            total = share.sum(axis=1, keepdims=True)
            of_failures = share / total
        blank = np.isfinite(scale).sum(axis=1)[:, None, None] == 0
        columns = {"share": share, "low": low, "high": high, "of_failures": of_failures}
        return pd.DataFrame(
            {
                "group": np.repeat(self.parts["group"].to_numpy(dtype=object), len(at)),
                "cause": np.repeat(self.parts["cause"].to_numpy(dtype=object), len(at)),
                "age": np.tile(at, len(self.parts)),
                **{name: np.where(blank, np.nan, c).ravel() for name, c in columns.items()},
            }
        )

    def _laws(self) -> tuple[Floats, Floats, list[Floats]]:
        """Shape, scale (infinite where a cause was not seen) and covariances, (groups, causes)."""
        size = len(self.table), len(self.causes)

        def column(name: str) -> Floats:
            return self.parts[name].to_numpy(dtype=np.float64).reshape(size)

        none = (self.parts["law"] == "none").to_numpy().reshape(size)
        shape = np.where(none, 1.0, column("shape"))
        scale = np.where(none, np.inf, column("scale"))
        names = ("se_log_shape", "se_log_scale", "cov_log_shape_scale")
        a, b, c = (np.where(none, 0.0, column(name)) for name in names)
        return shape, scale, [a**2, b**2, c]


def _cum_hazard(shape: Floats, scale: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Cumulative hazard of each cause at each age, shape (groups, causes, ages), and its log."""
    with np.errstate(divide="ignore", over="ignore"):
        log_hazard = shape[..., None] * (np.log(at) - np.log(scale)[..., None])
        return np.exp(log_hazard), log_hazard


def _ended_by(shape: Floats, scale: Floats, at: Floats) -> Floats:
    """Share of lives that each cause ends before each age, shape (groups, causes, ages).

    The integral of S over the cumulative hazard H of the cause itself. With H = H(t) x^4 the
    integrand is smooth at age 0 for steep and for falling rates alike.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    x, w = (nodes + 1) / 2, weights / 2
    full, _ = _cum_hazard(shape, scale, at)
    out = np.zeros_like(full)
    for k in range(shape.shape[1]):
        # age at node = t x^(4 / shape of this cause), so each H there is H(t) x^(4 ratio)
        ratio = shape / shape[:, k : k + 1]
        power = x ** (4 * ratio[..., None])
        total = (full[..., None] * power[:, :, None, :]).sum(axis=1)
        out[:, k] = full[:, k] * (np.exp(-total) * (4 * x**3 * w)).sum(axis=-1)
    return out

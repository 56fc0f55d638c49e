"""The intervals of two other packages on the fleets of `coverage_study`, for the same table.

``python tests/coverage_peers.py`` writes ``coverage_peers.csv``. Each is used as its documentation
shows: lifelines' normal intervals of shape and scale, and the age at which its survival band
crosses 90 %; reliability's intervals of both, and of the age by which 10 % fail. The latter has no
late entry and is not asked about it.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
import pandas as pd
from coverage_study import FAILURES, LEVEL, PATTERNS, PEERS, draw, truth

SHAPE, FLEETS = 1.4, 300
NAMES = ("shape", "scale", "b10")


def lifelines_limits(
    age: np.ndarray, failed: np.ndarray, entry: np.ndarray
) -> list[tuple[float, float]]:
    """Limits of shape, scale and B10."""
    from lifelines import WeibullFitter

    times = np.geomspace(1e-2, 5e3, 600)
    fit = WeibullFitter(alpha=1 - LEVEL).fit(
        age, failed, entry=entry if entry.any() else None, timeline=times
    )
    rows = fit.summary
    low, high = (
        next(c for c in rows.columns if c.endswith(f"{w} 90%")) for w in ("lower", "upper")
    )
    band = fit.confidence_interval_survival_function_.to_numpy()
    lower, upper = band.min(axis=1), band.max(axis=1)
    crosses = [float(np.interp(-0.9, -side, times)) for side in (lower, upper)]
    return [
        (rows.loc["rho_", low], rows.loc["rho_", high]),
        (rows.loc["lambda_", low], rows.loc["lambda_", high]),
        (min(crosses), max(crosses)),
    ]


def reliability_limits(age: np.ndarray, failed: np.ndarray) -> list[tuple[float, float]]:
    """Limits of shape, scale and B10."""
    from reliability.Fitters import Fit_Weibull_2P

    fit = Fit_Weibull_2P(
        failures=age[failed],
        right_censored=age[~failed] if (~failed).any() else None,
        CI=LEVEL,
        quantiles=[0.1],
        show_probability_plot=False,
        print_results=False,
    )
    q = fit.quantiles.iloc[0]
    return [
        (fit.beta_lower, fit.beta_upper),
        (fit.alpha_lower, fit.alpha_upper),
        (q["Lower Estimate"], q["Upper Estimate"]),
    ]


def main() -> None:
    """Run and write."""
    import matplotlib as mpl

    mpl.use("Agg")
    true = truth(SHAPE)
    rows = []
    for failures in FAILURES:
        for pattern in PATTERNS:
            lives = draw(failures, pattern, SHAPE, FLEETS, 1)
            n = len(lives["age"]) // FLEETS
            for method in ("lifelines", "reliability"):
                if method == "reliability" and pattern == "late entry":
                    continue
                held, tried = np.zeros(3), 0
                for k in range(FLEETS):
                    part = slice(k * n, (k + 1) * n)
                    age, failed, entry = (lives[c][part] for c in ("age", "failed", "entry_age"))
                    with warnings.catch_warnings():
                        warnings.simplefilter("ignore")
                        limits = (
                            lifelines_limits(age, failed, entry)
                            if method == "lifelines"
                            else reliability_limits(age, failed)
                        )
                    tried += 1
                    held += [a <= true[q] <= b for q, (a, b) in zip(NAMES, limits, strict=True)]
                for name, share in zip(NAMES, held / tried, strict=True):
                    rows.append((method, failures, pattern, SHAPE, name, round(share, 4), tried))
            sys.stdout.write(f"{failures} {pattern}\n")
            sys.stdout.flush()
    columns = ["method", "failures", "pattern", "true_shape", "quantity", "cover", "fleets"]
    pd.DataFrame(rows, columns=columns).to_csv(PEERS, index=False)


if __name__ == "__main__":
    main()

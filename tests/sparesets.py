"""Fleets with known laws that tests of spares share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from seallife.spares.ahead import FleetAhead
from seallife.spares.lawdraws import LawDraws
from seallife.spares.positionfactors import PositionFactors

NOW = pd.Timestamp("2026-01-01")


def weibull_draws(
    shape: Sequence[float], scale: Sequence[float], draws: int = 1, spread: float = 0.0
) -> LawDraws:
    """Weibull laws in days, one a class; scales spread by a share from draw to draw."""
    ages = np.unique(np.append(np.arange(0, 4000, 10.0), np.geomspace(1, 4e5, 200)))
    ages[0] = 0.0
    off = np.exp(spread * np.linspace(-1.6, 1.6, draws)) if draws > 1 else np.ones(1)
    over = ages / (np.asarray(scale)[:, None] * off[:, None, None])
    classes = pd.Index([f"C{k}" for k in range(len(shape))])
    return LawDraws(classes, ages, over ** np.asarray(shape)[:, None], "d", 1)


def ahead_of(
    laws: LawDraws,
    place: Sequence[int],
    age: Sequence[float],
    *,
    pace: float = 1.0,
    planned: float = 0.0,
    pool: Sequence[str] | None = None,
    outage: tuple[float, float] | None = None,
) -> FleetAhead:
    """Seals of given classes and ages; ``outage`` is its day and the share renewed."""
    n = len(place)
    at = np.asarray(place, dtype=np.int64)
    day, share = outage or (np.inf, 0.0)
    seals = pd.DataFrame(
        {
            "life_id": [f"L{i}" for i in range(n)],
            "site": "Site",
            "service_class": laws.classes.to_numpy()[at],
            "pool": list(pool) if pool is not None else [f"M{k}" for k in at],
            "factor": 1.0,
        }
    )
    return FleetAhead(
        seals,
        at,
        np.asarray(age, dtype=float),
        np.full(n, pace),
        np.zeros(n),
        PositionFactors(np.zeros(n), np.zeros(n), np.inf, 0.0),
        np.inf,
        laws,
        np.full((laws.draws, len(laws.classes)), 1 / 1000),
        np.full((laws.draws, len(laws.classes)), planned),
        np.full((n, 1), day),
        np.full((n, 1), share),
        NOW,
    )

"""Laws of life as several tests of spares draw them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd

from seallife.life.groups import Floats
from seallife.spares.cumulative import law_of_causes
from seallife.spares.lawdraws import LawDraws

HOT = law_of_causes(
    [1.0, 2.2], [90_000, 34_000], early_share=0.05, early_shape=0.8, early_scale=1_200
)
"""Three causes, one of them a fault in fitting: seals of hot service in the demo fleet, hours."""

KNOTS = np.append(0.0, np.geomspace(20, 400_000, 160))


def law_draws(
    laws: Mapping[str, Sequence[Callable[[Floats], Floats]]], unit: str = "h"
) -> LawDraws:
    """One law of each class a draw."""
    total = np.array([[law(KNOTS) for law in drawn] for drawn in laws.values()])
    return LawDraws(pd.Index(list(laws)), KNOTS, np.swapaxes(total, 0, 1), unit, 1)


def weibull_draws(
    shape: float, scale: float, spread: float, draws: int = 200, seed: int = 1
) -> list[Callable[[Floats], Floats]]:
    """Weibull laws about one, both figures off by a share."""
    rng = np.random.default_rng(seed)
    shapes = shape * np.exp(spread * rng.standard_normal(draws))
    scales = scale * np.exp(spread * rng.standard_normal(draws))
    return [law_of_causes(b, eta) for b, eta in zip(shapes, scales, strict=True)]

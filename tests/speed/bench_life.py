"""How fast are the fits of `seallife.life`? Ratios within one run, so that any machine will do.

The unit is one `numpy.exp` over all ages: what a single evaluation of a likelihood costs at least.

    python -m pytest tests/speed/bench_life.py            50,000 lives in 250 classes
    python tests/speed/bench_life.py                      1,000,000 lives in 5,000 classes
"""

from __future__ import annotations

import sys
import time
import warnings
from collections.abc import Callable

import numpy as np

from seallife import life

# what each call may cost; one exp pass is the unit unless said otherwise
LIMITS = {
    "Weibull, all classes": 20.0,
    "Weibull, likelihood-ratio intervals": 200.0,
    "Kaplan-Meier / (1.5 argsort + 20 exp)": 1.0,
    "lifelines loop / Weibull": 2000.0,
}


def fleet(lives: int, classes: int) -> dict[str, np.ndarray]:
    """Lives of many classes, a third first seen at an age already reached."""
    rng = np.random.default_rng(1)
    group = np.repeat(np.arange(classes), lives // classes)
    n = len(group)
    shape = rng.uniform(0.8, 3, classes)[group]
    scale = rng.uniform(1e3, 5e4, classes)[group]
    entry = np.where(rng.random(n) < 1 / 3, scale * rng.random(n), 0.0)
    age = scale * ((entry / scale) ** shape + rng.exponential(size=n)) ** (1 / shape)
    end = entry + scale * rng.uniform(0.05, 1.5, n)
    return {
        "age": np.minimum(age, end),
        "failed": age <= end,
        "group": group,
        "entry_age": entry,
    }


def best(call: Callable[[], object], repeats: int) -> float:
    """Shortest of some runs in processor time: other work on the machine does not count."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times)


def loop_in_lifelines(data: dict[str, np.ndarray], classes: int) -> float:
    """Seconds per class of the usual loop, from the first classes."""
    from lifelines import WeibullFitter

    def loop() -> None:
        for label in range(classes):
            rows = data["group"] == label
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                WeibullFitter().fit(
                    data["age"][rows], data["failed"][rows], entry=data["entry_age"][rows]
                )

    return best(loop, 1) / classes


def measure(lives: int, classes: int) -> dict[str, float]:
    """Ratios of one run."""
    data = fleet(lives, classes)
    x = np.log(data["age"])
    exp = best(lambda: np.exp(x), 25)
    point = best(lambda: life.fit_weibull(**data, intervals=False), 15)
    full = best(lambda: life.fit_weibull(**data), 3)
    sort = best(lambda: np.argsort(data["age"]), 5)
    curves = best(lambda: life.kaplan_meier(**data), 12)
    return {
        "Weibull, all classes": point / exp,
        "Weibull, likelihood-ratio intervals": full / exp,
        "Kaplan-Meier / (1.5 argsort + 20 exp)": curves / (1.5 * sort + 20 * exp),
        "lifelines loop / Weibull": loop_in_lifelines(data, 20) * classes / point,
        "milliseconds: exp": 1e3 * exp,
        "milliseconds: Weibull": 1e3 * point,
        "milliseconds: Weibull with intervals": 1e3 * full,
        "milliseconds: Kaplan-Meier": 1e3 * curves,
    }


def test_reduced_size():
    """A twentieth of the size: fixed costs weigh twenty times as much, so bounds are wider."""
    found = measure(50_000, 250)
    assert found["Weibull, all classes"] < 100
    assert found["Weibull, likelihood-ratio intervals"] < 800
    assert found["Kaplan-Meier / (1.5 argsort + 20 exp)"] < 5
    assert found["lifelines loop / Weibull"] > 200


def main() -> int:
    """Full size: write the table, and fail where a limit is broken."""
    found = measure(1_000_000, 5_000)
    broken = 0
    for name, value in found.items():
        limit = LIMITS.get(name)
        bad = limit is not None and (value < limit if "lifelines" in name else value > limit)
        broken += bad
        sign = "" if limit is None else f"  {'>=' if 'lifelines' in name else '<='} {limit:g}"
        sys.stdout.write(f"{name:42} {value:10.2f}{sign}{'  BROKEN' if bad else ''}\n")
    return int(broken > 0)


if __name__ == "__main__":
    raise SystemExit(main())

"""What do calibrated intervals of thousands of classes cost?

Run with ``pytest -m speed -n 0 -s tests/speed``. 500 classes of 200 lives with 400 resamples each:
a tenth of a company of 5,000, which may take 120 s.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from costs import QUIET_IMPORT_S, cost, reference

pytestmark = pytest.mark.speed

HERE = Path(__file__).parent
CODE = """
import sys
sys.path.insert(0, {here!r})
from bench_life import fleet
from seallife.life import fit_weibull
fit_weibull(**fleet({lives}, {classes}), resamples=400)
"""


def _seconds(classes: int) -> tuple[float, float]:
    code = CODE.format(here=str(HERE), lives=200 * classes, classes=classes)
    return cost("-c", code, repeat=2)


def test_a_tenth_of_five_thousand_classes() -> None:
    """Cost grows with the number of lives, no faster."""
    sizes = {classes: _seconds(classes) for classes in (250, 500, 1_000)}
    told = "; ".join(f"{k} classes {s:.1f} s, {m:.0f} MB" for k, (s, m) in sizes.items())
    print(f"\ncalibrated by 400 resamples: {told}")
    seconds, memory = sizes[500]
    assert seconds / reference() < 12.0 / QUIET_IMPORT_S
    assert memory < 1_000
    # 250 classes are taken at a time: below that the first of a batch pay for all
    first, second = sizes[500][0] - sizes[250][0], sizes[1_000][0] - sizes[500][0]
    assert second / first < 2.6  # twice the lives more

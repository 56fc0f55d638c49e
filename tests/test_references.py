"""Published figures and conversions of the trade (group ST of the published checks)."""

from __future__ import annotations

import numpy as np
import pytest

from seallife.errors import InputError
from seallife.leakage import drops_to_ml_per_h, example_limits, ml_to_g_per_h
from seallife.references import REFERENCES
from seallife.schema import DAYS_PER_YEAR, HOURS_PER_DAY, HOURS_PER_YEAR


def test_ST_01_leak_definitions() -> None:
    """40 CFR 65.107(b), Consolidated Federal Air Rule; read in the 2003 and 2005 editions."""
    limits = example_limits().set_index("service")
    assert limits["leak_ppm"].to_dict() == {
        "polymerising monomers": 5_000,
        "food or medical service": 2_000,
        "all other": 1_000,
    }
    assert limits.loc["all other", "repair_from_ppm"] == 2_000
    assert set(limits["monitored"]) == {"monthly"}
    assert set(limits["looked_at"]) == {"weekly"}
    assert set(limits["citation"]) == {"40 CFR 65.107(b)"}


def test_ST_03_seal_life_and_leakage_criteria() -> None:
    """API Std 682: 3 years (1st ed.); 25,000 h, 1,000 ppmv, 5.6 g/h (4th ed., second hand)."""
    got = {name: (r.value, r.unit) for name, r in REFERENCES.items()}
    assert got == {
        "seal life aimed at": (3.0, "years"),
        "seal life aimed at, hours": (25_000.0, "h"),
        "qualification leakage, vapour": (1_000.0, "ppmv"),
        "qualification leakage, liquid": (5.6, "g/h"),
    }
    assert all(r.source for r in REFERENCES.values())


def test_ST_04_unit_conversions() -> None:
    """Pharmacopoeial drop of 0.05 mL (from memory); the rest is arithmetic."""
    assert drops_to_ml_per_h(1.0) == pytest.approx(3.0, abs=1e-12)
    assert ml_to_g_per_h(drops_to_ml_per_h(1.0), 1.0) == pytest.approx(3.0, abs=1e-12)
    assert 5.6 / drops_to_ml_per_h(1.0) == pytest.approx(1.8667, abs=5e-5)
    assert HOURS_PER_YEAR == pytest.approx(8_766.0, abs=1e-12)
    assert DAYS_PER_YEAR * HOURS_PER_DAY == HOURS_PER_YEAR
    assert 25_000 / 8_760 == pytest.approx(2.8539, abs=5e-5)


def test_random_lives_reach_25000_h_at_90_pct_only_with_a_mean_of_237000_h() -> None:
    """The sentence printed beside 25,000 h: -25000 / ln 0.9."""
    mean = -REFERENCES["seal life aimed at, hours"].value / np.log(0.9)
    assert mean == pytest.approx(237_000, abs=500)
    assert mean / 8_766 == pytest.approx(27, abs=0.1)


@pytest.mark.parametrize("drop", [0.0, -0.05, float("nan")])
def test_a_drop_has_a_volume(drop: float) -> None:
    with pytest.raises(InputError, match="drop_ml"):
        drops_to_ml_per_h(1.0, drop)


def test_a_leak_has_a_density() -> None:
    with pytest.raises(InputError, match="density"):
        ml_to_g_per_h(1.0, 0.0)

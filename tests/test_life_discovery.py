"""Many findings at once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import false_discovery_control

from seallife.errors import InputError
from seallife.life.discovery import discovery_rate


@given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
def test_agrees_with_scipy_in_any_order(p: list[float]) -> None:
    assert discovery_rate(p) == pytest.approx(false_discovery_control(p), abs=1e-15)
    any_way = false_discovery_control(p, method="by")
    assert discovery_rate(p, dependent=True) == pytest.approx(any_way, abs=1e-15)


def test_what_was_not_tested_counts_as_no_test() -> None:
    got = discovery_rate([np.nan, 0.02, np.nan, 0.5])
    assert np.isnan(got[[0, 2]]).all()
    assert got[[1, 3]] == pytest.approx([0.04, 0.5])
    assert discovery_rate([]).shape == (0,)


@pytest.mark.parametrize("p", [-0.1, 1.1, np.inf])
def test_no_p_value_is_refused(p: float) -> None:
    with pytest.raises(InputError, match="between 0 and 1"):
        discovery_rate([0.5, p])

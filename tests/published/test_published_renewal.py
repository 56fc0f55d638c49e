"""Published and independently computed answers for renewals and for renewal by age.

Values marked (a) were read in the source, (b) computed once with the program named, (c) are from
the literature by memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from seallife.spares.bestage import cost_rate, replacement_age, replacement_age_of
from seallife.spares.renewal import renewal_of
from seallife.spares.weibullrenewal import renewal_function

WEIBULL = {
    0.5: {1.0: 1.307984264, 2.0: 2.047613595},
    1.0: {0.3: 0.3, 1.0: 1.0, 7.0: 7.0},
    1.5: {0.5: 0.3302698445, 1.0: 0.8415781366, 2.0: 1.9455008, 3.0: 3.053713945},
    2.0: {
        0.2: 0.03947370324,
        0.5: 0.2307938936,
        1.0: 0.7536912775,
        2.0: 1.894039347,
        3.0: 3.021745009,
    },
    3.0: {0.5: 0.118262669, 1.0: 0.6723291002, 2.0: 1.801075257, 3.0: 2.924774923},
}


@pytest.mark.parametrize("shape", WEIBULL)
def test_RN_01(shape: float):
    """Weibull renewal function; (b) mpmath, series of Smith & Leadbetter 1963 and midpoints."""
    t, expected = np.array(list(WEIBULL[shape].items())).T
    np.testing.assert_allclose(renewal_function(t, shape), expected, atol=1e-9)
    found = renewal_of(lambda x: x**shape, t, tolerance=1e-4)
    np.testing.assert_allclose(found.value, expected, atol=1e-6)
    assert np.all((found.low <= expected) & (expected <= found.high))
    assert np.max(found.high - found.low) <= 1e-4


def test_RN_02():
    """Closed forms: Erlang-2 and a uniform life; (b), Cox 1962, Ross."""
    erlang = [0.0919698603, 0.2838338208, 0.7545789097, 2.25001135]
    found = renewal_of(lambda x: x - np.log1p(x), [0.5, 1, 2, 5], tolerance=1e-4)
    np.testing.assert_allclose(found.value, erlang, atol=1e-9)
    assert np.all((found.low <= erlang) & (erlang <= found.high))
    uniform = [0.2840254167, 0.6487212707, 1.7182818285]
    found = renewal_of(lambda x: -np.log(np.maximum(1 - x, 1e-300)), [0.25, 0.5, 1], tolerance=1e-4)
    np.testing.assert_allclose(found.value, uniform, atol=1e-9)
    assert np.all((found.low <= uniform) & (uniform <= found.high))


def test_AR_01():
    """Jardine & Tsang, 3rd ed., problem 2: (a) printed values; optimum (b) algebra."""

    def life(x):
        return -np.log(np.maximum(1 - x / 40_000, 1e-300))

    printed = cost_rate(life, [10_000, 20_000, 30_000, 40_000], 100, 200)
    np.testing.assert_allclose(printed, [0.0143, 0.01, 0.0093, 0.01], atol=5e-5)
    best = replacement_age_of(life, 100, 200)
    assert best.age == pytest.approx(40_000 * (np.sqrt(3) - 1), rel=1e-9)
    assert best.cost_rate == pytest.approx(0.009330127019, abs=1e-9)


def test_AR_02():
    """Barlow & Proschan 1965, ch. 4: the equation (c), values (b) scipy, two ways."""
    best = replacement_age([2, 2, 3, 3, 1, 0.7], 1, 1, [10, 5, 10, 5, 10, 10])
    ages = [0.33645119, 0.51065522, 0.38245553, 0.50260958, np.inf, np.inf]
    np.testing.assert_allclose(best.age, ages, atol=1e-8)
    rates = [6.05612144, 4.08524179, 3.94935030, 3.03139670]
    np.testing.assert_allclose(best.cost_rate[:4], rates, atol=1e-8)
    left = [0.53670979, 0.72409026, 0.35266889, 0.54139503, 1, 1]
    np.testing.assert_allclose(1 - best.saving, left, atol=1e-8)
    for shape, ratio, age, rate in ((2, 10, ages[0], rates[0]), (3, 5, ages[3], rates[3])):
        found = replacement_age_of(lambda x, b=shape: x**b, 1, ratio)
        assert (found.age, found.cost_rate) == pytest.approx((age, rate), abs=1e-8)


def test_AR_04():
    """Normal life, data of Jardine & Tsang (c); values (b) scipy."""
    from scipy.stats import norm

    def life(x):
        return -norm.logsf(x, 5, 1)

    expected = [5.0002, 2.5039, 1.7094, 1.4791, 1.6301, 1.8725]
    np.testing.assert_allclose(cost_rate(life, np.arange(1, 7), 5, 10), expected, atol=1e-4)
    best = replacement_age_of(life, 5, 10)
    assert best.age == pytest.approx(4.02197, abs=1e-4)
    assert best.cost_rate == pytest.approx(1.47903, abs=1e-4)

"""Quick ways to the same figures: sums by group, tables of ages and of likelihoods."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from seallife.life import calibration, lawsums
from seallife.life.calibration import Truth, roots_under
from seallife.life.commontops import common_tops
from seallife.life.goodness import draw_lives, misfit
from seallife.life.lawages import log_age_at, log_ages_of_groups
from seallife.life.laws import LAWS
from seallife.life.lawsums import Rows
from seallife.life.lifedata import read_lives
from seallife.life.lines import Lines
from seallife.life.redrawn import draw_group
from seallife.life.sidebyside import product, side_by_side

SOME = {
    "lognormal": [[-0.3, 0.1], [0.5, 0.2]],
    "gamma": [[0.8, -0.7], [-1.0, 0.3]],
    "generalised gamma": [[-0.4, 0.2, 0.6], [0.1, 0.2, -0.7], [-0.2, 0.1, 0.001], [-1.5, 0.9, 4.0]],
    "Weibull with early part": [[-2.0, -3.0, 0.5, 0.1], [0.3, -1.0, -0.4, 0.2]],
}


@pytest.mark.parametrize("kind", [0, 1])
@pytest.mark.parametrize("name", list(SOME))
def test_sums_by_group_are_those_of_the_rows(name, kind):
    at, rng = np.array(SOME[name]), np.random.default_rng(1)
    code = rng.permutation(np.repeat(np.arange(len(at)), 40))
    x, worth = rng.normal(-0.3, 0.7, len(code)), rng.choice([1.0, -1.0, 2.5], len(code))
    for counts in (worth, None):
        rows = Rows.of(x, counts, code, len(at))
        got = np.array(lawsums._LAWS[name][kind](list(at.T), rows))
        want = np.array(lawsums._by_rows(name, kind, list(at.T), rows))
        # row by row the slopes by q are differences, and their changes the less exact
        close = 2e-5 if name == "generalised gamma" and kind == 0 else 1e-8
        np.testing.assert_allclose(got, want, rtol=close, atol=close)


@pytest.mark.parametrize("name", ["gamma", "generalised gamma", "Weibull"])
def test_ages_from_a_table_are_those_found_one_by_one(name):
    at = np.array({**SOME, "Weibull": [[0.4, 0.2], [0.1, 0.3]]}[name])
    rng = np.random.default_rng(2)
    code = rng.permutation(np.repeat(np.arange(len(at)), [3_000, *[900] * (len(at) - 1)]))
    goal = np.log(rng.random(len(code))) - rng.choice([0.0, 40.0], len(code), p=[0.9, 0.1])
    got = log_ages_of_groups(LAWS[name], at, code, goal)
    want = log_age_at(LAWS[name], [c[code] for c in at.T], goal)
    np.testing.assert_allclose(got, want, atol=2e-7)


def test_a_group_without_a_fit_leaves_the_misfit_of_the_next_alone():
    """Its hazards are no numbers, and once ran on in the sums of all groups behind it."""
    rng = np.random.default_rng(3)
    age, failed = rng.weibull(1.5, 90), rng.random(90) < 0.7
    entry = np.where(rng.random(90) < 0.3, age / 2, 0.0)
    data = read_lives(age, failed, entry_age=entry, group=np.repeat([0, 1, 2], 30))
    at = np.array([[0.4, 0.0], [np.nan, np.nan], [0.4, 0.0]])
    got = misfit(LAWS["Weibull"], at, data)
    assert np.isnan(got[1])
    last = read_lives(age[60:], failed[60:], entry_age=entry[60:])
    assert got[2] == pytest.approx(misfit(LAWS["Weibull"], at[2:], last)[0], rel=1e-12)
    assert len(draw_lives(LAWS["Weibull"], at[[0, 2, 2]], data, 2, 1).groups) == 6


def _lives(n, seed):
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.4, rng.uniform(0, 2, n), 0.0)
    life = entry + rng.weibull(1.6, n)
    until = entry + rng.uniform(0.2, 2.0, n)
    return read_lives(np.minimum(life, until), life <= until, entry_age=entry)


@pytest.mark.parametrize("n", [8, 60, 900])
def test_roots_from_a_common_table_are_those_of_each_drawing_alone(n):
    data, resamples = _lives(n, 5), 60
    lines = Lines(np.array([[0.0, -2.25, 0.4]]), mean=True)
    hazards = Lines(np.zeros((1, 0)), log_ages=np.log([[0.1, 1.0]]))
    truths = [
        Truth(np.array([-0.4]), np.array([0.1]), lines, shape=True),
        Truth(np.array([-0.2]), np.array([0.0]), hazards),
        Truth(np.array([-0.6]), np.array([0.2]), hazards),
        Truth(np.array([np.nan]), np.array([0.0]), lines),
    ]
    got = roots_under(data, truths, resamples, 7)
    assert data.entry is not None
    for truth, roots in zip(truths[:3], got, strict=False):
        tau, mu = truth.tau[0], truth.mu[0]
        alone = []
        for draws in draw_group(data.age, data.failed, data.entry, resamples, 7):
            ended = draws.under(np.exp(tau), mu)
            lives, none = draws.lives(ended, np.arange(len(draws.unit))), np.zeros(len(draws.unit))
            every = truth.lines.take(none.astype(int))
            alone.append(calibration._roots(lives, none + tau, none + mu, every, truth.shape))
        # what is tabulated is the fall, the square of a root
        each = np.concatenate(alone)
        np.testing.assert_allclose(roots[0] * abs(roots[0]), each * abs(each), atol=1e-6)
        assert np.isfinite(roots).mean() > 0.8
    assert np.isnan(got[3]).all()


def test_most_drawings_have_their_place_in_the_common_table():
    data = _lives(200, 6)
    assert data.entry is not None
    draws = next(draw_group(data.age, data.failed, data.entry, 400, 1))
    tops = common_tops([(draws, draws.under(0.6, 0.0)), (draws, draws.under(0.8, 0.1))])
    assert len(tops.row) + sum(len(rows) for rows in tops.apart) == 800
    assert len(tops.row) > 700


def test_work_side_by_side_comes_back_in_order():
    seen = set()

    def work(k):
        seen.add(threading.get_ident())
        return k * k

    assert side_by_side(work, range(50)) == [k * k for k in range(50)]
    assert side_by_side(work, []) == []
    assert seen
    with pytest.raises(ZeroDivisionError):
        side_by_side(lambda k: 1 // k, [1, 0, 2])
    left, right = np.random.default_rng(1).random((900, 70)), np.eye(70)[:, :20]
    np.testing.assert_array_equal(product(left, right), left[:, :20])
    np.testing.assert_array_equal(product(left[:10], right), left[:10, :20])

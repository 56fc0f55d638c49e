"""`seallife.life.restricted`: mean life up to one age, and differences between classes."""

from __future__ import annotations

from pathlib import Path

import ahead_study
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from seallife import life
from seallife.errors import InputError
from seallife.life.restricted import restricted_means_of_lives

PUBLISHED = Path(__file__).parent / "published"
FIGURES = ["mean", "se", "low", "high"]


def by_hand(age, failed, entry, horizon):
    """Area under the product limit and its error, one age at a time."""
    times = np.unique(age[failed & (age < horizon)])
    n = np.array([((entry < t) & (age >= t)).sum() for t in times], float)
    d = np.array([(failed & (age == t)).sum() for t in times], float)
    s = np.cumprod(np.append(1.0, 1 - d / n))
    widths = np.diff(np.concatenate(([0.0], times, [horizon])))
    after = np.array([(s * widths)[i + 1 :].sum() for i in range(len(times))])
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(after > 0, after**2 * d / (n * (n - d)), 0.0)
    return (s * widths).sum(), np.sqrt(part.sum())


def sample(seed, n=200, late=0.3):
    rng = np.random.default_rng(seed)
    age = np.ceil(rng.weibull(1.5, n) * 40) * 25
    entry = np.where(rng.random(n) < late, age * rng.uniform(0, 0.9, n), 0.0)
    return {"age": age, "failed": rng.random(n) < 0.6, "entry_age": entry}


# published


def test_lung_to_1000_days():
    """KM-04: survival::lung, restricted mean and its error by R 4.2.2, survival 3.5-3."""
    d = pd.read_csv(PUBLISHED / "lung.csv")
    failed = d["status"] == 2
    means = life.restricted_means(d["time"], failed, horizon=1000, level=0.95)
    row = means["all"]
    assert row["mean"] == pytest.approx(375.167, rel=1e-5)
    assert row["se"] == pytest.approx(19.4389, rel=1e-5)
    assert means.set_by is None
    # two lives beyond 965 d
    assert row[["status", "at_risk", "at_risk_least"]].tolist() == ["few at risk", 2, 2]
    by = life.restricted_means(d["time"], failed, group=d["sex"], horizon=365, level=0.95)
    pair = by.differences().iloc[0]
    assert pair[["group", "against"]].tolist() == [1, 2]
    assert pair["difference"] == pytest.approx(by[1]["mean"] - by[2]["mean"])
    assert pair["se"] == pytest.approx(np.hypot(by[1]["se"], by[2]["se"]))
    # nearly what two normal means would give, as both are well inside the year
    plain = pair["difference"] + np.array([-1, 1]) * 1.959964 * pair["se"]
    np.testing.assert_allclose(pair[["low", "high"]].astype(float), plain, atol=2.0)


# agreement


@pytest.mark.parametrize("seed", range(4))
def test_every_class_follows_the_definition(seed):
    lives = sample(seed)
    group = np.random.default_rng(seed).integers(0, 3, 200)
    means = life.restricted_means(**lives, group=group, horizon=700)
    for g in range(3):
        hand = by_hand(*(v[group == g] for v in lives.values()), 700)
        assert means[g][["mean", "se"]].tolist() == pytest.approx(list(hand), rel=1e-9)


def test_lifelines_has_the_same_area():
    from lifelines import KaplanMeierFitter
    from lifelines.utils import restricted_mean_survival_time

    lives = sample(3, late=0.0)
    other = KaplanMeierFitter().fit(lives["age"], lives["failed"])
    mine = life.restricted_means(lives["age"], lives["failed"], horizon=800)["all"]
    assert mine["mean"] == pytest.approx(restricted_mean_survival_time(other, t=800), rel=1e-9)


def test_a_bootstrap_finds_the_same_error():
    """Two classes drawn again with replacement, by the definition, 500 times."""
    one, two = sample(1, 120), sample(2, 120)
    rng = np.random.default_rng(9)
    found = []
    for _ in range(500):
        i, j = rng.integers(0, 120, (2, 120))
        first, second = (
            by_hand(*(v[k] for v in lives.values()), 800)[0] for lives, k in ((one, i), (two, j))
        )
        found.append(first - second)
    both = {k: np.concatenate((one[k], two[k])) for k in one}
    means = life.restricted_means(**both, group=np.repeat(["a", "b"], 120), horizon=800)
    pair = means.differences().iloc[0]
    assert np.std(found) == pytest.approx(pair["se"], rel=0.12)
    limits = np.quantile(found, [0.05, 0.95])
    np.testing.assert_allclose(pair[["low", "high"]].astype(float), limits, atol=0.25 * pair["se"])


# the common age


def test_the_horizon_is_the_last_age_at_which_every_class_still_has_enough():
    age = np.concatenate((np.arange(10.0, 110, 10), np.arange(5.0, 55, 5)))
    group = np.repeat(["long", "short"], 10)
    means = life.restricted_means(age, [1, 0] * 10, group=group)
    # five of ten run on at 60 among the long, at 30 among the short
    assert means.horizon == 30
    assert means.set_by == "short"
    assert means.table["at_risk"].tolist() == [8, 5]
    assert means.table["status"].tolist() == ["few failures", "few failures"]
    assert life.restricted_means(age, [1, 0] * 10, group=group, least_at_risk=8).horizon == 15


def test_classes_that_cannot_set_the_horizon():
    """One without failures, one of three lives: neither shortens what the others can say."""
    age = np.concatenate((np.full(9, 20.0), np.full(3, 10.0), np.arange(10.0, 110, 10)))
    failed = np.concatenate((np.zeros(9), [1, 0, 0], np.ones(10)))
    group = np.repeat(["calm", "tiny", "usual"], [9, 3, 10])
    means = life.restricted_means(age, failed, group=group)
    assert (means.horizon, means.set_by) == (60, "usual")
    assert means.table["status"].tolist() == ["beyond ages seen", "beyond ages seen", "ok"]
    assert means.table.loc[:1, FIGURES].isna().all(axis=None)
    calm = life.restricted_means(age[:9], failed[:9])
    assert calm.horizon == 20
    assert calm["all"]["status"] == "no failures"


def test_too_few_lives_anywhere():
    means = life.restricted_means([5, 8], [1, 0], group=["a", "b"])
    assert np.isnan(means.horizon)
    assert means.set_by is None
    assert means.table["status"].tolist() == ["too few lives", "too few lives"]
    assert "No class has 5 lives at risk" in means["a"]["message"]
    assert means.differences().iloc[0]["status"] == "too few lives"


# ages not seen


def test_no_value_beyond_ages_seen():
    row = life.restricted_means([5.0] * 9, [1, 0, 0] * 3, horizon=6)["all"]
    assert row["status"] == "beyond ages seen"
    assert row[FIGURES].isna().all()
    assert "choose a younger horizon" in row["message"]
    # all have failed: nothing is left to be seen
    done = life.restricted_means([1, 2, 3, 4], [1] * 4, horizon=10, least_at_risk=1)["all"]
    assert done["mean"] == 2.5
    assert done["se"] == pytest.approx(np.sqrt(1.25 / 4))


@pytest.mark.parametrize("came", [(0.0, 60.0), (10.0, 10.0)])
def test_an_age_nobody_was_watched_at_gives_no_mean(came):
    """Nobody was watched from 50 to 60, or before 10: the curve is flat for want of lives."""
    age = np.repeat([50.0, 100.0], 8)
    row = life.restricted_means(age, [1, 0] * 8, entry_age=np.repeat(came, 8), horizon=90)["all"]
    assert row["status"] == "beyond ages seen"
    assert np.isnan(row["mean"])


def test_a_curve_that_fell_for_want_of_lives_gives_no_mean():
    """Two new ones fail together at 10, when nine others enter: the curve is 0 from there on."""
    age, entry = [10.0] * 2 + [50.0] * 9, [0.0] * 2 + [10.0] * 9
    failed = [1, 1] + [0, 1, 0] * 3
    row = life.restricted_means(age, failed, entry_age=entry, horizon=40)["all"]
    assert row["status"] == "risk set emptied"
    assert np.isnan(row["mean"])
    # up to that age itself nothing is wrong
    before = life.restricted_means(age, failed, entry_age=entry, horizon=10)["all"]
    assert before[["mean", "status"]].tolist() == [10, "no failures"]


def test_without_failures_only_a_lower_limit():
    """w(t) = 1 - t/40 and n(t) = 10 to 20, 4 from there: the worst age for a failure is 0."""
    age = np.repeat([20.0, 40.0], [6, 4])
    row = life.restricted_means(age, [0] * 10, horizon=40, least_at_risk=4)["all"]
    assert row["status"] == "no failures"
    assert row["mean"] == row["high"] == 40
    assert np.isnan(row["se"])
    assert row["low"] == pytest.approx(40 * 0.05 ** max(1 / 10, 0.5 / 4))
    pair = life.restricted_means(
        np.tile(age, 2), [0] * 10 + [1, 0] * 5, group=np.repeat(["x", "y"], 10), horizon=40
    ).differences()
    assert np.isnan(pair["se"][0])
    assert pair["low"][0] < pair["difference"][0] < pair["high"][0] <= 40


# differences


def test_differences_against_one_class():
    lives = sample(6)
    group = np.random.default_rng(6).choice(list("abcd"), 200)
    means = life.restricted_means(**lives, group=group, horizon=600)
    pairs, to_b = means.differences(), means.differences("b")
    assert len(pairs) == 6
    assert to_b["group"].tolist() == ["a", "c", "d"]
    assert (to_b["against"] == "b").all()
    ab = pairs[(pairs["group"] == "a") & (pairs["against"] == "b")].iloc[0]
    assert to_b.iloc[0][["difference", "low", "high"]].tolist() == pytest.approx(
        ab[["difference", "low", "high"]].tolist()
    )
    bc = pairs[(pairs["group"] == "b") & (pairs["against"] == "c")].iloc[0]
    cb = to_b.iloc[1]
    assert [cb["difference"], cb["low"], cb["high"]] == pytest.approx(
        [-bc["difference"], -bc["high"], -bc["low"]]
    )
    with pytest.raises(InputError, match="there is no group 'z'"):
        means.differences("z")
    assert life.restricted_means([1.0] * 5, [1] * 5, horizon=1).differences().empty


# known truth


def test_a_part_of_the_study_repeated():
    """Other fleets: 90 % within what drawing allows (1 in 1,000), as the whole study found."""
    table = pd.read_csv(ahead_study.TABLE)
    told = table[table["quantity"].isin(["restricted mean", "difference"])]
    assert len(told) == 2 * len(ahead_study.FAILURES) * len(ahead_study.SHAPES)
    assert told["cover"].between(0.88, 0.92).all()
    for shape in (0.8, 3.0):
        for _, row in ahead_study.restricted_cell(50, shape, 400, seed=5).iterrows():
            low, high = binom.ppf([0.0005, 0.9995], row["fleets"], 0.90)
            assert low <= round(row["cover"] * row["fleets"]) <= high, row


# properties, bad input, a table of lives


@given(
    lives=st.lists(
        st.tuples(st.integers(1, 12), st.booleans(), st.integers(0, 11)), min_size=1, max_size=25
    ),
    horizon=st.one_of(st.none(), st.integers(1, 14)),
)
def test_means_and_limits_stay_inside_the_horizon(lives, horizon):
    age = np.array([x[0] for x in lives], float)
    failed = np.array([x[1] for x in lives])
    entry = np.minimum(np.array([x[2] for x in lives], float), age - 0.5)
    means = life.restricted_means(age, failed, entry_age=entry, horizon=horizon, least_at_risk=2)
    row = means["all"]
    if np.isnan(row["mean"]):
        assert row["status"] in {"beyond ages seen", "risk set emptied", "too few lives"}
        return
    assert row["mean"] == pytest.approx(by_hand(age, failed, entry, means.horizon)[0])
    known = row[FIGURES].dropna()
    assert ((known >= 0) & (known <= means.horizon * (1 + 1e-12))).all()
    assert row["low"] <= row["mean"] + 1e-9
    assert row["mean"] <= row["high"] + 1e-9


@pytest.mark.parametrize("bad", [{"horizon": 0}, {"horizon": np.nan}, {"least_at_risk": 0}])
def test_bad_requests_are_refused(bad):
    with pytest.raises(InputError):
        life.restricted_means([1.0, 2.0], [1, 1], **bad)


def test_a_table_of_lives_is_asked_as_its_arrays_are(demo_study):
    lives = demo_study.lives.table
    means = restricted_means_of_lives(lives, horizon=8_760)
    assert len(means) == lives["service_class"].nunique()
    kept = lives[(lives["service_class"] == "WATER") & lives["age_known"]]
    kept = kept[kept["exit_age_h"] > kept["entry_age_h"]]
    middle = kept[["exit_low_h", "entry_age_h"]].max(axis=1).where(kept["exit_low_h"].notna())
    interval = (kept["end"] == "failed") & (kept["exit_low_h"] < kept["exit_age_h"])
    age = kept["exit_age_h"].mask(interval, (middle + kept["exit_age_h"]) / 2)
    plain = life.restricted_means(
        age, kept["end"] == "failed", entry_age=kept["entry_age_h"], horizon=8_760
    )["all"]
    assert means["WATER"][FIGURES].tolist() == pytest.approx(plain[FIGURES].tolist())
    assert "run hours" in means.method
    days = restricted_means_of_lives(lives, clock="calendar_d")
    assert "calendar days" in days.method
    assert days.set_by == "SLURRY"

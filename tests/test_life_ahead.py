"""`seallife.life.ahead`, `running`, `foretold`, `stretches`: shares running on and counts."""

from __future__ import annotations

import re
from functools import cache
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
from seallife.life.foretold import spread_counts

PUBLISHED = Path(__file__).parent / "published"
LIMITS = ["share_running_low", "share_running_high"]


def sample(seed, n=120, late=0.3, ties=False):
    rng = np.random.default_rng(seed)
    age = rng.weibull(1.5, n) * 1000 + 1
    age = np.ceil(age / 50) * 50 if ties else age
    entry = np.where(rng.random(n) < late, age * rng.uniform(0, 0.9, n), 0.0)
    return {"age": age, "failed": rng.random(n) < 0.6, "entry_age": entry}


def by_hand(lives, now, ahead, least=5):
    """Share, its variance and who is beyond, as the definitions say it, seal by seal."""
    age, failed, entry = lives["age"], lives["failed"], lives["entry_age"]
    marks = np.unique(np.concatenate((age, entry, now, now + ahead)))
    share, beyond = np.ones(len(now)), np.zeros(len(now), bool)
    steps = [
        (t, ((entry < t) & (age >= t)).sum(), (failed & (age == t)).sum()) for t in marks if t > 0
    ]
    for i, (a, b) in enumerate(zip(now, now + ahead, strict=True)):
        for t, n, d in steps:
            if a < t <= b:
                beyond[i] |= n < least or d == n
                share[i] *= 1 - d / n if n else np.nan
    kept = ~beyond
    variance = 0.0
    for t, n, d in steps:
        passing = kept & (now < t) & (t <= now + ahead)
        if passing.any():
            variance += (share[passing].sum() / kept.sum()) ** 2 * d / (n * (n - d))
    return share[kept].mean() if kept.any() else np.nan, np.sqrt(variance), beyond


# published


def test_klein_moeschberger_given_survival_to_68_years():
    """KM-06: Klein & Moeschberger (1997), sec. 4.6; values R 4.2.2, survival 3.5-3, start 816."""
    d = pd.read_csv(PUBLISHED / "channing.csv")
    women = d[d["gender"] == 2]
    age, entry = women["age"].to_numpy(float), women["ageentry"].to_numpy(float)
    kept = age > entry  # a few left on the day they came
    ahead = np.array([24.0, 84, 144, 204, 264, 284])
    r = life.share_running(
        age[kept],
        women["death"].to_numpy()[kept],
        entry_age=entry[kept],
        now=np.full(6, 816.0),
        ahead=ahead,
    )
    expected = [0.9346889055, 0.8649333389, 0.7408079900, 0.5004203524, 0.2939947670, 0.2122165125]
    np.testing.assert_allclose(r.seals["share_of_like"], expected, atol=1e-9)
    last = life.share_running(
        age[kept], women["death"].to_numpy()[kept], entry_age=entry[kept], now=[816], ahead=[284]
    )["all"]
    assert last["share_running"] == pytest.approx(0.2122165125, abs=1e-9)
    assert last["share_running_se"] == pytest.approx(0.03760846193, abs=1e-9)


# agreement


@pytest.mark.parametrize("ties", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_every_class_follows_the_definition(seed, ties):
    lives = sample(seed, 240, ties=ties)
    rng = np.random.default_rng(seed)
    group = rng.integers(0, 4, 240)
    of = rng.integers(0, 4, 60)
    now, ahead = rng.uniform(0, 900, 60), rng.uniform(0, 500, 60)
    r = life.share_running(**lives, group=group, now=now, ahead=ahead, now_group=of)
    for g in range(4):
        mine = {k: v[group == g] for k, v in lives.items()}
        share, se, beyond = by_hand(mine, now[of == g], ahead[of == g])
        row = r[g]
        assert row["beyond"] == beyond.sum()
        assert row["asked"] == (~beyond).sum()
        assert row["share_running"] == pytest.approx(share, rel=1e-12)
        assert row["share_running_se"] == pytest.approx(se, rel=1e-9)
        assert row["expected_failures"] == pytest.approx(row["asked"] * (1 - share), rel=1e-9)
        np.testing.assert_array_equal(r.seals.loc[of == g, "beyond"], beyond)


def test_new_seals_have_the_survival_curve_with_its_limits():
    lives = sample(2)
    curve = life.kaplan_meier(**lives).at([600.0]).iloc[0]
    row = life.share_running(**lives, now=[0.0] * 7, ahead=[600.0] * 7)["all"]
    assert row["share_running"] == pytest.approx(curve["survival"], rel=1e-12)
    np.testing.assert_allclose(
        row[["share_running_se", *LIMITS]].astype(float), curve[["se", "low", "high"]].astype(float)
    )


def test_a_bootstrap_finds_the_same_error():
    """Lives drawn again with replacement, the curve by its definition, 600 times."""
    lives = sample(5, 200)
    rng = np.random.default_rng(8)
    now, ahead = rng.uniform(50, 600, 25), np.full(25, 250.0)
    row = life.share_running(**lives, now=now, ahead=ahead)["all"]
    assert row["beyond"] == 0
    found = []
    for _ in range(600):
        i = rng.integers(0, 200, 200)
        age, failed, entry = (lives[k][i] for k in ("age", "failed", "entry_age"))
        times = np.unique(age[failed])
        n = ((entry[:, None] < times) & (age[:, None] >= times)).sum(axis=0)
        d = (failed[:, None] & (age[:, None] == times)).sum(axis=0)
        within = (times > now[:, None]) & (times <= (now + ahead)[:, None])
        found.append(np.where(within, 1 - d / n, 1.0).prod(axis=1).mean())
    # the spread of 600 draws is itself known to about 3 %
    assert np.std(found) == pytest.approx(row["share_running_se"], rel=0.12)
    assert np.mean(found) == pytest.approx(row["share_running"], abs=0.01)


# no failures, ages not seen


def test_none_failed_gives_the_exact_bound_of_none_among_n():
    row = life.share_running([500.0] * 30, [0] * 30, now=[0, 0], ahead=[400, 400])["all"]
    assert row["status"] == "no failures"
    assert row["share_running"] == 1
    assert np.isnan(row["share_running_se"])
    assert row["share_running_low"] == pytest.approx(0.05 ** (1 / 30), rel=1e-12)
    assert row["share_running_high"] == 1
    assert row["expected_failures_high"] == pytest.approx(2 * (1 - 0.05 ** (1 / 30)))
    # stretches that do not meet share the risk: half of the seals pass each age
    half = life.share_running([500.0] * 30, [0] * 30, now=[0, 200], ahead=[200, 200])["all"]
    assert half["share_running_low"] == pytest.approx(0.05 ** (0.5 / 30), rel=1e-12)


@pytest.mark.parametrize("hazard", [0.10, 0.14, 0.20])
def test_the_bound_without_failures_is_wrong_in_one_of_twenty_at_most(hazard):
    """The law that spoils it most: all failures at one age, here 450, with twenty lives at risk."""
    n, fleets = 20, 3_000
    failed = np.random.default_rng(3).random(n * fleets) < hazard
    group = np.repeat(np.arange(fleets), n)
    table = life.share_running(
        np.where(failed, 450.0, 500.0),
        failed,
        group=group,
        now=np.full(fleets, 400.0),
        ahead=np.full(fleets, 80.0),
        now_group=np.arange(fleets),
    ).table
    none = table["status"] == "no failures"
    assert none.sum() == (failed.reshape(fleets, n).sum(axis=1) == 0).sum() > 0
    wrong = (none & (table["share_running_low"] > 1 - hazard)).sum()
    assert wrong <= binom.ppf(0.999, fleets, 0.05)
    assert (wrong > 0) == (hazard > 0.139)  # it bites where it should


def test_seals_beyond_the_ages_seen_are_counted_and_left_out():
    age, failed = np.arange(100.0, 2100, 100), [0, 1] * 10
    r = life.share_running(age, failed, now=[0, 100, 1500, 1700], ahead=[300] * 4)
    row = r["all"]
    assert r.seals["beyond"].tolist() == [False, False, True, True]
    assert row[["seals", "beyond", "asked"]].tolist() == [4, 2, 2]
    assert row["status"] == "beyond ages seen"
    assert "2 of 4 seals would pass ages at which fewer than 5 lives were at risk" in row["message"]
    assert "all figures are of the other 2" in row["message"]
    alone = life.share_running(age, failed, now=[0, 100], ahead=[300, 300])["all"]
    names = ["share_running", *LIMITS, "predicted_failures_low", "predicted_failures_high"]
    assert row[names].tolist() == alone[names].tolist()
    # four lives at risk at 1,700: enough for who asks for four
    four = life.share_running(age, failed, now=[1500], ahead=[200], least_at_risk=4)
    assert four["all"]["beyond"] == 0


def test_one_beyond_in_ten_is_told_but_does_not_take_the_status():
    age, failed = np.arange(100.0, 6100, 100), [0, 1] * 30
    r = life.share_running(age, failed, now=[100.0] * 9 + [6000.0], ahead=[2000.0] * 10)
    assert r["all"]["status"] == "ok"
    assert "1 of 10 seals" in r["all"]["message"]
    two = life.share_running(age, failed, now=[100.0] * 8 + [6000.0] * 2, ahead=[2000.0] * 10)
    assert two["all"]["status"] == "beyond ages seen"


def test_all_beyond_have_no_figure():
    row = life.share_running([100] * 20, [1, 0] * 10, now=[90, 95], ahead=[50, 50])["all"]
    assert row["status"] == "beyond ages seen"
    assert "there is no figure" in row["message"]
    assert row["asked"] == 0
    assert row[["share_running", *LIMITS, "predicted_failures_high"]].isna().all()


def test_an_age_at_which_all_failed_is_not_passed():
    """Six new ones fail together while others enter later: the curve is 0 there and void after."""
    age, entry = [50.0] * 6 + [200.0] * 8, [0.0] * 6 + [60.0] * 8
    r = life.share_running(age, [1] * 6 + [0] * 8, entry_age=entry, now=[20, 70], ahead=[100, 100])
    assert r.seals["beyond"].tolist() == [True, False]
    assert r["all"]["share_running"] == 1


def test_classes_without_lives_or_without_seals_keep_their_row():
    r = life.share_running(
        [10.0, 20, 30] * 4,
        [1, 0, 0] * 4,
        group=["a"] * 12,
        now=[5, 3],
        ahead=[4, 0],
        now_group=["new", "new"],
    )
    assert r.table["group"].tolist() == ["a", "new"]
    assert r.table["status"].tolist() == ["no seals in service", "no lives"]
    assert r["new"][["seals", "beyond", "asked", "n"]].tolist() == [2, 1, 1, 0]
    none = life.share_running([10.0], [1], now=[], ahead=[])["all"]
    assert none["status"] == "no seals in service"
    assert np.isnan(none["share_running"])


def test_nothing_ahead_is_no_risk():
    row = life.share_running([10.0] * 9, [1, 0, 0] * 3, now=[3, 99], ahead=[0, 0])["all"]
    assert row["status"] == "nothing ahead"
    assert row[["share_running", *LIMITS]].tolist() == [1, 1, 1]
    assert row[["predicted_failures_low", "predicted_failures_high"]].tolist() == [0, 0]


# counts


def exact_count(chance):
    pmf = np.ones(1)
    for p in chance:
        pmf = np.convolve(pmf, [1 - p, p])
    return pmf


@pytest.mark.parametrize("seed", range(5))
def test_without_error_the_count_is_the_sum_of_unequal_chances(seed):
    rng = np.random.default_rng(seed)
    sizes = np.array([3, 25, 80])
    group = np.repeat(np.arange(3), sizes)
    chance = rng.uniform(0.01, 0.6, len(group))
    counts = spread_counts(np.log1p(-chance), group, 3, np.zeros(3), np.full(3, np.nan))
    low, high = counts.limits(0.90)
    for g in range(3):
        reached = exact_count(chance[group == g]).cumsum()
        for found, share in ((low[g], 0.05), (high[g], 0.95)):
            # two moments are matched, not the whole law: a hair off at a step
            assert reached[int(found)] >= share - 2e-3
            assert found == 0 or reached[int(found) - 1] < share + 2e-3
    both = exact_count(chance).cumsum()
    first, last = counts.sum_limits(np.arange(3), 0.90)
    assert both[int(first)] >= 0.05 - 2e-3
    assert both[int(first) - 1] < 0.05 + 2e-3
    assert both[int(last)] >= 0.95 - 2e-3
    assert both[int(last) - 1] < 0.95 + 2e-3


def test_without_failures_the_count_is_that_of_none_before():
    """Hazards of like lives of which none of n failed: the chance of more than k in m to come."""
    n, m = 30, 10
    counts = spread_counts(np.zeros(m), np.zeros(m, int), 1, np.zeros(1), np.array([1 / n]))
    low, high = counts.limits(0.90)
    rng = np.random.default_rng(1)
    drawn = rng.binomial(m, -np.expm1(-rng.standard_exponential(200_000) / n))
    assert low[0] == 0
    assert (drawn > high[0]).mean() <= 0.05
    assert (drawn > high[0] - 1).mean() > 0.05


def test_classes_together_are_the_sum_of_classes_alone():
    lives = sample(7, 300)
    rng = np.random.default_rng(7)
    group, of = rng.choice(list("abc"), 300), rng.choice(list("abc"), 50)
    r = life.share_running(
        **lives, group=group, now=rng.uniform(0, 500, 50), ahead=[300] * 50, now_group=of
    )
    whole, table = r.together(), r.table
    assert whole[["seals", "asked"]].tolist() == table[["seals", "asked"]].sum().tolist()
    assert whole["expected_failures"] == pytest.approx(table["expected_failures"].sum())
    assert whole["share_running"] == pytest.approx(1 - whole["expected_failures"] / whole["asked"])
    for side, sign in (("low", 1), ("high", -1)):
        limit, all_at_once = whole[f"expected_failures_{side}"], table[f"expected_failures_{side}"]
        assert sign * all_at_once.sum() < sign * limit < sign * whole["expected_failures"]
        limit, all_at_once = (
            whole[f"predicted_failures_{side}"],
            table[f"predicted_failures_{side}"],
        )
        assert sign * all_at_once.sum() < sign * limit < sign * whole["expected_failures"]
    one = r.together(["b"])
    names = ["share_running", *LIMITS, "predicted_failures_low", "predicted_failures_high"]
    np.testing.assert_allclose(one[names].astype(float), r["b"][names].astype(float))
    with pytest.raises(InputError, match="there is no group 'd'"):
        r.together(["d"])


# known truth


@cache
def study():
    return pd.read_csv(ahead_study.TABLE)


def test_the_study_is_whole_and_holds():
    table = study()
    ahead = table[table["stretch"].notna()]
    cells = len(ahead_study.FAILURES) * len(ahead_study.SHAPES) * len(ahead_study.STRETCHES)
    assert (ahead.groupby("quantity").size() == cells).all()
    total = table[["cover", "too_high", "too_low"]].sum(axis=1)
    assert total.to_numpy() == pytest.approx(1.0, abs=2e-4)
    share = ahead[ahead["quantity"] == "share running"]
    by = share.groupby("failures")["cover"].mean()
    assert by[10] > 0.87
    assert by[[20, 50, 100]].between(0.88, 0.92).all()
    count = ahead[ahead["quantity"] == "failures ahead"]
    assert count["cover"].min() > 0.90
    assert count[["too_high", "too_low"]].to_numpy().max() < 0.05


def test_the_docstring_says_what_the_study_found():
    said = " ".join((life.share_running.__doc__ or "").split())
    by = study().groupby(["quantity", "failures"])["cover"].agg(["min", "max"])
    for quantity in ("share running", "failures ahead"):
        rows = (100 * by.loc[quantity]).round().astype(int)
        for low, high in zip(rows["min"], rows["max"], strict=True):
            assert re.search(rf"\b{low} to {high} %", said), (quantity, low, high)


@pytest.mark.parametrize(
    ("failures", "shape", "stretch"),
    [(20, 0.8, 0.4), (20, 3.0, 0.1), (50, 1.4, 0.4), (100, 1.4, 0.1)],
)
def test_a_part_of_the_study_repeated(failures, shape, stretch):
    """Other fleets: as often as the study says, within what drawing allows (1 in 1,000)."""
    fleets = 500
    got = ahead_study.ahead_cell(failures, shape, stretch, fleets, seed=77)
    told = study()
    told = told[
        (told["failures"] == failures) & (told["shape"] == shape) & (told["stretch"] == stretch)
    ]
    for quantity in ("share running", "failures ahead"):
        mine = got[got["quantity"] == quantity].iloc[0]
        cover = told.loc[told["quantity"] == quantity, "cover"].iloc[0]
        right = round(mine["cover"] * mine["fleets"])
        low, high = binom.ppf([0.0005, 0.9995], mine["fleets"], cover)
        assert low <= right <= high, (quantity, right, low, high)
        # and no worse than 90 % asks for, by the same measure
        assert right >= binom.ppf(0.0005, mine["fleets"], 0.90)
    assert abs(got["bias"].iloc[0]) < 0.02


# properties


@given(
    lives=st.lists(
        st.tuples(st.integers(1, 12), st.booleans(), st.integers(0, 11)), min_size=1, max_size=30
    ),
    seals=st.lists(st.tuples(st.integers(0, 13), st.integers(0, 8)), max_size=12),
    least=st.integers(1, 6),
)
def test_figures_stay_inside_their_range(lives, seals, least):
    age = np.array([x[0] for x in lives], float)
    failed = np.array([x[1] for x in lives])
    entry = np.minimum(np.array([x[2] for x in lives], float), age - 0.5)
    now, ahead = (np.array([x[i] for x in seals], float) for i in range(2))
    r = life.share_running(age, failed, entry_age=entry, now=now, ahead=ahead, least_at_risk=least)
    row = r["all"]
    assert row["seals"] == len(seals) == row["beyond"] + row["asked"]
    hand = by_hand({"age": age, "failed": failed, "entry_age": entry}, now, ahead, least)
    np.testing.assert_array_equal(r.seals["beyond"], hand[2])
    if not row["asked"]:
        assert np.isnan(row["share_running"])
        return
    assert row["share_running"] == pytest.approx(hand[0])
    assert 0 <= row["share_running_low"] <= row["share_running"] + 1e-12
    assert row["share_running"] <= row["share_running_high"] + 1e-12 <= 1 + 2e-12
    assert 0 <= row["predicted_failures_low"] <= row["predicted_failures_high"] <= row["asked"]
    assert r.together()["predicted_failures_high"] == row["predicted_failures_high"]


def test_order_unit_and_weights():
    lives = sample(4, ties=True)
    rng = np.random.default_rng(4)
    group, times = rng.integers(0, 3, 120), rng.integers(1, 4, 120)
    now, ahead, of = rng.uniform(0, 800, 40), rng.uniform(0, 400, 40), rng.integers(0, 3, 40)
    one = life.share_running(**lives, group=group, weight=times, now=now, ahead=ahead, now_group=of)
    order, seals = rng.permutation(np.repeat(np.arange(120), times)), rng.permutation(40)
    two = life.share_running(
        24 * lives["age"][order],
        lives["failed"][order],
        group=group[order],
        entry_age=24 * lives["entry_age"][order],
        now=24 * now[seals],
        ahead=24 * ahead[seals],
        now_group=of[seals],
    )
    pd.testing.assert_frame_equal(one.table, two.table, rtol=1e-9, check_dtype=False)


def test_the_callers_data_are_not_changed():
    lives = sample(1)
    before = {k: v.copy() for k, v in lives.items()}
    now, ahead = np.array([1.0, 2.0]), np.array([3.0, 4.0])
    life.share_running(**lives, now=now, ahead=ahead)
    assert all(np.array_equal(v, before[k]) for k, v in lives.items())
    assert now.tolist() == [1, 2]
    assert ahead.tolist() == [3, 4]


def test_the_result_can_be_read_stored_and_shown():
    r = life.share_running(**sample(1), now=[1.0, 2.0], ahead=[300.0, 400.0])
    assert "level 0.9" in r.summary()
    kept = r.to_dict()
    assert kept["table"][0]["seals"] == 2
    assert len(kept["seals"]) == 2
    assert "<table" in r._repr_html_()


# bad input


@pytest.mark.parametrize(
    ("bad", "sentence"),
    [
        ({"now": [-1.0]}, r"now\[0\]: -1.0 is not a number of 0 or more; leave out seals"),
        ({"ahead": [np.nan]}, r"ahead\[0\]: nan is not"),
        ({"ahead": [1.0, 2.0]}, "ahead: has 2 values where now has 1"),
        ({"now": ["old"]}, "now: holds something that is not a number"),
        ({"now": [[1.0]]}, "now: has shape"),
        ({"level": 2}, "level: is 2"),
        ({"least_at_risk": 0}, "least_at_risk: is 0"),
        ({"group": ["a", "b"]}, "group: is given alone"),
        ({"now_group": ["a"]}, "now_group: is given alone"),
        ({"group": ["a", None], "now_group": ["a"]}, r"group\[1\]: a label is missing"),
        ({"group": ["a", "b"], "now_group": [None]}, r"now_group\[0\]: a label is missing"),
        ({"group": ["a"], "now_group": ["a"]}, "group: has shape"),
        ({"age": [1.0, -2.0]}, "age"),
    ],
)
def test_bad_input_is_refused_in_one_sentence(bad, sentence):
    good = {"age": [1.0, 2.0], "failed": [1, 0], "now": [0.5], "ahead": [0.2]}
    with pytest.raises(InputError, match=sentence):
        life.share_running(**(good | bad))

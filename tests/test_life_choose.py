"""Laws compared: each likelihood against a second program, verdicts against known truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seallife import life
from seallife.errors import InputError
from seallife.life.goodness import draw_lives, fit_tests, misfit
from seallife.life.lawages import log_age_at
from seallife.life.lawfits import deal_folds, fit_one_law
from seallife.life.laws import LAWS, log_likelihood, log_lower, log_upper
from seallife.life.lawslopes import SLOPES
from seallife.life.lawtable import compare_laws
from seallife.life.lifedata import read_lives


def sample(seed, n, *, draw="weibull", late=0.0, end=1.5):
    """Lives with entry ages: age, failed, entry."""
    rng = np.random.default_rng(seed)
    kinds = {
        "weibull": lambda k: 1000 * rng.exponential(size=k) ** (1 / 1.8),
        "lognormal": lambda k: 900 * np.exp(0.8 * rng.normal(size=k)),
        "gamma": lambda k: 400 * rng.gamma(2.5, size=k),
    }
    t, first = kinds[draw](3 * n), np.where(rng.random(3 * n) < late, rng.uniform(0, 900, 3 * n), 0)
    keep = np.flatnonzero(t > first)[:n]
    age, entry = t[keep], first[keep]
    stop = entry + 1000 * end * rng.uniform(0.3, 1, n)
    return np.minimum(age, stop), age <= stop, entry


def fit(name, age, failed, entry):
    data = read_lives(age, failed, entry_age=entry)
    return fit_one_law(LAWS[name], data), data


# --- agreement ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("seed", "draw"), [(1, "weibull"), (2, "lognormal"), (3, "gamma")])
@pytest.mark.parametrize("late", [0.0, 0.4])
def test_lifelines_agrees_on_the_generalised_gamma(seed, draw, late):
    from lifelines import GeneralizedGammaFitter

    age, failed, entry = sample(seed, 300, draw=draw, late=late)
    ours, _ = fit("generalised gamma", age, failed, entry)
    other = GeneralizedGammaFitter().fit(age / 1000, failed, entry=entry / 1000)
    theirs = other.log_likelihood_ - failed.sum() * np.log(1000)
    assert ours.loglik[0] == pytest.approx(theirs, abs=2e-3)
    got = [np.exp(ours.where[0, 0]), ours.where[0, 1] - np.log(1000), ours.where[0, 2]]
    np.testing.assert_allclose(
        got, [np.exp(other.ln_sigma_), other.mu_, other.lambda_], rtol=0.02, atol=0.02
    )


@pytest.mark.parametrize("name", list(LAWS))
def test_density_is_minus_the_slope_of_survival(name):
    law = LAWS[name]
    t = np.array([0.05, 0.2, 0.7, 1.5, 3.0])
    for values in SOME[name]:
        columns = [np.full(5, v) for v in values]
        density = law.log_density(columns, np.log(t))
        h = 1e-5 * t
        ends = [np.exp(law.log_survival(columns, np.log(t + side * h))) for side in (1, -1)]
        # between the sides of q = 0 density and survival are straight lines each
        close = 2e-4 if values[-1] == 0.001 else 2e-5
        np.testing.assert_allclose(np.exp(density), (ends[1] - ends[0]) / (2 * h), rtol=close)


SOME = {
    "exponential": [[0.1]],
    "Weibull": [[0.4, 0.2]],
    "lognormal": [[-0.3, 0.1]],
    "gamma": [[0.8, -0.7], [-1.0, 0.3]],
    "generalised gamma": [[-0.4, 0.2, 0.6], [0.1, 0.2, -0.7], [-0.2, 0.1, 0.001], [-1.5, 0.9, 4.0]],
    "Weibull with early part": [[-2.0, -3.0, 0.5, 0.1], [0.3, -1.0, -0.4, 0.2]],
}


@pytest.mark.parametrize("name", list(SLOPES))
def test_slopes_are_those_of_the_values(name):
    law, x = LAWS[name], np.log([0.02, 0.1, 0.4, 0.9, 1.3, 2.0])
    for values in SOME[name]:
        p, h = len(values), 1e-4
        for value_of, slopes_of in zip(
            (law.log_density, law.log_survival), SLOPES[name], strict=True
        ):

            def at(change, function, base=values):
                return function([np.full(6, v) for v in base + change], x)

            value, slope, bend = at(np.zeros(p), slopes_of)
            np.testing.assert_allclose(value, at(np.zeros(p), value_of), rtol=1e-9, atol=1e-9)
            for i, step in enumerate(h * np.eye(p)):
                ends = [at(side * step, value_of) for side in (1, -1)]
                size = 1e-5 * (1 + np.abs(value))
                assert (np.abs(slope[i] - (ends[0] - ends[1]) / (2 * h)) < size).all()
                turned = [at(side * step, slopes_of)[1] for side in (1, -1)]
                for j in range(i + 1):
                    change = (turned[0][j] - turned[1][j]) / (2 * h)
                    assert (np.abs(bend[i][j] - change) < 20 * size).all(), (values, i, j)


@pytest.mark.parametrize("name", list(LAWS))
def test_the_age_of_a_share_has_that_share_left(name):
    goal = np.log([1 - 1e-9, 0.999, 0.7, 0.5, 0.4, 0.05, 1e-9, 1e-60])
    for values in SOME[name]:
        columns = [np.full(len(goal), v) for v in values]
        x = log_age_at(LAWS[name], columns, goal)
        assert (np.diff(x) > 0).all()
        # between the sides of q = 0 ages and shares are straight lines each
        close = 3e-3 if values[-1] == 0.001 else 1e-6
        np.testing.assert_allclose(LAWS[name].log_survival(columns, x), goal, rtol=close)


def test_tails_of_gamma_laws_go_on_where_their_shares_underflow():
    from scipy.integrate import quad
    from scipy.special import gammaln

    for k, x in ((0.3, 700.0), (5.0, 900.0), (80.0, 1200.0), (4e4, 6e4)):
        rest = quad(lambda u, k=k, x=x: np.exp(-u + (k - 1) * np.log1p(u / x)), 0, 200)[0]
        far = (k - 1) * np.log(x) - x - gammaln(k) + np.log(rest)
        assert far < -650
        assert log_upper(np.array([k]), np.array([x]))[0] == pytest.approx(far, abs=0.02)
    for k, x in ((100.0, 0.01), (900.0, 200.0)):
        rest = quad(lambda s, k=k, x=x: s ** (k - 1) * np.exp(x * (1 - s)), 0.9, 1)[0]
        far = k * np.log(x) - x - gammaln(k) + np.log(rest)
        assert far < -650
        assert log_lower(np.array([k]), np.array([x]))[0] == pytest.approx(far, abs=0.02)


def test_gamma_is_scipys_and_lies_within_the_generalised():
    from scipy import stats

    t = np.array([0.2, 0.9, 2.0, 6.0])
    f, s = both("gamma", [np.log(2.5), np.log(0.4)], t)
    np.testing.assert_allclose(f, stats.gamma.logpdf(t, 2.5, scale=0.4), rtol=1e-10)
    np.testing.assert_allclose(s, stats.gamma.logsf(t, 2.5, scale=0.4), rtol=1e-9)
    # the generalised gamma holds Weibull (q = 1), lognormal (0) and gamma (q = sigma)
    for q, name, p in (
        (1.0, "Weibull", [0.3, 0.2]),
        (0.0, "lognormal", [-0.3, 0.2]),
    ):
        whole = both("generalised gamma", [-0.3, 0.2, q], t)
        np.testing.assert_allclose(whole, both(name, p, t), atol=3e-5)
    sigma = 2.5**-0.5
    mu = np.log(2.5 * 0.4)
    whole = both("generalised gamma", [np.log(sigma), mu, sigma], t)
    np.testing.assert_allclose(whole, (f, s), rtol=1e-8)


def both(name, values, t):
    """Log density and log survival at ages."""
    columns = [np.full(len(t), v) for v in values]
    return [f(columns, np.log(t)) for f in (LAWS[name].log_density, LAWS[name].log_survival)]


@pytest.mark.parametrize("name", ["gamma", "generalised gamma", "Weibull with early part"])
def test_no_search_by_another_way_finds_a_higher_top(name):
    from scipy.optimize import minimize

    age, failed, entry = sample(4, 250, late=0.3)
    ours, data = fit(name, age, failed, entry)
    with np.errstate(all="ignore"):
        best = minimize(
            lambda x: -log_likelihood(LAWS[name], x[None], data)[0],
            ours.where[0],
            method="Nelder-Mead",
            options={"xatol": 1e-6, "fatol": 1e-9, "maxiter": 1500},
        )
    if name == "Weibull with early part":
        # its box keeps the early part early, and there: within, no neighbour is higher
        rng = np.random.default_rng(0)
        near = ours.where + np.array([1, 0, 0.01, 0.01]) * rng.normal(0, 0.1, (200, 4))
        near[:, 0] = np.maximum(near[:, 0], -9)
        values = [log_likelihood(LAWS[name], x[None], data)[0] for x in near]
        assert max(values) <= ours.loglik[0] + 1e-6
    else:
        assert -best.fun == pytest.approx(ours.loglik[0], abs=1e-6)


def test_batch_fits_are_the_single_fits():
    sets = [sample(seed, 80 + 20 * seed, late=0.3) for seed in range(4)]
    age, failed, entry = (np.concatenate([s[i] for s in sets]) for i in range(3))
    group = np.repeat(range(4), [len(s[0]) for s in sets])
    data = read_lives(age, failed, entry_age=entry, group=group)
    for law in LAWS.values():
        together = fit_one_law(law, data)
        alone = [fit(law.name, *s)[0].loglik[0] for s in sets]
        np.testing.assert_allclose(together.loglik, alone, atol=2e-5)


# --- the witnesses -----------------------------------------------------------------------------


def test_folds_are_even_and_know_neither_order_nor_names():
    age, failed, entry = sample(5, 103, late=0.3)
    data = read_lives(age, failed, entry_age=entry)
    fold = deal_folds(data, 5, 1)
    assert np.ptp(np.bincount(fold)) <= 1
    assert np.ptp(np.bincount(fold[failed])) <= 1
    mixed = np.random.default_rng(0).permutation(103)
    again = deal_folds(read_lives(age[mixed], failed[mixed], entry_age=entry[mixed]), 5, 1)
    np.testing.assert_array_equal(again, fold[mixed])
    assert (deal_folds(data, 5, 2) != fold).any()


@pytest.mark.parametrize("name", list(LAWS))
def test_lives_drawn_from_a_law_follow_it(name):
    age, failed, entry = sample(6, 150, late=0.4)
    ours, data = fit(name, age, failed, entry)
    drawn = draw_lives(LAWS[name], ours.where, data, 40, 3)
    assert len(drawn.groups) == 40
    assert drawn.entry is not None
    assert (drawn.age > drawn.entry).all()
    whole = read_lives(drawn.age, drawn.failed, entry_age=drawn.entry)
    # 6,000 lives under the very law: the greatest gap is that of a Brownian path
    assert misfit(LAWS[name], ours.where, whole)[0] < 2.5
    # as many are withdrawn as in the lives seen
    assert whole.failed.mean() == pytest.approx(failed.mean(), abs=0.06)


def test_fit_test_refuses_the_true_law_about_as_often_as_it_says():
    """120 groups of 60 lives: a share 1 / k of them may come to p = 1 / k or less.

    All groups share the random numbers of a seed, so that many seeds are needed.
    """
    sets = [sample(100 + i, 60, late=0.2) for i in range(120)]
    age, failed, entry = (np.concatenate([s[i] for s in sets]) for i in range(3))
    lives = {"group": np.repeat(np.arange(120), 60), "entry_age": entry, "laws": ["Weibull"]}
    p = np.concatenate(
        [life.choose_law(age, failed, **lives, seed=k).laws["fit_p"] for k in range(1, 21)]
    )
    for share in (1 / 20, 1 / 10, 1 / 5, 1 / 4, 1 / 3, 1 / 2):
        assert np.mean(p <= share + 1e-9) == pytest.approx(share, abs=0.04)
    assert np.mean(p <= 0.05) == pytest.approx(0.05, abs=0.015)


@pytest.mark.parametrize("refuse", [0.05, 0.2])
def test_drawing_ends_early_only_where_the_law_can_no_longer_be_refused(refuse):
    sets = [sample(200 + i, 60, late=0.2, draw=["weibull", "lognormal"][i % 2]) for i in range(20)]
    age, failed, entry = (np.concatenate([s[i] for s in sets]) for i in range(3))
    data = read_lives(age, failed, entry_age=entry, group=np.repeat(np.arange(20), 60))
    laws = [LAWS["exponential"], LAWS["gamma"]]
    fits = [fit_one_law(law, data) for law in laws]
    early, full = (fit_tests(laws, fits, data, 29, 1, share) for share in (refuse, 1.0))
    refused = full <= refuse
    assert 5 < refused.sum() < 35
    np.testing.assert_array_equal(early <= refuse, refused)
    np.testing.assert_array_equal(early[refused], full[refused])
    # a set that lies as far is one of few drawn: their share is coarse, but no less than all say
    assert (early[~refused] > refuse).all()


def sparse(seed, n=40):
    """All seen late, some after all others had ended, some left out with weight 0."""
    rng = np.random.default_rng(seed)
    entry = np.r_[rng.uniform(100, 900, n - 2), 5000.0, 9000.0]
    age = entry + rng.exponential(300, n)
    failed = rng.random(n) < 0.7
    weight = np.where(rng.random(n) < 0.2, 0.0, 1.0)
    return age, failed, entry, weight


@settings(max_examples=30)
@given(st.integers(0, 10_000), st.integers(3, 40))
def test_lives_are_drawn_beyond_their_entries_where_nobody_is_at_risk_for_a_while(seed, n):
    age, failed, entry, weight = sparse(seed, n)
    group = np.where(np.arange(n) % 2, "a", "b")
    data = read_lives(age, failed, entry_age=entry, weight=weight, group=group)
    at = np.tile([0.3, np.log(800)], (2, 1))
    drawn = draw_lives(LAWS["Weibull"], at, data, 3, seed)
    assert (drawn.age > drawn.entry).all()
    own, died = np.tile(data.age, 3), np.tile(data.failed, 3)
    # whoever was withdrawn is watched to that age; whoever failed to one at which another was
    gone = ~drawn.failed
    assert (drawn.age[gone & ~died] == own[gone & ~died]).all()
    assert (drawn.age[gone & died] > own[gone & died]).all()
    assert np.isin(drawn.age[gone], age[~failed]).all()


def test_lives_drawn_for_a_group_do_not_depend_on_the_others():
    sets = [sample(10, 30, late=0.3), sample(11, 90, late=0.3)]
    age, failed, entry = (np.concatenate([s[i] for s in sets]) for i in range(3))
    group = np.repeat([0, 1], [30, 90])
    at = np.tile([0.5, np.log(900)], (2, 1))
    one = draw_lives(LAWS["Weibull"], at[:1], read_lives(*sets[0][:2], entry_age=sets[0][2]), 4, 2)
    two = draw_lives(
        LAWS["Weibull"], at, read_lives(age, failed, entry_age=entry, group=group), 4, 2
    )
    np.testing.assert_array_equal(two.age[two.groups.codes % 2 == 0], one.age)


def test_laws_are_compared_where_lives_enter_after_all_others_ended():
    """Risk sets that stand empty at an entry once broke the drawing of lives."""
    age, failed, entry, weight = sparse(1, 60)
    found = life.choose_law(age, failed, entry_age=entry, weight=weight, laws=["Weibull", "gamma"])
    assert found.laws["fit_p"].between(0.05, 1).all()


# --- verdicts ----------------------------------------------------------------------------------


def test_few_lives_cannot_tell_laws_apart_and_many_can():
    few = sample(7, 40)
    many = sample(8, 2500, draw="lognormal", end=4)
    age, failed = (np.r_[few[i], many[i]] for i in (0, 1))
    group = np.repeat(["few", "many"], [40, 2500])
    names = ["exponential", "Weibull", "lognormal", "gamma"]
    found = life.choose_law(age, failed, group=group, laws=names, resamples=0)
    assert found["few"]["verdict"] == "cannot tell apart"
    assert {"Weibull", "gamma"} <= set(found["few"]["candidates"].split(", "))
    assert found["many"]["verdict"] == "lognormal"
    assert "fall behind" in found["many"]["reason"]
    many = found.laws[found.laws["group"] == "many"].set_index("law")
    assert many.loc["Weibull", "verdict"] == "worse"
    assert many["aicc"].idxmin() == "lognormal"
    assert many["fit_p"].isna().all()


def test_an_early_part_is_found_and_refuses_the_plain_laws():
    rng = np.random.default_rng(2)
    n = 1200
    early = np.where(rng.random(n) < 0.06, 15 * rng.exponential(size=n), np.inf)
    age = np.minimum(early, 1000 * rng.exponential(size=n) ** (1 / 3))
    found = life.choose_law(
        np.minimum(age, 1200), age < 1200, laws=["Weibull", "gamma", "Weibull with early part"]
    )
    assert found["all"]["verdict"] == "Weibull with early part"
    rows = found.laws.set_index("law")
    assert rows.loc["Weibull", "verdict"] == "does not fit"
    assert rows.loc["Weibull", "fit_p"] == pytest.approx(0.05)
    assert "early share 0.0" in rows.loc["Weibull with early part", "estimates"]


def test_a_law_that_holds_one_life_impossible_is_not_excused_by_its_noise():
    age, failed, _ = sample(9, 60)
    data = read_lives(age, failed)
    laws = [LAWS["exponential"], LAWS["Weibull"]]
    fits = [fit_one_law(law, data) for law in laws]
    rows = np.full((2, 60), -6.0)
    rows[1, 7] -= 57.0
    verdicts, table = compare_laws(data, laws, fits, rows, np.full((2, 1), 0.5), 0.90)
    assert table["gap_se"][1] > 56
    assert table["verdict"].tolist() == ["best", "worse"]
    assert table["reason"][1] == "foretells worse by 57.0: it holds some lives next to impossible"
    assert verdicts["verdict"].tolist() == ["exponential"]


def test_a_parameter_at_its_bound_is_told():
    """Ages that rise as a power and end sharply: the generalised gamma's q runs away."""
    age = 1000 * (np.arange(1, 61) / 60) ** 0.8
    found = life.choose_law(age, np.ones(60, bool), laws=["generalised gamma"], resamples=0)
    assert found.laws["estimates"][0].endswith("q 5")
    assert found.laws["reason"][0].endswith("q at the bound of what is tried")


def test_thin_groups_say_why():
    found = life.choose_law(
        [100.0, 200, 300, 300, 50, 60, 70],
        [1, 1, 1, 0, 0, 0, 0],
        group=["few"] * 4 + ["none"] * 3,
    )
    assert found["none"]["verdict"] == "cannot tell yet"
    assert found["none"]["status"] == "no failures"
    assert found["few"]["status"] == "few failures"
    rows = found.laws.set_index(["group", "law"])
    assert rows.loc[("few", "gamma"), "verdict"] == "not scored"
    assert rows.loc[("few", "generalised gamma"), "reason"] == "fewer than 10 failures"
    assert rows.loc[("none", "exponential"), "reason"] == "no failure"
    assert found["few"]["candidates"] == "exponential"


@settings(max_examples=6)
@given(st.integers(0, 1000))
def test_order_names_and_units_change_nothing(seed):
    age, failed, entry = sample(seed, 60, late=0.3)
    group = np.array(["x", "y"])[np.random.default_rng(seed).integers(0, 2, 60)]
    names = ["exponential", "Weibull", "gamma"]
    mixed = np.random.default_rng(seed + 1).permutation(60)
    one = life.choose_law(age, failed, group=group, entry_age=entry, laws=names)
    two = life.choose_law(
        age[mixed] * 64,
        failed[mixed],
        group=np.where(group == "x", "z", "y")[mixed],
        entry_age=entry[mixed] * 64,
        laws=names,
    )
    a = one.laws.sort_values(["group", "law"]).reset_index(drop=True)
    b = two.laws.replace({"group": {"z": "x"}}).sort_values(["group", "law"])
    b = b.reset_index(drop=True)
    np.testing.assert_allclose(a["score_gap"], b["score_gap"], atol=1e-4)
    np.testing.assert_allclose(a["fit_p"], b["fit_p"])
    np.testing.assert_allclose(a["aicc_gap"], b["aicc_gap"], atol=1e-4)
    assert a["verdict"].tolist() == b["verdict"].tolist()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"laws": ["weibul"]}, "laws.*exponential"),
        ({"laws": []}, "laws"),
        ({"folds": 1}, "folds.*from 2 on"),
        ({"resamples": 5}, "resamples.*at least 19"),
        ({"level": 2.0}, "level"),
        ({"entry_age": [0.0, 7.0]}, r"entry_age\[1\]"),
        ({"weight": [1.0, np.nan]}, r"weight\[1\].*finite"),
    ],
)
def test_bad_input_is_told_in_a_sentence(change, words):
    with pytest.raises(InputError, match=words):
        life.choose_law([5.0, 6.0], [1, 1], **change)


def test_no_lives_at_all_is_a_row_that_says_so():
    assert life.choose_law([], [])["all"]["verdict"] == "cannot tell yet"
